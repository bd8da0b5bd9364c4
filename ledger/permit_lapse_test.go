package ledger_test

import (
	"bytes"
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// lapses: with lena and tomas inside, each of these suspends the permit at once,
// names both in the alarm, and stops work (1910.272(g)(1)(i): the precautions are
// in place for as long as somebody is inside).
var lapses = []struct {
	name string
	do   func(w *world, holds, ons map[string]string, watch string)
	code code.Code // among what is missing then
}{
	{"an entrant's lock comes off", func(w *world, holds, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "lena", actRelease(holds["lena "+binPlan[0]])))
	}, ledger.NoLock},
	{"the responsible employee's lock comes off", func(w *world, holds, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "ravi", actRelease(holds["ravi "+binPlan[2]])))
	}, ledger.NoLock},
	{"a point is found closed", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "dov", &recordv1.Record{Act: &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: binPlan[3], Seen: "handle up"}}}))
	}, ledger.NotOpen},
	{"something is found live", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "dov", &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: binJob, Part: "eastfork/sweep-motor", What: "it hums"}}}))
	}, ledger.FoundLive},
	{"grain starts to run", func(w *world, _, _ map[string]string, _ string) {
		r := actReading(binJob, "eastfork/grain-3", recordv1.Medium_MEDIUM_GRAIN, recordv1.ReadingKind_READING_KIND_SIGHT, 0)
		r.GetReading().Moved = true
		w.must(w.journal("eastfork", "dov", r))
	}, ledger.FoundLive},
	{"the drawing is revised", func(w *world, _, _ map[string]string, _ string) {
		d := binDrawing()
		d.Revision = 2
		w.must(w.publish("nia", d))
	}, ledger.NotWalked},
	{"the air turns bad, whoever measured it", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "dov", actAir(binJob, binZone, bottom, values(co2, 5_000_001)...)))
	}, ledger.AirOutOfLimits},
	{"the test gets too old, with nobody recording anything of it", func(w *world, _, _ map[string]string, _ string) {
		w.now += 31 * minute
		w.must(w.direct("nia", actPoint("millrow/a/b")))
	}, ledger.AirOld},
	{"the observer leaves", func(w *world, _, _ map[string]string, watch string) {
		w.must(w.journal("eastfork", "dov", actLeave(watch)))
	}, ledger.NoObserver},
	{"the observer goes in to help", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "mara", actSignOn(binJob)))
	}, ledger.ObserverInside},
	{"the observer takes on another watch", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_FIRE_WATCH)))
	}, ledger.ObserverElsewhere},
	{"somebody goes in whom the permit does not name", func(w *world, _, _ map[string]string, _ string) {
		for _, p := range binPlan {
			w.must(w.journal("eastfork", "olga", actLock(p, "", binJob)))
		}
		w.must(w.journal("eastfork", "olga", actSignOn(binJob)))
	}, ledger.NotNamed},
	{"the next bin is fumigated", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "dov", actFumigated("eastfork/bin-4")))
	}, ledger.FumigantNear},
	{"an entrant's training ends", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "lena", UntilUnixMs: w.now, Qualified: true}}}))
	}, ledger.TrainingLapsed},
	{"the observer's training ends", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "mara", UntilUnixMs: w.now}}}))
	}, ledger.ObserverNotTrained},
	{"an entrant's training for bins ends", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.direct("mara", actTraining("lena", recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY, w.now-minute, w.now)))
	}, ledger.EntrantNotTrained},
	{"the observer's training in rescue ends", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.direct("nia", actTraining("mara", recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE, w.now-minute, w.now)))
	}, ledger.ObserverNotTrained},
	{"something was started without the ledger", func(w *world, _, _ map[string]string, _ string) {
		w.must(w.journal("eastfork", "dov", actFoundStarted("the sweep was run", binPlan[3])))
	}, ledger.FoundStarted},
}

func TestBinEntryLapses(t *testing.T) {
	for _, c := range lapses {
		t.Run(c.name, func(t *testing.T) {
			w, holds, ons, watch := inside(t)
			c.do(w, holds, ons, watch)
			v := w.s.PermitView("in-1", w.s.Time)
			if v.GetState() != recordv1.PermitState_PERMIT_STATE_SUSPENDED || !has(v.GetMissing(), c.code, "") || len(v.GetBecause()) == 0 {
				t.Fatalf("the permit is %v (%v), missing %v; want it suspended for %s", v.GetState(), v.GetBecause(), v.GetMissing(), c.code)
			}
			if a := w.outAlarm(); !calls(a, ledger.EverybodyOut, "inside", "lena", "tomas") || !slices.Equal(code.Names(a, "zone"), []string{binZone}) {
				t.Errorf("the alarm does not name who must come out: %v", a)
			}
			if v := w.s.JobView(binJob, w.s.Time); !code.Has(v.GetAlarms(), ledger.EverybodyOut) || len(v.GetPermits()) != 1 {
				t.Errorf("the job shows alarms %v, permits %v", v.GetAlarms(), v.GetPermits())
			}
			if ps := w.s.Board("eastfork", w.s.Time).GetPermits(); len(ps) != 1 || len(w.s.Board("millrow", w.s.Time).GetPermits()) != 0 {
				t.Errorf("the yards' boards show permits %v", ps)
			}
			if !has(w.s.MissingForWork(w.s.Jobs[binJob]), ledger.NoPermit, binZone) || w.raised(ledger.Stopped, binJob) == nil {
				t.Error("work goes on under a suspended permit")
			}
			w.refusedWith(w.direct("nia", actClosePermit("in-1")), ledger.StillInside)
			w.refusedWith(w.issueBin("in-2", bin()), ledger.PermitOpen)
		})
	}
}

