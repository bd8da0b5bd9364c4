package replica

import (
	"context"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Misremember gives this replica another root for every size it knows up to now,
// as if it held another history.
func (r *Replica) Misremember() (size uint64) {
	r.node.View(func(s *ledger.State, _ uint64) { size = s.Size() })
	for i := uint64(1); i <= size; i++ {
		root, ok := r.rootAt(i)
		if ok {
			root[0] ^= 1
			r.roots.Keep(i, root)
		}
	}
	return size
}

// CompareWith compares roots with one yard now.
func (r *Replica) CompareWith(ctx context.Context, yard string) error {
	return r.compareWith(ctx, yard)
}

// Checkpoint is what this replica would show another now.
func (r *Replica) Checkpoint() (size uint64, root [32]byte, text string, err error) {
	return r.newest()
}

// Divergence is what stands against this replica's word.
func (r *Replica) Divergence() *recordv1.Finding { return r.divergence() }

// WaitDrained waits until this replica's state has a yard's journal up to seq.
func (r *Replica) WaitDrained(ctx context.Context, yard string, seq uint64) error {
	return r.waitFor(ctx, func(s *ledger.State) bool { return s.Yards[yard] != nil && s.Yards[yard].Drained >= seq })
}

// WaitSize waits until this replica's state holds n entries.
func (r *Replica) WaitSize(ctx context.Context, n uint64) error {
	return r.waitFor(ctx, func(s *ledger.State) bool { return s.Size() >= n })
}

func (r *Replica) waitFor(ctx context.Context, ok func(*ledger.State) bool) error {
	for {
		ch, done := r.node.Changed(), false
		r.node.View(func(s *ledger.State, _ uint64) { done = ok(s) })
		if done {
			return nil
		}
		select {
		case <-ch:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Leaderless waits until this replica has long known no leader.
func (r *Replica) Leaderless(ctx context.Context) error {
	for r.leaderless() < 4*r.timers.Election {
		if err := rest(ctx, r.timers.Election/10); err != nil {
			return err
		}
	}
	return nil
}
