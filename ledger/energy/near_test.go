package energy

import (
	"slices"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// pumpHouse has one zone, the wheel that a motor with two feeds turns. Each node
// about it is near for one reason alone, or for none.
func pumpHouse() *sketch {
	s := newSketch("millrow")
	s.add("source utility @far-field")
	s.add("bus panel @switch-room")
	s.add("machine motor @well")
	s.add("machine wheel @pit")
	s.add("machine lamp")        // fed by panel, at no place
	s.add("machine spare")       // never fed
	s.add("machine heater @pit") // at a part's place, of another feed
	s.add("machine clock @switch-room")
	s.add("bus brake-panel @loft") // next to the motor past an open brake disconnect
	s.add("source brake-supply @field")
	s.add("control start @office").Starts = []string{"motor"}
	s.add("control lamp-switch @office").Starts = []string{"lamp"}
	s.link("a: utility electricity panel")
	s.link("b: panel electricity motor, breaker p/motor")
	s.link("c: motor motion wheel")
	s.link("d: panel electricity lamp, breaker p/lamp")
	s.link("e: utility electricity heater")
	s.link("f: utility electricity clock")
	s.link("g: utility electricity start")
	s.link("h: utility electricity lamp-switch")
	s.link("i: brake-supply electricity brake-panel")
	s.link("j: brake-panel electricity motor, disconnect loft/brake")
	s.add("machine belt @hall")
	s.add("control belt-start @office").Starts = []string{"belt"}
	s.link("k: motor motion belt").OneWay = "the belt slips backward" // dark with the motor, but moves no part
	s.link("l: utility electricity belt-start")
	s.link("m: spare electricity lamp").OneWay = "nothing turns it" // never fed, so never dark
	s.zone("work", "wheel motion")
	return s
}

// TestNear checks each reason for staying live, and each for going dark, alone.
func TestNear(t *testing.T) {
	g := mustBuild(t, pumpHouse().Drawing)
	p := mustPlan(t, g, "millrow/work", asked)
	same(t, "points", p.Points, []string{"millrow/loft/brake", "millrow/p/motor"})
	same(t, "goes dark", p.GoesDark, []string{"millrow/belt", "millrow/motor"})
	same(t, "stays live", p.StaysLive, []string{
		"millrow/brake-panel", // neighbour of the motor, which went dark
		"millrow/clock",       // in the room of the breaker's line side
		"millrow/heater",      // in the pit with the wheel
		"millrow/panel",       // neighbour of the motor
		"millrow/start",       // starts the motor, which turns the wheel
	})

	// with the motor's feed still closed it is no dead machine of the zone, and
	// no room is called the line side of that breaker
	d, err := g.Describe("millrow/work", []string{"millrow/loft/brake"}, asked)
	if err != nil || d.Isolates || len(d.Live) != 1 {
		t.Fatalf("%+v, %v", d, err)
	}
	same(t, "goes dark with one open", d.GoesDark, nil)
	same(t, "stays live with one open", d.StaysLive, []string{"millrow/brake-panel", "millrow/heater", "millrow/motor", "millrow/wheel"})
}

// TestNearWithoutPlaces leaves every place out: what has no place shares none.
func TestNearWithoutPlaces(t *testing.T) {
	s := pumpHouse()
	for _, n := range s.Nodes {
		n.Place = ""
	}
	g := mustBuild(t, s.Drawing)
	p := mustPlan(t, g, "millrow/work", asked)
	same(t, "stays live", p.StaysLive, []string{"millrow/brake-panel", "millrow/panel", "millrow/start"})
	d, err := g.Describe("millrow/work", nil, asked)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "stays live with nothing open", d.StaysLive, []string{"millrow/motor"})
}

// TestControlCutOff: a control that the plan itself cuts off isn't listed.
func TestControlCutOff(t *testing.T) {
	s := pumpHouse()
	for _, l := range s.Links {
		if l.Name == "g" {
			l.From = "motor"
		}
	}
	p := mustPlan(t, mustBuild(t, s.Drawing), "millrow/work", asked)
	if slices.Contains(p.StaysLive, "millrow/start") || !slices.Contains(p.StaysLive, "millrow/panel") {
		t.Errorf("stays live: %q", p.StaysLive)
	}
}

// TestStartsNoMachine: a yard may not turn a machine that another yard's control
// starts into something else.
func TestStartsNoMachine(t *testing.T) {
	near := legHouse()
	for _, n := range near.Nodes {
		if n.Name == "drag" {
			n.Kind = recordv1.NodeKind_NODE_KIND_BUS
			near.Nodes[9].Starts = nil
		}
	}
	ps := Check(near.Drawing, []*recordv1.Drawing{neighbour().Drawing})
	if len(ps) != 1 || ps[0].Field != "nodes" || ps[0].Warning {
		t.Errorf("%v", ps)
	}
	if ps := Check(&recordv1.Drawing{Yard: "No Yard", Revision: 1}, nil); len(ps) != 1 || ps[0].Field != "yard" {
		t.Errorf("%v", ps)
	}
}
