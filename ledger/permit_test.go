package ledger_test

import (
	"slices"
	"strings"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestBinEntry takes a bin entry all the way: everything ready, issued, in, air
// tested again, out, closed, and only then a start.
func TestBinEntry(t *testing.T) {
	w, holds, ons, watch := inside(t)
	if cs := w.s.MissingForWork(w.s.Jobs[binJob]); len(cs) > 0 || w.permitState("in-1") != recordv1.PermitState_PERMIT_STATE_IN_FORCE || w.outAlarm() != nil {
		t.Fatalf("two people are inside and all is well: missing %v, permit %v, alarm %v", cs, w.permitState("in-1"), w.outAlarm())
	}
	v := w.s.PermitView("in-1", w.now)
	if len(v.GetInside()) != 2 || len(v.GetWatches()) != 1 || v.GetWatches()[0].GetPerson() != "mara" || v.GetWatches()[0].GetContact() != "sight" || len(v.GetAir()) != 12 || len(v.GetMissing()) > 0 || v.GetAirDueUnixMs() == 0 {
		t.Errorf("the view of the permit: %v", v)
	}
	w.now += 20 * minute
	w.testAir()
	w.now += 20 * minute
	w.testAir()
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		t.Fatalf("the air was tested every 20 min and the permit is %v", st)
	}
	// 1910.272(g)(1)(i): on file until the entry ends.
	w.must(w.journal("eastfork", "lena", actSignOff(ons["lena"])))
	w.refusedWith(w.direct("nia", actClosePermit("in-1")), ledger.StillInside)
	w.refusedWith(w.direct("mara", actRequest("start-1", binJob, w.now+1e7, binPlan...)), ledger.ReachesBinEntry)
	w.must(w.journal("eastfork", "tomas", actSignOff(ons["tomas"])))
	w.refusedWith(w.journal("eastfork", "mara", &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: binJob}}}), ledger.PermitOpen)
	w.must(w.direct("nia", actClosePermit("in-1")))
	w.refusedWith(w.direct("nia", actClosePermit("in-1")), ledger.UnknownPermit)
	w.must(w.journal("eastfork", "mara", actLeave(watch)))
	w.must(w.journal("eastfork", "ravi", actClear(binJob)))
	for k, h := range holds {
		who, _, _ := strings.Cut(k, " ")
		w.must(w.journal("eastfork", who, actRelease(h)))
	}
	w.must(w.journal("eastfork", "mara", actNotice(binJob, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.direct("mara", actRequest("start-2", binJob, w.now+1e7, binPlan...)))
	if len(w.s.Alarms) != 0 {
		t.Errorf("alarms of a whole entry in which nothing went wrong: %v", w.s.Alarms)
	}
}

// unmet: each condition of 1910.272(g) and (h) missing alone refuses the permit,
// with its code and clause, and is the only thing that the refusal lists.
var unmet = []struct {
	name   string
	code   code.Code
	clause string
	// before changes the world, form the permit.
	before func(w *world, holds map[string]string, watch string)
	form   func(b *recordv1.BinEntry)
}{
	{"nobody certifies", ledger.NotPermitted, "1910.272(g)(1)(i)", nil, nil}, // run by tomas, below
	{"an entrant without a lock", ledger.EntrantNoLock, "1910.147(d)(4)(i); 1910.272(g)(1)(ii)", func(w *world, holds map[string]string, _ string) {
		w.must(w.journal("eastfork", "lena", actRelease(holds["lena "+binPlan[0]])))
	}, nil},
	{"an entrant's lock hung before the opening and never tried", ledger.NotTried, "1910.147(d)(6)", func(w *world, holds map[string]string, _ string) {
		// ravi holds the point open throughout; tomas took his lock off and hangs it
		// again in an outbox, by a clock from before.
		w.must(w.journal("eastfork", "tomas", actRelease(holds["tomas "+binPlan[0]])))
		w.basedOn["millrow"] = 1
		w.must(w.journal("millrow", "tomas", actLock(binPlan[0], "", binJob)))
	}, nil},
	{"a drawing that nobody walked", ledger.NotWalked, "NFPA 70E 120.5(1)", func(w *world, _ map[string]string, _ string) {
		d := binDrawing()
		d.Revision = 2
		w.must(w.publish("nia", d))
	}, nil},
	{"an agent that the issuer expects is not tested", ledger.AirNotTested, "1910.272(g)(1)(iii)", nil, func(b *recordv1.BinEntry) { b.Expected = []recordv1.AirAgent{h2s} }},
	{"a test that is too old", ledger.AirOld, "1910.272(g)(1)(iii)", func(w *world, _ map[string]string, _ string) { w.now += 31 * minute }, nil},
	{"oxygen too low", ledger.AirOutOfLimits, "1910.146(b); 1910.272(g)(1)(iii)", func(w *world, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, bottom, values(oxygen, 19_400)...)))
	}, nil},
	{"no word on ventilation", ledger.VentilationNotSaid, "1910.272(g)(1)(iii)", nil, func(b *recordv1.BinEntry) { b.Ventilation = 0 }},
	{"air that was bad and is not ventilated on", ledger.VentilationNeeded, "1910.272(g)(1)(iii)", func(w *world, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, bottom, values(co, 60_000)...)))
		w.testAir()
	}, func(b *recordv1.BinEntry) { b.Ventilation = recordv1.Ventilation_VENTILATION_NONE }},
	{"walking down grain", ledger.WalkingDown, "1910.272(g)(1)(iv)", nil, func(b *recordv1.BinEntry) { b.NobodyWalksGrain = false }},
	{"a running sweep auger", ledger.SweepRunning, "1910.272(g)(1)(ii); OSHA memorandum of 3 May 2013", nil, func(b *recordv1.BinEntry) { b.SweepRunning = true }},
	{"from above without a line", ledger.NoLine, "1910.272(g)(2)", nil, func(b *recordv1.BinEntry) { b.Line, b.LineReason = 0, "it is warm" }},
	{"a line that lets people sink", ledger.LineLength, "1910.272(g)(2)", nil, func(b *recordv1.BinEntry) { b.StopsAtWaist = false }},
	{"a chair that lets people sink", ledger.LineLength, "1910.272(g)(2)", nil, func(b *recordv1.BinEntry) {
		b.Line, b.StopsAtWaist = recordv1.Line_LINE_BOATSWAINS_CHAIR, false
	}},
	{"another means without a reason", ledger.OtherLineNotShown, "1910.272(g)(2)", nil, func(b *recordv1.BinEntry) { b.Line = recordv1.Line_LINE_OTHER }},
	{"at the floor with nothing probed", ledger.EngulfmentNotRuledOut, "1910.272(g)(2)", nil, func(b *recordv1.BinEntry) { b.Line, b.FromAbove = 0, false }},
	{"nobody stands watch", ledger.NoObserver, "1910.272(g)(3)", func(w *world, _ map[string]string, watch string) {
		w.must(w.journal("eastfork", "mara", actLeave(watch)))
	}, nil},
	{"an observer whom the permit does not name", ledger.NoObserver, "1910.272(g)(3)", nil, func(b *recordv1.BinEntry) { b.Observers = []string{"olga"} }},
	{"an observer without contact", ledger.NoContact, "1910.272(g)(3)", stands(func(s *recordv1.StandWatch) { s.Contact = 0 }), nil},
	{"an observer with nothing to help", ledger.ObserverNotEquipped, "1910.272(g)(3)", stands(func(s *recordv1.StandWatch) { s.Equipped = false }), nil},
	{"an observer not trained in rescue", ledger.ObserverNotTrained, "1910.272(g)(5)", stands(func(s *recordv1.StandWatch) { s.RescueTrained = false }), nil},
	{"an observer who watches elsewhere", ledger.ObserverElsewhere, "1910.272(g)(3)", func(w *world, _ map[string]string, _ string) {
		w.openDesk()
		w.must(w.journal("eastfork", "mara", actStand("desk-1", recordv1.Duty_DUTY_FIRE_WATCH)))
	}, nil},
	{"an observer who is inside another zone", ledger.ObserverInside, "1910.272(g)(3)", func(w *world, _ map[string]string, _ string) {
		w.openDesk()
		w.must(w.journal("eastfork", "mara", actSignOn("desk-1")))
	}, nil},
	{"an observer named as entrant", ledger.EntrantWatches, "1910.272(g)(3)", nil, func(b *recordv1.BinEntry) { b.Observers = []string{"mara", "tomas"} }},
	{"no rescue equipment", ledger.NoRescueEquipment, "1910.272(g)(4)", nil, func(b *recordv1.BinEntry) { b.RescueEquipment = "" }},
	{"under a bridge or hanging grain", ledger.HungGrain, "1910.272(g)(6)", nil, func(b *recordv1.BinEntry) { b.HungGrain = recordv1.Look_LOOK_HAZARD }},
	{"nobody looked for a bridge", ledger.NotLooked, "1910.272(g)(6)", nil, func(b *recordv1.BinEntry) { b.HungGrain = 0 }},
	{"nobody to go in", ledger.NoEntrant, "1910.272(g)(1)(i)", nil, func(b *recordv1.BinEntry) { b.Entrants = nil }},
	{"an entrant nobody trained", ledger.EntrantTrainingLapsed, "1910.272(e)(2)", func(w *world, _ map[string]string, _ string) {
		w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "lena", UntilUnixMs: 1, Qualified: true}}}))
	}, nil},
	{"an entrant not trained for bins", ledger.EntrantNotTrained, "1910.272(e)(2)", func(w *world, _ map[string]string, _ string) {
		w.must(w.direct("mara", actTraining("lena", recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY, w.now-minute, w.now)))
	}, nil},
	{"an observer whose training in rescue ended", ledger.ObserverNotTrained, "1910.272(g)(5)", func(w *world, _ map[string]string, _ string) {
		w.must(w.direct("nia", actTraining("mara", recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE, w.now-minute, w.now)))
	}, nil},
	{"the bin under a fumigant", ledger.Fumigated, "1910.272(g)(1)(iii)", func(w *world, _ map[string]string, _ string) {
		w.testAir(values(ph3, 0)...)
		w.must(w.journal("eastfork", "dov", actFumigated(binZone)))
	}, nil},
	{"a fumigated neighbour through the tunnel", ledger.FumigantNear, "1910.272(g)(1)(iii)", func(w *world, _ map[string]string, _ string) {
		w.testAir(values(ph3, 0)...)
		w.must(w.journal("eastfork", "dov", actFumigated("eastfork/bin-4")))
	}, nil},
	{"a fumigated place that the record joins", ledger.FumigantNear, "1910.272(g)(1)(iii)", func(w *world, _ map[string]string, _ string) {
		w.testAir(values(ph3, 0)...)
		w.must(w.journal("eastfork", "dov", actFumigated("eastfork/office", binZone)))
	}, nil},
	{"flat storage from above", ledger.FlatStorage, "1910.272(h)", nil, func(b *recordv1.BinEntry) { b.FlatStorage = true }},
	{"flat storage under a bank", ledger.HungGrain, "1910.272(h)", nil, func(b *recordv1.BinEntry) {
		b.FlatStorage, b.FromAbove, b.HungGrain = true, false, recordv1.Look_LOOK_HAZARD
	}},
	{"flat storage without a line or proof", ledger.EngulfmentNotRuledOut, "1910.272(h)", nil, func(b *recordv1.BinEntry) { b.FlatStorage, b.FromAbove, b.Line = true, false, 0 }},
}

