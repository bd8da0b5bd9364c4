package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	observes  = recordv1.Duty_DUTY_OBSERVER
	fireWatch = recordv1.Duty_DUTY_FIRE_WATCH
)

// TestWatchRecordedTwice: one observer, recorded twice, leaves: nobody observes,
// 1910.272(g)(3).
func TestWatchRecordedTwice(t *testing.T) {
	w, _, _ := readyBin(t)
	again := w.must(w.journal("stonebend", "mara", actStand(binJob, observes))).GetRef()
	w.must(w.issueBin("in-1", bin()))
	w.must(w.journal("eastfork", "mara", actLeave(again)))
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("mara left and the permit is %v: she still counts by her other record", st)
	}
}

// TestWatchOfAFastClock: the yard that took the second record has a clock that is
// ahead; whoever leaves, knowing of both, leaves both.
func TestWatchOfAFastClock(t *testing.T) {
	w, _, watch := readyBin(t)
	w.now += 5 * minute
	w.must(w.journal("stonebend", "mara", actStand(binJob, observes)))
	w.must(w.issueBin("in-1", bin()))
	w.now -= 4 * minute // eastfork's clock; the ledger's own does not go back
	w.must(w.journal("eastfork", "mara", actLeave(watch)))
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("mara left and the permit is %v", st)
	}
}

// TestLateLeaveEndsNoNewerWatch: the word that somebody left says nothing of a
// watch that they took up afterwards.
func TestLateLeaveEndsNoNewerWatch(t *testing.T) {
	w, _, watch := readyBin(t)
	seen := w.s.Size()
	w.now += 10 * minute
	w.must(w.journal("eastfork", "mara", actStand(binJob, observes)))
	w.must(w.issueBin("in-1", bin()))
	w.must(w.ago(5*minute, func() *recordv1.Outcome { return w.behind("millrow", "dov", seen, actLeave(watch)) }))
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		t.Errorf("mara came back before the permit, and it is %v", st)
	}
}

// TestLeftBeforeItArrived: the record that somebody left may reach the ledger
// before the one that they stood watch, from a yard that was cut off.
func TestLeftBeforeItArrived(t *testing.T) {
	w, _ := isolatedBin(t)
	w.testAir()
	next := "millrow/1/" + decimal(w.s.Yards["millrow"].Drained+1)
	w.must(w.journal("eastfork", "mara", actLeave(next)))
	if o := w.must(w.journal("millrow", "mara", actStand(binJob, observes))); o.GetRef() != next {
		t.Fatalf("the watch is %s, not %s", o.GetRef(), next)
	}
	w.refusedWith(w.issueBin("in-1", bin()), "NO_OBSERVER")
	// A place that is taken, of an old epoch or of no yard: nothing can arrive there.
	n := len(w.s.Watches)
	for _, ref := range []string{"eastfork/1/1", "millrow/2/900", "nowhere/1/900"} {
		w.must(w.journal("eastfork", "mara", actLeave(ref)))
	}
	if len(w.s.Watches) != n {
		t.Errorf("leaving what can't be leaves %d watches in the state", len(w.s.Watches)-n)
	}
	// A watch that they take up after it counts.
	w.must(w.journal("eastfork", "mara", actStand(binJob, observes)))
	w.must(w.issueBin("in-1", bin()))
}

// TestWatchOfAClosedJob: it ends with the job. Else it would stay for ever, and
// stand against every watch of that person.
func TestWatchOfAClosedJob(t *testing.T) {
	if testing.Short() {
		t.Skip("ten thousand requests push an older one out of the state")
	}
	w := drawn(t)
	w.must(w.journal("stonebend", "mara", actJob("boot-1", "ravi", zone, feeder, control)))
	w.must(w.journal("stonebend", "tomas", actStand("boot-1", fireWatch)))
	w.must(w.journal("stonebend", "mara", actClose("boot-1")))
	for _, v := range w.s.Watches {
		if !v.Off.Set() {
			t.Errorf("the watch %s of a closed job goes on", v.Ref)
		}
	}
	for range 10_005 {
		w.direct("dov", actRequest("x", "none", w.now+1e7, feeder))
	}
	if n := len(w.s.Watches); n != 0 {
		t.Errorf("%d watches stay in the state", n)
	}
}

// TestFireWatchInTwoPlaces: an hour of fire watch is no hour while the watcher
// stands another watch, NFPA 51B (from memory: no other duty).
func TestFireWatchInTwoPlaces(t *testing.T) {
	w, _ := readyHot(t)
	w.must(w.journal("stonebend", "mara", actJob("boot-2", "ravi", zone, feeder, control)))
	w.must(w.issueHot("weld-1", hot()))
	w.must(w.journal("stonebend", "lena", actHotDone("weld-1")))
	w.now += 10 * minute
	other := w.must(w.journal("stonebend", "tomas", actStand("boot-2", fireWatch))).GetRef()
	if a := w.outAlarm(); !code.Is(a, ledger.NoFireWatchAfter) {
		t.Errorf("tomas watches two places, and the alarm is %v", a)
	}
	w.now += 55 * minute
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.FireWatchGoesOn)
	w.must(w.journal("stonebend", "tomas", actLeave(other)))
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.FireWatchGoesOn)
	w.now += 61 * minute
	w.must(w.direct("nia", actClosePermit("weld-1")))
}

// TestOlderEndOfHotWork: the fire watch counts from the last flame, in whatever
// order its records arrive, and from none of an earlier permit's.
func TestOlderEndOfHotWork(t *testing.T) {
	t.Run("an older word arrives late", func(t *testing.T) {
		w, _ := readyHot(t)
		w.must(w.issueHot("weld-1", hot()))
		seen := w.s.Size()
		w.now += 50 * minute
		w.must(w.journal("stonebend", "lena", actHotDone("weld-1")))
		w.now += 20 * minute
		w.must(w.ago(65*minute, func() *recordv1.Outcome { return w.behind("millrow", "ravi", seen, actHotDone("weld-1")) }))
		w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.FireWatchGoesOn)
	})
	t.Run("a word from before the permit", func(t *testing.T) {
		w, _ := readyHot(t)
		seen := w.s.Size()
		w.now += 20 * minute
		w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 0)...)))
		w.must(w.issueHot("weld-1", hot()))
		if o := w.must(w.ago(15*minute, func() *recordv1.Outcome { return w.behind("millrow", "ravi", seen, actHotDone("weld-1")) })); !flagged(o, ledger.PermitNotSeen) {
			t.Errorf("the end of work that had not begun is taken for this permit's: %v", o.GetFlags())
		}
		w.now += 46 * minute
		w.refusedWith(w.direct("nia", actClosePermit("weld-1")), "HOT_WORK_NOT_DONE")
	})
}

// TestTakeOverByOneHand: who gave the responsible employee their key signs for
// both, and nobody else knows that the job changed hands.
func TestTakeOverByOneHand(t *testing.T) {
	w, _ := ready(t)
	w.joinPerson(person("ines", false, manager, authorised))
	for _, p := range []string{feeder, control} {
		w.must(w.journal("stonebend", "ines", actLock(p, "", "boot-1")))
	}
	w.must(w.together("ines", actReissueKey("ravi", "mallory")))
	w.keys["ravi"] = key("mallory")
	w.refusedWith(w.together("ines", actTakeOver("boot-1", "ravi")), "ONE_HAND")
	w.must(w.together("ines", actTakeOver("boot-1", "mara")))
}
