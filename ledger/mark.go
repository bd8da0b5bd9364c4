package ledger

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Mark is where and when something was recorded.
type Mark struct {
	// Index is the ledger index.
	Index uint64 `json:"index"`
	// Time is the earliest time that the record can count for, in Unix ms: the earliest
	// of the signer's clock, the yard's clock and the ledger's time. Use it where
	// something must be late enough.
	Time int64 `json:"time"`
	// Late is the latest time that the record can count for, in Unix ms: the later of
	// the yard's clock and the signer's. The signer's clock counts at most up to the
	// ledger's time. Where the yard's clock is in doubt, Late is the ledger's time
	// alone. Use it where this record must be over before something else.
	Late int64 `json:"late"`
	// Yard, Epoch and Seq name the journal record. They are empty for a direct entry.
	Yard  string `json:"yard,omitempty"`
	Epoch uint64 `json:"epoch,omitempty"`
	Seq   uint64 `json:"seq,omitempty"`
	// BasedOn is the ledger size that the yard had seen when it wrote the record.
	BasedOn uint64 `json:"based_on,omitempty"`
	By      string `json:"by,omitempty"`
}

// Set reports whether anything was recorded.
func (m Mark) Set() bool { return m.By != "" }

// Ref is the journal reference as text, "yard/epoch/seq".
func (m Mark) Ref() string { return Ref(m.Yard, m.Epoch, m.Seq) }

// seenBy reports whether the writer of r knew of m. Either m is earlier in the same
// journal, or r's yard had seen m in the ledger (decisions.md 18).
func (m Mark) seenBy(r Mark) bool {
	if m.Yard != "" && m.Yard == r.Yard && m.Epoch == r.Epoch {
		return m.Seq < r.Seq
	}
	return m.Index < r.BasedOn
}

// before reports whether m was over before r. The order of records must say so: the
// writer of r knew of m. The clocks must say so too: r was not captured earlier.
func (m Mark) before(r Mark) bool { return m.seenBy(r) && m.Late <= r.Time }

// Latest keeps the latest mark of each yard for one kind of record. One mark alone is
// not enough: a writer who knew the latest of all may not know another yard's latest.
type Latest map[string]Mark

func (l *Latest) add(m Mark) {
	if *l == nil {
		*l = Latest{}
	}
	(*l)[m.Yard] = m
}

// Set reports whether there is any mark.
func (l Latest) Set() bool { return len(l) > 0 }

// Index is the highest ledger index among the marks, or 0 when there is none.
func (l Latest) Index() uint64 {
	var top uint64
	for _, m := range l {
		top = max(top, m.Index)
	}
	return top
}

// before reports whether all marks were over before r.
func (l Latest) before(r Mark) bool {
	for _, m := range l {
		if !m.before(r) {
			return false
		}
	}
	return true
}

// seenBy reports whether the writer of r knew of all marks.
func (l Latest) seenBy(r Mark) bool {
	for _, m := range l {
		if !m.seenBy(r) {
			return false
		}
	}
	return true
}

// Ref writes a journal reference as text.
func Ref(yard string, epoch, seq uint64) string { return fmt.Sprintf("%s/%d/%d", yard, epoch, seq) }

// RefOf writes a journal reference as text.
func RefOf(r *recordv1.JournalRef) string { return Ref(r.GetYard(), r.GetEpoch(), r.GetSeq()) }
