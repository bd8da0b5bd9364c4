package energy

import (
	"errors"
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Procedure is the written procedure that 29 CFR 1910.147(c)(4)(ii) asks for, as data:
// sections of numbered steps, in the order that a crew follows. It is made from
// drawings, zone and plan. What only the co-op knows is left to be filled in: names,
// phone numbers, its own measures.
type Procedure struct {
	Zone, Label string
	Level       recordv1.Isolation
	// WaivedBy and WaivedWhy are set when double isolation is waived.
	WaivedBy, WaivedWhy string
	// Yards are those with a step, sorted. Each needs a crew or a person.
	Yards    []string
	Points   []string
	Sections []Section
}

// Section is one stage.
type Section struct {
	Title string
	// Element is the part of (c)(4)(ii) that the section answers: "(A)" intended use,
	// "(B)" steps to shut down, isolate, block and secure, "(C)" devices and who is
	// responsible, "(D)" how to test.
	Element string
	Steps   []Step
}

// Step is one thing to do or to know.
type Step struct {
	// Number counts through the whole procedure, from 1.
	Number int
	Text   string
	// Clause is the source of the step, or "common practice, no source" if nobody wrote
	// it down.
	Clause string
	// Yard and Place say where. They are "" if it is no single place.
	Yard, Place string
	// Point and Node say what it is about: the isolation point, or the source, machine,
	// store, part or control.
	Point, Node string
	// Sources are those that an isolating step holds back, or that a step of the energy
	// list names.
	Sources []string
	// Test is how a crew knows that the step worked. Every step that isolates or
	// releases has one.
	Test string
	act  act
}

// act is what a step does. It is used to check that the procedure is complete.
type act int8

const (
	tells act = iota
	names     // an energy source
	isolates
	locks
	releases
	verifies
)

// maxProcedure limits the points of a procedure. Nobody follows a longer one.
const maxProcedure = 500

// Procedure writes the procedure for work in the zone behind the plan's points. It fails
// on a plan for another zone, and on one that does not isolate the zone as the drawings
// ask. It also fails where a source that reaches the zone has no step, or a step has no
// test: such a procedure may not be published (1910.147(c)(4)(ii)(B), (D)).
func (g *Graph) Procedure(zone string, plan Plan) (Procedure, error) {
	z, err := g.zone(zone)
	if err != nil {
		return Procedure{}, err
	}
	if plan.Zone != z.ID {
		return Procedure{}, fmt.Errorf("the plan is for %q, not for %s: compute one for the zone", plan.Zone, z.ID)
	}
	if len(plan.Points) > maxProcedure {
		return Procedure{}, fmt.Errorf("%d points, at most %d in one procedure: split the zone", len(plan.Points), maxProcedure)
	}
	if plan.Level != recordv1.Isolation_ISOLATION_UNSPECIFIED && need(plan.Level) < need(z.Isolation) {
		return Procedure{}, fmt.Errorf("the plan is for single isolation and %s needs double: compute it again, or have it waived in the drawing", z.ID)
	}
	_, level, err := g.ask(zone, plan.Level)
	if err != nil {
		return Procedure{}, err
	}
	open, err := g.opened(plan.Points)
	if err != nil {
		return Procedure{}, err
	}
	if v := g.examine(z, open, level); !v.Isolates {
		p := v.Live[0]
		return Procedure{}, fmt.Errorf("%s reaches %s and the plan has too few points on the way (%d of %d): compute the plan again", p.Source, p.Part, len(p.Held), need(level))
	}
	w := g.writer(z, open, level)
	p := Procedure{Zone: z.ID, Label: z.Label, Level: level, WaivedBy: z.WaivedBy, WaivedWhy: z.WaivedWhy, Points: g.named(open)}
	p.Sections = []Section{
		w.scope(), w.who(), w.energies(), w.notify(), w.shutDown(), w.isolate(), w.release(), w.verify(), w.during(),
		w.transfer(), w.testing(), w.clear(), w.energise(),
	}
	n := 0
	for i := range p.Sections {
		for j := range p.Sections[i].Steps {
			n++
			s := &p.Sections[i].Steps[j]
			s.Number = n
			if s.Yard != "" {
				p.Yards = append(p.Yards, s.Yard)
			}
		}
	}
	slices.Sort(p.Yards)
	p.Yards = slices.Compact(p.Yards)
	if err := w.missing(p); err != nil {
		return Procedure{}, err
	}
	return p, nil
}

// missing says what a procedure lacks. Every source that reaches the zone with all
// points closed must be named and held by a step. Every plan point must be opened and
// locked, every store released, and every exposed part verified. Each of these steps
// needs a test.
func (w *writer) missing(p Procedure) error {
	type done struct {
		a  act
		id string
	}
	held, named, point, node := map[string]bool{}, map[string]bool{}, map[done]bool{}, map[done]int{}
	var errs []error
	for _, sec := range p.Sections {
		for _, s := range sec.Steps {
			if s.Test == "" && (s.act == isolates || s.act == locks || s.act == releases) {
				errs = append(errs, fmt.Errorf("step %d (%s) has no test: say how a crew knows that it worked", s.Number, s.Text))
			}
			if blank(s.Text) || s.Clause == "" {
				errs = append(errs, fmt.Errorf("step %d says nothing or has no source", s.Number))
			}
			point[done{s.act, s.Point}] = true
			node[done{s.act, s.Node}]++
			for _, source := range s.Sources {
				switch s.act {
				case isolates:
					held[source] = true
				case names:
					named[source] = true
				}
			}
		}
	}
	for _, n := range w.sources {
		if id := w.g.nodes[n].id; !held[id] || !named[id] {
			errs = append(errs, fmt.Errorf("source %s reaches %s and has no step: compute the plan again", id, p.Zone))
		}
	}
	for _, id := range p.Points {
		if !point[done{isolates, id}] || !point[done{locks, id}] {
			errs = append(errs, fmt.Errorf("point %s has no step to open or to lock it", id))
		}
	}
	for _, s := range w.stores {
		if blank(s.Release) {
			errs = append(errs, fmt.Errorf("store %s has no release step: say in the drawing how a crew lets its energy out", s.ID))
		} else if node[done{releases, s.ID}] == 0 {
			errs = append(errs, fmt.Errorf("store %s has no step", s.ID))
		}
		if node[done{verifies, s.ID}] == 0 {
			errs = append(errs, fmt.Errorf("store %s has no step to verify that it is empty or held", s.ID))
		}
	}
	for _, part := range w.z.Parts {
		if n := node[done{verifies, part.Node}]; n < len(part.Media) {
			errs = append(errs, fmt.Errorf("part %s has %d steps to verify %d kinds of energy gone", part.Node, n, len(part.Media)))
		}
	}
	return errors.Join(errs...)
}
