package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// comeOff clears the area of boot-1, takes ravi's and lena's locks off and tells
// dov, as before a start.
func (w *world) comeOff(holds map[string]string) {
	w.t.Helper()
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	for _, who := range []string{"ravi", "lena"} {
		for _, p := range []string{feeder, control} {
			w.must(w.journal("stonebend", who, actRelease(holds[who+" "+p])))
		}
	}
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
}

// TestStartUnderHotWork: while hot work goes on under a permit, as far as anybody
// said, its workers are at the machine, signed on or not: no start.
func TestStartUnderHotWork(t *testing.T) {
	w, holds := ready(t)
	w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 0)...)))
	w.must(w.journal("stonebend", "tomas", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH)))
	w.must(w.issueHot("weld-1", hot()))
	w.comeOff(holds)
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "REACHES_HOT_WORK")
	w.must(w.journal("stonebend", "lena", actHotDone("weld-1")))
	w.approve("start-2", "boot-1", feeder, control)
	w.must(w.journal("stonebend", "ravi", actEnergise("start-2", feeder)))
}

// TestHotWorkInAnotherJob: the same for a start that another job on the zone asks for.
func TestHotWorkInAnotherJob(t *testing.T) {
	w, holds := ready(t)
	w.must(w.journal("stonebend", "mara", actJob("boot-2", "tomas", zone, feeder, control)))
	w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 0)...)))
	w.must(w.journal("stonebend", "tomas", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH)))
	w.must(w.issueHot("weld-1", hot()))
	w.comeOff(holds)
	w.must(w.journal("stonebend", "ravi", actClear("boot-2")))
	w.must(w.journal("stonebend", "mara", actNotice("boot-2", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-2", w.now+1e7, feeder)), "REACHES_HOT_WORK")
}

// TestHotWorkerWithoutALock: whom a hot-work permit names to work at the machine has
// their own lock on every point, as for a bin entry (1910.147(d)(4)(i), (f)(3)(ii)(D)).
func TestHotWorkerWithoutALock(t *testing.T) {
	w, holds := ready(t)
	w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 0)...)))
	w.must(w.journal("stonebend", "tomas", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH)))
	w.must(w.journal("millrow", "lena", actRelease(holds["lena "+control])))
	w.refusedWith(w.issueHot("weld-1", hot()), ledger.WorkerNoLock)
	w.must(w.journal("millrow", "lena", actLock(control, "lena-2", "boot-1")))
	w.must(w.issueHot("weld-2", hot()))
}
