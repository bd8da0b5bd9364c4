package quorum

import (
	"fmt"

	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

// recover brings the state back from this disk alone, with no peer: the newest
// snapshot, then every entry known to be committed. So a yard whose power failed
// while it was cut off comes back able to promise (decisions.md 11). Entries up
// to floor, on which the journal rests, were applied here before, so they are
// committed.
func (f *fsm) recover(snaps raft.SnapshotStore, log *store.Log, floor uint64) error {
	list, err := snaps.List()
	if err != nil {
		return fmt.Errorf("the snapshots can't be listed: %w", err)
	}
	from := uint64(1)
	if len(list) > 0 {
		_, r, err := snaps.Open(list[0].ID)
		if err != nil {
			return fmt.Errorf("the newest snapshot can't be opened: %w", err)
		}
		if err := f.Restore(r); err != nil {
			return fmt.Errorf("the newest snapshot: %w", err)
		}
		from = list[0].Index + 1
	}
	commit, err := log.GetCommitIndex()
	if err != nil {
		return err
	}
	last, err := log.LastIndex()
	if err != nil {
		return err
	}
	if end := max(last, from-1); end < floor {
		return fmt.Errorf("this replica's log ends at entry %d, and its journal rests on entry %d: it lost its tail: treat it as disk loss and join as a new replica", end, floor)
	}
	for i := from; i <= min(max(commit, floor), last); i++ {
		var l raft.Log
		if err := log.GetLog(i, &l); err != nil {
			return fmt.Errorf("raft entry %d, which is committed, can't be read: %w", i, err)
		}
		if _, err := f.fold(&l); err != nil {
			return err
		}
	}
	return nil
}
