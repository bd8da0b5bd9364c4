package ledger_test

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestWorkUnderFumigant: a place under a fumigant is no place to work, also where
// its zone is none that people enter like a bin, 1910.272(g)(1)(iii).
func TestWorkUnderFumigant(t *testing.T) {
	for _, place := range []string{zone, "stonebend/leg"} {
		w, _ := ready(t)
		f := w.must(w.journal("stonebend", "mara", actFumigated(place))).GetRef()
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "FUMIGATED", place) {
			t.Errorf("%s is under a fumigant and work may start there: %v", place, cs)
		}
		if st := w.s.StageOf(w.s.Jobs["boot-1"]); st == recordv1.Stage_STAGE_WORK_MAY_START {
			t.Errorf("%s is under a fumigant and the stage is %v", place, st)
		}
		w.refusedWith(func() *recordv1.Outcome {
			w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 0)...)))
			w.must(w.journal("stonebend", "tomas", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH)))
			return w.issueHot("weld-1", hot())
		}(), "FUMIGATED")
		w.must(w.journal("stonebend", "mara", actFumigantCleared(f, 100)))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
			t.Errorf("%s is cleared and work waits: %v", place, cs)
		}
	}
}