// stands has mara stand watch in another way.
func stands(change func(*recordv1.StandWatch)) func(*world, map[string]string, string) {
	return func(w *world, _ map[string]string, watch string) {
		w.must(w.journal("eastfork", "mara", actLeave(watch)))
		a := actStand(binJob, recordv1.Duty_DUTY_OBSERVER)
		change(a.GetStandWatch())
		w.must(w.journal("eastfork", "mara", a))
	}
}

func (w *world) openDesk() {
	w.t.Helper()
	w.must(w.journal("eastfork", "mara", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
		Id: "desk-1", Zone: "eastfork/desk", Plan: []string{"eastfork/mcc-1/main"}, Responsible: "ravi", Affected: []string{"dov"}, Purpose: "wire the office"}}}))
}

// noOne reports whether a finding names nobody who can supply what is missing.
func noOne(f *recordv1.Finding) bool {
	r, known := code.Of(f).Row()
	return !known || r.Who == ""
}

func TestBinEntryConditions(t *testing.T) {
	for _, c := range unmet {
		t.Run(c.name, func(t *testing.T) {
			w, holds, watch := readyBin(t)
			if c.before != nil {
				c.before(w, holds, watch)
			}
			b := bin()
			if c.form != nil {
				c.form(b)
			}
			by := "nia"
			if c.code == ledger.NotPermitted {
				by = "tomas"
			}
			o := w.direct(by, actIssueBin("in-1", binJob, w.now+240*minute, b))
			w.refusedWith(o, c.code)
			for _, u := range o.GetConditions() {
				if !code.Is(u, c.code) || clauseOf(u) != c.clause || noOne(u) {
					t.Errorf("refused with %v: want %s (%s) alone", u, c.code, c.clause)
				}
			}
			if len(w.s.WorkPermits) != 0 {
				t.Error("a refused permit is on file")
			}
		})
	}
}

