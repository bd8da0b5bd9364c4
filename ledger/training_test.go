package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	classAuthorised = recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED
	classGrain      = recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING
	classBin        = recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY
)

// TestTrainingClasses: each class is current by itself until its date, 1910.147(c)(7)(i)
// and (ii), 1910.272(e)(2).
func TestTrainingClasses(t *testing.T) {
	w := coop(t)
	until := w.now + 100*day
	w.must(w.direct("nia", actTraining("tomas", classBin, w.now, until)))
	if !w.s.TrainedIn("tomas", classBin, until-1) || w.s.TrainedIn("tomas", classBin, until) {
		t.Error("bin-entry training is not current exactly until its date")
	}
	if w.s.TrainedIn("tomas", classGrain, w.now) || w.s.TrainedIn("nobody", classBin, w.now) {
		t.Error("training of one class passes for another, or for nobody")
	}
	if !w.s.People["tomas"].Has(authorised) || w.s.People["tomas"].TrainedUntil == until {
		t.Error("bin-entry training changed until when he is an authorised employee")
	}
	w.must(w.direct("nia", actTraining("tomas", classAuthorised, w.now, until+1)))
	if !w.s.TrainedIn("tomas", classAuthorised, until) || w.s.TrainedIn("tomas", classAuthorised, until+1) {
		t.Error("authorised training is not current exactly until its date")
	}
	meter := actTraining("tomas", classAuthorised, w.now, until)
	meter.GetRecordTraining().Qualified = true
	w.must(w.direct("nia", meter))
	if !w.s.People["tomas"].Qualified {
		t.Error("he may test electrical parts now, and it is not kept")
	}
	w.must(w.direct("nia", actTraining("tomas", classBin, w.now, until)))
	if !w.s.People["tomas"].Qualified {
		t.Error("bin-entry training took away that he may test electrical parts")
	}
	w.refusedWith(w.direct("nia", actTraining("nia", classBin, w.now, until)), ledger.OwnTraining)
	w.refusedWith(w.direct("nia", actTraining("tomas", classBin, w.now+day, until)), ledger.NotYet)
}

// TestYearlyTraining: grain-handling training is given at least every year,
// 1910.272(e)(1): exactly a year is taken, a millisecond more is not.
func TestYearlyTraining(t *testing.T) {
	w := coop(t)
	done, year := int64(1_709_164_800_000), int64(1_740_700_800_000) // 2024-02-29 and 2025-02-28, 00:00 UTC (GNU date)
	w.must(w.direct("nia", actTraining("tomas", classGrain, done, year)))
	w.refusedWith(w.direct("nia", actTraining("tomas", classGrain, done, year+1)), ledger.TrainingTooLong)
	done, year = int64(1_727_740_800_000), int64(1_759_276_800_000) // 2024-10-01 and 2025-10-01 (GNU date)
	w.must(w.direct("nia", actTraining("tomas", classGrain, done, year)))
	w.refusedWith(w.direct("nia", actTraining("tomas", classGrain, done, year+1)), ledger.TrainingTooLong)
}

