package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// One scenario per row of 29 CFR 1910.147 (d)(3)-(6) and (e)(1)-(3). The clause
// each checks stands beside it; the requirement is put in our own words.

var clauses = []struct {
	clause, requires string
	run              func(t *testing.T)
}{
	{"1910.147(d)(3)", "every isolating device needed is found and operated; a part of the set is refused", func(t *testing.T) {
		w := drawn(t)
		w.must(w.journal("stonebend", "mara", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
			Id: "boot-1", Zone: zone, Plan: []string{feeder}, Responsible: "ravi", Affected: []string{"dov"}, Purpose: "clear the boot"}}}))
		cs := w.s.MissingForWork(w.s.Jobs["boot-1"])
		if !has(cs, ledger.PlanDoesNotIsolate, zone) {
			t.Errorf("the feeder alone passes as a plan although the control voltage comes from millrow: %v", cs)
		}
		if !has(cs, ledger.NotOpen, feeder) {
			t.Errorf("a point that nobody opened is not missed: %v", cs)
		}
	}},
	{"1910.147(d)(4)(i)", "each authorised person at risk has a lock on each device", func(t *testing.T) {
		w, holds := ready(t)
		w.must(w.journal("millrow", "lena", actRelease(holds["lena "+control])))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
			t.Fatalf("lena is not signed on, so her missing lock stops nothing: %v", cs)
		}
		on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
		if !flagged(on, ledger.EnteredUnlocked) {
			t.Error("entering without a lock is not flagged")
		}
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NoLock, control) {
			t.Errorf("lena is in the zone with no lock on %s and work may go on: %v", control, cs)
		}
	}},
	{"1910.147(d)(4)(ii)", "the lock holds the device safe: one hung on a closed device protects nothing", func(t *testing.T) {
		w := drawn(t)
		w.openJob()
		o := w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
		if !flagged(o, ledger.LockOnLivePoint) {
			t.Error("a lock on a point that was not opened is not flagged")
		}
		w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotTried, feeder) {
			t.Errorf("a lock older than the opening counts without a try of the handle: %v", cs)
		}
		w.must(w.journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_TriedHandle{TriedHandle: &recordv1.TriedHandle{Hold: ref(o.GetRef())}}}))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.NotTried, feeder) {
			t.Errorf("the try of the handle does not count: %v", cs)
		}
	}},
	{"1910.147(d)(5)(i)", "stored energy is released or restrained before anything is verified", func(t *testing.T) {
		w, _ := isolated(t)
		w.prove()
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.Stored, bucket) {
			t.Errorf("the loaded buckets are not missed: %v", cs)
		}
		w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.WaitNotOver, bucket) {
			t.Errorf("released before its wait of 60 s was over, and it counts: %v", cs)
		}
		w.now += 120_000
		w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.Stored, bucket) || has(cs, ledger.WaitNotOver, bucket) {
			t.Errorf("released after the wait, and it does not count: %v", cs)
		}
	}},
	{"1910.147(d)(6)", "isolation is verified before work starts; opening again voids it", func(t *testing.T) {
		w, _ := isolated(t)
		w.now += 120_000
		w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotProved, motor) || !has(cs, ledger.NotProved, coil) {
			t.Errorf("work may start without readings: %v", cs)
		}
		w.prove()
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
			t.Fatalf("everything is proved and work may not start: %v", cs)
		}
		w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotProved, motor) {
			t.Errorf("the point was opened again and the old reading still counts: %v", cs)
		}
	}},
	{"1910.147(e)(1)", "the area is looked over, tools out and guards on, before a start", func(t *testing.T) {
		w, holds := ready(t)
		for k, h := range holds {
			w.must(w.journal("stonebend", k[:4], actRelease(h)))
		}
		w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), ledger.NotClear)
		o := w.must(w.journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: "boot-1", ToolsOut: true, GuardsOn: true, PeopleClear: true, GroundsFitted: 3, GroundsRemoved: 2}}}))
		if !flagged(o, ledger.FoundNotClear) {
			t.Error("a ground left on passes as clear")
		}
		w.refusedWith(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)), ledger.GroundsLeft)
		w.must(w.journal("stonebend", "ravi", actGrounds("boot-1", 3, 3)))
		w.must(w.direct("mara", actRequest("start-3", "boot-1", w.now+1e7, feeder, control)))
	}},
	{"1910.147(e)(2)(i)", "everybody is out: head count is sign-ons minus sign-offs", func(t *testing.T) {
		w, holds := ready(t)
		on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
		if o := w.must(w.journal("stonebend", "ravi", actClear("boot-1"))); !flagged(o, ledger.FoundNotClear) {
			t.Error("the area passes as clear of people with lena signed on")
		}
		for k, h := range holds {
			w.must(w.journal("stonebend", k[:4], actRelease(h)))
		}
		w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), ledger.SignedOn)
		w.refusedWith(w.journal("stonebend", "mara", actSignOff(on.GetRef())), ledger.NotYourSignOn)
		w.must(w.journal("stonebend", "lena", actSignOff(on.GetRef())))
		w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		w.must(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)))
	}},
	{"1910.147(e)(2)(ii)", "affected people are told after the last lock came off and before a start", func(t *testing.T) {
		w, holds := ready(t)
		w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		for k, h := range holds {
			w.must(w.journal("stonebend", k[:4], actRelease(h)))
		}
		w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), ledger.NotToldAfter)
		w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		w.must(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)))
	}},
	{"1910.147(e)(3)", "each lock is taken off by the person who put it on; until then no start", func(t *testing.T) {
		w, holds := ready(t)
		w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
		for _, k := range []string{"ravi " + feeder, "ravi " + control, "lena " + control} {
			w.must(w.journal("stonebend", k[:4], actRelease(holds[k])))
		}
		w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		o := w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control))
		w.refusedWith(o, ledger.HoldStands)
		for _, c := range o.GetConditions() {
			if code.Is(c, ledger.HoldStands) && !slices.Equal(code.Names(c, "holder"), []string{"lena"}) {
				t.Errorf("the refusal names %q, not who still holds", code.Names(c, "holder"))
			}
		}
		w.refusedWith(w.journal("stonebend", "ravi", actRelease(holds["lena "+feeder])), ledger.NotYourLock)
		w.must(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder])))
	}},
}

