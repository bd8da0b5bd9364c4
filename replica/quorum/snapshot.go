package quorum

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/hashicorp/raft"

	"yardhasp/ledger"
)

// snapMagic begins each snapshot. It names the program and the format.
const snapMagic = "yardhasp snapshot 1\n"

// Snapshot copies the state, which is small. The history is synced before the snapshot
// is written. So entries that raft then drops from its log are safe in the history.
func (f *fsm) Snapshot() (raft.FSMSnapshot, error) {
	if f.dead.Load() {
		return nil, errors.New("this replica has stopped")
	}
	f.mu.RLock()
	defer f.mu.RUnlock()
	// While its log is empty behind a snapshot, raft 1.8.0 asks for a snapshot again
	// and again.
	if f.applied > 0 && f.applied == f.saved.Load() {
		return nil, raft.ErrNothingNewToSnapshot
	}
	root := f.state.Root()
	head, err := json.Marshal(snapHead{Raft: f.applied, Size: f.state.Size(), Root: root[:]})
	if err != nil {
		return nil, err
	}
	return &snapshot{head: head, state: f.state.AppendCanonical(nil), size: f.state.Size(), applied: f.applied, f: f}, nil
}

type snapHead struct {
	Raft uint64 `json:"raft"`
	Size uint64 `json:"size"`
	Root []byte `json:"root"`
}

type snapshot struct {
	head, state   []byte
	size, applied uint64
	f             *fsm
}

func (s *snapshot) Persist(sink raft.SnapshotSink) error {
	// No snapshot while the history is behind: the entries applied since then are only
	// in the log and in memory. If a quorum of replicas dropped them, they would be
	// lost for good.
	if err := s.f.history.Sync(); err != nil {
		_ = sink.Cancel()
		return fmt.Errorf("the history can't be synced, so no snapshot is taken: %w", err)
	}
	if have := s.f.history.Size(); have < s.size {
		_ = sink.Cancel()
		return fmt.Errorf("the history holds %d entries, the state %d: no snapshot is taken", have, s.size)
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
	if err := sink.Close(); err != nil {
		return err
	}
	s.f.saved.Store(s.applied)
	return nil
}

func (s *snapshot) Release() {}

// maxAgain is how often one snapshot may be installed in a row, with nothing applied
// in between. After that only a restart helps (raft issue 697, libraries.md R1).
const maxAgain = 5

// Restore replaces the state by the one in a snapshot.
func (f *fsm) Restore(r io.ReadCloser) error {
	defer r.Close()
	if f.dead.Load() {
		return errors.New("this replica has stopped")
	}
	head, state, err := readSnapshot(r)
	if err != nil {
		return err
	}
	root := state.Root()
	if state.Size() != head.Size || !bytes.Equal(root[:], head.Root) {
		return fmt.Errorf("the snapshot says %d entries and another root than its state has", head.Size)
	}
	if had, ok := f.roots.At(head.Size); ok && had != root {
		// The state stays as it is, so that the comparison with the others shows both
		// histories (replica/divergence.go).
		return fmt.Errorf("the snapshot's root of %d entries is not the one that this replica went through: replicas hold different histories", head.Size)
	}
	f.mu.Lock()
	if f.again++; f.applied != head.Raft {
		f.again = 0
	}
	again := f.again
	f.state, f.applied = state, head.Raft
	f.saved.Store(head.Raft)
	f.roots.Keep(head.Size, root)
	f.broadcast()
	f.mu.Unlock()
	if again >= maxAgain {
		f.halted(fmt.Errorf("the same snapshot was installed %d times in a row: start the replica again", again+1))
	}
	f.keepMu.Lock()
	f.later = nil
	f.behind.Store(f.history.Size() < state.Size())
	f.keepMu.Unlock()
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
