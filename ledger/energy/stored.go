package energy

import (
	"fmt"
	"math"
	"strconv"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// recheckDefault is how often to look again at a store that can build up, in seconds, if
// the drawing does not say (common practice, no source).
const recheckDefault = 1800

// The limits that Store.Limit and the proofs name.
const (
	below50V   = "below 50 V"
	atMost50C  = "at most 50 °C"
	zeroGauge  = "zero gauge pressure"
	noMotion   = "no motion"
	restsFirm  = "down, or resting on its block or pin"
	slack      = "slack, or held by its pin"
	noneAbove  = "none above, or held by a closed and locked gate or blank"
	nothingHot = "no phosphine above 0.3 ppm"
)

// newStore computes what a drawn store holds, how long to wait, and what hazard that is.
// Where nothing can be computed, the drawing's own figures stay. Of two waits the longer
// counts.
func newStore(id string, s *recordv1.Store) *Store {
	out := &Store{ID: id, Medium: s.GetMedium(), Joules: s.GetJoules(), WaitSeconds: s.GetWaitSeconds(), Release: s.GetRelease(),
		BuildsUp: s.GetBuildsUp()}
	if out.BuildsUp {
		out.RecheckSeconds, out.RecheckSource = s.GetRecheckSeconds(), "the drawing; 29 CFR 1910.147(d)(5)(ii)"
		if out.RecheckSeconds == 0 {
			out.RecheckSeconds, out.RecheckSource = recheckDefault, "common practice, no source"
		}
	}
	w := work(s)
	out.What, out.HowWorkedOut, out.Source, out.Limit, out.Hazard = w.what, w.how, w.source, w.limit, w.hazard
	if w.joules > 0 {
		out.Joules = w.joules
	}
	out.WaitSeconds = max(out.WaitSeconds, wholeSeconds(w.seconds))
	if s.GetWaitSeconds() > 0 && s.GetWhat() != nil && s.GetWaitSeconds() >= wholeSeconds(w.seconds) {
		out.HowWorkedOut += fmt.Sprintf("; the drawing asks for a wait of %d s, the longer counts", s.GetWaitSeconds())
	}
	return out
}

// wholeSeconds rounds up, at most to the largest possible wait.
func wholeSeconds(s float64) uint32 {
	switch {
	case !(s > 0):
		return 0
	case s >= math.MaxUint32:
		return math.MaxUint32
	}
	return uint32(math.Ceil(s))
}

// worked is what is computed from a store's figures.
type worked struct {
	what            string
	joules, seconds float64 // 0: cannot be computed
	how, source     string
	limit, hazard   string
}

// work applies the formula of a store's kind. storeProblems has accepted its figures
// before.
func work(s *recordv1.Store) worked {
	switch x := s.GetWhat().(type) {
	case *recordv1.Store_Capacitor:
		return workCapacitor(x.Capacitor)
	case *recordv1.Store_Flywheel:
		f := x.Flywheel
		w := worked{what: "flywheel", joules: turning(f.GetInertia(), f.GetRpm()), seconds: float64(f.GetRunDownSeconds()),
			source: "I w^2 / 2; run-down is measured on the machine", limit: noMotion}
		w.how = fmt.Sprintf("I w^2 / 2, %s kg m2 at %s rpm: %s J", short(f.GetInertia()), short(f.GetRpm()), short(w.joules))
		if w.seconds > 0 {
			w.how += fmt.Sprintf("; measured run-down %d s", f.GetRunDownSeconds())
		} else {
			w.how += "; no run-down measured, so no time is known: see it stop"
		}
		return w
	case *recordv1.Store_RaisedLoad:
		r := x.RaisedLoad
		w := worked{what: "raised load", joules: falling(r.GetKilograms(), r.GetMetres()), source: "m g h", limit: restsFirm}
		w.how = fmt.Sprintf("m g h, %s kg over %s m: %s J; it doesn't fade with time", short(r.GetKilograms()), short(r.GetMetres()), short(w.joules))
		return w
	case *recordv1.Store_Spring:
		p := x.Spring
		w := worked{what: "spring", joules: sprung(p.GetStiffness(), p.GetMetres()), source: "k x^2 / 2", limit: slack}
		w.how = fmt.Sprintf("k x^2 / 2, %s N/m over %s m: %s J; it doesn't fade with time", short(p.GetStiffness()), short(p.GetMetres()), short(w.joules))
		return w
	case *recordv1.Store_Vessel:
		v := x.Vessel
		w := worked{what: "vessel", joules: pressed(absolute(v.GetKilopascals()), v.GetCubicMetres()),
			source: "ASME PCC-2 equation II-2", limit: zeroGauge}
		w.how = fmt.Sprintf("2.5 P V (1 - (Pa/P)^0.286), %s m3 at %s kPa gauge: %s J, as much as %s kg of TNT; it doesn't fade with time",
			short(v.GetCubicMetres()), short(v.GetKilopascals()), short(w.joules), short(w.joules/tntJoules))
		w.hazard = gasHazard(w.joules)
		return w
	case *recordv1.Store_Accumulator:
		a := x.Accumulator
		before, after := absolute(a.GetPrechargeKilopascals()), absolute(a.GetKilopascals())
		w := worked{what: "accumulator", joules: isothermal(before*a.GetCubicMetres(), after/before),
			source: "P0 V0 ln(P/P0), isothermal: it gives more than the adiabatic formula", limit: zeroGauge}
		w.how = fmt.Sprintf("P0 V0 ln(P/P0), %s m3 precharged to %s kPa, oil at %s kPa, both gauge: %s J; it doesn't fade with time, and the gas keeps its precharge when the oil is out",
			short(a.GetCubicMetres()), short(a.GetPrechargeKilopascals()), short(a.GetKilopascals()), short(w.joules))
		w.hazard = gasHazard(w.joules)
		return w
	case *recordv1.Store_HotPart:
		h := x.HotPart
		w := worked{what: "hot part", seconds: float64(h.GetCoolSeconds()), source: "cooling is measured; the limit is common practice, no source", limit: atMost50C}
		w.how = fmt.Sprintf("%s °C; measured time to cool %d s; its joules aren't worked out", short(h.GetCelsius()), h.GetCoolSeconds())
		if h.GetCoolSeconds() == 0 {
			w.how = fmt.Sprintf("%s °C; no cooling time measured, so no time is known: measure until it is cool; its joules aren't worked out", short(h.GetCelsius()))
		}
		return w
	case *recordv1.Store_GrainAbove:
		g := x.GrainAbove
		kg := grainKilograms(g)
		w := worked{what: "grain above", joules: falling(kg, g.GetMetres()), source: "m g h", limit: noneAbove, hazard: engulfs}
		w.how = fmt.Sprintf("m g h, %s bu or %s kg over %s m: %s J; it doesn't fade with time", short(g.GetBushels()), short(kg), short(g.GetMetres()), short(w.joules))
		return w
	}
	return workUnknown(s)
}

// workUnknown uses the drawing's own figures. The medium says when the store counts as
// empty.
func workUnknown(s *recordv1.Store) worked {
	w := worked{how: "as the drawing says, not worked out", source: "the drawing", limit: emptyBy(s.GetMedium())}
	if s.GetJoules() == 0 {
		w.how = "the drawing doesn't say how much it holds: treat it as dangerous"
	}
	if s.GetMedium() == recordv1.Medium_MEDIUM_GRAIN {
		w.hazard = engulfs
	}
	return w
}

func emptyBy(m recordv1.Medium) string {
	switch m {
	case recordv1.Medium_MEDIUM_ELECTRICITY:
		return below50V
	case recordv1.Medium_MEDIUM_MOTION:
		return noMotion
	case recordv1.Medium_MEDIUM_GRAIN:
		return noneAbove
	case recordv1.Medium_MEDIUM_HEAT:
		return atMost50C
	case recordv1.Medium_MEDIUM_CHEMICAL:
		return nothingHot
	}
	return zeroGauge
}

// workCapacitor computes the time to 50 V through the resistance. It takes the label's
// wait if that is longer.
func workCapacitor(c *recordv1.Capacitor) worked {
	w := worked{what: "capacitor", joules: charge(c.GetFarads(), c.GetVolts()), source: "R C ln(V/50 V); limit NEC 460.6", limit: below50V}
	w.how = fmt.Sprintf("C V^2 / 2, %s F at %s V: %s J", short(c.GetFarads()), short(c.GetVolts()), short(w.joules))
	rc := discharge(c.GetOhms(), c.GetFarads(), c.GetVolts(), touchVolts)
	switch {
	case c.GetVolts() <= touchVolts:
		w.how += "; it never exceeds 50 V"
	case c.GetOhms() > 0:
		w.how += fmt.Sprintf("; R C ln(V/50 V), %s ohm: %d s", short(c.GetOhms()), wholeSeconds(rc))
		if allowed := dischargeAllowed(c.GetVolts()); rc > allowed {
			w.how += fmt.Sprintf(", slower than the %g s that NEC 460.6 gives a capacitor bank", allowed)
		}
	case c.GetLabelSeconds() == 0:
		w.how += "; no discharge resistance and no label's wait, so no time is known: discharge it and measure"
	}
	w.seconds = rc
	if label := float64(c.GetLabelSeconds()); label > 0 {
		w.how += fmt.Sprintf("; the label says %d s, the longer counts", c.GetLabelSeconds())
		w.seconds = max(rc, label)
	}
	// Lawrence Berkeley National Laboratory, thresholds of Table 2.2.13
	switch {
	case c.GetVolts() >= 100 && w.joules >= 10:
		w.hazard = "shock: 10 J or more at 100 V or more (LBNL table 2.2.13)"
	case c.GetVolts() < 100 && w.joules > 100:
		w.hazard = "burn: more than 100 J below 100 V (LBNL table 2.2.13)"
	}
	return w
}

// dischargeAllowed is how long NEC 460.6 gives a capacitor to fall to 50 V, in s: one
// minute up to 1000 V rated, five minutes above. The rating is taken as the peak divided
// by the square root of two.
func dischargeAllowed(peak float64) float64 {
	if peak <= 1000*math.Sqrt2 {
		return 60
	}
	return 300
}

// engulfs: Penn State Extension, flow of a 10-inch auger.
const engulfs = "a person can be trapped about 5 s after grain moves and covered after about 25 s (Penn State Extension, 10-inch auger)"

// gasHazard: University of California, Berkeley, Environment, Health and Safety,
// pressure safety.
func gasHazard(joules float64) string {
	if joules > 100_000 {
		return "highly hazardous: more than 100 kJ of gas under pressure (UC Berkeley EHS)"
	}
	return ""
}

// short writes a figure with at most four significant digits. It avoids an exponent
// where a reader would stumble over it.
func short(x float64) string {
	x, _ = strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	if x != 0 && (x < 1e-6 || x >= 1e9) {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}
