package quorum

import (
	"context"
	"errors"
	"fmt"

	"github.com/hashicorp/raft"

	"yardhasp/ledger"
	"yardhasp/replica/store"
)

// recover brings the state back from this disk alone, with no other replica: the
// newest snapshot first, then every entry known to be committed. So a yard that was
// cut off and lost power can promise again (decisions.md 11). The journal rests on the
// entries up to floor. They were applied here before, so they are committed.
func (f *fsm) recover(snaps raft.SnapshotStore, log *store.Log, floor uint64) error {
	list, err := snaps.List()
	if err != nil {
		return &LogError{fmt.Errorf("the snapshots can't be listed: %w", err)}
	}
	from := uint64(1)
	if len(list) > 0 {
		_, r, err := snaps.Open(list[0].ID)
		if err != nil {
			return &LogError{fmt.Errorf("the newest snapshot can't be opened: %w", err)}
		}
		if err := f.Restore(r); err != nil {
			return &LogError{fmt.Errorf("the newest snapshot: %w", err)}
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
		return &LogError{fmt.Errorf("this replica's log ends at entry %d, and its journal rests on entry %d: it lost its tail: treat it as disk loss", end, floor)}
	}
	for i := from; i <= min(max(commit, floor), last); i++ {
		var l raft.Log
		if err := log.GetLog(i, &l); err != nil {
			return &LogError{fmt.Errorf("raft entry %d, which is committed, can't be read: %w", i, err)}
		}
		if _, err := f.fold(&l); err != nil {
			return err
		}
	}
	return f.checkTree()
}

// checkTree compares the root of the history with the root in the state, where the
// history is whole. It reads only the few hashes that make up the root.
func (f *fsm) checkTree() error {
	size := f.state.Size()
	if f.history.Size() < size {
		return nil
	}
	root, err := f.history.TreeHash(size)
	switch {
	case err != nil:
		return &HistoryError{err}
	case root != f.state.Root():
		return &HistoryError{fmt.Errorf("its first %d entries do not give the root that this replica's state has", size)}
	}
	return nil
}

// HistoryError means that the history on the disk is not what was written, or does not
// fit the state. No promise rests on the history.
type HistoryError struct{ Err error }

func (e *HistoryError) Error() string { return "the history: " + e.Err.Error() }
func (e *HistoryError) Unwrap() error { return e.Err }

// damagedOr separates damage from other trouble with a history, such as a full disk.
func damagedOr(what string, err error) error {
	var damaged *store.DamagedError
	if errors.As(err, &damaged) {
		return &HistoryError{err}
	}
	return fmt.Errorf("%s: %w", what, err)
}

// LogError means that the log or the snapshot on this disk lacks something that this
// replica had acknowledged. The replica must not vote again.
type LogError struct{ Err error }

func (e *LogError) Error() string { return e.Err.Error() }
func (e *LogError) Unwrap() error { return e.Err }

// Rebuild brings the state and the history back from the disk, as Open does, but takes
// no part in the quorum. It fetches what the history lacks. Then it reads the whole
// history and checks it against the root in the state. It returns the state and the
// number of fetched entries. Of cfg it uses Dir, Log, History, Floor, Fetch and
// Logger.
func Rebuild(ctx context.Context, cfg Config) (s *ledger.State, fetched uint64, err error) {
	n := &Node{cfg: cfg, ctx: ctx}
	n.fsm = &fsm{state: ledger.New(), changed: make(chan struct{}), history: cfg.History, checked: &ledger.Verified{}, roots: &Roots{}, onChange: func() {}, halt: func(error) {}, stop: make(chan struct{})}
	snaps, err := raft.NewFileSnapshotStoreWithLogger(cfg.Dir, 2, Hclog(cfg.Logger))
	if err != nil {
		return nil, 0, fmt.Errorf("snapshots can't be kept: %w", err)
	}
	if err := n.fsm.recover(snaps, cfg.Log, cfg.Floor); err != nil {
		return nil, 0, err
	}
	had := cfg.History.Size()
	if n.fsm.behind.Load() {
		if err := n.fillOnce(); err != nil {
			if why := n.HistoryFault(); why != "" {
				err = &HistoryError{errors.New(why)}
			}
			return n.fsm.state, 0, err
		}
		fetched = n.fsm.state.Size() - had
	}
	if err := n.fsm.checkTree(); err != nil {
		return n.fsm.state, fetched, err
	}
	return n.fsm.state, fetched, n.fsm.checkHistory()
}

// checkHistory reads all of the history.
func (f *fsm) checkHistory() error {
	err := f.history.Verify(func(it store.Item) error {
		e, err := ledger.Decode(it.Entry)
		if err != nil || e.Envelope() != nil || TicketRef(e) == "" {
			return err
		}
		first, found, err := f.history.ByRef(TicketRef(e))
		if err == nil && (!found || first > it.Index) {
			err = fmt.Errorf("entry %d is not found by its ticket", it.Index)
		}
		return err
	})
	if err != nil {
		return &HistoryError{err}
	}
	return f.history.Sync()
}