// TestNotEntered: a zone that is not drawn as one people enter was planned with
// single isolation, and is no bin to enter.
func TestNotEntered(t *testing.T) {
	w, _, _ := readyBin(t)
	w.openDesk()
	w.refusedWith(w.direct("nia", actIssueBin("in-1", "desk-1", w.now+60*minute, bin())), ledger.NotEntered)
	w.refusedWith(w.direct("nia", actIssueBin("in-1", "no-such", w.now+60*minute, bin())), ledger.UnknownJob)
	w.must(w.issueBin("in-1", bin()))
}

// TestAllAtOnce: a refusal lists every unmet condition, not the first.
func TestAllAtOnce(t *testing.T) {
	w, _ := isolatedBin(t)
	o := w.direct("nia", actIssueBin("in-1", binJob, w.now+13*60*minute, &recordv1.BinEntry{FromAbove: true, SweepRunning: true}))
	for _, c := range []code.Code{ledger.PermitTooLong, ledger.NoEntrant, ledger.SweepRunning, ledger.WalkingDown, ledger.NotLooked, ledger.VentilationNotSaid, ledger.NoLine, ledger.NoRescueEquipment, ledger.AirNotTested, ledger.NoObserver} {
		w.refusedWith(o, c)
	}
}

// TestOxygenIsTested: with the fan locked out oxygen is never assumed, whatever
// ventilation the permit claims; nor is any agent at any level left out.
func TestOxygenIsTested(t *testing.T) {
	for _, left := range []recordv1.AirAgent{oxygen, burns, co, co2} {
		for _, at := range []recordv1.AirLevel{top, middle, bottom} {
			w, _ := isolatedBin(t)
			w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER)))
			for _, l := range []recordv1.AirLevel{top, middle, bottom} {
				vs := slices.DeleteFunc(clean(), func(v *recordv1.AirValue) bool { return l == at && v.GetAgent() == left })
				w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, l, vs...)))
			}
			b := bin()
			b.Ventilation = recordv1.Ventilation_VENTILATION_FORCED
			o := w.issueBin("in-1", b)
			w.refusedWith(o, ledger.AirNotTested)
			if n := len(o.GetConditions()); n != 1 {
				t.Errorf("%v not tested at %v alone gives %d conditions: %v", left, at, n, o.GetConditions())
			}
		}
	}
}

