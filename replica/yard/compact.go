package yard

import "slices"

// keepDrained is how many records stay in the journal although the ledger has them. A
// client that tries again soon after still gets the recorded answer.
const keepDrained = 1024

// Compaction works out the journal without its records up to upto, and changes
// nothing. It drops only records that the shown state has taken, and keeps the newest
// of these. ok is false when there is nothing to drop. The owner writes the result to
// the File and then calls Compacted.
//
// The header carries the seq and hash of the last dropped record. It also carries a
// raft index at which the ledger had that record. It reaches the disk before any
// record is dropped.
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
	// Not the raft index of the record itself: a state of that age lacks the record. A
	// yard that restarts with it while cut off would be out of service (decisions.md
	// 11).
	h.Compacted, h.Hash, h.RaftIndex = it.seq, it.hash, max(it.RaftIndex, y.applied)
	for _, k := range y.journal[upto-y.h.Compacted:] {
		keep = append(keep, k.Record)
	}
	return h, keep, true
}

// Compacted tells the Yard that the File now begins after h.Compacted.
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
