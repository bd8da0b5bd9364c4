package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestFireWatchElsewhere: who is signed on to another job's zone watches no fire
// here (NFPA 51B, from memory: the watch has no other duty).
func TestFireWatchElsewhere(t *testing.T) {
	w, _ := readyHot(t)
	w.must(w.journal("stonebend", "mara", actJob("boot-2", "tomas", zone, feeder, control)))
	w.must(w.issueHot("weld-1", hot()))
	on := w.must(w.journal("stonebend", "tomas", actSignOn("boot-2"))).GetRef()
	if st := w.permitState("weld-1"); st == recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		t.Errorf("the fire watch is at work for another job, and the permit is %v", st)
	}
	w.must(w.journal("stonebend", "tomas", actSignOff(on)))
}

// TestFireWatchSpentElsewhere: the hour after the work is not watched by somebody
// who is signed on to another job's zone meanwhile.
func TestFireWatchSpentElsewhere(t *testing.T) {
	w, _ := readyHot(t)
	w.must(w.journal("stonebend", "mara", actJob("boot-2", "tomas", zone, feeder, control)))
	w.must(w.issueHot("weld-1", hot()))
	w.must(w.journal("stonebend", "lena", actHotDone("weld-1")))
	on := w.must(w.journal("stonebend", "tomas", actSignOn("boot-2"))).GetRef()
	w.now += 61 * minute
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.FireWatchGoesOn)
	w.must(w.journal("stonebend", "tomas", actSignOff(on)))
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.FireWatchGoesOn)
	w.now += 61 * minute
	w.must(w.direct("nia", actClosePermit("weld-1")))
}
