package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const forTest = recordv1.RequestKind_REQUEST_KIND_TEST

func actTest(id, job string, deadline int64, points ...string) *recordv1.Record {
	r := actRequest(id, job, deadline, points...)
	r.GetRequest().Kind = forTest
	return r
}

func (w *world) actStandClear(hold, request string) *recordv1.Record {
	c := &recordv1.StandClear{Hold: ref(hold), Request: request, Asked: 1}
	if q := w.s.Reqs[request]; q != nil {
		c.Asked = q.By.Index
	}
	return &recordv1.Record{Act: &recordv1.Record_StandClear{StandClear: c}}
}

// asked is boot-1 locked and proved by ravi and lena, the area clear, and a test of
// the leg asked for and confirmed by every yard concerned.
func asked(t *testing.T) (*world, map[string]string) {
	t.Helper()
	w, holds := ready(t)
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	w.must(w.direct("mara", actTest("jog-1", "boot-1", w.now+1e7, feeder, control)))
	for _, y := range w.s.Reqs["jog-1"].Involved {
		w.must(w.fence(y, "jog-1"))
	}
	return w, holds
}

// all makes everybody stand clear but those whom leave names.
func (w *world) all(holds map[string]string, request string, leave ...string) {
	w.t.Helper()
	for k, h := range holds {
		if !slices.Contains(leave, k) {
			w.must(w.direct(k[:4], w.actStandClear(h, request)))
		}
	}
}

func (w *world) told() {
	w.t.Helper()
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
}

// TestStandClearInOrder goes through 1910.147(f)(1): (i) tools cleared, (ii) people
// out, (iii) locks off by each holder, (iv) energise and test, (v) de-energise
// everything and put the measures back.
func TestStandClearInOrder(t *testing.T) {
	w, holds := asked(t)
	q := w.s.Reqs["jog-1"]
	state := func(want recordv1.RequestState, when string) {
		t.Helper()
		if q.State != want {
			t.Fatalf("%s: the test is %s, want %s", when, ledger.RequestWord(q.State), ledger.RequestWord(want))
		}
	}
	state(recordv1.RequestState_REQUEST_STATE_AWAITING, "confirmed by every yard, nobody stood clear")
	w.refusedWith(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)), ledger.NotApproved)
	w.all(holds, "jog-1", "lena "+control)
	state(recordv1.RequestState_REQUEST_STATE_AWAITING, "one holder has not stood clear")
	if got := w.s.RequestView("jog-1").GetNotClear(); len(got) != 1 || got[0] != holds["lena "+control] {
		t.Errorf("not clear: %v, want lena's lock on the control", got)
	}
	w.must(w.direct("lena", w.actStandClear(holds["lena "+control], "jog-1")))
	state(recordv1.RequestState_REQUEST_STATE_APPROVED, "everybody stood clear")
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NoLock, feeder) {
		t.Errorf("a lock its holder stood clear of still lets work start: %v", cs)
	}
	// (e)(2)(ii): people are told after the locks came off.
	w.refusedWith(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)), ledger.NotToldAfter)
	w.told()
	w.must(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)))
	w.must(w.journal("millrow", "mara", actEnergise("jog-1", control)))
	state(recordv1.RequestState_REQUEST_STATE_DONE, "both points energised")

	// (v): opened again, and the old holds give nothing back by themselves.
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "ravi", w.actIsolate(control)))
	for _, h := range holds {
		if w.s.HoldView(w.s.Holds[h]).GetGuards() {
			t.Errorf("%s guards again without a new lock", h)
		}
	}
	if v := w.s.PointView(feeder); v.GetPosition() != recordv1.Position_POSITION_OPEN {
		t.Errorf("%s shows as %v with nobody's lock on it", feeder, v.GetPosition())
	}
	// A start waits for the old holds too (protocol.md C13).
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), ledger.StoodClearLockStands)
	// Locking again beside the old hold is no padlock in two places.
	o := w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
	if flagged(o, ledger.TwoPlaces) || flagged(o, ledger.HaspFull) {
		t.Errorf("locking again after the test is flagged: %v", o.GetFlags())
	}
	for k, h := range holds {
		w.must(w.journal("stonebend", k[:4], actRelease(h)))
	}
	if !w.s.Holds[o.GetRef()].Active() {
		t.Error("signing the old lock off ended the new one")
	}
	cs := w.s.MissingForWork(w.s.Jobs["boot-1"])
	for _, c := range []code.Code{ledger.NotToldBefore, ledger.NotShutDown, ledger.NotProved, ledger.NoLock} {
		if !has(cs, c, "") {
			t.Errorf("after the test %s is not asked for anew: %v", c, cs)
		}
	}
}

