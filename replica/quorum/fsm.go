package quorum

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"

	"github.com/hashicorp/raft"
	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/store"
)

// fsm applies committed raft entries to the ledger state and the history.
type fsm struct {
	mu      sync.RWMutex // guards state and applied
	state   *ledger.State
	applied uint64 // raft index that the state stands at
	changed chan struct{}

	checked *ledger.Verified
	roots   *Roots
	history *store.History
	keepMu  sync.Mutex   // held while the history is written; taken before mu
	later   []store.Item // applied, but the history still lacks entries before them
	behind  atomic.Bool  // the history lacks entries that a snapshot skipped

	onChange func()
	halt     func(error)
	stop     chan struct{} // closed when the node closes
	saved    atomic.Uint64 // the raft index of the last snapshot written or restored
	again    int           // how often the same snapshot was restored in a row; guarded by mu
	dead     atomic.Bool   // halted: nothing is applied or saved any more
}

// Apply applies one committed raft entry. It can't return an error. If the entry can't
// be applied, it stops the replica, because the entry must not be skipped.
func (f *fsm) Apply(l *raft.Log) any {
	if f.dead.Load() {
		return nil
	}
	outs, err := f.fold(l)
	if err != nil {
		return f.halted(err)
	}
	if outs == nil {
		return nil
	}
	f.onChange()
	return outs
}

// fold applies one committed raft entry, unless the state has it already.
func (f *fsm) fold(l *raft.Log) ([]*recordv1.Outcome, error) {
	f.mu.RLock()
	done := l.Index <= f.applied
	f.mu.RUnlock()
	if done || l.Type != raft.LogCommand {
		return nil, nil
	}
	var b recordv1.Batch
	if err := proto.Unmarshal(l.Data, &b); err != nil {
		return nil, fmt.Errorf("raft entry %d can't be read: %w", l.Index, err)
	}
	if len(b.ProtoReflect().GetUnknown()) > 0 {
		return nil, fmt.Errorf("raft entry %d: %w", l.Index, ledger.ErrNewer)
	}
	entries, err := DecodeAll(f.checked, b.GetEntries())
	if err != nil {
		return nil, fmt.Errorf("raft entry %d: %w", l.Index, err)
	}
	outs := make([]*recordv1.Outcome, len(entries))
	items := make([]store.Item, len(entries))
	f.mu.Lock()
	for i, e := range entries {
		before := drained(f.state, e)
		outs[i] = f.state.Apply(e)
		items[i] = item(e, outs[i], drained(f.state, e) > before)
		if s := f.state.Size(); s%roundSize == 0 {
			f.roots.Keep(s, f.state.Root())
		}
	}
	f.applied, f.again = l.Index, 0
	f.broadcast()
	size := f.state.Size()
	f.roots.Keep(size, f.state.Root())
	f.mu.Unlock()
	return outs, f.keep(items, size)
}

// DecodeAll decodes entries. It checks the signatures that this replica has not
// checked before, on all cores.
func DecodeAll(v *ledger.Verified, raw [][]byte) ([]*ledger.Entry, error) {
	out := make([]*ledger.Entry, len(raw))
	errs := make([]error, len(raw))
	if len(raw) == 1 {
		out[0], errs[0] = v.Decode(raw[0])
		return out, errs[0]
	}
	var wg sync.WaitGroup
	var next atomic.Int64
	for range min(4, len(raw)) {
		wg.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(raw)); i = next.Add(1) - 1 {
				out[i], errs[i] = v.Decode(raw[i])
			}
		})
	}
	wg.Wait()
	return out, errors.Join(errs...)
}

func (f *fsm) halted(err error) any {
	f.giveUp(err)
	<-f.stop
	return nil
}

// giveUp stops the replica.
func (f *fsm) giveUp(err error) {
	f.dead.Store(true) // the entry that failed must not be skipped
	f.halt(&HaltError{err})
}

// broadcast wakes everyone who waits for the state to change. The caller holds mu.
func (f *fsm) broadcast() {
	close(f.changed)
	f.changed = make(chan struct{})
}
