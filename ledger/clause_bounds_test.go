package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Limits, intervals and times, each at and either side of its bound. Those of the
// air are in air_test.go.

// TestReadingBounds: what a reading may show of a part that counts as dead.
func TestReadingBounds(t *testing.T) {
	w := drawn(t)
	stone, _ := drawings()
	stone.Revision = 2
	z := stone.Zones[0]
	z.Isolation, z.WaivedBy, z.WaivedWhy = recordv1.Isolation_ISOLATION_SINGLE, "nia", "a test"
	z.Parts[1].Media = append(z.Parts[1].Media, recordv1.Medium_MEDIUM_AIR, recordv1.Medium_MEDIUM_HEAT, recordv1.Medium_MEDIUM_CHEMICAL)
	w.must(w.publish("nia", stone))
	w.must(w.walk("ravi", "stonebend"))
	w.isolate()
	before, last := w.s.Clone(), w.last["stonebend"]
	for _, b := range []struct {
		medium     recordv1.Medium
		kind       recordv1.ReadingKind
		dead, live []float64
		source     string
	}{
		// Parts "operating at less than 50 volts to ground" may stay energised, so 50 V is live.
		{recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, []float64{0, 49.999, -49.999}, []float64{50, -50, 50.001, 480},
			"29 CFR 1910.333(a)(1) and NFPA 70E 110.2, both from memory; the figure 50 V: LBNL table 2.2.13"},
		{recordv1.Medium_MEDIUM_CHEMICAL, recordv1.ReadingKind_READING_KIND_GAS, []float64{0, 0.3}, []float64{0.301, 50}, "29 CFR 1910.1000 Table Z-1, phosphine"},
		{recordv1.Medium_MEDIUM_AIR, recordv1.ReadingKind_READING_KIND_GAUGE, []float64{0}, []float64{0.001, -0.001, 700}, "common practice, no source"},
		{recordv1.Medium_MEDIUM_HEAT, recordv1.ReadingKind_READING_KIND_THERMOMETER, []float64{20, 50}, []float64{50.001, 200}, "common practice, no source"},
	} {
		take := func(value float64) (found, proved bool) {
			w.s, w.last["stonebend"] = before.Clone(), last
			w.must(w.journal("stonebend", "ravi", actReading("boot-1", motor, b.medium, b.kind, value)))
			j := w.s.Jobs["boot-1"]
			return len(j.Found) > 0, len(j.Readings) > 0
		}
		for _, v := range b.dead {
			if found, proved := take(v); found || !proved {
				t.Errorf("%v %g (%s): found live %v, proves %v", b.medium, v, b.source, found, proved)
			}
		}
		for _, v := range b.live {
			if found, proved := take(v); !found || proved {
				t.Errorf("%v %g (%s): found live %v, proves %v", b.medium, v, b.source, found, proved)
			}
		}
	}
}

// TestBoundsUnasked: a reading that the drawing does not ask for proves nothing, and
// past the limit of its kind it is found live all the same (common practice, no
// source; 50 V as above).
func TestBoundsUnasked(t *testing.T) {
	for _, b := range []struct {
		kind       recordv1.ReadingKind
		dead, live float64
	}{
		{recordv1.ReadingKind_READING_KIND_METER, 49.999, 50},
		{recordv1.ReadingKind_READING_KIND_THERMOMETER, 50, 50.001},
		{recordv1.ReadingKind_READING_KIND_GAUGE, 0, 0.001},
	} {
		for value, found := range map[float64]bool{b.dead: false, b.live: true} {
			w, _ := isolated(t)
			w.must(w.journal("stonebend", "ravi", actReading("boot-1", "stonebend/lamp", recordv1.Medium_MEDIUM_UNSPECIFIED, b.kind, value)))
			if j := w.s.Jobs["boot-1"]; len(j.Found) > 0 != found || len(j.Readings) > 0 {
				t.Errorf("%v of %g: found live %v, readings that count %d", b.kind, value, len(j.Found) > 0, len(j.Readings))
			}
		}
	}
}

