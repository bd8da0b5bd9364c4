package ledger_test

import "testing"

// TestTakerInspectsNothing: who took a job over used its procedure, also behind a
// lock that they had on the points for another job, 1910.147(c)(6)(i)(A).
func TestTakerInspectsNothing(t *testing.T) {
	w := drawnWithMain(t)
	w.joinPerson(person("wim", false, authorised))
	w.must(w.direct("mara", actProcedure(1)))
	w.must(w.direct("nia", actApprove(1)))
	w.must(w.journal("stonebend", "mara", w.job("boot-2", "ravi", feeder, control)))
	w.must(w.journal("stonebend", "mara", actJob("other-1", "wim", room, feeder)))
	a := w.must(w.journal("stonebend", "wim", actLock(feeder, "", "other-1"))).GetRef()
	b := w.must(w.journal("millrow", "wim", actLock(control, "", "other-1"))).GetRef()
	w.must(w.together("wim", actTakeOver("boot-2", "ravi")))
	w.must(w.journal("stonebend", "wim", actRelease(a)))
	w.must(w.journal("stonebend", "wim", actRelease(b)))
	w.must(w.journal("stonebend", "wim", actClear("boot-2")))
	w.must(w.journal("stonebend", "wim", actClose("boot-2")))
	w.refusedWith(w.direct("wim", actInspect(1, w.now, "ravi", "lena")), "INSPECTS_OWN_WORK")
}

// TestLongUse: who was locked on until a month ago used the procedure until then,
// however long ago the lock went on; the same for who was signed on.
func TestLongUse(t *testing.T) {
	for _, signedOn := range []bool{false, true} {
		w := approved(t)
		w.must(w.journal("stonebend", "mara", w.job("boot-2", "ravi", feeder, control)))
		on, off := actLock(feeder, "tomas-1", "boot-2"), actRelease
		if signedOn {
			on, off = actSignOn("boot-2"), actSignOff
		}
		h := w.must(w.journal("stonebend", "tomas", on)).GetRef()
		w.now += 400 * day
		w.must(w.journal("stonebend", "tomas", off(h)))
		w.now += 30 * day
		w.must(w.direct("nia", actTraining("tomas", classAuthorised, w.now, w.now+100*day)))
		w.refusedWith(w.direct("tomas", actInspect(1, w.now, "ravi", "lena")), "INSPECTS_OWN_WORK")
	}
}