// TestStandClearRefused: whose word it is, for which lock, for which request.
func TestStandClearRefused(t *testing.T) {
	w, holds := asked(t)
	mine := holds["lena "+feeder]
	w.refusedWith(w.direct("ravi", w.actStandClear(mine, "jog-1")), ledger.NotYourLock)
	w.refusedWith(w.direct("lena", w.actStandClear(mine, "none")), ledger.NoOpenTest)
	w.refusedWith(w.direct("lena", w.actStandClear("stonebend/1/9999", "jog-1")), ledger.UnknownHold)
	other := w.actStandClear(mine, "jog-1")
	other.GetStandClear().Asked--
	w.refusedWith(w.direct("lena", other), ledger.OtherRequest)
	w.all(holds, "jog-1")
	// A hand-over from a lock that protects nobody would pass nothing.
	w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "jog-1"}}}))
	tomas := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "boot-1"))).GetRef()
	w.refusedWith(w.together("lena", actHandOver([]string{"tomas"}, mine, tomas)), ledger.LockStoodClear)
	w.refusedWith(w.direct("lena", w.actStandClear(mine, "jog-1")), ledger.NoOpenTest)
	// Two managers may still order it off: it stands on record.
	w.joinPerson(person("max", false, manager))
	w.must(w.together("nia", actRemoval(mine, "max")))
}

// TestStandClearForAStart: nobody stands clear for a start, where every lock is off.
func TestStandClearForAStart(t *testing.T) {
	w, holds := ready(t)
	for k, h := range holds {
		w.must(w.journal("stonebend", k[:4], actRelease(h)))
	}
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	w.told()
	w.must(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder)))
	lock := w.must(w.journal("millrow", "lena", actLock(control, "lena-1", "boot-1"))).GetRef()
	w.refusedWith(w.direct("lena", w.actStandClear(lock, "start-1")), ledger.NotATest)
}

// TestStandClearNeedsTheOldKey: a key enrolled after the lock can't give it up
// (protocol.md 3.3).
func TestStandClearNeedsTheOldKey(t *testing.T) {
	w, holds := asked(t)
	w.must(w.together("nia", actReissueKey("lena", "mallory")))
	w.keys["lena"] = key("mallory")
	w.refusedWith(w.direct("lena", w.actStandClear(holds["lena "+feeder], "jog-1")), ledger.NewerThanLock)
}

// TestTestRefused: what stands against a test, one thing at a time, each with what
// a test asks for met otherwise (1910.147(f)(1)(i)-(iv)).
func TestTestRefused(t *testing.T) {
	for _, c := range []struct {
		name  string
		code  code.Code
		spoil func(w *world, holds map[string]string)
	}{
		{"the area not clear", ledger.NotClear, func(*world, map[string]string) {}},
		{"somebody inside", ledger.SignedOn, func(w *world, _ map[string]string) {
			w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
			w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
		}},
		{"a lock of nobody knows whom", ledger.FoundLockStands, func(w *world, _ map[string]string) {
			w.must(w.journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_FoundLock{FoundLock: &recordv1.FoundLock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: feeder}}}}}))
			w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		}},
		{"something found live", ledger.FoundLive, func(w *world, _ map[string]string) {
			w.must(w.journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: "boot-1", Part: motor, What: "it hums"}}}))
			w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, holds := ready(t)
			c.spoil(w, holds)
			w.refusedWith(w.direct("mara", actTest("jog-1", "boot-1", w.now+1e7, feeder, control)), c.code)
		})
	}
}

