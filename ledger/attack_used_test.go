package ledger_test

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Whoever uses a procedure is retrained when it changes, 1910.147(c)(7)(iii): its
// users are also those who become responsible for the work, and those found inside.

func (w *world) retrainedOnApproval(who string) {
	w.t.Helper()
	w.must(w.direct("mara", actProcedure(1)))
	w.must(w.direct("nia", actApprove(1)))
	if w.s.People[who].Retrain[zone] == nil {
		w.t.Errorf("the procedure of %s changed, and %s is not to be retrained on it", zone, who)
	}
}

// TestTakeOverUses: the locks of who takes over name another job, on another zone.
func TestTakeOverUses(t *testing.T) {
	w := drawnWithMain(t)
	w.openJob()
	w.must(w.journal("stonebend", "mara", actJob("room-1", "mara", room, main1)))
	w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "room-1")))
	w.must(w.journal("millrow", "tomas", actLock(control, "tomas-2", "room-1")))
	w.must(w.together("tomas", actTakeOver("boot-1", "ravi")))
	w.retrainedOnApproval("tomas")
}

// TestFoundInsideUses: a walkdown found them inside, by no sign-on of their own.
func TestFoundInsideUses(t *testing.T) {
	w := drawnWithMain(t).managed()
	w.openJob()
	r := w.walkdown("second disk")
	r.Inside = []*recordv1.WalkedPerson{{Person: "tomas", Job: "boot-1"}}
	w.recover(r, "second disk")
	w.retrainedOnApproval("tomas")
}

// TestRetrainedOnARenamedZone: a revision gives a zone another name. Whoever used it is
// to be retrained on it by that name as well (1910.147(c)(7)(iii)).
func TestRetrainedOnARenamedZone(t *testing.T) {
	w := drawnWithMain(t)
	w.openJob()
	d := withMain(3)
	d.Zones[0].Name = "boot-of-leg-1"
	w.must(w.publish("nia", d))
	w.must(w.journal("stonebend", "mara", actJob("boot-2", "ravi", "stonebend/boot-of-leg-1", feeder, control)))
	w.must(w.journal("stonebend", "mara", actJob("room-1", "ravi", room, main1)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-2"]); !has(cs, "RETRAIN", "ravi") {
		t.Error("ravi used the zone by its old name, and need not be retrained")
	}
	if cs := w.s.MissingForWork(w.s.Jobs["room-1"]); has(cs, "RETRAIN", "") {
		t.Error("to be retrained on a zone that nothing changed")
	}
	w.must(w.direct("nia", actTraining("ravi", recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED, w.now, w.now+1e12, "stonebend/boot-of-leg-1")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-2"]); has(cs, "RETRAIN", "") {
		t.Error("retrained, and it stands against the work")
	}
}
