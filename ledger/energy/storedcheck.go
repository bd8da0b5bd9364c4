package energy

import (
	"fmt"
	"math"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// maxWait is the longest wait that can be computed or given, in s: thirty days.
	maxWait = 30 * 24 * 3600
	// maxRecheck is the longest time between looks at a store that builds up, in s.
	maxRecheck = 24 * 3600
)

// figureProblem is one thing wrong with a store's figures.
type figureProblem struct{ field, text string }

// figure is one number of a store, with the values that are believable. The limits are
// ours. They catch a slip of the unit or of the decimal point.
type figure struct {
	name  string
	value float64
	unit  string
	max   float64
	none  bool // 0 stands for "not known"
}

// storeProblems says what is wrong with the figures of a store, by field below the node,
// such as "store.capacitor.volts". A node without a store has no problems.
func storeProblems(n *recordv1.Node) []figureProblem {
	s := n.GetStore()
	if s == nil {
		return nil
	}
	var out []figureProblem
	bad := func(field, format string, args ...any) {
		out = append(out, figureProblem{field, fmt.Sprintf(format, args...)})
	}
	if s.GetWaitSeconds() > maxWait {
		bad("store.wait_seconds", "store %q asks for a wait of %d s: more than 30 days is no wait, give how it is released", n.GetName(), s.GetWaitSeconds())
	}
	switch {
	case s.GetRecheckSeconds() > 0 && !s.GetBuildsUp():
		bad("store.recheck_seconds", "store %q says how often to look again but not that it builds up: set builds_up, or take recheck_seconds off", n.GetName())
	case s.GetRecheckSeconds() > maxRecheck:
		bad("store.recheck_seconds", "store %q is looked at every %d s: give at most %d, a day", n.GetName(), s.GetRecheckSeconds(), maxRecheck)
	}
	kind, media, figures := figuresOf(s)
	if kind == "" {
		return out
	}
	known := false
	for _, m := range media {
		known = known || m == s.GetMedium()
	}
	if !known && knownMedium(s.GetMedium()) {
		bad("store.medium", "store %q is a %s, which can't hold %s: mend the medium or the kind", n.GetName(), kind, mediumWord(s.GetMedium()))
	}
	figuresBad := false
	for _, f := range figures {
		// the comparison is also false for NaN
		if !(f.value > 0 && f.value <= f.max || f.none && f.value == 0) {
			figuresBad = true
			bad("store."+f.name, "%s of store %q is no number above 0 and at most %g %s: give it in %s", f.name, n.GetName(), f.max, f.unit, f.unit)
		}
	}
	if figuresBad {
		return out
	}
	if a := s.GetAccumulator(); a != nil && a.GetKilopascals() < a.GetPrechargeKilopascals() {
		bad("store.accumulator.kilopascals", "accumulator %q is at %g kPa, below its precharge of %g kPa: mend one of them", n.GetName(), a.GetKilopascals(), a.GetPrechargeKilopascals())
		return out
	}
	w := work(s)
	if !(w.seconds <= maxWait) {
		bad("store", "store %q takes %.3g s to fade, more than 30 days: mend the figures, or leave the time out and give how it is released", n.GetName(), w.seconds)
	}
	if w.joules > 0 && s.GetJoules() > 0 && math.Abs(w.joules-s.GetJoules()) > w.joules/100 {
		bad("store.joules", "joules of store %q are %g and its figures give %s: they differ by more than 1 %%, mend one or leave joules out", n.GetName(), s.GetJoules(), short(w.joules))
	}
	return out
}