// TestPermitTimes: a shift at most, never for another moment, and over at its end
// on every reader's clock (the length of a shift is common practice, no source).
func TestPermitTimes(t *testing.T) {
	w, _, _ := readyBin(t)
	issue := func(id string, ends int64) *recordv1.Outcome {
		return w.direct("nia", actIssueBin(id, binJob, ends, bin()))
	}
	// The world stamps an entry a second after now.
	w.refusedWith(issue("in-1", w.now+1000), ledger.EndHasPassed)
	w.refusedWith(issue("in-2", w.now+1000+12*60*minute+1), ledger.PermitTooLong)
	late := actIssueBin("in-3", binJob, w.now+60*minute, bin())
	old := w.sign("nia", late)
	w.now += 16 * minute
	w.testAir()
	w.refusedWith(w.put(ledger.DirectEntry(old)), ledger.SignedEarlier)
	ends := w.now + 1000 + 12*60*minute
	w.must(issue("in-4", ends))
	w.refusedWith(issue("in-5", w.now+60*minute), ledger.PermitOpen)
	w.refusedWith(issue("in-4", w.now+60*minute), ledger.PermitExists)
	if st := w.s.PermitView("in-4", ends).GetState(); st != recordv1.PermitState_PERMIT_STATE_ENDED {
		t.Errorf("at its end the permit is %v", st)
	}
	// Nothing recorded for half an hour: the reader's clock alone makes the air old.
	v := w.s.PermitView("in-4", w.now+31*minute)
	if v.GetState() != recordv1.PermitState_PERMIT_STATE_SUSPENDED || !has(v.GetMissing(), ledger.AirOld, binZone) {
		t.Errorf("31 min after the last test the permit is %v, missing %v", v.GetState(), v.GetMissing())
	}
	if cs := w.s.MissingForWorkAt(w.s.Jobs[binJob], w.now+31*minute); !has(cs, ledger.NoPermit, binZone) {
		t.Errorf("and work may go on: %v", cs)
	}
}

