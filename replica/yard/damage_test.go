package yard

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

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
	eff, err := capture(e.y, signed, w.now, "")
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
	again, err := capture(y, signed, w.now, "")
	if err != nil || !again.Reply.Repeated {
		t.Fatalf("%+v, %v", again.Reply, err)
	}
	wantGrant(t, again.Reply, held, leg)
	eff, err = capture(y, w.sign("walt", lockAct(onPoint(leg))), w.now, "")
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

// Decision 11 after a compaction: what went from the journal went because a newer
// state had it, so the journal rests on that state and no longer on the one its
// records were based on. A restart with all that it rests on promises at once
// (found by TestExplore).
func TestDecision11PowerLossAfterACompaction(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg)
	before := len(w.entries)
	for range keepDrained + 2 {
		e.lock("wanda", onPoint(leg))
	}
	w.settle()
	at := uint64(len(w.entries))
	h, keep, ok := e.y.Compaction(1 << 40)
	if !ok || h.Compacted == 0 || len(keep) != keepDrained {
		t.Fatalf("%v: compacted to %d, %d kept", ok, h.Compacted, len(keep))
	}
	if got := keep[len(keep)-1].RaftIndex; got != uint64(before) {
		t.Fatalf("the last record is based on %d, want %d", got, before)
	}
	e.h, e.disk = h, keep
	e.restart("run1")
	floor := h.Floor(keep)
	if floor != at {
		t.Errorf("the journal rests on raft index %d, want %d, at which it was compacted", floor, at)
	}
	e.see(w.stateAt(int(floor)), floor)
	if ok, why := e.y.Serving(); !ok {
		t.Fatal(why)
	}
	wantGrant(t, e.lock("walt", onPoint(leg)), held, leg)
}