// TestProvedAtAnyVoltage: 29 CFR 1910.333(b)(2)(iv)(B) has the instrument checked
// before and after above 600 V nominal; here it is at every voltage, 600 V itself
// and below too (a DOE handbook advises it).
func TestProvedAtAnyVoltage(t *testing.T) {
	for _, volts := range []float64{0, 120, 480, 600, 601, 4160} {
		for name, spoil := range map[string]func(*recordv1.Reading){
			"not before":    func(r *recordv1.Reading) { r.ProvedBefore = false },
			"not after":     func(r *recordv1.Reading) { r.ProvedAfter = false },
			"no instrument": func(r *recordv1.Reading) { r.Instrument = "" },
		} {
			w := drawn(t)
			stone, _ := drawings()
			stone.Revision = 2
			stone.Nodes[1].Volts = volts
			w.must(w.publish("nia", stone))
			w.isolate()
			r := actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)
			good := proto.CloneOf(r)
			spoil(r.GetReading())
			if o := w.must(w.journal("stonebend", "ravi", r)); !flagged(o, ledger.MeterNotProved) || !has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.NotProved, motor) {
				t.Errorf("%g V, %s: it counts; flags %v", volts, name, o.GetFlags())
			}
			w.must(w.journal("stonebend", "ravi", good))
			if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.NotProved, motor) {
				t.Errorf("%g V: proved before and after, it does not count: %v", volts, cs)
			}
		}
	}
}

// TestStoreWaitBound: a store's wait runs from the last opening, 60 s in this
// drawing (NEC 460.6 gives a capacitor bank as long).
func TestStoreWaitBound(t *testing.T) {
	for _, x := range []struct {
		ms   int64
		over bool
	}{{59_999, false}, {60_000, true}, {60_001, true}} {
		w, _ := isolated(t)
		// The yard's clock is the earliest of the three there are.
		w.now = max(w.s.Points[feeder].Opened.Late, w.s.Points[control].Opened.Late) + x.ms
		w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.WaitNotOver, bucket) == x.over {
			t.Errorf("released %d ms after the last opening: %v", x.ms, cs)
		}
	}
}

// TestTrainingBound: training counts until the moment it ends, 1910.147(c)(7).
func TestTrainingBound(t *testing.T) {
	w, _ := ready(t)
	until := w.now + 3_600_000
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "ravi", UntilUnixMs: until, Qualified: true}}}))
	j := w.s.Jobs["boot-1"]
	if cs := w.s.MissingForWorkAt(j, until-1); len(cs) > 0 {
		t.Errorf("a millisecond before its end: %v", cs)
	}
	for _, at := range []int64{until, until + 1} {
		if cs := w.s.MissingForWorkAt(j, at); !has(cs, ledger.TrainingLapsed, "ravi") {
			t.Errorf("%d ms after the end of his training work may start: %v", at-until, cs)
		}
	}
}

// TestClockAheadBound: a time of capture two minutes ahead of the ledger's is taken,
// one beyond that puts the clock in doubt (common practice, no source).
func TestClockAheadBound(t *testing.T) {
	for ahead, doubt := range map[int64]bool{0: false, 120_000: false, 120_001: true} {
		w, _ := isolated(t)
		meter := actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)
		// The world stamps an entry a second after now.
		if o := w.must(w.captured("stonebend", "ravi", w.now+1000+ahead, meter)); flagged(o, ledger.ClockDoubt) != doubt {
			t.Errorf("%d ms ahead: flags %v", ahead, o.GetFlags())
		}
	}
}

// TestRemovalBound: two managers have four hours to sign a removal (common practice,
// no source; 1910.147(e)(3)(i) wants the person not at the facility).
func TestRemovalBound(t *testing.T) {
	for late, taken := range map[int64]bool{0: true, 1: false} {
		w, holds := ready(t)
		w.crew()
		r := w.record("nia", actRemoval(holds["lena "+feeder], "oskar"))
		w.now = r.GetCapturedUnixMs() + 4*60*minute + late - 1000
		if o := w.signedBy(r, w.keys["nia"], w.keys["oskar"]); o.GetAccepted() != taken {
			t.Errorf("4 h and %d ms after it was written: accepted %v, %v", late, o.GetAccepted(), codes(o))
		}
	}
}

