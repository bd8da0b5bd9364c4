package drawing

import (
	"math"
	"strconv"
	"time"

	"github.com/goccy/go-yaml/ast"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// input is one field of a store's figures. Fields of the same slot say the same thing in
// different units. The file gives one of them.
type input struct {
	key  string
	slot int
	// number turns the written value into the message's unit. It is nil for a duration
	// (of a uint32 slot) and for a number that needs no conversion.
	number func(float64) float64
}

// times converts from a unit that is factor units of the message. The factors of foot,
// pound, gallon and pound-force are exact by definition (the international yard and
// pound agreement of 1959; US gallon of 231 cubic inches).
func times(factor float64) func(float64) float64 {
	return func(x float64) float64 { return x * factor }
}

const (
	foot  = 0.3048                                     // m
	pound = 0.45359237                                 // kg
	psi   = pound * 9.80665 / (0.0254 * 0.0254) / 1000 // kPa
	inch3 = 0.0254 * 0.0254 * 0.0254                   // m3
)

var (
	volumes   = []input{{key: "cubic_metres"}, {key: "litres", number: over(1000)}, {key: "gallons", number: times(231 * inch3)}, {key: "cubic_feet", number: times(1728 * inch3)}}
	heights   = []input{{key: "metres"}, {key: "feet", number: times(foot)}}
	pressures = []input{{key: "kilopascals"}, {key: "psi", number: times(psi)}, {key: "bar", number: times(100)}}
)

// over converts from small units. Dividing by a whole number rounds only once.
func over(parts float64) func(float64) float64 {
	return func(x float64) float64 { return x / parts }
}

// in gives inputs their slot.
func in(slot int, list ...input) []input {
	out := make([]input, len(list))
	for i, f := range list {
		f.slot = slot
		out[i] = f
	}
	return out
}

func all(lists ...[]input) []input {
	var out []input
	for _, l := range lists {
		out = append(out, l...)
	}
	return out
}

// figures are the fields of each kind of store, by the file's name for the kind.
var figures = map[string][]input{
	"capacitor":   all(in(0, input{key: "farads"}, input{key: "microfarads", number: over(1e6)}), in(1, input{key: "volts"}), in(2, input{key: "ohms"}), in(3, input{key: "label_wait"})),
	"flywheel":    all(in(0, input{key: "inertia"}), in(1, input{key: "rpm"}), in(2, input{key: "run_down"})),
	"raised_load": all(in(0, input{key: "kilograms"}, input{key: "pounds", number: times(pound)}), in(1, heights...)),
	"spring":      all(in(0, input{key: "stiffness"}), in(1, heights...)),
	"vessel":      all(in(0, volumes...), in(1, pressures...)),
	"accumulator": all(in(0, volumes...), in(1, input{key: "precharge_kilopascals"}, input{key: "precharge_psi", number: times(psi)}, input{key: "precharge_bar", number: times(100)}), in(2, pressures...)),
	"hot_part":    all(in(0, input{key: "celsius"}, input{key: "fahrenheit", number: func(f float64) float64 { return (f - 32) / 1.8 }}), in(1, input{key: "cool"})),
	"grain_above": all(in(0, input{key: "bushels"}), in(1, input{key: "pounds_per_bushel"}), in(2, heights...)),
}

// figureNames are the kinds of store in the order of the contract.
var figureNames = []string{"capacitor", "flywheel", "raised_load", "spring", "vessel", "accumulator", "hot_part", "grain_above"}

var storeFields = append(append([]string{"medium", "joules", "wait"}, figureNames...), "release", "builds_up", "recheck")

func keys(list []input) []string {
	out := make([]string, len(list))
	for i, f := range list {
		out[i] = f.key
	}
	return out
}

// slots makes the message of a kind of store and returns its fields, by slot.
func slots(kind string, s *recordv1.Store) []any {
	switch kind {
	case "capacitor":
		c := &recordv1.Capacitor{}
		s.What = &recordv1.Store_Capacitor{Capacitor: c}
		return []any{&c.Farads, &c.Volts, &c.Ohms, &c.LabelSeconds}
	case "flywheel":
		f := &recordv1.Flywheel{}
		s.What = &recordv1.Store_Flywheel{Flywheel: f}
		return []any{&f.Inertia, &f.Rpm, &f.RunDownSeconds}
	case "raised_load":
		l := &recordv1.RaisedLoad{}
		s.What = &recordv1.Store_RaisedLoad{RaisedLoad: l}
		return []any{&l.Kilograms, &l.Metres}
	case "spring":
		p := &recordv1.Spring{}
		s.What = &recordv1.Store_Spring{Spring: p}
		return []any{&p.Stiffness, &p.Metres}
	case "vessel":
		v := &recordv1.Vessel{}
		s.What = &recordv1.Store_Vessel{Vessel: v}
		return []any{&v.CubicMetres, &v.Kilopascals}
	case "accumulator":
		a := &recordv1.Accumulator{}
		s.What = &recordv1.Store_Accumulator{Accumulator: a}
		return []any{&a.CubicMetres, &a.PrechargeKilopascals, &a.Kilopascals}
	case "hot_part":
		h := &recordv1.HotPart{}
		s.What = &recordv1.Store_HotPart{HotPart: h}
		return []any{&h.Celsius, &h.CoolSeconds}
	case "grain_above":
		g := &recordv1.GrainAbove{}
		s.What = &recordv1.Store_GrainAbove{GrainAbove: g}
		return []any{&g.Bushels, &g.PoundsPerBushel, &g.Metres}
	}
	return nil
}

func (r *reader) store(n ast.Node) (*recordv1.Store, *spot) {
	store := &recordv1.Store{}
	what := ""
	at := r.fields(n, "a store", storeFields, func(key string, v ast.Node) *spot {
		switch key {
		case "medium":
			return r.word(v, mediumWords, (*int32)(&store.Medium))
		case "joules":
			return r.amount(v, "joules", &store.Joules)
		case "wait":
			return r.wait(v, "wait", &store.WaitSeconds)
		case "release":
			return r.text(v, "release", &store.Release)
		case "builds_up":
			return r.flag(v, "builds_up", &store.BuildsUp)
		case "recheck":
			return r.wait(v, "recheck", &store.RecheckSeconds)
		}
		if what != "" {
			at := r.begin(v)
			r.fail(at, "a store is a %s or a %s, not both; draw two stores", what, key)
			return &at
		}
		what = key
		return r.figures(v, key, slots(key, store))
	})
	return store, at
}

// figures reads the fields of one kind of store.
func (r *reader) figures(n ast.Node, what string, slots []any) *spot {
	given := make([]string, len(slots))
	return r.fields(n, a(what), keys(figures[what]), func(key string, v ast.Node) *spot {
		for _, f := range figures[what] {
			if f.key != key {
				continue
			}
			if before := given[f.slot]; before != "" {
				at := r.begin(v)
				r.fail(at, "%s and %s say the same thing; keep one", before, key)
				return &at
			}
			given[f.slot] = key
			switch into := slots[f.slot].(type) {
			case *uint32:
				return r.wait(v, key, into)
			case *float64:
				return r.measure(v, f, into)
			}
		}
		return nil
	})
}

func (r *reader) measure(n ast.Node, f input, into *float64) *spot {
	at := r.amount(n, f.key, into)
	if f.number == nil {
		return at
	}
	*into = f.number(*into)
	if *into < 0 || math.IsInf(*into, 0) {
		*into = 0
		r.fail(*at, "%s is out of range", f.key)
	}
	return at
}

func a(what string) string {
	if what == "accumulator" {
		return "an " + what
	}
	return "a " + what
}

func writeStore(s *recordv1.Store) string {
	var g group
	g.word("medium", mediumWords, int32(s.GetMedium()))
	if s.What == nil || s.GetJoules() != 0 {
		g.add("joules", strconv.FormatFloat(s.GetJoules(), 'f', -1, 64))
	}
	if s.What == nil || s.GetWaitSeconds() != 0 {
		g.add("wait", (time.Duration(s.GetWaitSeconds()) * time.Second).String())
	}
	for _, kind := range figureNames {
		if values := figuresOf(kind, s); values != nil {
			g.add(kind, writeFigures(kind, values))
		}
	}
	g.text("release", s.GetRelease())
	g.flag("builds_up", s.GetBuildsUp())
	g.wait("recheck", s.GetRecheckSeconds())
	return g.String()
}

func writeFigures(kind string, values []any) string {
	var g group
	done := -1
	for _, f := range figures[kind] {
		if f.slot == done {
			continue // the first input of a slot is in the message's unit
		}
		done = f.slot
		switch v := values[f.slot].(type) {
		case float64:
			g.number(f.key, v)
		case uint32:
			g.wait(f.key, v)
		}
	}
	return g.String()
}

// figuresOf returns the figures of a store of this kind, or nil for another kind.
func figuresOf(kind string, s *recordv1.Store) []any {
	switch w := s.What.(type) {
	case *recordv1.Store_Capacitor:
		if c := w.Capacitor; kind == "capacitor" {
			return []any{c.GetFarads(), c.GetVolts(), c.GetOhms(), c.GetLabelSeconds()}
		}
	case *recordv1.Store_Flywheel:
		if f := w.Flywheel; kind == "flywheel" {
			return []any{f.GetInertia(), f.GetRpm(), f.GetRunDownSeconds()}
		}
	case *recordv1.Store_RaisedLoad:
		if l := w.RaisedLoad; kind == "raised_load" {
			return []any{l.GetKilograms(), l.GetMetres()}
		}
	case *recordv1.Store_Spring:
		if p := w.Spring; kind == "spring" {
			return []any{p.GetStiffness(), p.GetMetres()}
		}
	case *recordv1.Store_Vessel:
		if v := w.Vessel; kind == "vessel" {
			return []any{v.GetCubicMetres(), v.GetKilopascals()}
		}
	case *recordv1.Store_Accumulator:
		if a := w.Accumulator; kind == "accumulator" {
			return []any{a.GetCubicMetres(), a.GetPrechargeKilopascals(), a.GetKilopascals()}
		}
	case *recordv1.Store_HotPart:
		if h := w.HotPart; kind == "hot_part" {
			return []any{h.GetCelsius(), h.GetCoolSeconds()}
		}
	case *recordv1.Store_GrainAbove:
		if g := w.GrainAbove; kind == "grain_above" {
			return []any{g.GetBushels(), g.GetPoundsPerBushel(), g.GetMetres()}
		}
	}
	return nil
}