// TestSuspendedForGood: mending what lapsed brings no permit back. Everybody comes
// out, it is closed, and only tests of the air from after that count for a new one.
func TestSuspendedForGood(t *testing.T) {
	w, _, ons, watch := inside(t)
	var before [][]byte
	for _, l := range []recordv1.AirLevel{top, middle, bottom} {
		before = append(before, w.sign("ravi", actAir(binJob, binZone, l, clean()...)))
	}
	w.must(w.journal("eastfork", "mara", actLeave(watch)))
	w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER)))
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Fatalf("the observer came back and the permit is %v", st)
	}
	for _, who := range []string{"lena", "tomas"} {
		w.must(w.journal("eastfork", who, actSignOff(ons[who])))
	}
	if a := w.outAlarm(); !calls(a, ledger.DoNotEnter, "entrants", "lena", "tomas") {
		t.Errorf("everybody is out of a suspended permit; the alarm says %v", a)
	}
	w.must(w.direct("nia", actClosePermit("in-1")))
	if a := w.outAlarm(); a != nil {
		t.Errorf("the permit is closed and the alarm stays: %v", a)
	}
	w.refusedWith(w.issueBin("in-2", bin()), ledger.AirNotTested)
	// A test that was taken before the suspension and comes late is no new one.
	w.now += minute
	for _, signed := range before {
		w.must(w.envelope("eastfork", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: signed}}))
	}
	w.refusedWith(w.issueBin("in-2", bin()), ledger.AirNotTested)
	w.testAir()
	w.must(w.issueBin("in-3", bin()))
}

// TestLapseBetweenRecords: the air was too old for a while, then it was tested
// again. The permit lapsed in between, though no moment was recorded.
func TestLapseBetweenRecords(t *testing.T) {
	w, _, _, _ := inside(t)
	w.now += 20 * minute
	for _, l := range []recordv1.AirLevel{middle, bottom} {
		w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, l, clean()...)))
	}
	w.now += 11 * minute
	w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, top, clean()...)))
	if cs := w.s.PermitView("in-1", w.now).GetMissing(); has(cs, ledger.AirOld, "") {
		t.Fatalf("all air is fresh by now, and the test shows nothing: %v", cs)
	}
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("nobody tested the air at the top for 31 min and the permit is %v", st)
	}
}

// TestIntervalBounds: the air counts for as long as the permit says and no longer.
func TestIntervalBounds(t *testing.T) {
	w, _, _ := readyBin(t)
	b := bin()
	b.AirEverySeconds = 600
	w.must(w.issueBin("in-1", b))
	due := w.s.PermitView("in-1", w.now).GetAirDueUnixMs()
	for at, want := range map[int64]recordv1.PermitState{due: recordv1.PermitState_PERMIT_STATE_IN_FORCE, due + 1: recordv1.PermitState_PERMIT_STATE_SUSPENDED} {
		if st := w.s.PermitView("in-1", at).GetState(); st != want {
			t.Errorf("%d ms after the air was due the permit is %v, want %v", at-due, st, want)
		}
	}
}

// TestObserversChangeOver: two are named; the second takes over before the first
// leaves, and the permit stays in force.
func TestObserversChangeOver(t *testing.T) {
	w, _, _, watch := inside(t)
	w.must(w.journal("eastfork", "olga", actStand(binJob, recordv1.Duty_DUTY_OBSERVER)))
	w.must(w.journal("eastfork", "mara", actLeave(watch)))
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		t.Errorf("olga took over and the permit is %v", st)
	}
}

// TestOneGoesHome: an entrant who is out and takes the lock off sends nobody out.
func TestOneGoesHome(t *testing.T) {
	w, holds, ons, _ := inside(t)
	w.must(w.journal("eastfork", "lena", actSignOff(ons["lena"])))
	w.must(w.journal("eastfork", "lena", actRelease(holds["lena "+binPlan[0]])))
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		t.Errorf("lena went home and the permit of tomas is %v: %v", st, w.s.PermitView("in-1", w.now).GetMissing())
	}
}

// TestPermitsGoOnAlike: the state written out and read back at every entry, and a
// copy, go on as the original, and the order of no map shows.
func TestPermitsGoOnAlike(t *testing.T) {
	w, _, ons, watch := inside(t)
	w.must(w.journal("eastfork", "dov", actFumigated("eastfork/bin-4", binZone)))
	w.must(w.journal("eastfork", "dov", actLeave(watch)))
	for _, who := range []string{"lena", "tomas"} {
		w.must(w.journal("eastfork", who, actSignOff(ons[who])))
	}
	w.must(w.direct("nia", actClosePermit("in-1")))
	s := ledger.New()
	for i, raw := range w.entries {
		e, err := ledger.Decode(raw)
		if err != nil {
			t.Fatal(err)
		}
		restored, err := ledger.Restore(s.AppendCanonical(nil))
		if err != nil {
			t.Fatal(err)
		}
		s = s.Clone()
		a, b := s.Apply(e), restored.Apply(e)
		if !slices.Equal(codes(a), codes(b)) || !bytes.Equal(s.AppendCanonical(nil), restored.AppendCanonical(nil)) {
			t.Fatalf("entry %d goes on differently from the state read back", i)
		}
	}
	if !bytes.Equal(s.AppendCanonical(nil), w.s.AppendCanonical(nil)) {
		t.Error("copy after copy gives another state than no copy")
	}
}
