package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// approved is drawn with an approved procedure that ravi and lena have used, in a
// job that is closed.
func approved(t *testing.T) *world {
	t.Helper()
	w := drawn(t)
	w.joinPerson(person("wim", false, authorised))
	w.must(w.direct("mara", actProcedure(1)))
	w.must(w.direct("nia", actApprove(1)))
	w.must(w.journal("stonebend", "mara", w.job("boot-1", "ravi", feeder, control)))
	h := w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1"))).GetRef()
	w.must(w.journal("stonebend", "lena", actRelease(h)))
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	w.must(w.journal("stonebend", "mara", &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: "boot-1"}}}))
	return w
}

// decoded is the entry of signed bytes, at the world's time.
func (w *world) decoded(signed []byte) *ledger.Entry {
	w.t.Helper()
	raw, err := ledger.Stamp(ledger.DirectEntry(signed), w.now+1000)
	if err != nil {
		w.t.Fatal(err)
	}
	e, err := ledger.Decode(raw)
	if err != nil {
		w.t.Fatal(err)
	}
	return e
}

// TestInspector: an authorised employee who did not use the procedure in the period
// inspects, 1910.147(c)(6)(i)(A).
func TestInspector(t *testing.T) {
	w := approved(t)
	w.refusedWith(w.direct("ravi", actInspect(1, w.now, "lena")), ledger.InspectsOwnWork)
	w.refusedWith(w.direct("mara", actInspect(2, w.now, "ravi")), ledger.NotVersionInUse)
	w.refusedWith(w.direct("nia", actInspect(1, w.now, "ravi")), ledger.NotPermitted)
	w.refusedWith(w.direct("wim", actInspect(1, w.now, "ravi", "wim")), ledger.ReviewsOwnDuty)
	w.refusedWith(w.direct("wim", actInspect(1, w.now+day, "ravi")), ledger.NotYet)
	morning := w.s.Procs[zone].First.Time / day * day // a day alone means its beginning
	w.refusedWith(w.direct("wim", actInspect(1, morning-1, "ravi")), ledger.InspectedBeforeUse)
	if o := w.s.Clone().Apply(w.decoded(w.sign("wim", actInspect(1, morning, "ravi")))); !o.GetAccepted() {
		t.Errorf("inspected on the day it was approved: %v", o.GetConditions())
	}
	w.must(w.direct("nia", actTraining("wim", classAuthorised, 1, 2)))
	w.refusedWith(w.direct("wim", actInspect(1, w.now, "ravi")), ledger.TrainingLapsed)
	w.must(w.direct("nia", actTraining("wim", classAuthorised, w.now, w.now+2000*day)))
	bad := actInspect(1, w.now, "ravi")
	bad.GetInspectProcedure().Deviations = "the clamp was left out"
	w.refusedWith(w.direct("wim", bad), ledger.NotCorrected)
	if o := w.must(w.direct("wim", actInspect(1, w.now, "ravi"))); !flagged(o, ledger.ToReview) {
		t.Error("lena used it and was not reviewed, and the outcome says nothing")
	}
	if v := w.s.ProcedureView(zone, w.now); !slices.Equal(v.GetToReview(), []string{"lena"}) || v.GetInspector() != "wim" {
		t.Errorf("still to be reviewed: %v, inspector %s", v.GetToReview(), v.GetInspector())
	}
	bad.GetInspectProcedure().Corrected, bad.GetInspectProcedure().Retrain = "taught again", []string{"ravi"}
	bad.GetInspectProcedure().DateUnixMs, bad.GetInspectProcedure().Employees = w.now, []string{"lena"}
	w.must(w.direct("wim", bad))
	if v := w.s.ProcedureView(zone, w.now); len(v.GetToReview()) > 0 {
		t.Errorf("everybody was reviewed, and still: %v", v.GetToReview())
	}
	if w.s.People["ravi"].Retrain[zone] == nil {
		t.Error("the inspection asks for ravi's retraining, and he is not marked, (c)(7)(iii)(B)")
	}
	// A user of more than a year ago may inspect; one locked on now may not.
	w.now += 366 * day
	w.must(w.direct("nia", actTraining("ravi", classAuthorised, w.now, w.now+100*day, zone)))
	w.must(w.direct("ravi", actInspect(1, w.now, "lena")))
	w.must(w.journal("stonebend", "mara", w.job("boot-2", "wim", feeder, control)))
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-2")))
	w.must(w.direct("mara", actInspect(1, w.now, "lena")))
	w.now += 400 * day
	w.must(w.direct("nia", actTraining("ravi", classAuthorised, w.now, w.now+100*day, zone)))
	w.refusedWith(w.direct("ravi", actInspect(1, w.now, "lena")), ledger.InspectsOwnWork)
}

// TestInspectionDue: at least yearly, 1910.147(c)(6)(i): a year after the last, on
// the day itself still in time.
func TestInspectionDue(t *testing.T) {
	w := approved(t)
	first := w.s.Procs[zone].First.Time
	overdue := func(at int64) bool {
		for _, d := range w.s.Due(at) {
			if d.GetKind() == "inspection" && d.GetSubject() == zone {
				return d.GetOverdue()
			}
		}
		return false
	}
	// 2025-10-09 and 2026-10-09 are 365 days apart (GNU date).
	for _, from := range []int64{first, first + 200*day} {
		if from != first {
			w.now = from + 1000
			w.must(w.direct("wim", actInspect(1, from, "ravi", "lena")))
		}
		due := from + 365*day
		if v := w.s.ProcedureView(zone, w.now); v.GetInspectionDueUnixMs() != due {
			t.Errorf("due %d, want %d", v.GetInspectionDueUnixMs(), due)
		}
		if overdue(due-1) || overdue(due) || !overdue(due+1) {
			t.Errorf("overdue a moment before %v, at %v, a moment after %v", overdue(due-1), overdue(due), overdue(due+1))
		}
	}
}

// TestInspectionPeriod: the period is the year before or, where the last inspection
// is longer ago, since that one, 1910.147(c)(6)(i)(A).
func TestInspectionPeriod(t *testing.T) {
	w := approved(t)
	w.must(w.direct("wim", actInspect(1, w.now, "ravi")))
	w.now += 10 * day
	w.must(w.journal("stonebend", "mara", w.job("boot-2", "wim", feeder, control)))
	h := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "boot-2"))).GetRef()
	w.must(w.journal("stonebend", "tomas", actRelease(h)))
	w.now += 500 * day
	w.must(w.direct("nia", actTraining("tomas", classAuthorised, w.now, w.now+100*day)))
	w.refusedWith(w.direct("tomas", actInspect(1, w.now, "ravi")), ledger.InspectsOwnWork)
}
