package energy

import (
	"strings"
	"testing"
)

// The traps here are common practice, no source, unless a clause is named.

// transferSwitch feeds a dryer fan from the utility or, by a transfer switch that
// connects one of the two, from a standby generator that starts by itself.
func transferSwitch() *sketch {
	s := newSketch("millrow")
	s.add("source utility").Interlock = "transfer"
	s.add("source generator").Interlock = "transfer"
	s.add("bus emergency")
	s.add("machine fan")
	s.link("normal: utility electricity emergency, disconnect gear/normal")
	s.link("standby: generator electricity emergency, breaker shed/standby")
	s.link("feed: emergency electricity fan, fuse panel/fan")
	s.zone("fan", "fan electricity")
	return s
}

// naive examines the naive choice and wants it refused, live from source.
func naive(t *testing.T, g *Graph, zone, source string, points ...string) Path {
	t.Helper()
	v := mustExamine(t, g, zone, asked, points...)
	if v.Isolates || len(v.Live) == 0 || v.Live[0].Source != source {
		t.Fatalf("%s with %q: %+v, want a live path from %s", zone, points, v, source)
	}
	return v.Live[0]
}

// TestTransferSwitch: opening the connected side of a transfer switch leaves the
// other side, which the switch then connects.
func TestTransferSwitch(t *testing.T) {
	g := mustBuild(t, transferSwitch().Drawing)
	naive(t, g, "millrow/fan", "millrow/generator", "millrow/gear/normal")
	naive(t, g, "millrow/fan", "millrow/utility", "millrow/shed/standby")
	same(t, "points", mustPlan(t, g, "millrow/fan", asked).Points, []string{"millrow/gear/normal", "millrow/shed/standby"})
}

// TestInterlockNeverHelps: with and without interlocks every verdict is the same.
func TestInterlockNeverHelps(t *testing.T) {
	with, without := transferSwitch(), transferSwitch()
	for _, n := range without.Nodes {
		n.Interlock = ""
	}
	g, h := mustBuild(t, with.Drawing), mustBuild(t, without.Drawing)
	for _, set := range [][]string{nil, {"millrow/gear/normal"}, {"millrow/shed/standby"}, {"millrow/gear/normal", "millrow/shed/standby"}} {
		a, b := mustExamine(t, g, "millrow/fan", asked, set...), mustExamine(t, h, "millrow/fan", asked, set...)
		if a.Isolates != b.Isolates || a.Isolates != (len(set) == 2) {
			t.Errorf("%q: %v with the interlock, %v without", set, a.Isolates, b.Isolates)
		}
	}
}

// TestTieBreaker: a bus tie feeds a panel whose own main is locked.
func TestTieBreaker(t *testing.T) {
	s := newSketch("eastfork")
	s.add("source utility-1")
	s.add("source utility-2")
	s.add("bus left")
	s.add("bus right")
	s.add("machine leg-motor")
	s.link("m1: utility-1 electricity left, breaker gear/main-1")
	s.link("m2: utility-2 electricity right, breaker gear/main-2")
	s.link("tie: left electricity right, breaker gear/tie")
	s.link("feed: left electricity leg-motor, fuse mcc/leg")
	s.zone("leg", "leg-motor electricity")
	g := mustBuild(t, s.Drawing)
	p := naive(t, g, "eastfork/leg", "eastfork/utility-2", "eastfork/gear/main-1")
	if !strings.Contains(strings.Join(p.Steps, " "), "breaker eastfork/gear/tie") {
		t.Errorf("path %q", p.Steps)
	}
	same(t, "points", mustPlan(t, g, "eastfork/leg", asked).Points, []string{"eastfork/gear/main-1", "eastfork/gear/tie"})
	c, err := g.Alternatives("eastfork/leg", asked, 9)
	if err != nil || len(c.Sets) != 2 || c.More {
		t.Fatalf("%+v, %v", c, err)
	}
	same(t, "other set", c.Sets[1].Points, []string{"eastfork/gear/main-1", "eastfork/gear/main-2"})
}

