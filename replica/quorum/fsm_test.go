package quorum

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/hashicorp/raft"
	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/store"
)

func open(t *testing.T) (*fsm, chan error) {
	t.Helper()
	h, err := store.OpenHistory(t.TempDir(), nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.Close() })
	halts := make(chan error, 4)
	return &fsm{state: ledger.New(), changed: make(chan struct{}), checked: &ledger.Verified{}, roots: &Roots{}, history: h, onChange: func() {}, halt: func(err error) { halts <- err }, stop: make(chan struct{})}, halts
}

// newer are bytes of a field that no release of ours has: field 2047, a varint
// (protobuf encoding, protobuf.dev/programming-guides/encoding).
var newer = []byte{0xf8, 0x7f, 0x01}

func batch(t *testing.T, tail []byte, entries ...[]byte) []byte {
	t.Helper()
	b, err := proto.Marshal(&recordv1.Batch{Entries: entries})
	if err != nil {
		t.Fatal(err)
	}
	return append(b, tail...)
}

// TestNewerEntryStops: what a newer release wrote is never skipped (libraries.md
// R12): the replica stops before it, and applies nothing after it.
func TestNewerEntryStops(t *testing.T) {
	good := ledger.DirectEntry([]byte("no record"))
	later, err := proto.Marshal(&recordv1.Entry{Format: ledger.EntryFormat + 1, Body: &recordv1.Entry_Direct{Direct: []byte("x")}})
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{
		"a field of the batch": batch(t, newer, good),
		"a field of the entry": batch(t, nil, good, append(bytes.Clone(good), newer...)),
		"a format":             batch(t, nil, later),
		"noise":                []byte("\xffnoise"),
	} {
		f, halts := open(t)
		if f.Apply(&raft.Log{Index: 3, Type: raft.LogCommand, Data: batch(t, nil, good)}) == nil || f.state.Size() != 1 {
			t.Fatal("an entry of this release is not applied")
		}
		done := make(chan any)
		go func() { done <- f.Apply(&raft.Log{Index: 4, Type: raft.LogCommand, Data: data}) }()
		err := <-halts
		if name != "noise" && !errors.Is(err, ledger.ErrNewer) {
			t.Errorf("%s: stopped by %v", name, err)
		}
		close(f.stop)
		if res := <-done; res != nil {
			t.Errorf("%s: gives %v", name, res)
		}
		if f.Apply(&raft.Log{Index: 5, Type: raft.LogCommand, Data: batch(t, nil, good)}) != nil || f.state.Size() != 1 || f.history.Size() != 1 {
			t.Errorf("%s: skipped, and what follows is applied", name)
		}
		if _, err := f.Snapshot(); err == nil {
			t.Errorf("%s: a stopped replica saves its state", name)
		}
	}
}

// TestRecordedOutcome: a journal record refused before its turn does not stand
// for what became of it, and a list that is too long is cut short, not lost.
func TestRecordedOutcome(t *testing.T) {
	e, err := ledger.Decode(ledger.DirectEntry([]byte("no record")))
	if err != nil {
		t.Fatal(err)
	}
	long := &recordv1.Outcome{Index: 7}
	for range 4000 {
		long.Conditions = append(long.Conditions, ledger.HoldStands.About("stonebend/mcc-1/leg-2", strings.Repeat("x", 500), "stonebend/mcc-1/leg-2", "stonebend/1/1"))
	}
	it := item(e, long, false)
	var got recordv1.Outcome
	if len(it.Outcome)+len(it.Entry) > store.MaxEntryBytes || proto.Unmarshal(it.Outcome, &got) != nil || len(got.GetConditions()) == 0 || got.GetIndex() != 7 {
		t.Errorf("%d bytes, %d conditions", len(it.Outcome), len(got.GetConditions()))
	}
	f, _ := open(t)
	f.Apply(&raft.Log{Index: 1, Type: raft.LogCommand, Data: batch(t, nil, ledger.DirectEntry([]byte("no record")))})
	if raw, err := f.history.Outcome(0); err != nil || proto.Unmarshal(raw, &got) != nil || got.GetAccepted() {
		t.Errorf("outcome %v %v", &got, err)
	}
}

