package ledger_test

import (
	"fmt"
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestNotesDoNotGrowTheState: notes that count for nothing leave nothing behind
// in the state, however many arrive (design.md: current state is small).
func TestNotesDoNotGrowTheState(t *testing.T) {
	w, _ := ready(t)
	before := len(w.s.AppendCanonical(nil))
	for i := range 60 {
		n := fmt.Sprintf("x-%d", i)
		w.must(w.journal("stonebend", "ravi", actReading("boot-1", "stonebend/"+n, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)))
		w.must(w.journal("stonebend", "ravi", actStored("boot-1", "stonebend/"+n)))
		w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, n)))
		w.must(w.journal("stonebend", "ravi", actReading("boot-1", "stonebend/"+n, recordv1.Medium_MEDIUM_AIR, recordv1.ReadingKind_READING_KIND_SIGHT, 0)))
	}
	// The envelopes' hashes of one yard, bounded by themselves, are about 4 KB.
	if grown := len(w.s.AppendCanonical(nil)) - before; grown > 6_000 {
		t.Errorf("240 notes that count for nothing left %d bytes in the state", grown)
	}
}

// TestPruneKeepsWhoIsInside: a closed job leaves the state at a fixed distance,
// but not while somebody who came to the ledger late is signed on to its zone.
func TestPruneKeepsWhoIsInside(t *testing.T) {
	w := released(t)
	w.must(w.journal("stonebend", "mara", actJob("paint-1", "tomas", zone, feeder, control)))
	seen := w.s.Size()
	w.must(w.journal("stonebend", "mara", actClose("paint-1")))
	w.must(w.journal("stonebend", "ravi", actClose("boot-1")))
	on := w.must(w.behind("millrow", "lena", seen, actSignOn("boot-1"))).GetRef()
	junk, err := ledger.Decode([]byte{0xff})
	if err != nil {
		t.Fatal(err)
	}
	// decisions.md 24 fixes a distance; it is 10,000 entries.
	for range 10_100 {
		w.s.Apply(junk)
	}
	if w.s.Jobs["paint-1"] != nil {
		t.Error("a closed job nobody is on stays for ever")
	}
	if w.s.Jobs["boot-1"] == nil {
		t.Fatal("lena is signed on to boot-1, and the ledger forgot where that is")
	}
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	for range 10_100 {
		w.s.Apply(junk)
	}
	if w.s.Jobs["boot-1"] != nil || w.s.SignOns[on] != nil {
		t.Error("the job or the sign-on that ended stays for ever")
	}
}

// BenchmarkApply is one lock on a state with many jobs, locks and ended locks.
func BenchmarkApply(b *testing.B) {
	w := drawn(b)
	for i := range 20 {
		id := fmt.Sprintf("job-%d", i)
		w.must(w.journal("stonebend", "mara", actJob(id, "ravi", zone, feeder, control)))
		for range 5 {
			w.must(w.journal("stonebend", "tomas", actLock(feeder, "", id)))
		}
	}
	for range 3000 {
		w.must(w.journal("stonebend", "tomas", actRelease(w.must(w.journal("stonebend", "tomas", actLock(control, "", ""))).GetRef())))
	}
	for b.Loop() {
		w.must(w.journal("stonebend", "tomas", actRelease(w.must(w.journal("stonebend", "tomas", actLock(control, "", ""))).GetRef())))
	}
}

// TestTextsStayInTheirLine: no text can draw a line of its own on a screen.
func TestTextsStayInTheirLine(t *testing.T) {
	for _, bad := range []string{"boot\x1b[2JWORK MAY START", "boot\nWORK MAY START", "boot\u202eTRATS", "boot\u2028WORK MAY START"} {
		w := drawn(t)
		act := actJob("boot-2", "ravi", zone, feeder, control)
		act.GetOpenJob().Purpose = bad
		w.refusedWith(w.journal("stonebend", "mara", act), ledger.BadField)
	}
	w := drawn(t)
	act := actJob("boot-2", "ravi", zone, feeder, control)
	act.GetOpenJob().Purpose = "clear the plugged boot – 2 m³ of corn"
	w.must(w.journal("stonebend", "mara", act))
}