func TestClauses(t *testing.T) {
	for _, c := range clauses {
		t.Run(c.clause, func(t *testing.T) {
			t.Log(c.requires)
			c.run(t)
		})
	}
}

// TestStart takes a job all the way: request, the yards' word, energise.
func TestStart(t *testing.T) {
	w := released(t)
	w.must(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)))
	q := w.s.Reqs["start-1"]
	if got := q.Involved; len(got) != 2 || got[0] != "millrow" || got[1] != "stonebend" {
		t.Fatalf("yards that must confirm: %v", got)
	}
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), ledger.NotApproved)
	w.refusedWith(w.fence("eastfork", "start-1"), ledger.NotInvolved)
	w.must(w.fence("stonebend", "start-1"))
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), ledger.NotApproved)
	w.must(w.fence("millrow", "start-1"))
	w.refusedWith(w.journal("millrow", "tomas", actEnergise("start-1", feeder)), ledger.PointNotHome)
	w.must(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)))
	w.must(w.journal("millrow", "tomas", actEnergise("start-1", control)))
	if q.State != recordv1.RequestState_REQUEST_STATE_DONE || !w.s.Points[feeder].Live || !w.s.Points[control].Live {
		t.Fatalf("request %v, live %v %v", q.State, w.s.Points[feeder].Live, w.s.Points[control].Live)
	}
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), ledger.NotApproved)
	w.must(w.journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: "boot-1"}}}))
}

// TestLockVoids: any new lock ends an open request, approved or not
// (protocol.md 3.2).
func TestLockVoids(t *testing.T) {
	for _, approved := range []bool{false, true} {
		w := released(t)
		w.must(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)))
		w.must(w.fence("stonebend", "start-1"))
		if approved {
			w.must(w.fence("millrow", "start-1"))
		}
		w.must(w.journal("millrow", "tomas", actLock(control, "", "")))
		if st := w.s.Reqs["start-1"].State; st != recordv1.RequestState_REQUEST_STATE_VOID {
			t.Errorf("approved=%v: the request is %v after a new lock", approved, st)
		}
		w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), ledger.NotApproved)
	}
}

// TestReachesPeople: a start is refused when closing its points could energise
// people of another job, whichever points they locked (design.md, the fine print).
func TestReachesPeople(t *testing.T) {
	w := released(t)
	// tomas works in the same zone for another job, with a lock on a point that
	// isolates nothing there, and is told so.
	w.must(w.direct("nia", actPoint("eastfork/mcc-9/fan")))
	w.must(w.journal("stonebend", "mara", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
		Id: "paint-1", Zone: zone, Plan: []string{feeder, control}, Responsible: "tomas", Affected: []string{"dov"}, Purpose: "paint the boot"}}}))
	o := w.must(w.journal("eastfork", "tomas", actLock("eastfork/mcc-9/fan", "tomas-1", "paint-1")))
	if !flagged(o, ledger.DoesNotIsolate) {
		t.Error("a lock on a point that does not isolate the work is not flagged")
	}
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder)), ledger.ReachesPeople)
	w.must(w.journal("eastfork", "tomas", actRelease(o.GetRef())))
	on := w.must(w.journal("eastfork", "tomas", actSignOn("paint-1")))
	w.refusedWith(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder)), ledger.ReachesPeople)
	w.must(w.journal("stonebend", "tomas", actSignOff(on.GetRef())))
	w.must(w.journal("stonebend", "tomas", actClear("paint-1")))
	w.must(w.journal("stonebend", "mara", actNotice("paint-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.direct("mara", actRequest("start-3", "boot-1", w.now+1e7, feeder, control)))
	// And again at the energise: somebody signs on after the approval.
	w.must(w.fence("stonebend", "start-3"))
	w.must(w.fence("millrow", "start-3"))
	w.must(w.journal("eastfork", "tomas", actSignOn("paint-1")))
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-3", feeder)), ledger.ReachesPeople)
}

// TestPromiseBroken: a yard promised a lock that its point stays off, and the
// opening the promise rested on did not count: the loudest alarm there is
// (protocol.md 5).
func TestPromiseBroken(t *testing.T) {
	w := drawn(t)
	w.openJob()
	lock := func(grant recordv1.Grant) *recordv1.Outcome {
		return w.must(w.envelope("stonebend", &recordv1.Envelope{Grant: grant, Promised: []string{feeder},
			Body: &recordv1.Envelope_Signed{Signed: w.sign("ravi", actLock(feeder, "ravi-1", "boot-1"))}}))
	}
	if o := lock(recordv1.Grant_GRANT_LIVE); flagged(o, ledger.PromiseBroken) {
		t.Error("no promise was given, and none was broken")
	}
	if o := lock(recordv1.Grant_GRANT_HELD_LOCALLY); !flagged(o, ledger.PromiseBroken) || len(w.s.Alarms) != 1 {
		t.Errorf("a broken promise raises nothing: flags %v, alarms %v", o.GetFlags(), w.s.Alarms)
	}
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	if o := lock(recordv1.Grant_GRANT_HELD_LOCALLY); flagged(o, ledger.PromiseBroken) {
		t.Error("a promise that holds is called broken")
	}
}
