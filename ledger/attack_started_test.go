package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestFoundStarted: a start made without the ledger makes the points of the yard
// that records it live, is raised everywhere, and is never an approval (design.md,
// The fine print; protocol.md C4).
func TestFoundStarted(t *testing.T) {
	w, _ := ready(t)
	seq := w.s.Yards["stonebend"].Drained + 1
	o := w.must(w.journal("stonebend", "dov", actFoundStarted("the leg was jogged", feeder, control, "stonebend/no/such")))
	if p := w.s.Points[feeder]; !p.Live || p.Moved != (ledger.Moved{Epoch: 1, Seq: seq}) || !p.Closed.Set() {
		t.Errorf("%s after a start was found: %+v", feeder, p)
	}
	if p := w.s.Points[control]; p.Live || p.Moved.Seq != 0 {
		t.Errorf("another yard's journal decides about %s: %+v", control, p)
	}
	if !flagged(o, ledger.StartedPointElsewhere) || !flagged(o, ledger.StartedPointUnknown) {
		t.Errorf("flags %v", o.GetFlags())
	}
	said := w.raised(ledger.FoundStarted, o.GetRef())
	if !slices.Equal(code.Names(said, "finder"), []string{"dov"}) || !slices.Equal(code.Names(said, "holders"), []string{"lena", "ravi"}) {
		t.Errorf("the alarm says %v", said)
	}
	if len(w.s.Reqs) != 0 || w.s.StageOf(w.s.Jobs["boot-1"]) == recordv1.Stage_STAGE_ENERGISED {
		t.Error("it reads as an approved start")
	}
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.prove()
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "FOUND_STARTED", o.GetRef()) {
		t.Errorf("opened again, cause unknown, and work may go on: %v", cs)
	}
	w.refusedWith(w.journal("stonebend", "tomas", actCorrect(o.GetRef())), "NOT_PERMITTED")
	w.must(w.journal("stonebend", "ravi", actCorrect(o.GetRef())))
	if alarmed(w.s, "FOUND_STARTED", "") != "" || len(w.s.Started) != 0 {
		t.Error("corrected, and the alarm stands")
	}
	w.refusedWith(w.journal("stonebend", "ravi", actCorrect(o.GetRef())), "UNKNOWN_FOUND_LIVE")
}

// TestFoundStartedElsewhere: told of at another yard, it stops work at once and
// voids every reading from before its correction; the point is live once its own
// yard says so.
func TestFoundStartedElsewhere(t *testing.T) {
	w, _ := ready(t)
	o := w.must(w.journal("eastfork", "lena", actFoundStarted("heard the leg run", feeder)))
	if w.s.Points[feeder].Live || w.s.Points[feeder].Moved.Seq != 0 {
		t.Error("eastfork's journal moved stonebend's point")
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "FOUND_STARTED", o.GetRef()) {
		t.Errorf("work may go on: %v", cs)
	}
	w.must(w.journal("stonebend", "ravi", actCorrect(o.GetRef())))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_PROVED", motor) {
		t.Errorf("readings from before the start still count: %v", cs)
	}
	w.must(w.journal("stonebend", "dov", actFoundClosed(feeder)))
	if !w.s.Points[feeder].Live {
		t.Error("found closed at home, and not live")
	}
}

// TestFoundStartedOfNothingKnown: nobody knows by what; it is raised all the same,
// and the state restores with it.
func TestFoundStartedOfNothingKnown(t *testing.T) {
	w, _ := ready(t)
	o := w.must(w.journal("millrow", "dov", actFoundStarted("the drag moved")))
	again, err := ledger.Restore(w.s.AppendCanonical(nil))
	if err != nil {
		t.Fatal(err)
	}
	if !code.Has(again.Board("stonebend", w.now).GetRaised(), ledger.FoundStarted) || again.Started[o.GetRef()] == nil {
		t.Error("it is not raised at the other yard, or was lost by a restart")
	}
	if v := again.JobView("boot-1", w.now); !has(v.GetRaised(), ledger.FoundStarted, o.GetRef()) {
		t.Errorf("the job does not show it: %v", v.GetRaised())
	}
}
