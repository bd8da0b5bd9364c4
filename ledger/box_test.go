package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const groupBox = "stonebend/box-1"

func actPut(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: groupBox, Point: point}}}
}

func actTake(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: groupBox, Point: point}}}
}

func (w *world) keyBox() {
	w.t.Helper()
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: groupBox, Holes: 6}}}))
}

// TestKeyOfNoLock: whoever locks a group box is protected by the lock on the point
// whose key is inside, 1910.147(f)(3)(ii)(D). Without one, with one that hung there
// only after the key went in, or once it is off, the box holds nothing: work may not
// start, the record and the lock say so, and no reading under it counts.
func TestKeyOfNoLock(t *testing.T) {
	w := drawn(t)
	w.keyBox()
	w.openJob()
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	holds := func(missing code.Code, what string) {
		t.Helper()
		cs := w.s.MissingForWork(w.s.Jobs["boot-1"])
		if missing != "" && !has(cs, missing, feeder) || missing == "" && code.Has(cs, ledger.HoldsNothing...) || has(cs, ledger.NoLock, feeder) {
			t.Errorf("%s: %v", what, cs)
		}
	}
	if o := w.must(w.journal("stonebend", "mara", actPut(feeder))); !flagged(o, ledger.KeyOfNoLock) {
		t.Errorf("a key of no lock goes in: %v", o.GetFlags())
	}
	o := w.must(w.journal("stonebend", "ravi", actLockBox(groupBox, "ravi-1", "boot-1")))
	if !flagged(o, ledger.KeyOfNoLock) || w.onBoard(o.GetRef()).GetGuards() {
		t.Errorf("the box is locked over a key of no lock: %v", o.GetFlags())
	}
	holds(ledger.KeyOfNoLock, "no lock on the point")
	w.inOrder(w.s.MissingForWork(w.s.Jobs["boot-1"]))
	ops := w.must(w.journal("stonebend", "mara", actLock(feeder, "", ""))).GetRef()
	holds(ledger.KeyOfOlderLock, "a lock hung later: the key inside is of another")

	w.must(w.journal("stonebend", "ravi", actRelease(o.GetRef())))
	w.must(w.journal("stonebend", "mara", actTake(feeder)))
	if o := w.must(w.journal("stonebend", "mara", actPut(feeder))); code.Has(o.GetFlags(), ledger.HoldsNothing...) {
		t.Errorf("the key of the lock that hangs there goes in: %v", o.GetFlags())
	}
	o = w.must(w.journal("stonebend", "ravi", actLockBox(groupBox, "ravi-1", "boot-1")))
	if code.Has(o.GetFlags(), ledger.HoldsNothing...) || !w.onBoard(o.GetRef()).GetGuards() {
		t.Errorf("the box is locked over the key of a lock: %v", o.GetFlags())
	}
	holds("", "the key of the lock is in the box")
	// Starts are refused under a lock on the box in any case: only work is not allowed.
	w.must(w.journal("stonebend", "mara", actRelease(ops)))
	holds(ledger.KeyOfNoLock, "the lock is off the point, its key recorded inside")
	if len(w.s.HoldsOn(feeder)) != 1 {
		t.Error("the lock on the box no longer stands against a start")
	}
}

// TestKeyOfAnotherJob: keys left in a box from another job, whose locks came off,
// hold nothing for the next one, though other locks hang on the points by then.
func TestKeyOfAnotherJob(t *testing.T) {
	w := drawn(t)
	w.keyBox()
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	first := w.must(w.journal("stonebend", "mara", actLock(feeder, "", ""))).GetRef()
	w.must(w.journal("stonebend", "mara", actPut(feeder)))
	w.must(w.journal("stonebend", "mara", actRelease(first)))
	w.openJob()
	w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1")))
	if o := w.must(w.journal("stonebend", "ravi", actLockBox(groupBox, "ravi-1", "boot-1"))); !flagged(o, ledger.KeyOfOlderLock) {
		t.Errorf("a key from another job counts: %v", o.GetFlags())
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.KeyOfOlderLock, feeder) {
		t.Errorf("ravi may work under lena's lock: %v", cs)
	}
}
