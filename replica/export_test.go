package replica

import (
	"context"

	"yardhasp/ledger"
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

// Alarm is what stands against this replica's word.
func (r *Replica) Alarm() string { return r.alarmText() }
