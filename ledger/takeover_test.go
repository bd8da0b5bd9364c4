package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func actTakeOver(job, from string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_TakeOver{TakeOver: &recordv1.TakeOver{Job: job, From: from}}}
}

// TestTakeOver: a job has one responsible employee at any moment, and the next one
// is protected before the last one goes, 1910.147(f)(3)(ii)(A) and (f)(4).
func TestTakeOver(t *testing.T) {
	w, holds := ready(t)
	w.refusedWith(w.together("tomas", actTakeOver("boot-1", "ravi")), ledger.NotAllLocked)
	w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "boot-1")))
	w.refusedWith(w.together("tomas", actTakeOver("boot-1", "ravi")), ledger.NotAllLocked)
	w.must(w.journal("millrow", "tomas", actLock(control, "tomas-2", "boot-1")))
	w.refusedWith(w.together("tomas", actTakeOver("boot-2", "ravi")), ledger.UnknownJob)
	w.refusedWith(w.together("ravi", actTakeOver("boot-1", "mara")), ledger.ResponsibleAlready)
	// Neither responsible nor a supervisor: lena's word is none.
	w.refusedWith(w.together("tomas", actTakeOver("boot-1", "lena")), ledger.NotTheirsToPass)
	// A contractor is not the co-op's authorised employee.
	w.refusedWith(w.together("lena", actTakeOver("boot-1", "ravi")), ledger.NotPermitted)
	// On one's own, without the other's signature.
	w.refusedWith(w.direct("tomas", actTakeOver("boot-1", "ravi")), ledger.WrongSignatures)
	w.must(w.together("tomas", actTakeOver("boot-1", "ravi")))
	if w.s.Jobs["boot-1"].Responsible != "tomas" || !w.mayStart() {
		t.Errorf("responsible: %s; %v", w.s.Jobs["boot-1"].Responsible, w.s.MissingForWork(w.s.Jobs["boot-1"]))
	}
	// From now the work does not hang on ravi's locks, and does on tomas's.
	for _, p := range []string{feeder, control} {
		w.must(w.journal("stonebend", "ravi", actRelease(holds["ravi "+p])))
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.NoLock, "") {
		t.Errorf("ravi has gone and the work waits for his locks: %v", cs)
	}
	// He is not there to sign: a supervisor does.
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-3", "boot-1")))
	w.must(w.journal("millrow", "ravi", actLock(control, "ravi-4", "boot-1")))
	w.must(w.together("ravi", actTakeOver("boot-1", "mara")))
	if w.s.Jobs["boot-1"].Responsible != "ravi" {
		t.Errorf("responsible: %s", w.s.Jobs["boot-1"].Responsible)
	}
}

// TestTakeOverNeedsTraining: at either side of the end of the training,
// 1910.147(c)(7)(i).
func TestTakeOverNeedsTraining(t *testing.T) {
	for _, c := range []struct {
		ends int64 // after the take-over's entry, in ms
		ok   bool
	}{{0, false}, {1, true}} {
		w, _ := ready(t)
		w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "boot-1")))
		w.must(w.journal("millrow", "tomas", actLock(control, "tomas-2", "boot-1")))
		w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "tomas", UntilUnixMs: w.now + 2000 + c.ends}}}))
		o := w.together("tomas", actTakeOver("boot-1", "ravi"))
		if o.GetAccepted() != c.ok {
			t.Errorf("training ends %d ms after: accepted %v, %v", c.ends, o.GetAccepted(), o.GetConditions())
		}
		if !c.ok {
			w.refusedWith(o, ledger.TrainingLapsed)
		}
	}
}
