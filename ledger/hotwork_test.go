package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func hot() *recordv1.HotWork {
	return &recordv1.HotWork{Place: "the leg's head, work floor", Workers: []string{"lena"}, FireWatch: []string{"tomas"}, CombustiblesCleared: true,
		OpeningsCovered: true, DustCleaned: true, Extinguisher: "two of 10 lb and a hose"}
}

func actIssueHot(id, job string, ends int64, h *recordv1.HotWork) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_IssuePermit{IssuePermit: &recordv1.IssuePermit{Id: id, Job: job, EndsUnixMs: ends, What: &recordv1.IssuePermit_HotWork{HotWork: h}}}}
}

// readyHot has boot-1 ready for work, no gas at the work, and tomas on fire watch.
func readyHot(t testing.TB) (w *world, watch string) {
	w, _ = ready(t)
	w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 10_000)...)))
	return w, w.must(w.journal("stonebend", "tomas", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH))).GetRef()
}

func (w *world) issueHot(id string, h *recordv1.HotWork) *recordv1.Outcome {
	w.t.Helper()
	return w.direct("nia", actIssueHot(id, "boot-1", w.now+240*minute, h))
}

// TestHotWork takes a hot-work permit all the way, 1910.272(f): issued before the
// work, kept until it is complete; then the fire watch, an hour by NFPA 51B (from
// memory), at and either side of its end.
func TestHotWork(t *testing.T) {
	w, watch := readyHot(t)
	w.must(w.issueHot("weld-1", hot()))
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.HotWorkNotDone)
	o := w.must(w.journal("stonebend", "lena", actHotDone("weld-1")))
	if v := w.s.PermitView("weld-1", w.now); v.GetState() != recordv1.PermitState_PERMIT_STATE_WATCHED || !has(v.GetMissing(), ledger.FireWatchGoesOn, "weld-1") || v.GetFireWatchUntilUnixMs() == 0 {
		t.Errorf("the work is over; the permit: %v", v)
	}
	// Done is the later of the yard's clock and the signer's.
	over := w.s.WorkPermits["weld-1"].Done.Late + 60*minute
	w.now = over - 1000 - 1
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.FireWatchGoesOn)
	w.now = over - 1000
	w.must(w.direct("nia", actClosePermit("weld-1")))
	w.must(w.journal("stonebend", "tomas", actLeave(watch)))
	if len(w.s.Alarms) > 0 || o.GetIndex() == 0 {
		t.Errorf("alarms of hot work in which nothing went wrong: %v", w.s.Alarms)
	}
}

func TestHotWorkConditions(t *testing.T) {
	for _, c := range []struct {
		name   string
		code   code.Code
		before func(w *world, watch string)
		form   func(h *recordv1.HotWork)
	}{
		{"nobody to work", ledger.NoWorker, nil, func(h *recordv1.HotWork) { h.Workers = nil }},
		{"no place", ledger.NoPlace, nil, func(h *recordv1.HotWork) { h.Place = "" }},
		{"things that burn are near", ledger.Combustibles, nil, func(h *recordv1.HotWork) { h.CombustiblesCleared = false }},
		{"openings are open", ledger.Openings, nil, func(h *recordv1.HotWork) { h.OpeningsCovered = false }},
		{"dust lies", ledger.Dust, nil, func(h *recordv1.HotWork) { h.DustCleaned = false }},
		{"nothing to put it out", ledger.Extinguisher, nil, func(h *recordv1.HotWork) { h.Extinguisher = "" }},
		{"the watch works", ledger.FireWatchWorks, nil, func(h *recordv1.HotWork) { h.FireWatch = []string{"tomas", "lena"} }},
		{"a worker whose training ended", ledger.WorkerTrainingLapsed, func(w *world, _ string) {
			w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "lena", UntilUnixMs: w.now, Qualified: true}}}))
		}, nil},
		{"nobody on fire watch", ledger.NoFireWatch, func(w *world, watch string) { w.must(w.journal("stonebend", "tomas", actLeave(watch))) }, nil},
		{"somebody else on fire watch", ledger.NoFireWatch, nil, func(h *recordv1.HotWork) { h.FireWatch = []string{"mara"} }},
		{"gas just above 10 %", ledger.AirOutOfLimits, func(w *world, _ string) {
			w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 10_001)...)))
		}, nil},
		{"gas tested too long ago", ledger.AirOld, func(w *world, _ string) { w.now += 31 * minute }, nil},
		{"the leg is not dead", ledger.FoundLive, func(w *world, _ string) {
			w.must(w.journal("stonebend", "dov", &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: "boot-1", Part: motor, What: "it turned"}}}))
		}, nil},
	} {
		w, watch := readyHot(t)
		if c.before != nil {
			c.before(w, watch)
		}
		h := hot()
		if c.form != nil {
			c.form(h)
		}
		o := w.issueHot("weld-1", h)
		w.refusedWith(o, c.code)
		for _, u := range o.GetConditions() {
			if !answerable(u) {
				t.Errorf("%s: %s says neither who nor by which clause", c.name, u.GetCode())
			}
		}
	}
}

