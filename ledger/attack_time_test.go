package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestOpeningInThePast: the wait for stored energy does not run from a capture
// time that a slow or cheating clock put into the past.
func TestOpeningInThePast(t *testing.T) {
	w, _ := isolated(t)
	w.must(w.captured("stonebend", "ravi", start, w.actIsolate(feeder)))
	w.must(w.captured("millrow", "tomas", 1, w.actIsolate(control)))
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.WaitNotOver, bucket) {
		t.Errorf("released seconds after the opening, with a wait of 60 s: %v", cs)
	}
}

// TestReleaseNotKnowingAnOpening: the stored energy counts as released only after
// every opening of the plan, each as the releasing yard knew it; the one with the
// highest index does not stand for the others (decisions.md 18).
func TestReleaseNotKnowingAnOpening(t *testing.T) {
	w, _ := isolated(t)
	seen := w.s.Size()
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.now += 120_000
	w.must(w.behind("stonebend", "ravi", seen, actStored("boot-1", bucket)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.Stored, bucket) {
		t.Errorf("released by somebody who did not know the opening at millrow: %v", cs)
	}
}

// TestReadingFromTheOutbox: a reading taken before the lock or the opening and
// sent after it does not count, whatever a slow clock wrote on the opening.
func TestReadingFromTheOutbox(t *testing.T) {
	w, _ := ready(t)
	before := w.now
	w.now += 3_600_000
	w.must(w.captured("stonebend", "ravi", start, w.actIsolate(feeder)))
	w.must(w.journal("stonebend", "ravi", actTried(w.s.HoldsOn(feeder)[0].Ref)))
	w.must(w.captured("stonebend", "ravi", before, actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_PROVED", motor) {
		t.Errorf("a reading taken an hour before the opening counts: %v", cs)
	}
}

// TestReadingBeforeTheLock: taken while no lock hung there yet.
func TestReadingBeforeTheLock(t *testing.T) {
	w := drawn(t)
	w.openJob()
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	taken := w.now + 1000
	w.now += 600_000
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
	w.must(w.journal("millrow", "ravi", actLock(control, "ravi-2", "boot-1")))
	w.must(w.captured("stonebend", "ravi", taken, actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_PROVED", motor) {
		t.Errorf("a reading taken ten minutes before the first lock counts: %v", cs)
	}
}

// TestReadingFromTheFuture: a capture time an hour ahead of the ledger shows a
// clock that can't be trusted; under doubt a reading counts as expired.
func TestReadingFromTheFuture(t *testing.T) {
	w, _ := isolated(t)
	o := w.must(w.captured("stonebend", "ravi", w.now+3_600_000, actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)))
	if !flagged(o, "CLOCK_DOUBT") {
		t.Error("a reading from the future is not flagged")
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_PROVED", motor) {
		t.Errorf("a reading from the future counts: %v", cs)
	}
}

// TestReadingNotKnowingTheFault: a reading written at a yard that had not heard of
// something found live, or of its correction, proves nothing.
func TestReadingNotKnowingTheFault(t *testing.T) {
	w, _ := ready(t)
	seen := w.s.Size()
	f := w.must(w.journal("stonebend", "lena", actFoundLive("boot-1", motor))).GetRef()
	w.must(w.journal("stonebend", "ravi", actCorrect(f)))
	proofs, err := w.s.Graph().Proofs(zone, feeder, control)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range proofs {
		w.must(w.behind("eastfork", "ravi", seen, actReading("boot-1", p.Part, p.Medium, p.Kind, 0)))
	}
	w.must(w.behind("eastfork", "ravi", seen, actStored("boot-1", bucket)))
	cs := w.s.MissingForWork(w.s.Jobs["boot-1"])
	if !has(cs, "NOT_PROVED", motor) || !has(cs, "STORED", bucket) {
		t.Errorf("readings and a release that knew nothing of the fault count: %v", cs)
	}
}

// TestSecondRound: after the points were energised a new round of work needs its
// own notice and shut-down, 1910.147(c)(9), (d)(2), (f)(1)(v).
func TestSecondRound(t *testing.T) {
	w := released(t)
	w.approve("start-1", "boot-1", feeder, control)
	w.must(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)))
	w.must(w.journal("millrow", "tomas", actEnergise("start-1", control)))
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
	w.must(w.journal("millrow", "ravi", actLock(control, "ravi-2", "boot-1")))
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.prove()
	cs := w.s.MissingForWork(w.s.Jobs["boot-1"])
	if !has(cs, ledger.NotToldBefore, "dov") || !has(cs, "NOT_SHUT_DOWN", "") {
		t.Errorf("the notice and the shut-down of the round before still count: %v", cs)
	}
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	w.must(w.journal("stonebend", "ravi", actShutDown("boot-1")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
		t.Errorf("told and shut down again: %v", cs)
	}
}

// TestReadingNotKnowingTheLock: a lock on a box counts for a reading only when
// its taker's yard knew of the lock, not of the key in the box alone.
func TestReadingNotKnowingTheLock(t *testing.T) {
	w := drawn(t)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "stonebend/box-1", Holes: 6}}}))
	w.openJob()
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	w.must(w.journal("millrow", "ravi", actLock(control, "ravi-2", "boot-1")))
	w.must(w.journal("stonebend", "mara", actEquipment(feeder, "", w.now+1e9)))
	seen := w.s.Size()
	w.must(w.journal("millrow", "ravi", actLockBox("stonebend/box-1", "ravi-1", "boot-1")))
	w.must(w.behind("stonebend", "mara", seen, &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: "stonebend/box-1", Point: feeder}}}))
	meter := actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)
	w.must(w.behind("stonebend", "ravi", seen, meter))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_PROVED", motor) {
		t.Errorf("the reading counts although its taker knew of no lock on %s: %v", feeder, cs)
	}
	w.must(w.journal("stonebend", "ravi", meter))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, "NOT_PROVED", motor) {
		t.Errorf("taken again, knowing all, it does not count: %v", cs)
	}
}

