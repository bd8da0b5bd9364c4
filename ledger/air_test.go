package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// bounds of the air, each with values that are acceptable and values just past, in
// thousandths of the unit. The figures are those of the sources beside them.
var bounds = []struct {
	agent     recordv1.AirAgent
	good, bad []int64
	source    string
}{
	// "below 19.5 percent or above 23.5 percent" is hazardous.
	{oxygen, []int64{19_500, 20_900, 23_500}, []int64{0, 19_499, 23_501}, "29 CFR 1910.146(b)"},
	// "in excess of 10 percent of its lower flammable limit".
	{burns, []int64{0, 10_000}, []int64{10_001, 100_000}, "29 CFR 1910.146(b)"},
	{co, []int64{0, 50_000}, []int64{50_001}, "29 CFR 1910.1000 Table Z-1, 50 ppm"},
	{co2, []int64{0, 5_000_000}, []int64{5_000_001}, "29 CFR 1910.1000 Table Z-1, 5,000 ppm"},
	{h2s, []int64{0, 20_000}, []int64{20_001}, "29 CFR 1910.1000 Table Z-2, ceiling 20 ppm"},
	{recordv1.AirAgent_AIR_AGENT_NITROGEN_DIOXIDE, []int64{0, 5_000}, []int64{5_001}, "29 CFR 1910.1000 Table Z-1, ceiling 5 ppm"},
	{ph3, []int64{0, 300}, []int64{301, 50_000}, "29 CFR 1910.1000 Table Z-1, 0.3 ppm; 50 ppm is NIOSH's immediate danger to life"},
}

// TestAirBounds: a permit is issued, and refused, at and either side of each bound.
func TestAirBounds(t *testing.T) {
	if len(bounds) != len(ledger.AirLimits) {
		t.Fatalf("%d bounds are checked, the ledger has %d", len(bounds), len(ledger.AirLimits))
	}
	w, _, _ := readyBin(t)
	before := w.s.Clone()
	last := w.last["eastfork"]
	for _, b := range bounds {
		for _, good := range []bool{true, false} {
			vs := b.bad
			if good {
				vs = b.good
			}
			for _, v := range vs {
				w.s, w.last["eastfork"] = before.Clone(), last
				o := w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, bottom, &recordv1.AirValue{Agent: b.agent, Thousandths: v})))
				if flagged(o, ledger.AirOutOfLimits) == good {
					t.Errorf("%v at %d thousandths (%s): flags %v", b.agent, v, b.source, o.GetFlags())
				}
				if o = w.issueBin("in-1", bin()); o.GetAccepted() != good {
					t.Errorf("%v at %d thousandths (%s): issued %v: %v", b.agent, v, b.source, o.GetAccepted(), o.GetConditions())
				} else if !good {
					w.refusedWith(o, ledger.AirOutOfLimits)
				}
			}
		}
	}
}

// TestThousandths writes decimals without a float.
func TestThousandths(t *testing.T) {
	for n, want := range map[int64]string{0: "0", 1: "0.001", 300: "0.3", 999: "0.999", 1000: "1", 20_800: "20.8", 5_000_000: "5000", -1: "-0.001", -1500: "-1.5", -1 << 63: "-9223372036854775.808"} {
		if got := ledger.Thousandths(n); got != want {
			t.Errorf("Thousandths(%d) = %q, want %q", n, got, want)
		}
	}
}

// TestAirThatDoesNotCount: a value within limits counts only from somebody who may,
// with a proved instrument, in the job's own zone, by a clock without doubt; and one
// out of limits counts from anybody.
func TestAirThatDoesNotCount(t *testing.T) {
	for name, c := range map[string]struct {
		by     string
		change func(*recordv1.AirReading)
		doubt  bool
		code   code.Code
	}{
		"by an affected employee":  {"dov", func(*recordv1.AirReading) {}, false, ledger.TesterMayNot},
		"not proved before":        {"ravi", func(r *recordv1.AirReading) { r.ProvedBefore = false }, false, ledger.GasMeterNotProved},
		"not proved after":         {"ravi", func(r *recordv1.AirReading) { r.ProvedAfter = false }, false, ledger.GasMeterNotProved},
		"without an instrument":    {"ravi", func(r *recordv1.AirReading) { r.Instrument = "" }, false, ledger.GasMeterNotProved},
		"in the next bin":          {"ravi", func(r *recordv1.AirReading) { r.Zone = "eastfork/bin-4" }, false, ledger.OtherZone},
		"by a clock that is wrong": {"ravi", func(*recordv1.AirReading) {}, true, ledger.AirClockDoubt},
	} {
		w, _ := isolatedBin(t)
		w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER)))
		w.doubt = c.doubt
		for _, l := range []recordv1.AirLevel{top, middle, bottom} {
			a := actAir(binJob, binZone, l, clean()...)
			c.change(a.GetAirReading())
			if o := w.must(w.journal("eastfork", c.by, a)); !flagged(o, c.code) {
				t.Errorf("%s: flags %v, want %s", name, o.GetFlags(), c.code)
			}
		}
		w.doubt = false
		w.refusedWith(w.issueBin("in-1", bin()), ledger.AirNotTested)
		w.testAir()
		w.must(w.issueBin("in-2", bin()))
		w.doubt = c.doubt
		a := actAir(binJob, binZone, bottom, values(oxygen, 19_000)...)
		c.change(a.GetAirReading())
		w.must(w.journal("eastfork", c.by, a))
		if st := w.permitState("in-2"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
			t.Errorf("%s: oxygen at 19 %% leaves the permit %v", name, st)
		}
	}
}

// TestAirArrivesLate: a good value that was written without knowing of a bad one,
// or that is older than what is known, does not take its place.
func TestAirArrivesLate(t *testing.T) {
	w, _, _ := readyBin(t)
	seen := w.s.Size()
	w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, bottom, values(co2, 6_000_000)...)))
	w.basedOn["stonebend"] = seen
	w.must(w.journal("stonebend", "ravi", actAir(binJob, binZone, bottom, values(co2, 400_000)...)))
	w.refusedWith(w.issueBin("in-1", bin()), ledger.AirOutOfLimits)
	delete(w.basedOn, "stonebend")
	w.must(w.journal("stonebend", "ravi", actAir(binJob, binZone, bottom, values(co2, 400_000)...)))
	b := bin()
	b.Ventilation = recordv1.Ventilation_VENTILATION_FORCED
	w.must(w.issueBin("in-2", b))
}