// TestNothingSlipsIntoATest: after everybody stood clear, a lock voids it, a person
// who goes back in stops the panel, and a release counts as clear.
func TestNothingSlipsIntoATest(t *testing.T) {
	t.Run("a new lock", func(t *testing.T) {
		w, holds := asked(t)
		w.all(holds, "jog-1")
		w.told()
		w.must(w.journal("millrow", "lena", actLock(control, "lena-1", "boot-1")))
		if st := w.s.Reqs["jog-1"].State; st != recordv1.RequestState_REQUEST_STATE_VOID {
			t.Errorf("a new lock leaves the test %s", ledger.RequestWord(st))
		}
		w.refusedWith(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)), ledger.NotApproved)
		// The next test needs everybody's word anew.
		w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		w.must(w.direct("mara", actTest("jog-2", "boot-1", w.now+1e7, feeder, control)))
		for _, y := range w.s.Reqs["jog-2"].Involved {
			w.must(w.fence(y, "jog-2"))
		}
		if st := w.s.Reqs["jog-2"].State; st != recordv1.RequestState_REQUEST_STATE_AWAITING {
			t.Errorf("the word given for one test counts for another: %s", ledger.RequestWord(st))
		}
	})
	t.Run("going back in", func(t *testing.T) {
		w, holds := asked(t)
		w.all(holds, "jog-1")
		w.told()
		w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
		w.refusedWith(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)), ledger.SignedOn)
	})
	t.Run("a lock on another point of the job", func(t *testing.T) {
		w, holds := ready(t)
		w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		w.must(w.direct("mara", actTest("jog-1", "boot-1", w.now+1e7, feeder)))
		for _, y := range w.s.Reqs["jog-1"].Involved {
			w.must(w.fence(y, "jog-1"))
		}
		w.all(holds, "jog-1", "lena "+control, "ravi "+control)
		w.told()
		// The feeder alone reaches the motor: who still has a lock on for the job counts as there.
		w.refusedWith(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)), ledger.ReachesPeople)
		w.all(map[string]string{"lena ": holds["lena "+control], "ravi ": holds["ravi "+control]}, "jog-1")
		w.told()
		w.must(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)))
	})
	t.Run("a release instead", func(t *testing.T) {
		w, holds := asked(t)
		w.all(holds, "jog-1", "lena "+control)
		w.must(w.journal("millrow", "lena", actRelease(holds["lena "+control])))
		if st := w.s.Reqs["jog-1"].State; st != recordv1.RequestState_REQUEST_STATE_APPROVED {
			t.Errorf("the last lock is off and the test is %s", ledger.RequestWord(st))
		}
	})
}

// TestAnOldWordIsForgotten: an id used again after its request left the state does
// not find the word given for the old one (decisions.md 24).
func TestAnOldWordIsForgotten(t *testing.T) {
	if testing.Short() {
		t.Skip("a long run of entries: left out with -short")
	}
	w, holds := asked(t)
	w.all(holds, "jog-1")
	w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "jog-1"}}}))
	for w.s.Reqs["jog-1"] != nil {
		w.direct("dov", actRequest("x", "none", w.now+1e7, feeder))
	}
	w.must(w.direct("mara", actTest("jog-1", "boot-1", w.now+1e7, feeder, control)))
	if got := w.s.RequestView("jog-1").GetNotClear(); len(got) != len(holds) {
		t.Errorf("%d of %d must stand clear: the word for an older request counts", len(got), len(holds))
	}
}