// TestFireWatchBroken: the watch leaves early. Somebody else stands the whole hour
// from then on, and until somebody does, it is an alarm.
func TestFireWatchBroken(t *testing.T) {
	w, watch := readyHot(t)
	h := hot()
	h.SuppressionOff = true
	w.must(w.issueHot("weld-1", h))
	w.must(w.journal("stonebend", "lena", actHotDone("weld-1")))
	w.now += 50 * minute
	w.must(w.journal("stonebend", "tomas", actLeave(watch)))
	if a := w.outAlarm(); !code.Is(a, ledger.NoFireWatchAfter) {
		t.Errorf("nobody watches and the alarm is %v", a)
	}
	// The worker is no fire watch of their own work.
	w.must(w.journal("stonebend", "lena", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH)))
	w.must(w.journal("stonebend", "mara", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH)))
	if a := w.outAlarm(); a != nil {
		t.Errorf("mara watches and the alarm stays: %v", a)
	}
	w.now += 30 * minute
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.FireWatchGoesOn)
	w.now += 31 * minute
	w.refusedWith(w.direct("nia", actClosePermit("weld-1")), ledger.SuppressionOff)
	c := actClosePermit("weld-1")
	c.GetClosePermit().SuppressionOnAgain = true
	w.must(w.direct("nia", c))
}

// TestHotWorkLapses: each of these stops the hot work at once and names the worker.
func TestHotWorkLapses(t *testing.T) {
	for name, do := range map[string]func(w *world, watch string){
		"the fire watch leaves": func(w *world, watch string) { w.must(w.journal("stonebend", "dov", actLeave(watch))) },
		"gas at the work": func(w *world, _ string) {
			w.must(w.journal("stonebend", "dov", actAir("boot-1", zone, atWork, values(burns, 10_001)...)))
		},
		"gas not tested again": func(w *world, _ string) {
			w.now += 31 * minute
			w.must(w.direct("nia", actPoint("millrow/a/b")))
		},
		"its time is over": func(w *world, _ string) {
			w.now += 240 * minute
			w.must(w.direct("nia", actPoint("millrow/a/b")))
		},
		"a point is found closed": func(w *world, _ string) {
			w.must(w.journal("stonebend", "dov", &recordv1.Record{Act: &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: feeder, Seen: "handle up"}}}))
		},
	} {
		w, watch := readyHot(t)
		w.must(w.issueHot("weld-1", hot()))
		do(w, watch)
		if st := w.permitState("weld-1"); st == recordv1.PermitState_PERMIT_STATE_IN_FORCE || !calls(w.outAlarm(), ledger.HotWorkStopped, "workers", "lena") {
			t.Errorf("%s: the permit is %v, the alarm %v", name, st, w.outAlarm())
		}
	}
}

// TestHotWorkInABin needs the bin-entry permit as well, and stops with it.
func TestHotWorkInABin(t *testing.T) {
	w, _, watch := readyBin(t)
	h := hot()
	h.Workers, h.FireWatch = []string{"lena"}, []string{"olga"}
	w.must(w.journal("eastfork", "olga", actStand(binJob, recordv1.Duty_DUTY_FIRE_WATCH)))
	w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, atWork, values(burns, 0)...)))
	w.refusedWith(w.direct("nia", actIssueHot("weld-1", binJob, w.now+60*minute, h)), ledger.NoPermit)
	w.must(w.issueBin("in-1", bin()))
	w.must(w.direct("nia", actIssueHot("weld-2", binJob, w.now+60*minute, h)))
	w.must(w.journal("eastfork", "mara", actLeave(watch)))
	if a, b := w.permitState("in-1"), w.permitState("weld-2"); a != recordv1.PermitState_PERMIT_STATE_SUSPENDED || b != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("the observer left: bin entry %v, hot work %v", a, b)
	}
}
