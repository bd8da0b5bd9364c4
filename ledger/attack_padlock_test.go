package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// unfit reports whether a lock on a point counts as nobody's own for this reason.
func unfit(cs []*recordv1.Finding, point string, why code.Code) bool {
	return slices.ContainsFunc(cs, func(f *recordv1.Finding) bool {
		return code.Is(f, ledger.UnfitPadlock) && f.GetSubject() == point && slices.ContainsFunc(f.GetArgs(), func(a *recordv1.Arg) bool { return code.Has(a.GetFindings(), why) })
	})
}

// TestOnePadlockInTwoPlaces: one padlock hangs in one place: recorded in two, it
// stands for a lock in neither until one record is ended, 1910.147(c)(5)(ii).
func TestOnePadlockInTwoPlaces(t *testing.T) {
	w, holds := ready(t)
	w.must(w.journal("millrow", "ravi", actRelease(holds["ravi "+control])))
	h := w.must(w.journal("millrow", "ravi", actLock(control, "ravi-1", "boot-1"))).GetRef()
	w.prove()
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !unfit(cs, feeder, ledger.TwoPlaces) || !unfit(cs, control, ledger.TwoPlaces) {
		t.Errorf("ravi's one padlock is recorded on both points and work may start: %v", cs)
	}
	w.must(w.journal("millrow", "ravi", actRelease(h)))
	w.must(w.journal("millrow", "ravi", actLock(control, "ravi-2", "boot-1")))
	w.prove()
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
		t.Errorf("each point has a padlock of its own, and work waits: %v", cs)
	}
}

// TestNoPersonalPadlock: each person at risk has a personal lock, 1910.147(d)(4)(i),
// that is used for nothing else, (c)(5)(ii): what another can open, or does not hang
// there, is none. A padlock flagged by common practice alone stops nothing.
func TestNoPersonalPadlock(t *testing.T) {
	report := func(k recordv1.PadlockTrouble) func(w *world) {
		return func(w *world) { w.must(w.direct("dov", actReport("r-9", k))) }
	}
	for _, c := range []struct {
		name  string
		code  code.Code
		kind  recordv1.PadlockKind
		owner string
		then  func(w *world)
	}{
		{"one's own", "", 0, "ravi", nil},
		{"keyed alike", "KEYED_ALIKE", recordv1.PadlockKind_PADLOCK_KIND_KEYED_ALIKE, "ravi", nil},
		{"by numbers", "COMBINATION", recordv1.PadlockKind_PADLOCK_KIND_COMBINATION, "ravi", nil},
		{"a yard's", "EQUIPMENT_PADLOCK", recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT, "ravi", nil},
		{"another's", "OTHERS_PADLOCK", 0, "lena", nil},
		{"for something else", "OTHER_USE", 0, "ravi", report(recordv1.PadlockTrouble_PADLOCK_TROUBLE_OTHER_USE)},
		{"lost", "LOCK_LOST", 0, "ravi", report(recordv1.PadlockTrouble_PADLOCK_TROUBLE_LOCK_LOST)},
		{"its key lost", "", 0, "ravi", report(recordv1.PadlockTrouble_PADLOCK_TROUBLE_KEY_LOST)},
	} {
		w, holds := ready(t)
		w.padlock(&recordv1.RegisterPadlock{Serial: "r-9", Owner: c.owner, KeysCut: 1, Kind: c.kind})
		h := w.must(w.journal("stonebend", "ravi", actLock(feeder, "r-9", "boot-1"))).GetRef()
		if c.then != nil {
			c.then(w)
		}
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
			t.Errorf("%s: it hangs beside ravi's own lock, and work waits: %v", c.name, cs)
		}
		w.must(w.journal("stonebend", "ravi", actRelease(holds["ravi "+feeder])))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); c.code != "" && !unfit(cs, feeder, c.code) || c.code == "" && len(cs) > 0 {
			t.Errorf("%s: it alone is ravi's lock; missing: %v", c.name, cs)
		}
		if !w.s.Holds[h].Active() {
			t.Errorf("%s: the lock is not taken", c.name)
		}
	}
}
