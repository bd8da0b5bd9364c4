package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestBadAirOutlivesItsJob: what was out of limits in a bin is so for a job opened
// after it as well: it is tested again, and the bin ventilated (1910.272(g)(1)(iii)).
func TestBadAirOutlivesItsJob(t *testing.T) {
	w, _, _ := readyBin(t)
	w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, bottom, values(h2s, 50_000)...)))
	w.must(w.journal("eastfork", "mara", actJob("crust-4", "ravi", binZone, binPlan...)))
	ask := func(id string) *recordv1.Outcome {
		b := bin()
		b.Ventilation = recordv1.Ventilation_VENTILATION_NONE
		return w.direct("nia", actIssueBin(id, "crust-4", w.now+60*minute, b))
	}
	o := ask("in-1")
	w.refusedWith(o, "AIR_OUT_OF_LIMITS")
	w.refusedWith(o, ledger.VentilationNeeded)
	w.must(w.journal("eastfork", "ravi", actAir("crust-4", binZone, bottom, values(h2s, 0)...)))
	o = ask("in-2")
	w.refusedWith(o, ledger.VentilationNeeded)
	if has(o.GetConditions(), "AIR_OUT_OF_LIMITS", "") {
		t.Error("tested good, and out of limits still")
	}
}
