package yard

import (
	"bytes"
	"errors"
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

// An acknowledged record is never lost in silence: whatever byte is flipped, the
// journal opens with all of them or not at all.
func TestFlippedByte(t *testing.T) {
	h, rs := journal(t, 2)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	mustAppend(t, f, rs[0])
	mustAppend(t, f, rs[1])
	end := int(f.end)
	mustClose(t, f)
	whole := snap(t, dir)
	broken := 0
	try := func(im image, name string, at int) {
		got, err := im.open(t, dir)
		var short *ShortenedError
		switch {
		case errors.As(err, &short):
			broken++
		case err != nil:
			t.Fatalf("%s byte %d: %v", name, at, err)
		case !same(got, rs):
			t.Fatalf("%s byte %d: %d records came back without a word", name, at, len(got))
		case name == "journal" && at < end:
			t.Fatalf("byte %d of the journal was flipped and nobody noticed", at)
		}
	}
	for at := range whole.journal {
		im := image{bytes.Clone(whole.journal), whole.tail}
		im.journal[at] ^= 0x40
		try(im, "journal", at)
	}
	for _, base := range []int{0, slotStep} {
		for at := base; at < base+slotBytes; at++ {
			im := image{whole.journal, bytes.Clone(whole.tail)}
			im.tail[at] ^= 0x40
			try(im, "tail mark", at)
		}
	}
	if broken < end {
		t.Errorf("%d of %d flips were noticed", broken, end)
	}
}

func TestShortened(t *testing.T) {
	h, rs := journal(t, 3)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	mustAppend(t, f, rs[0])
	older := snap(t, dir)
	mustAppend(t, f, rs[1])
	mustAppend(t, f, rs[2])
	end := int(f.end)
	mustClose(t, f)
	whole := snap(t, dir)
	var short *ShortenedError
	for n := range end {
		if got, err := (image{whole.journal[:n], whole.tail}).open(t, dir); !errors.As(err, &short) {
			t.Fatalf("cut to %d bytes: %d records, %v", n, len(got), err)
		}
		cut := make([]byte, len(whole.journal))
		copy(cut, whole.journal[:n])
		if _, err := (image{cut, whole.tail}).open(t, dir); !errors.As(err, &short) && n < end-1 {
			t.Fatalf("zeros from byte %d: %v", n, err)
		}
	}
	if _, err := (image{older.journal, whole.tail}).open(t, dir); !errors.As(err, &short) {
		t.Errorf("an older copy of the journal: %v", err)
	}
	if !strings.Contains(short.Error(), "lost disk") {
		t.Errorf("the error does not say what to do: %v", short)
	}
	for _, name := range []string{journalName, tailName} {
		whole.put(t, dir)
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		if _, _, err := open(dir, h, small); !errors.As(err, &short) {
			t.Errorf("without %s: %v", name, err)
		}
		if name == journalName {
			if _, err := create(dir, h, small); !errors.As(err, &short) {
				t.Errorf("begun anew over an acknowledged tail: %v", err)
			}
		}
	}
}

// Whole, chained and sealed, but not what was acknowledged: a restored image.
func TestAnotherRecordThanAcknowledged(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.lock("wanda", onPoint(leg))
	twin := &site{w: w, id: e.id, h: e.h, y: e.y.Clone(), disk: append([]Record(nil), e.disk...)}
	e.lock("wanda", onPoint(leg))
	twin.lock("walt", onPoint(leg))
	ours, theirs := t.TempDir(), t.TempDir()
	for dir, rs := range map[string][]Record{ours: e.disk, theirs: twin.disk} {
		f := mustCreate(t, dir, e.h)
		mustAppend(t, f, rs...)
		mustClose(t, f)
	}
	mixed := image{snap(t, theirs).journal, snap(t, ours).tail}
	var short *ShortenedError
	if _, err := mixed.open(t, ours); !errors.As(err, &short) || !strings.Contains(err.Error(), "not the one that was acknowledged") {
		t.Errorf("another record at the end: %v", err)
	}
}

// Decision 11: cut off, power lost, started again on what is on the disk and on
// the state from before, the yard promises at once.
func TestDecision11PowerLossWhileCutOff(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg)
	dir := t.TempDir()
	f, err := Create(dir, e.h)
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, f, e.disk...)
	signed := w.sign("wanda", lockAct(onPoint(leg)))
	eff, err := e.y.Capture(signed, w.now, "")
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, f, eff.Append...)
	mustClose(t, f)
	f, rs, err := Open(dir, Header{Yard: "eastfork"})
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	y, err := New(f.Header(), keyOf("eastfork"), rs, "run1")
	if err != nil {
		t.Fatal(err)
	}
	y.View(w.s.Clone(), uint64(len(w.entries)), w.now)
	again, err := y.Capture(signed, w.now, "")
	if err != nil || !again.Reply.Repeated {
		t.Fatalf("%+v, %v", again.Reply, err)
	}
	wantGrant(t, again.Reply, held, leg)
	eff, err = y.Capture(w.sign("walt", lockAct(onPoint(leg))), w.now, "")
	if err != nil {
		t.Fatal(err)
	}
	wantGrant(t, eff.Reply, held, leg)
	mustAppend(t, f, eff.Append...)
	y.Appended(eff.Reply.Seq)
	if got := y.Pending(); len(got) != 2 {
		t.Errorf("%d records to forward, want 2", len(got))
	}
}