// TestDeadlineBound: a request may be used until its deadline and not at it.
func TestDeadlineBound(t *testing.T) {
	for at, taken := range map[int64]bool{-1: true, 0: false, 1: false} {
		w := released(t)
		deadline := w.now + 60*minute
		w.must(w.direct("mara", actRequest("start-1", "boot-1", deadline, feeder, control)))
		for _, y := range w.s.Reqs["start-1"].Involved {
			w.must(w.fence(y, "start-1"))
		}
		w.now = deadline + at - 1000
		o := w.journal("stonebend", "ravi", actEnergise("start-1", feeder))
		if o.GetAccepted() != taken || !taken && !has(o.GetConditions(), ledger.RequestOver, "") {
			t.Errorf("%d ms after the deadline: accepted %v, %v", at, o.GetAccepted(), codes(o))
		}
	}
}

// TestPermitSignedBound: an issuer's signature is good for 15 min (common practice,
// no source; 1910.272(g)(1)(i): the precautions are in place before entry).
func TestPermitSignedBound(t *testing.T) {
	for late, taken := range map[int64]bool{-1: true, 0: true, 1: false} {
		w, _, _ := readyBin(t)
		r := w.record("nia", actIssueBin("in-1", binJob, w.now+240*minute, bin()))
		w.now = r.GetCapturedUnixMs() + 15*minute + late - 1000
		if o := w.signedBy(r, w.keys["nia"]); o.GetAccepted() != taken || !taken && !has(o.GetConditions(), ledger.SignedEarlier, "in-1") {
			t.Errorf("15 min and %d ms after it was signed: accepted %v, %v", late, o.GetAccepted(), codes(o))
		}
	}
}

// TestAirEveryBounds: a permit may ask for air every minute at most and every 30 min
// at least, which is what counts where it says nothing (common practice, no source;
// 1910.272(g)(1)(iii) gives no number).
func TestAirEveryBounds(t *testing.T) {
	for every, good := range map[uint32]bool{0: true, 1: false, 59: false, 60: true, 1800: true, 1801: false} {
		b := bin()
		b.AirEverySeconds = every
		r := actIssueBin("in-1", binJob, start+240*minute, b)
		r.Signer, r.Ticket, r.CapturedUnixMs = "nia", &recordv1.Ticket{Device: "test", Counter: 1}, start
		if bad := ledger.Check(r); (len(bad) == 0) != good {
			t.Errorf("every %d s: %q", every, bad)
		}
	}
	w, _, _ := readyBin(t)
	tested := w.s.Air[binJob]
	w.must(w.issueBin("in-1", bin()))
	first := int64(0)
	for _, a := range tested.Tests {
		if first == 0 || a.At.Time < first {
			first = a.At.Time
		}
	}
	for late, want := range map[int64]recordv1.PermitState{-1: recordv1.PermitState_PERMIT_STATE_IN_FORCE, 0: recordv1.PermitState_PERMIT_STATE_IN_FORCE, 1: recordv1.PermitState_PERMIT_STATE_SUSPENDED} {
		if st := w.s.PermitView("in-1", first+30*minute+late).GetState(); st != want {
			t.Errorf("30 min and %d ms after the first test: %v, want %v", late, st, want)
		}
	}
}

// TestWatchBound: nobody stands watch for longer than a shift of 12 h (common
// practice, no source): a watch that nobody left counts no more after it.
func TestWatchBound(t *testing.T) {
	for late, gone := range map[int64]bool{-1: false, 0: false, 1: true} {
		w, _ := isolatedBin(t)
		on := w.s.Watches[w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER))).GetRef()].On.Time
		w.now += 11*60*minute + 50*minute
		w.testAir()
		w.must(w.issueBin("in-1", bin()))
		v := w.s.PermitView("in-1", on+12*60*minute+late)
		if has(v.GetMissing(), ledger.NoObserver, "") != gone {
			t.Errorf("12 h and %d ms after taking the station: missing %v", late, v.GetMissing())
		}
	}
}