// TestDamagedSnapshots: a snapshot that is cut off, of another release, or does
// not fit its own root is refused.
func TestDamagedSnapshots(t *testing.T) {
	f, _ := open(t)
	f.Apply(&raft.Log{Index: 9, Type: raft.LogCommand, Data: batch(t, nil, ledger.DirectEntry([]byte("no record")))})
	s, err := f.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	sink := &memorySink{}
	if err := s.Persist(sink); err != nil {
		t.Fatal(err)
	}
	whole := sink.Bytes()
	restored, _ := open(t)
	if err := restored.Restore(io.NopCloser(bytes.NewReader(whole))); err != nil {
		t.Fatal(err)
	}
	if restored.applied != 9 || restored.state.Root() != f.state.Root() || !restored.behind.Load() {
		t.Errorf("restored at %d, behind %v", restored.applied, restored.behind.Load())
	}
	other := bytes.Replace(bytes.Clone(whole), []byte(`"size":1`), []byte(`"size":2`), 1)
	for name, b := range map[string][]byte{"empty": nil, "cut off": whole[:len(whole)-1], "another name": append([]byte("x"), whole...), "another size": other} {
		if err := restored.Restore(io.NopCloser(bytes.NewReader(b))); err == nil {
			t.Errorf("%s: restored", name)
		}
	}
}

// TestNoSnapshotBehind: with a history that misses what a snapshot skipped nothing
// is saved, or raft would drop from its log what no history has: a quorum of such
// replicas lost acknowledged entries for good.
func TestNoSnapshotBehind(t *testing.T) {
	f, _ := open(t)
	f.Apply(&raft.Log{Index: 9, Type: raft.LogCommand, Data: batch(t, nil, ledger.DirectEntry([]byte("no record")))})
	s, err := f.Snapshot()
	sink := &memorySink{}
	if err := errors.Join(err, s.Persist(sink)); err != nil {
		t.Fatal(err)
	}
	behind, _ := open(t)
	if err := behind.Restore(io.NopCloser(bytes.NewReader(sink.Bytes()))); err != nil {
		t.Fatal(err)
	}
	behind.Apply(&raft.Log{Index: 10, Type: raft.LogCommand, Data: batch(t, nil, ledger.DirectEntry([]byte("another")))})
	if s, err = behind.Snapshot(); err != nil {
		t.Fatal(err)
	}
	if err := s.Persist(&memorySink{}); err == nil || !strings.Contains(err.Error(), "no snapshot is taken") {
		t.Errorf("a snapshot with a history of %d entries and a state of %d: %v", behind.history.Size(), behind.state.Size(), err)
	}
}

type memorySink struct{ bytes.Buffer }

func (*memorySink) ID() string    { return "memory" }
func (*memorySink) Cancel() error { return nil }
func (*memorySink) Close() error  { return nil }

// TestNothingNewIsNotSaved: a state that is in a snapshot already is not written
// again, however often raft asks; raft takes that answer in silence.
func TestNothingNewIsNotSaved(t *testing.T) {
	f, _ := open(t)
	add := func(index uint64) {
		f.Apply(&raft.Log{Index: index, Type: raft.LogCommand, Data: batch(t, nil, ledger.DirectEntry([]byte("no record")))})
	}
	add(7)
	var sink memorySink
	s, err := f.Snapshot()
	if err = errors.Join(err, s.Persist(&sink)); err != nil {
		t.Fatal(err)
	}
	other, _ := open(t)
	if err := other.Restore(io.NopCloser(bytes.NewReader(sink.Bytes()))); err != nil {
		t.Fatal(err)
	}
	for name, f := range map[string]*fsm{"written": f, "restored": other} {
		if _, err := f.Snapshot(); err != raft.ErrNothingNewToSnapshot {
			t.Errorf("%s, and asked again: %v", name, err)
		}
	}
	add(8)
	if _, err := f.Snapshot(); err != nil {
		t.Errorf("with a new entry: %v", err)
	}
}