// Every moment at which the power may fail while a third record is written: the
// journal's bytes up to some length, with every earlier tail mark and a torn one.
func TestCrashAtEveryWrite(t *testing.T) {
	h, rs := journal(t, 3)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	stages := []image{snap(t, dir)}
	ends := []int{int(f.end)}
	for _, r := range rs {
		mustAppend(t, f, r)
		stages = append(stages, snap(t, dir))
		ends = append(ends, int(f.end))
	}
	mustClose(t, f)
	whole := stages[3].journal
	for acked := range 3 { // acked records, the next one being written
		for n := ends[acked]; n <= ends[acked+1]; n++ {
			tails := [][]byte{stages[acked].tail}
			if n == ends[acked+1] { // the journal was synced: now the mark is being written
				next := stages[acked+1].tail
				for cut := 0; cut <= slotBytes; cut += 4 {
					torn := bytes.Clone(stages[acked].tail)
					for _, base := range []int{0, slotStep} {
						copy(torn[base:base+cut], next[base:base+cut])
					}
					tails = append(tails, torn)
				}
			}
			for _, tail := range tails {
				for _, length := range []int{n, len(whole)} {
					j := make([]byte, length)
					copy(j, whole[:n])
					got, err := image{j, tail}.open(t, dir)
					if err != nil {
						t.Fatalf("%d acknowledged, %d bytes: %v", acked, n, err)
					}
					if len(got) < acked || !same(got, rs[:len(got)]) || len(got) > acked+1 {
						t.Fatalf("%d acknowledged, %d bytes: %d records", acked, n, len(got))
					}
					if len(got) == acked+1 && n < ends[acked+1]-1 {
						t.Fatalf("%d acknowledged: a torn record came back", acked)
					}
				}
			}
		}
	}
}

// What was cut off leaves nothing behind, and a kept record is acknowledged from
// then on.
func TestAfterACrashItGoesOn(t *testing.T) {
	h, rs := journal(t, 4)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	mustAppend(t, f, rs[0])
	one := snap(t, dir)
	mustAppend(t, f, rs[1:]...)
	mustClose(t, f)
	four := snap(t, dir)
	torn := bytes.Clone(four.journal)
	torn[len(one.journal)-1] ^= 1 // somewhere in records 2 to 4
	image{torn, one.tail}.put(t, dir)
	f, got, err := open(dir, h, small)
	if err != nil || len(got) >= 4 {
		t.Fatalf("%d records, %v", len(got), err)
	}
	if left := snap(t, dir).journal[f.end:]; len(bytes.Trim(left, "\x00")) > 0 {
		t.Error("the torn bytes are still there")
	}
	for _, r := range rs[len(got):] {
		mustAppend(t, f, r)
	}
	mustClose(t, f)
	if got, err := snap(t, dir).open(t, dir); err != nil || !same(got, rs) {
		t.Fatalf("%d records, %v", len(got), err)
	}
	// Whole records beyond the mark are kept, and may be forwarded: losing one
	// after that is noticed.
	if got, err := (image{four.journal, one.tail}).open(t, dir); err != nil || !same(got, rs) {
		t.Fatalf("%d records, %v", len(got), err)
	}
	var short *ShortenedError
	if _, err := (image{one.journal, snap(t, dir).tail}).open(t, dir); !errors.As(err, &short) {
		t.Errorf("a kept record was lost in silence: %v", err)
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
