package yard

import "slices"

// keepDrained is how many records that the ledger has stay in the journal, so
// that a retry soon after still gets the recorded answer.
const keepDrained = 1024

// Compaction works out what a journal without its records up to upto is: only
// records that the shown state has taken go, and the newest of these stay. It
// changes nothing; ok is false when there is nothing to drop. The owner writes
// the result to the File, then calls Compacted. The header carries the place and
// hash of what went and the raft index at which the ledger had it, and is on the
// disk before anything is gone.
func (y *Yard) Compaction(upto uint64) (h Header, keep []Record, ok bool) {
	if in, _ := y.Serving(); !in {
		return y.h, nil, false
	}
	upto = min(upto, y.drained())
	last, _ := y.last()
	upto = min(upto, last-min(last, keepDrained))
	return y.compaction(upto)
}

func (y *Yard) compaction(upto uint64) (h Header, keep []Record, ok bool) {
	it := y.at(upto)
	if it == nil || upto > y.durable {
		return y.h, nil, false
	}
	h = y.h
	// Not the record's own raft index: a state of that age lacks the record, and a
	// restart with it, cut off, would be out of service (decisions.md 11).
	h.Compacted, h.Hash, h.RaftIndex = it.seq, it.hash, max(it.RaftIndex, y.applied)
	for _, k := range y.journal[upto-y.h.Compacted:] {
		keep = append(keep, k.Record)
	}
	return h, keep, true
}

// Compacted tells the Yard that the File begins after h.Compacted now.
func (y *Yard) Compacted(h Header) {
	it := y.at(h.Compacted)
	if it == nil || it.hash != h.Hash {
		return
	}
	for _, old := range y.journal[:h.Compacted-y.h.Compacted] {
		left := slices.DeleteFunc(slices.Clone(y.tickets[old.ticket]), func(s uint64) bool { return s == old.seq })
		y.tickets[old.ticket] = left
		if len(left) == 0 {
			delete(y.tickets, old.ticket)
		}
	}
	y.journal = slices.Clone(y.journal[h.Compacted-y.h.Compacted:])
	y.h = h
}