// TestAfterStandingClear: what such a lock is still taken for, and by whom, when
// the test came to nothing.
func TestAfterStandingClear(t *testing.T) {
	stood := func(t *testing.T) (*world, map[string]string) {
		w, holds := asked(t)
		w.all(holds, "jog-1")
		w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "jog-1"}}}))
		return w, holds
	}
	t.Run("a reading needs a lock without a break", func(t *testing.T) {
		w, _ := stood(t)
		for _, p := range []string{feeder, control} {
			w.must(w.journal(ledger.YardOf(p), "ravi", actLock(p, "ravi-9", "boot-1")))
		}
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotProved, motor) || has(cs, ledger.NoLock, "") {
			t.Errorf("locked again after nobody's lock was on, and the old reading counts: %v", cs)
		}
	})
	t.Run("going in is flagged", func(t *testing.T) {
		w, _ := stood(t)
		if o := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))); !flagged(o, ledger.EnteredUnlocked) {
			t.Errorf("lena goes in with locks she stood clear of, unflagged: %v", o.GetFlags())
		}
	})
	t.Run("the word is for one test", func(t *testing.T) {
		w, holds := stood(t)
		w.must(w.direct("mara", actTest("jog-2", "boot-1", w.now+1e7, feeder)))
		for _, y := range w.s.Reqs["jog-2"].Involved {
			w.must(w.fence(y, "jog-2"))
		}
		w.all(holds, "jog-2", "lena "+control)
		w.told()
		w.refusedWith(w.journal("stonebend", "mara", actEnergise("jog-2", feeder)), ledger.ReachesPeople)
	})
	t.Run("a box of two tests", func(t *testing.T) {
		w, holds := ready(t)
		box := "stonebend/box-9"
		w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: box, Holes: 4}}}))
		for _, p := range []string{feeder, control} {
			w.must(w.journal("stonebend", "mara", &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: box, Point: p}}}))
		}
		both := w.must(w.journal("stonebend", "lena", actLockBox(box, "lena-3", "boot-1"))).GetRef()
		w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		w.must(w.direct("mara", actTest("jog-1", "boot-1", w.now+1e7, feeder)))
		w.must(w.direct("mara", actTest("jog-2", "boot-1", w.now+1e7, control)))
		w.must(w.direct("lena", w.actStandClear(both, "jog-1")))
		w.refusedWith(w.direct("lena", w.actStandClear(both, "jog-2")), ledger.StandsClearOfOther)
		w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "jog-1"}}}))
		w.must(w.direct("lena", w.actStandClear(both, "jog-2")))
		_ = holds
	})
	t.Run("it stops no energy", func(t *testing.T) {
		w := drawnWithMain(t)
		w.must(w.journal("stonebend", "mara", actJob("boot-1", "ravi", zone, feeder, control)))
		w.must(w.journal("stonebend", "mara", actJob("room-1", "tomas", room, main1)))
		holds := map[string]string{}
		for _, p := range []string{feeder, control, main1} {
			w.must(w.journal(ledger.YardOf(p), "mara", w.actIsolate(p)))
		}
		for _, p := range []string{feeder, control} {
			holds["ravi "+p] = w.must(w.journal(ledger.YardOf(p), "ravi", actLock(p, "", "boot-1"))).GetRef()
		}
		for _, j := range []string{"boot-1", "room-1"} {
			w.must(w.journal("stonebend", "mara", actClear(j)))
			w.must(w.journal("stonebend", "mara", actNotice(j, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		}
		w.must(w.direct("mara", actRequest("room-start", "room-1", w.now+1e7, main1)))
		w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "room-start"}}}))
		w.must(w.direct("mara", actTest("jog-1", "boot-1", w.now+1e7, feeder)))
		w.must(w.direct("ravi", w.actStandClear(holds["ravi "+feeder], "jog-1")))
		w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		w.refusedWith(w.direct("mara", actRequest("room-again", "room-1", w.now+1e7, main1)), ledger.ReachesPeople)
	})
}

// TestStopSaysTheWorst: somebody goes back in after a test with the points left
// closed. What the alarm says first is that they are, not who was not told of it.
func TestStopSaysTheWorst(t *testing.T) {
	w, holds := asked(t)
	w.all(holds, "jog-1")
	w.told()
	w.must(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)))
	w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
	if j := w.s.Jobs["boot-1"]; w.raised(ledger.Stopped, "boot-1") == nil || !has([]*recordv1.Finding{j.Stopped}, ledger.NotOpen, feeder) {
		t.Errorf("lena is inside behind a closed feeder, and the alarm is about %v", j.Stopped)
	}
	if st := w.s.JobView("boot-1", w.now).GetStage(); st != recordv1.Stage_STAGE_STOPPED {
		t.Errorf("the job is shown as %v", st)
	}
}
