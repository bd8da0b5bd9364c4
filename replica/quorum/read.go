package quorum

import (
	"context"
	"time"

	"github.com/hashicorp/raft"
)

// ReadIndex gives a raft index, as the leader: when it was called, nothing newer was
// committed. It notes the commit index, has a quorum confirm the leadership, and
// checks that the term is the same (Ongaro, Consensus, 6.4). A new leader must have
// passed its barrier before. The reader then waits until its own state has reached
// that index.
func (n *Node) ReadIndex(ctx context.Context) (uint64, error) {
	if !n.IsLeader() {
		return 0, ErrNotLeader
	}
	term := n.raft.CurrentTerm()
	index := n.raft.CommitIndex()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(n.ctx, cancel)()
	// The call itself may block as well, while raft's own loop is held up.
	if err := await(ctx, func() error { return n.raft.VerifyLeader().Error() }); err != nil {
		return 0, ErrNoQuorum
	}
	if n.raft.CurrentTerm() != term || n.ready.Load() != term {
		return 0, ErrNotLeader
	}
	return index, nil
}

// lead watches whether this replica leads. A new leader serves nothing until a barrier
// has shown that it has applied everything of earlier terms.
func (n *Node) lead(notify <-chan bool) {
	for {
		select {
		case leading := <-notify:
			for drained := false; !drained; { // only the latest message counts
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
			n.settle()
		case <-n.ctx.Done():
			return
		}
	}
}

// settle passes the barrier of a new leader. It tries for as long as this replica
// leads. If it gave up, the leader would stay and take nothing.
func (n *Node) settle() {
	for n.raft.State() == raft.Leader {
		term := n.raft.CurrentTerm()
		err := await(n.ctx, func() error { return n.raft.Barrier(10 * time.Second).Error() })
		if n.ctx.Err() != nil {
			return
		}
		if err == nil && n.raft.CurrentTerm() == term {
			n.contacts.reset()
			n.ready.Store(term)
			n.cfg.OnChange()
			return
		}
		n.cfg.Logger.Warn("a new leader's barrier has not passed yet", "err", err)
		t := time.NewTimer(n.cfg.Timers.Commit)
		select {
		case <-n.ctx.Done():
		case <-t.C:
		}
		t.Stop()
	}
}
