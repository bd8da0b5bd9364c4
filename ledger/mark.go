package ledger

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Mark is where and when something was recorded.
type Mark struct {
	// Index is the ledger index.
	Index uint64 `json:"index"`
	// Time is the earliest it can count for: the earliest of the signer's clock,
	// the yard's and the ledger's, Unix ms. What must be late enough is judged by it.
	Time int64 `json:"time"`
	// Late is the latest: the later of the yard's clock and the signer's, the
	// latter never after the ledger's time, which stands alone where the yard's
	// clock is in doubt. What must be over before something else is judged by it.
	Late int64 `json:"late"`
	// Yard, Epoch and Seq are the journal place; empty for a direct entry.
	Yard  string `json:"yard,omitempty"`
	Epoch uint64 `json:"epoch,omitempty"`
	Seq   uint64 `json:"seq,omitempty"`
	// BasedOn is the ledger size the yard had seen when it wrote it.
	BasedOn uint64 `json:"based_on,omitempty"`
	By      string `json:"by,omitempty"`
}

// Set reports whether it was recorded at all.
func (m Mark) Set() bool { return m.By != "" }

// Ref is the journal place as text, "yard/epoch/seq".
func (m Mark) Ref() string { return Ref(m.Yard, m.Epoch, m.Seq) }

// seenBy reports whether the writer of r knew of m: m is earlier in the same
// journal, or within what r's yard had seen of the ledger (decisions.md 18).
func (m Mark) seenBy(r Mark) bool {
	if m.Yard != "" && m.Yard == r.Yard && m.Epoch == r.Epoch {
		return m.Seq < r.Seq
	}
	return m.Index < r.BasedOn
}

// before reports whether m was over before r, by the records and by the clocks:
// the writer of r knew of it, and r was not captured earlier.
func (m Mark) before(r Mark) bool { return m.seenBy(r) && m.Late <= r.Time }

// Latest keeps each yard's latest mark of one kind. One mark alone won't do: a
// record that knows the latest of them need not know another yard's.
type Latest map[string]Mark

func (l *Latest) add(m Mark) {
	if *l == nil {
		*l = Latest{}
	}
	(*l)[m.Yard] = m
}

// Set reports whether there is any.
func (l Latest) Set() bool { return len(l) > 0 }

// Index is the highest ledger index of them, 0 for none.
func (l Latest) Index() uint64 {
	var top uint64
	for _, m := range l {
		top = max(top, m.Index)
	}
	return top
}

// before reports whether all of them were over before r.
func (l Latest) before(r Mark) bool {
	for _, m := range l {
		if !m.before(r) {
			return false
		}
	}
	return true
}

// seenBy reports whether the writer of r knew all of them.
func (l Latest) seenBy(r Mark) bool {
	for _, m := range l {
		if !m.seenBy(r) {
			return false
		}
	}
	return true
}

// Ref writes a journal place as text.
func Ref(yard string, epoch, seq uint64) string { return fmt.Sprintf("%s/%d/%d", yard, epoch, seq) }

// RefOf writes a journal reference as text.
func RefOf(r *recordv1.JournalRef) string { return Ref(r.GetYard(), r.GetEpoch(), r.GetSeq()) }