// TestTrainingLapsesInRefusedEntry: time goes on in refused entries too, and what
// it ends is raised at once.
func TestTrainingLapsesInRefusedEntry(t *testing.T) {
	w, _ := ready(t)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "ravi", UntilUnixMs: w.now + 30_000, Qualified: true}}}))
	w.must(w.journal("stonebend", "ravi", actSignOn("boot-1")))
	w.now += 60_000
	w.refusedWith(w.journal("stonebend", "lena", actRelease("stonebend/1/9999")), "UNKNOWN_HOLD")
	if w.s.StageOf(w.s.Jobs["boot-1"]) != recordv1.Stage_STAGE_STOPPED {
		t.Error("ravi's training is over while he is in the zone, and nobody is told")
	}
	w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
	for _, a := range w.s.Alarms {
		if a.Code == string(ledger.Stopped) && !slices.Contains(code.Names(a.Finding, "people"), "lena") {
			t.Errorf("lena came in after the stop and is not named: %v", a.Finding)
		}
	}
}

// TestLockFromTheOutbox: a lock hung before the opening and sent after it is older
// than the opening: it counts once its owner has tried the handle against it.
func TestLockFromTheOutbox(t *testing.T) {
	w := drawn(t)
	w.openJob()
	hung := w.now
	w.now += 600_000
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	h := w.must(w.captured("stonebend", "ravi", hung, actLock(feeder, "ravi-1", "boot-1"))).GetRef()
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_TRIED", feeder) {
		t.Errorf("hung ten minutes before the opening, it counts without a try: %v", cs)
	}
	w.must(w.captured("stonebend", "ravi", hung, actTried(h)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_TRIED", feeder) {
		t.Errorf("a try from before the opening counts: %v", cs)
	}
	w.must(w.journal("stonebend", "ravi", actTried(h)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, "NOT_TRIED", feeder) {
		t.Errorf("the try does not count: %v", cs)
	}
}
