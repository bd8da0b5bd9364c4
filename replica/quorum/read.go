package quorum

import (
	"context"
	"errors"
	"time"

	"github.com/hashicorp/raft"
)

// ReadIndex is the leader's word that nothing newer than the returned raft index
// was committed when it was called: note the commit index, have a quorum confirm
// the leadership, check that the term is the same (Ongaro, Consensus, 6.4; a new
// leader's barrier comes first). The reader then waits for its own state to get
// there.
func (n *Node) ReadIndex(ctx context.Context) (uint64, error) {
	if !n.IsLeader() {
		return 0, ErrNotLeader
	}
	term := n.raft.CurrentTerm()
	index := n.raft.CommitIndex()
	done := make(chan error, 1)
	f := n.raft.VerifyLeader()
	go func() { done <- f.Error() }()
	select {
	case err := <-done:
		if err != nil {
			return 0, ErrNoQuorum
		}
	case <-ctx.Done():
		return 0, ErrNoQuorum
	case <-n.ctx.Done():
		return 0, raft.ErrRaftShutdown
	}
	if n.raft.CurrentTerm() != term || n.ready.Load() != term {
		return 0, ErrNotLeader
	}
	return index, nil
}

// lead watches for leadership. A new leader serves nothing before a barrier has
// shown that it has applied everything of earlier terms.
func (n *Node) lead(notify <-chan bool) {
	for {
		select {
		case leading := <-notify:
			for drained := false; !drained; { // act on the latest word only
				select {
				case leading = <-notify:
				default:
					drained = true
				}
			}
			n.ready.Store(0)
			if !leading {
				continue
			}
			term := n.raft.CurrentTerm()
			err := n.raft.Barrier(10 * time.Second).Error()
			if err == nil && n.raft.CurrentTerm() == term {
				n.ready.Store(term)
				n.contacts.reset()
				n.cfg.OnChange()
			} else if err != nil && !errors.Is(err, raft.ErrRaftShutdown) {
				n.cfg.Logger.Warn("new leader's barrier failed", "err", err)
			}
		case <-n.ctx.Done():
			return
		}
	}
}
