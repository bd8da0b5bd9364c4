package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// ago applies what f records as if the yard and its people wrote it down that long
// ago, by their clocks, and the record came only now.
func (w *world) ago(ms int64, f func() *recordv1.Outcome) *recordv1.Outcome {
	w.t.Helper()
	w.now -= ms
	o := f()
	w.now += ms
	return o
}

// TestBadAirUnderAnotherJob: bad air is in the zone, whichever job the record
// names; 1910.272(g)(1)(iii) asks about the air of the bin.
func TestBadAirUnderAnotherJob(t *testing.T) {
	bad := values(co2, 6_000_000)
	for _, c := range []struct {
		name, job string
	}{{"a job on the same bin", "sweep-3"}, {"a job elsewhere", "boot-9"}, {"no job at all", "crust-33"}} {
		t.Run(c.name, func(t *testing.T) {
			w, _, _, _ := inside(t)
			w.must(w.journal("eastfork", "mara", actJob("sweep-3", "ravi", binZone, binPlan...)))
			w.must(w.journal("eastfork", "mara", actJob("boot-9", "ravi", "eastfork/desk", binPlan[2])))
			w.must(w.journal("eastfork", "dov", actAir(c.job, binZone, bottom, bad...)))
			if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
				t.Errorf("bad air in the bin, recorded for %s, and the permit is %v", c.job, st)
			}
		})
	}
	// Good air of a bin says nothing for a job of another name.
	w, _ := isolatedBin(t)
	w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER)))
	w.must(w.journal("eastfork", "mara", actJob("sweep-3", "ravi", binZone, binPlan...)))
	for _, l := range []recordv1.AirLevel{top, middle, bottom} {
		w.must(w.journal("eastfork", "ravi", actAir("sweep-3", binZone, l, clean()...)))
	}
	w.refusedWith(w.issueBin("in-1", bin()), "AIR_NOT_TESTED")
}

// TestOlderBadAirHidesNewer: a yard that was cut off brings an older bad value and
// the good one that followed it; between them they can't stand in for a bad value
// that was read elsewhere meanwhile, and that neither knew of.
func TestOlderBadAirHidesNewer(t *testing.T) {
	w, _, _ := readyBin(t)
	seen := w.s.Size()
	w.now += 10 * minute
	w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, bottom, values(co2, 6_000_000)...)))
	w.now += minute
	w.must(w.ago(8*minute, func() *recordv1.Outcome {
		return w.behind("stonebend", "ravi", seen, actAir(binJob, binZone, bottom, values(co2, 5_100_000)...))
	}))
	w.must(w.ago(5*minute, func() *recordv1.Outcome {
		return w.behind("stonebend", "ravi", seen, actAir(binJob, binZone, bottom, values(co2, 400_000)...))
	}))
	b := bin()
	b.Ventilation = recordv1.Ventilation_VENTILATION_FORCED
	o := w.issueBin("in-1", b)
	w.refusedWith(o, "AIR_OUT_OF_LIMITS")
	if !slices.ContainsFunc(o.GetConditions(), func(c *recordv1.Finding) bool {
		return code.Is(c, ledger.AirOutOfLimits) && said(c, "value") == "6000" && said(c, "unit") == "ppm"
	}) {
		t.Errorf("the later of two bad values is not the one shown: %v", o.GetConditions())
	}
	// A good one that knows the later of two and not the other counts no more.
	seen = w.s.Size()
	w.must(w.journal("eastfork", "dov", actAir(binJob, binZone, bottom, values(co2, 7_000_000)...)))
	w.must(w.behind("stonebend", "dov", seen, actAir(binJob, binZone, bottom, values(co2, 5_200_000)...)))
	w.must(w.behind("stonebend", "ravi", seen, actAir(binJob, binZone, bottom, values(co2, 400_000)...)))
	w.refusedWith(w.issueBin("in-1", b), "AIR_OUT_OF_LIMITS")
	// Whoever knows of all tests it good.
	w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, bottom, values(co2, 400_000)...)))
	w.must(w.issueBin("in-2", b))
}

// TestClosedWayOfNothing: an issuer can't say beforehand how the way of a
// fumigation is closed that nobody has recorded yet: its name can be guessed.
func TestClosedWayOfNothing(t *testing.T) {
	w, _, _ := readyBin(t)
	w.testAir(values(ph3, 0)...)
	b := bin()
	next := w.s.Yards["eastfork"].Drained + 1
	b.ClosedPaths = []*recordv1.ClosedPath{{Fumigation: "eastfork/1/" + decimal(next), How: "slide gate shut and taped"}}
	w.refusedWith(w.issueBin("in-1", b), ledger.ClosedPathUnknown)
}

// TestOtherJobInTheSameBin: who is in the bin for another job is in the bin, and
// must be named as well, 1910.272(g)(1)(i).
func TestOtherJobInTheSameBin(t *testing.T) {
	w, _, _, _ := inside(t)
	w.must(w.journal("eastfork", "mara", actJob("sweep-3", "ravi", binZone, binPlan...)))
	w.must(w.journal("eastfork", "olga", actSignOn("sweep-3")))
	if v := w.s.PermitView("in-1", w.s.Time); v.GetState() != recordv1.PermitState_PERMIT_STATE_SUSPENDED || !has(v.GetMissing(), "NOT_NAMED", "olga") {
		t.Errorf("olga is in the bin, named on no permit, and in-1 is %v: %v", v.GetState(), v.GetMissing())
	}
}
