package yard

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"yardhasp/ledger/seal"
)

// small is by how much a test's journal grows: so that every byte can be tried.
const small = 256

// journal makes n records of a yard, as a Yard would.
func journal(t *testing.T, n int) (Header, []Record) {
	t.Helper()
	w := newWorld(t)
	e := w.yards["eastfork"]
	for range n {
		e.lock("wanda", onPoint(leg))
	}
	return e.h, e.disk
}

func mustCreate(t *testing.T, dir string, h Header) *File {
	t.Helper()
	f, err := create(dir, h, small)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func mustAppend(t *testing.T, f *File, rs ...Record) {
	t.Helper()
	if err := f.Append(rs...); err != nil {
		t.Fatal(err)
	}
}

func mustClose(t *testing.T, f *File) {
	t.Helper()
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

func same(a, b []Record) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if !bytes.Equal(a[i].Sealed, b[i].Sealed) || a[i].RaftIndex != b[i].RaftIndex || b[i].Envelope.GetSeq() != a[i].Envelope.GetSeq() {
			return false
		}
	}
	return true
}

// image is the two files as they are at some moment.
type image struct{ journal, tail []byte }

func snap(t *testing.T, dir string) image {
	t.Helper()
	var im image
	var err error
	if im.journal, err = os.ReadFile(filepath.Join(dir, journalName)); err != nil {
		t.Fatal(err)
	}
	if im.tail, err = os.ReadFile(filepath.Join(dir, tailName)); err != nil {
		t.Fatal(err)
	}
	return im
}