// TestNoPermit: in a zone that people enter, work never may start without a permit
// in force, and whoever goes in is flagged and called out.
func TestNoPermit(t *testing.T) {
	w, _, _ := readyBin(t)
	if cs := w.s.MissingForWork(w.s.Jobs[binJob]); len(cs) != 1 || !has(cs, ledger.NoPermit, binZone) {
		t.Errorf("everything but the permit is there; missing: %v", cs)
	}
	o := w.must(w.journal("eastfork", "lena", actSignOn(binJob)))
	if !flagged(o, ledger.NoPermit) || w.raised(ledger.Stopped, binJob) == nil {
		t.Errorf("lena is in the bin without a permit: flags %v, alarms %v", o.GetFlags(), w.s.Alarms)
	}
	// 1910.272(g)(1)(i): the precautions were in place before entry.
	w.refusedWith(w.issueBin("in-1", bin()), ledger.StillInside)
	w.must(w.journal("eastfork", "lena", actSignOff(o.GetRef())))
	// Somebody signed on to a job that nobody knows may be anywhere.
	lost := w.must(w.journal("eastfork", "olga", actSignOn("no-such-job"))).GetRef()
	w.refusedWith(w.issueBin("in-1", bin()), ledger.StillInside)
	w.must(w.journal("eastfork", "olga", actSignOff(lost)))
	w.must(w.issueBin("in-2", bin()))
}

// TestFumigant: a neighbour's fumigant is a source until it is cleared: its way is
// closed and the air is tested for it, or nobody goes in.
func TestFumigant(t *testing.T) {
	w, _, _ := readyBin(t)
	f := w.must(w.journal("eastfork", "dov", actFumigated("eastfork/bin-4"))).GetRef()
	closed := func() *recordv1.BinEntry {
		b := bin()
		b.ClosedPaths = []*recordv1.ClosedPath{{Fumigation: f, How: "tunnel gate blanked and taped"}}
		return b
	}
	o := w.issueBin("in-1", closed())
	w.refusedWith(o, ledger.AirNotTested)
	if len(o.GetConditions()) != 3 {
		t.Errorf("phosphine is missing at three levels: %v", o.GetConditions())
	}
	w.testAir(values(ph3, 300)...)
	w.must(w.issueBin("in-2", closed()))
	if ps := w.s.PermitView("in-2", w.now).GetClosedPaths(); len(ps) != 1 || !strings.Contains(ps[0], "blanked and taped") {
		t.Errorf("the permit does not show how the way is closed: %v", ps)
	}
	if as := w.s.JobView(binJob, w.now).GetAlarms(); len(as) != 1 || !has(as, ledger.Fumigated, "eastfork/bin-4") {
		t.Errorf("the job does not show the fumigant next door: %v", as)
	}
	w.refusedWith(w.journal("eastfork", "mara", actFumigantCleared(f, 301)), ledger.FumigantOutOfLimits)
	w.refusedWith(w.journal("eastfork", "dov", actFumigantCleared(f, 0)), ledger.NotPermitted)
	raw := actFumigantCleared(f, 0)
	raw.GetFumigationCleared().ProvedAfter = false
	w.refusedWith(w.journal("eastfork", "mara", raw), ledger.GasMeterNotProved)
	w.must(w.journal("eastfork", "mara", actFumigantCleared(f, 300)))
	w.refusedWith(w.journal("eastfork", "mara", actFumigantCleared(f, 0)), ledger.UnknownFumigation)
	// Where the drawing shows no way of grain, air or chemical, it is no source; a
	// place that no drawing shows is.
	w.must(w.direct("nia", actClosePermit("in-2")))
	w.now += minute
	w.testAir()
	g := w.must(w.journal("eastfork", "dov", actFumigated("eastfork/office"))).GetRef()
	w.must(w.issueBin("in-3", bin()))
	w.must(w.journal("eastfork", "mara", actFumigantCleared(g, 0)))
	w.must(w.journal("eastfork", "dov", actFumigated("eastfork/old-annex")))
	if st := w.permitState("in-3"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("a fumigant in a place that nobody drew leaves the permit %v", st)
	}
}
