package yard

import "fmt"

// Renew replaces a journal that never had a record by an empty one of a later epoch. A
// fresh disk needs this: it makes its journal before the ledger says which epoch it
// begins. raftIndex is the raft index of the state that names the epoch. The new
// journal rests on that state, so a yard that restarts with it while cut off promises
// at once (decisions.md 11). A journal with a record in it is never begun anew. After
// a crash the disk has either the journal from before or the new one, whole.
func (f *File) Renew(epoch, raftIndex uint64) error {
	if f.failed != nil {
		return f.failed
	}
	h := f.h
	switch {
	case f.mark.Seq != 0 || h.Compacted != 0:
		return fmt.Errorf("the journal of epoch %d in %s has records: it can't become the one of epoch %d: recover the yard with a walkdown", h.Epoch, f.dir, epoch)
	case epoch <= h.Epoch:
		return fmt.Errorf("the journal in %s is of epoch %d already: it can't become the one of epoch %d", f.dir, h.Epoch, epoch)
	}
	h.Epoch, h.RaftIndex = epoch, raftIndex
	old := f.f
	if err := f.rewrite(appendFrame(nil, headerPayload(&h))); err != nil {
		f.failed = fmt.Errorf("the journal can't be begun, and takes no more until a restart: %w", err)
		return f.failed
	}
	f.h = h
	return old.Close() // its file has no name any more
}