func (im image) put(t *testing.T, dir string) {
	t.Helper()
	for name, b := range map[string][]byte{journalName: im.journal, tailName: im.tail} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// openImage opens a copy of an image and lets it go again.
func (im image) open(t *testing.T, dir string) ([]Record, error) {
	t.Helper()
	im.put(t, dir)
	f, rs, err := open(dir, Header{}, small)
	if err == nil {
		mustClose(t, f)
	}
	return rs, err
}

func TestReopen(t *testing.T) {
	h, rs := journal(t, 7)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	mustAppend(t, f, rs[0])
	mustAppend(t, f, rs[1:4]...)
	mustAppend(t, f)
	for n := 4; n < 7; n++ {
		mustClose(t, f)
		var got []Record
		var err error
		if f, got, err = open(dir, h, small); err != nil {
			t.Fatal(err)
		}
		if !same(got, rs[:n]) || f.Header().Incarnation != h.Incarnation || f.Header().Epoch != 1 {
			t.Fatalf("%d records came back, want %d", len(got), n)
		}
		if _, err := New(f.Header(), keyOf("eastfork"), got, "run1"); err != nil {
			t.Fatal(err)
		}
		mustAppend(t, f, rs[n])
	}
	mustClose(t, f)
	if err := f.Append(rs[6]); err == nil {
		t.Error("a closed journal took a record")
	}
}

// The slots are written in turn, so that a torn write leaves the mark before it.
func TestTailSlotsTakeTurns(t *testing.T) {
	h, rs := journal(t, 4)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	defer f.Close()
	for n, r := range rs {
		mustAppend(t, f, r)
		tail := snap(t, dir).tail
		a, okA := readSlot(tail[:slotBytes])
		b, okB := readSlot(tail[slotStep : slotStep+slotBytes])
		if !okA || !okB || a.Seq+b.Seq != uint64(2*n+1) {
			t.Fatalf("after %d records the slots hold %d (%v) and %d (%v)", n+1, a.Seq, okA, b.Seq, okB)
		}
	}
}

func TestAppendRefusesWhatDoesNotFollow(t *testing.T) {
	h, rs := journal(t, 3)
	f := mustCreate(t, t.TempDir(), h)
	defer f.Close()
	mustAppend(t, f, rs[0])
	if err := f.Append(rs[2]); err == nil {
		t.Fatal("a gap was written")
	}
	if err := f.Append(rs[1]); err == nil {
		t.Error("it took more after an error")
	}
}

func TestTwoOpeners(t *testing.T) {
	h, _ := journal(t, 0)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	if _, _, err := open(dir, h, small); err == nil || !strings.Contains(err.Error(), "in use by another process") {
		t.Errorf("a second opener: %v", err)
	}
	mustClose(t, f)
	f, _, err := open(dir, h, small)
	if err != nil {
		t.Fatal(err)
	}
	mustClose(t, f)
	if _, err := create(dir, h, small); err == nil || !strings.Contains(err.Error(), "there is a journal already") {
		t.Errorf("created over a journal: %v", err)
	}
}

func TestOpenAnotherJournal(t *testing.T) {
	h, _ := journal(t, 0)
	dir := t.TempDir()
	mustClose(t, mustCreate(t, dir, h))
	for name, want := range map[string]Header{
		"ledger": {Ledger: bytes.Repeat([]byte{9}, 32)}, "yard": {Yard: "millrow"}, "epoch": {Epoch: 2},
		"key": {Incarnation: seal.Fingerprint(public("millrow"))},
	} {
		if f, _, err := open(dir, want, small); err == nil {
			t.Errorf("another %s was taken", name)
			f.Close()
		}
	}
	if _, err := create(t.TempDir(), Header{Yard: "eastfork"}, small); err == nil {
		t.Error("a journal without a ledger was made")
	}
}

func TestFileCompaction(t *testing.T) {
	h, rs := journal(t, 6)
	y, err := New(h, keyOf("eastfork"), rs[:5], "run1")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	mustAppend(t, f, rs[:5]...)
	bigger := f.size
	h3, keep, ok := y.compaction(3)
	if !ok || len(keep) != 2 {
		t.Fatalf("%v, %d kept", ok, len(keep))
	}
	lost := h3
	lost.Compacted, lost.Hash = 4, seal.Edge{}.Root()
	for name, c := range map[string]struct {
		h    Header
		keep []Record
	}{"too few": {h3, keep[:1]}, "a gap": {h3, keep[1:]}, "a wrong hash": {lost, keep[1:]}, "another yard": {Header{Ledger: h.Ledger, Yard: "millrow", Epoch: 1, Incarnation: h.Incarnation}, keep}} {
		if err := f.Compact(c.h, c.keep); err == nil {
			t.Fatalf("%s: compacted", name)
		}
	}
	before := snap(t, dir)
	if err := f.Compact(h3, keep); err != nil {
		t.Fatal(err)
	}
	if f.size >= bigger {
		t.Errorf("%d bytes after compaction, %d before", f.size, bigger)
	}
	mustAppend(t, f, rs[5])
	mustClose(t, f)
	got, err := snap(t, dir).open(t, dir)
	if err != nil || !same(got, rs[3:]) {
		t.Fatalf("%d records, %v", len(got), err)
	}
	// A crash before the rename leaves the old journal and a stray new one.
	before.put(t, dir)
	if err := os.WriteFile(filepath.Join(dir, journalName+".new"), before.journal[:50], 0o600); err != nil {
		t.Fatal(err)
	}
	if got, err := before.open(t, dir); err != nil || !same(got, rs[:5]) {
		t.Fatalf("%d records, %v", len(got), err)
	}
	// All of it may go: the place, the hash and the raft index stay.
	f, _, err = open(dir, h, small)
	if err != nil {
		t.Fatal(err)
	}
	h5, keep, ok := y.compaction(5)
	if !ok || len(keep) != 0 {
		t.Fatalf("%v, %d kept", ok, len(keep))
	}
	if err := f.Compact(h5, keep); err != nil {
		t.Fatal(err)
	}
	mustClose(t, f)
	f, got, err = open(dir, h, small)
	if err != nil || len(got) != 0 || f.Header().Compacted != 5 || f.Header().RaftIndex != rs[4].RaftIndex || f.Header().Hash != h5.Hash {
		t.Fatalf("%d records, %+v, %v", len(got), f.Header(), err)
	}
	mustAppend(t, f, rs[5])
	mustClose(t, f)
}