// figuresOf lists a store's figures, its kind in words, and the media that such a store
// can hold.
func figuresOf(s *recordv1.Store) (kind string, media []recordv1.Medium, figures []figure) {
	const most = 1e9
	switch x := s.GetWhat().(type) {
	case *recordv1.Store_Capacitor:
		c := x.Capacitor
		return "capacitor", []recordv1.Medium{recordv1.Medium_MEDIUM_ELECTRICITY}, []figure{
			{"capacitor.farads", c.GetFarads(), "F", 1000, false},
			{"capacitor.volts", c.GetVolts(), "V", 1e6, false},
			{"capacitor.ohms", c.GetOhms(), "ohm", 1e12, true},
			{"capacitor.label_seconds", float64(c.GetLabelSeconds()), "s", maxWait, true}}
	case *recordv1.Store_Flywheel:
		f := x.Flywheel
		return "flywheel", []recordv1.Medium{recordv1.Medium_MEDIUM_MOTION}, []figure{
			{"flywheel.inertia", f.GetInertia(), "kg m2", most, false},
			{"flywheel.rpm", f.GetRpm(), "rpm", 1e6, false},
			{"flywheel.run_down_seconds", float64(f.GetRunDownSeconds()), "s", maxWait, true}}
	case *recordv1.Store_RaisedLoad:
		r := x.RaisedLoad
		return "raised load", []recordv1.Medium{recordv1.Medium_MEDIUM_MOTION, recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_HYDRAULIC}, []figure{
			{"raised_load.kilograms", r.GetKilograms(), "kg", most, false},
			{"raised_load.metres", r.GetMetres(), "m", 1000, false}}
	case *recordv1.Store_Spring:
		p := x.Spring
		return "spring", []recordv1.Medium{recordv1.Medium_MEDIUM_MOTION}, []figure{
			{"spring.stiffness", p.GetStiffness(), "N/m", 1e12, false},
			{"spring.metres", p.GetMetres(), "m", 100, false}}
	case *recordv1.Store_Vessel:
		v := x.Vessel
		return "vessel", []recordv1.Medium{recordv1.Medium_MEDIUM_AIR, recordv1.Medium_MEDIUM_FUEL_GAS, recordv1.Medium_MEDIUM_CHEMICAL}, []figure{
			{"vessel.cubic_metres", v.GetCubicMetres(), "m3", 1e5, false},
			{"vessel.kilopascals", v.GetKilopascals(), "kPa", 1e6, false}}
	case *recordv1.Store_Accumulator:
		a := x.Accumulator
		return "accumulator", []recordv1.Medium{recordv1.Medium_MEDIUM_HYDRAULIC}, []figure{
			{"accumulator.cubic_metres", a.GetCubicMetres(), "m3", 1000, false},
			{"accumulator.precharge_kilopascals", a.GetPrechargeKilopascals(), "kPa", 1e6, false},
			{"accumulator.kilopascals", a.GetKilopascals(), "kPa", 1e6, false}}
	case *recordv1.Store_HotPart:
		h := x.HotPart
		return "hot part", []recordv1.Medium{recordv1.Medium_MEDIUM_HEAT}, []figure{
			{"hot_part.celsius", h.GetCelsius(), "°C", 3000, false},
			{"hot_part.cool_seconds", float64(h.GetCoolSeconds()), "s", maxWait, true}}
	case *recordv1.Store_GrainAbove:
		g := x.GrainAbove
		return "grain above", []recordv1.Medium{recordv1.Medium_MEDIUM_GRAIN}, []figure{
			{"grain_above.bushels", g.GetBushels(), "bu", 1e8, false},
			{"grain_above.pounds_per_bushel", g.GetPoundsPerBushel(), "lb", 100, true},
			{"grain_above.metres", g.GetMetres(), "m", 1000, false}}
	}
	return "", nil, nil
}

// figures reports the problems of a store's figures, and a store whose wait nobody can
// know.
func (c *checker) figures(i int, n *recordv1.Node) {
	problems := storeProblems(n)
	for _, p := range problems {
		c.bad(fmt.Sprintf("nodes[%d].%s", i, p.field), "%s", p.text)
	}
	if x := n.GetStore().GetCapacitor(); len(problems) == 0 && x.GetVolts() > touchVolts && x.GetOhms() == 0 && x.GetLabelSeconds() == 0 && n.GetStore().GetWaitSeconds() == 0 {
		c.warn(fmt.Sprintf("nodes[%d].store.capacitor", i), "no time to discharge is known for capacitor %q: give ohms, or the wait on the maker's label", n.GetName())
	}
}