// TestRetrainOnDrawing: a revision that changes what isolates a zone marks who used
// it; until they are retrained a lock of theirs is recorded and flagged, and work
// may not start, 1910.147(c)(7)(iii).
func TestRetrainOnDrawing(t *testing.T) {
	w, _ := ready(t)
	same, _ := drawings()
	same.Revision = 2
	same.Title = "the same, drawn anew"
	w.must(w.publish("nia", same))
	w.must(w.walk("ravi", "stonebend"))
	if len(w.s.People["ravi"].Retrain) > 0 || has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.RetrainOn, "") {
		t.Fatal("a revision that changes nothing about the zone asks for retraining")
	}
	w.must(w.publish("nia", withMain(3)))
	w.must(w.walk("ravi", "stonebend"))
	if !has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.RetrainOn, "ravi") {
		t.Error("ravi used the zone's isolation, it changed, and he need not be retrained")
	}
	if len(w.s.People["tomas"].Retrain) > 0 {
		t.Error("tomas never used it and is to be retrained")
	}
	o := w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1")))
	if !flagged(o, ledger.RetrainOn) || !w.s.Holds[o.GetRef()].Active() {
		t.Error("a lock of somebody who is to be retrained must count, and be flagged")
	}
	// Training that was given before the change is none; without naming the zone it
	// is a renewal.
	w.refusedWith(w.direct("nia", actTraining("ravi", classAuthorised, w.now-day, w.now+day, zone)), ledger.BeforeTheChange)
	w.must(w.direct("nia", actTraining("ravi", classAuthorised, w.now, w.now+day)))
	if !has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.RetrainOn, "ravi") {
		t.Error("a renewal that names no zone counts as retraining on it")
	}
	w.must(w.direct("nia", actTraining("ravi", classAuthorised, w.now, w.now+day, zone)))
	if has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.RetrainOn, "ravi") {
		t.Error("ravi was retrained and still may not work")
	}
	if o := w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1"))); flagged(o, ledger.RetrainOn) {
		t.Error("ravi was retrained and his lock is still flagged")
	}
}

// TestDueList: what is due comes with its date, the overdue first, 1910.147(c)(7)(iv).
func TestDueList(t *testing.T) {
	w := coop(t)
	soon := w.now + 10*day
	w.must(w.direct("nia", actTraining("tomas", classBin, w.now, soon)))
	find := func(at int64) *recordv1.DueView {
		due := w.s.Due(at)
		if !slices.IsSortedFunc(due, func(a, b *recordv1.DueView) int {
			switch {
			case a.GetOverdue() == b.GetOverdue():
				return 0
			case a.GetOverdue():
				return -1
			}
			return 1
		}) {
			t.Error("something overdue stands behind something that is not")
		}
		for _, d := range due {
			if d.GetSubject() == "tomas" && code.Is(d.GetDue(), ledger.TrainingDue) && d.GetDue().GetArgs()[1].GetText() == "bin-entry" {
				return d
			}
		}
		return nil
	}
	if d := find(soon - 30*day - 1); d != nil {
		t.Errorf("due more than 30 days ahead: %v", d)
	}
	if d := find(soon - 30*day); d == nil || d.GetOverdue() || d.GetDueUnixMs() != soon {
		t.Errorf("30 days ahead: %v", d)
	}
	if d := find(soon - 1); d.GetOverdue() {
		t.Error("overdue before its time")
	}
	if d := find(soon); !d.GetOverdue() || code.ClauseOf(d.GetDue()) != "1910.272(e)(2)" {
		t.Errorf("at its time: %v", d)
	}
	if !slices.ContainsFunc(w.s.Board("", w.now).GetDue(), func(d *recordv1.DueView) bool {
		return d.GetSubject() == "dov" && code.Is(d.GetDue(), ledger.TrainingMissing) && d.GetDue().GetArgs()[1].GetText() == "affected"
	}) {
		t.Error("dov is an affected employee, nobody recorded his training, and the board says nothing")
	}
	if _, err := ledger.Restore(w.s.AppendCanonical(nil)); err != nil {
		t.Error(err)
	}
}

// TestGapsInTheProgram: a zone on a drawing without an approved procedure is a gap in
// the program, 1910.147(c)(1) and (c)(4)(i), until a second person approves one.
func TestGapsInTheProgram(t *testing.T) {
	gap := func(w *world) bool {
		return slices.ContainsFunc(w.s.Due(w.now), func(d *recordv1.DueView) bool {
			return d.GetKind() == "procedure" && d.GetSubject() == zone && d.GetOverdue() && code.ClauseOf(d.GetDue()) == "1910.147(c)(4)(i)"
		})
	}
	w := drawn(t)
	if !gap(w) {
		t.Errorf("%s has no procedure, and nothing says so: %v", zone, w.s.Due(w.now))
	}
	if w = approved(t); gap(w) {
		t.Errorf("%s has an approved procedure and is a gap", zone)
	}
}
