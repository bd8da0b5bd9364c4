package quorum

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/store"
)

// drained is the seq of the last record that the ledger has taken from e's journal.
func drained(s *ledger.State, e *ledger.Entry) uint64 {
	if y := s.Yards[e.Envelope().GetYard()]; y != nil {
		return y.Drained
	}
	return 0
}

// item is what the history keeps of an entry. Only the entry that the ledger took
// makes a journal record findable. The same record may have been refused before, for a
// gap, as a repeat, or as another machine's. Such a refusal does not say what became
// of it.
func item(e *ledger.Entry, o *recordv1.Outcome, took bool) store.Item {
	it := store.Item{Index: o.GetIndex(), Entry: e.Raw(), Outcome: outcomeBytes(o, store.MaxEntryBytes-len(e.Raw()))}
	switch {
	case e.Envelope() == nil:
		it.Ref = TicketRef(e)
	case took:
		it.Ref = o.GetRef()
	}
	return it
}

// outcomeBytes serialises an outcome for the history. It cuts the lists short when the
// outcome would not fit: a refusal may name thousands of conditions.
func outcomeBytes(o *recordv1.Outcome, most int) []byte {
	for {
		raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(o)
		if err != nil {
			return nil // can't happen: an outcome holds only texts of valid records
		}
		if len(raw) <= most {
			return raw
		}
		c := proto.Clone(o).(*recordv1.Outcome)
		c.Conditions, c.Flags = half(c.Conditions), half(c.Flags)
		if proto.Equal(c, o) {
			c.Did = half(c.Did) // cut last: it may say that everybody must get out
		}
		if proto.Equal(c, o) {
			return nil
		}
		o = c
	}
}

// half keeps the first half of a list, and at least one.
func half[T any](l []T) []T { return l[:(len(l)+1)/2] }

// TicketRef is the name under which the history finds a direct entry again. It is
// empty for an entry without a ticket, and for a repeat that was refused.
func TicketRef(e *ledger.Entry) string {
	r := e.Record()
	if r == nil || len(e.Keys()) == 0 || e.Fault() != nil {
		return ""
	}
	return TicketName(e.Keys()[0], r.GetTicket().GetDevice(), r.GetTicket().GetCounter())
}

// TicketName is the name under which the history finds a ticket.
func TicketName(key []byte, device string, counter uint64) string {
	return fmt.Sprintf("ticket %s %s %d", seal.Fingerprint(key), device, counter)
}

// maxLater bounds how many applied entries are kept in memory while the history before
// them is fetched.
const maxLater = 8192

// keep appends to the history. While the history lacks entries that a snapshot
// skipped, the items wait until fill has fetched these.
func (f *fsm) keep(items []store.Item, size uint64) error {
	f.keepMu.Lock()
	defer f.keepMu.Unlock()
	have := f.history.Size()
	if have < size-uint64(len(items)) {
		f.behind.Store(true)
		if len(f.later)+len(items) > maxLater {
			f.later = nil // fill fetches them too
		}
		f.later = append(f.later, items...)
		return nil
	}
	for i := range items {
		if items[i].Index >= have {
			break
		}
		// This entry is applied again after a restart. An outcome that is there stays,
		// since another release may word it differently.
		raw, err := f.history.Outcome(items[i].Index)
		if err != nil {
			return damagedOr("the history can't be read", err)
		}
		if raw != nil {
			items[i].Outcome = nil
		}
	}
	if err := f.history.Append(items); err != nil {
		return damagedOr("the history can't be written", err)
	}
	f.later = nil
	f.behind.Store(f.history.Size() < size)
	return nil
}

// catchUp appends the items that waited, once the history has everything before them.
func (f *fsm) catchUp() error {
	f.keepMu.Lock()
	defer f.keepMu.Unlock()
	have := f.history.Size()
	for len(f.later) > 0 && f.later[0].Index < have {
		f.later = f.later[1:]
	}
	if len(f.later) > 0 && f.later[0].Index == have {
		if err := f.history.Append(f.later); err != nil {
			return err
		}
		f.later = nil
	}
	f.mu.RLock()
	defer f.mu.RUnlock()
	f.behind.Store(f.history.Size() < f.state.Size())
	return nil
}
