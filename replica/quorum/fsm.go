package quorum

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"

	"github.com/hashicorp/raft"
	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/store"
)

// fsm folds committed raft entries into the ledger state and the history.
type fsm struct {
	mu      sync.RWMutex // guards state and applied
	state   *ledger.State
	applied uint64 // raft index folded into state
	changed chan struct{}

	history  *store.History
	behind   atomic.Bool // the history misses entries that a snapshot skipped
	onChange func()
	halt     func(error)
	stop     chan struct{} // closed when the node closes
	restores atomic.Uint64
	dead     atomic.Bool // halted: nothing is applied or saved any more
}

// Apply folds one committed raft entry. It can't fail: what it must not skip
// stops the replica.
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
	entries, err := decodeAll(b.GetEntries())
	if err != nil {
		return nil, fmt.Errorf("raft entry %d: %w", l.Index, err)
	}
	outs := make([]*recordv1.Outcome, len(entries))
	items := make([]store.Item, len(entries))
	f.mu.Lock()
	for i, e := range entries {
		outs[i] = f.state.Apply(e)
		items[i] = item(e, outs[i])
	}
	f.applied = l.Index
	f.broadcast()
	size := f.state.Size()
	f.mu.Unlock()
	return outs, f.keep(items, size)
}

// decodeAll decodes entries and checks their signatures, on all cores.
func decodeAll(raw [][]byte) ([]*ledger.Entry, error) {
	out := make([]*ledger.Entry, len(raw))
	errs := make([]error, len(raw))
	if len(raw) == 1 {
		out[0], errs[0] = ledger.Decode(raw[0])
		return out, errs[0]
	}
	var wg sync.WaitGroup
	var next atomic.Int64
	for range min(4, len(raw)) {
		wg.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(raw)); i = next.Add(1) - 1 {
				out[i], errs[i] = ledger.Decode(raw[i])
			}
		})
	}
	wg.Wait()
	return out, errors.Join(errs...)
}

// item is what the history keeps of an entry.
func item(e *ledger.Entry, o *recordv1.Outcome) store.Item {
	raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(o)
	if err != nil {
		raw = nil // an outcome holds texts of valid records only
	}
	ref := o.GetRef()
	if ref == "" {
		ref = TicketRef(e)
	}
	return store.Item{Index: o.GetIndex(), Entry: e.Raw(), Outcome: raw, Ref: ref}
}

// TicketRef is the name under which the history finds a direct entry again.
// Empty for what carries no ticket, and for a refused repeat of it.
func TicketRef(e *ledger.Entry) string {
	r := e.Record()
	if r == nil || len(e.Keys()) == 0 || e.Fault() != nil {
		return ""
	}
	return TicketName(e.Keys()[0], r.GetTicket().GetDevice(), r.GetTicket().GetCounter())
}

// TicketName is the ref of a direct entry's ticket.
func TicketName(key []byte, device string, counter uint64) string {
	return fmt.Sprintf("ticket %s %s %d", seal.Fingerprint(key), device, counter)
}

// keep appends to the history. While it misses what a snapshot skipped, the
// filler appends instead.
func (f *fsm) keep(items []store.Item, size uint64) error {
	have := f.history.Size()
	if have < size-uint64(len(items)) {
		f.behind.Store(true)
		return nil
	}
	if err := f.history.Append(items); err != nil {
		return fmt.Errorf("the history can't be written: %w", err)
	}
	f.behind.Store(f.history.Size() < size)
	return nil
}

func (f *fsm) halted(err error) any {
	f.dead.Store(true) // never apply anything after what was not applied
	f.halt(&HaltError{err})
	<-f.stop
	return nil
}

// broadcast wakes whoever waits for the state to move. Call it with mu held.
func (f *fsm) broadcast() {
	close(f.changed)
	f.changed = make(chan struct{})
}

// snapMagic begins a snapshot: name and format.
const snapMagic = "yardhasp snapshot 1\n"

// Snapshot copies the state; it is small. Before it is written the history is
// synced, so that whatever raft then drops from its log is safe there.
func (f *fsm) Snapshot() (raft.FSMSnapshot, error) {
	if f.dead.Load() {
		return nil, errors.New("this replica has stopped")
	}
	f.mu.RLock()
	defer f.mu.RUnlock()
	root := f.state.Root()
	head, err := json.Marshal(snapHead{Raft: f.applied, Size: f.state.Size(), Root: root[:]})
	if err != nil {
		return nil, err
	}
	return &snapshot{head: head, state: f.state.AppendCanonical(nil), size: f.state.Size(), f: f}, nil
}

type snapHead struct {
	Raft uint64 `json:"raft"`
	Size uint64 `json:"size"`
	Root []byte `json:"root"`
}

type snapshot struct {
	head, state []byte
	size        uint64
	f           *fsm
}

func (s *snapshot) Persist(sink raft.SnapshotSink) error {
	if !s.f.behind.Load() {
		if err := s.f.history.Sync(); err != nil {
			_ = sink.Cancel()
			return fmt.Errorf("the history can't be synced, so no snapshot is taken: %w", err)
		}
		if have := s.f.history.Size(); have < s.size {
			_ = sink.Cancel()
			return fmt.Errorf("the history holds %d entries, the state %d: no snapshot is taken", have, s.size)
		}
	}
	var b bytes.Buffer
	b.WriteString(snapMagic)
	for _, part := range [][]byte{s.head, s.state} {
		_ = binary.Write(&b, binary.BigEndian, uint64(len(part)))
		b.Write(part)
	}
	if _, err := sink.Write(b.Bytes()); err != nil {
		_ = sink.Cancel()
		return err
	}
	return sink.Close()
}

func (s *snapshot) Release() {}

// Restore replaces the state by a snapshot's.
func (f *fsm) Restore(r io.ReadCloser) error {
	defer r.Close()
	head, state, err := readSnapshot(r)
	if err != nil {
		return err
	}
	root := state.Root()
	if state.Size() != head.Size || !bytes.Equal(root[:], head.Root) {
		return fmt.Errorf("the snapshot says %d entries and another root than its state has", head.Size)
	}
	f.restores.Add(1)
	f.mu.Lock()
	f.state, f.applied = state, head.Raft
	f.broadcast()
	f.mu.Unlock()
	f.behind.Store(f.history.Size() < state.Size())
	f.onChange()
	return nil
}

func readSnapshot(r io.Reader) (head snapHead, state *ledger.State, err error) {
	magic := make([]byte, len(snapMagic))
	if _, err = io.ReadFull(r, magic); err != nil || string(magic) != snapMagic {
		return head, nil, errors.New("this is no snapshot of this format: it comes from another release, or is damaged")
	}
	parts := make([][]byte, 2)
	for i := range parts {
		var n uint64
		if err = binary.Read(r, binary.BigEndian, &n); err != nil || n > 1<<31 {
			return head, nil, errors.New("the snapshot is damaged")
		}
		parts[i] = make([]byte, n)
		if _, err = io.ReadFull(r, parts[i]); err != nil {
			return head, nil, errors.New("the snapshot is cut off")
		}
	}
	if err = json.Unmarshal(parts[0], &head); err != nil {
		return head, nil, fmt.Errorf("the snapshot's head can't be read: %w", err)
	}
	state, err = ledger.Restore(parts[1])
	return head, state, err
}