// TestPowerTakeOff: a leg whose motor is locked is turned by a tractor's shaft.
func TestPowerTakeOff(t *testing.T) {
	s := newSketch("stonebend")
	s.add("source utility")
	s.add("source tractor")
	s.add("machine leg-motor")
	s.add("machine leg")
	s.link("feed: utility electricity leg-motor, disconnect mcc/leg")
	s.link("belt: leg-motor motion leg")
	s.link("shaft: tractor motion leg, block head/pto-pin")
	s.zone("leg", "leg motion")
	g := mustBuild(t, s.Drawing)
	naive(t, g, "stonebend/leg", "stonebend/tractor", "stonebend/mcc/leg")
	same(t, "points", mustPlan(t, g, "stonebend/leg", asked).Points, []string{"stonebend/head/pto-pin", "stonebend/mcc/leg"})
	// and the tractor turns the motor, which then feeds its terminals
	s.zone("motor", "leg-motor electricity")
	naive(t, mustBuild(t, s.Drawing), "stonebend/motor", "stonebend/tractor", "stonebend/mcc/leg")
}

// TestBackFeedingTransformer: a transformer energised from its low side, by a
// portable generator at a receptacle, puts its high side live
// (1910.333(b)(2)(iv)(B) names backfeed).
func TestBackFeedingTransformer(t *testing.T) {
	s := newSketch("eastfork")
	s.add("source utility")
	s.add("source portable-generator")
	s.add("bus high")
	s.add("bus low")
	s.link("service: utility electricity high, disconnect pole/cutout")
	s.link("transformer: high electricity low")
	s.link("receptacle: portable-generator electricity low, plug shop/receptacle").Device.UnderHoldersControl = true
	s.zone("high-side", "high electricity")
	g := mustBuild(t, s.Drawing)
	naive(t, g, "eastfork/high-side", "eastfork/portable-generator", "eastfork/pole/cutout")
	p := mustPlan(t, g, "eastfork/high-side", asked)
	same(t, "points", p.Points, []string{"eastfork/pole/cutout", "eastfork/shop/receptacle"})
	same(t, "conditions", p.Conditions, []string{"plug eastfork/shop/receptacle counts only while its holder is present and keeps it with them, 1910.147(a)(2)(iii)(A) (unchecked)"})
	c, err := g.Alternatives("eastfork/high-side", asked, 1)
	if err != nil || len(c.Sets) != 1 {
		t.Fatalf("%+v, %v", c, err)
	}
	same(t, "conditions of the choice", c.Sets[0].Conditions, p.Conditions)
	if a, _ := g.Point("eastfork/shop/receptacle"); !a.UnderHoldersControl {
		t.Errorf("%+v", a)
	}
	if a, _ := g.Point("eastfork/pole/cutout"); a.UnderHoldersControl {
		t.Errorf("%+v", a)
	}
}

// TestPlugInHand: a plug that nobody can lock is no point, held or not.
func TestPlugInHand(t *testing.T) {
	s := newSketch("eastfork")
	s.add("source utility")
	s.add("machine grinder")
	l := s.link("cord: utility electricity grinder, plug bench/grinder")
	s.zone("grinder", "grinder electricity")
	l.Device.Lockable, l.Device.UnderHoldersControl = false, true
	if p := mustPlan(t, mustBuild(t, s.Drawing), "eastfork/grinder", asked); p.Isolates || p.CannotCut == nil {
		t.Errorf("%+v", p)
	}
}

// TestBackFeedingMotor: a second fan in the same duct, windmilling, turns the one
// that is locked out, and with its capacitors feeds the terminals
// (1910.333(b)(2)(ii)(D)).
func TestBackFeedingMotor(t *testing.T) {
	s := newSketch("millrow")
	s.add("source utility")
	s.add("source wind")
	s.add("machine fan-motor").FeedsBack = true
	s.add("machine fan")
	s.link("feed: utility electricity fan-motor, disconnect mcc/fan")
	s.link("shaft: fan-motor motion fan, block roof/shaft-pin")
	s.link("draught: wind air fan")
	s.zone("terminals", "fan-motor electricity")
	g := mustBuild(t, s.Drawing)
	naive(t, g, "millrow/terminals", "millrow/wind", "millrow/mcc/fan")
	same(t, "points", mustPlan(t, g, "millrow/terminals", asked).Points, []string{"millrow/mcc/fan", "millrow/roof/shaft-pin"})
}
