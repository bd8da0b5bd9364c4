package energy

import (
	"fmt"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestUsualHardware: what each kind of device takes where the drawing says
// nothing; common practice, no source. A device with holes of its own, and what
// the drawing names, need no guess.
func TestUsualHardware(t *testing.T) {
	want := map[string]string{
		"disconnect": "HARDWARE_NONE", "breaker": "HARDWARE_BREAKER_CLIP", "plug": "HARDWARE_PLUG_BOX", "valve": "HARDWARE_VALVE_COVER",
		"gate": "HARDWARE_PIN", "block": "HARDWARE_BLOCK", "blank": "HARDWARE_CHAIN",
	}
	for word, hardware := range want {
		s := newSketch("stonebend")
		s.add("source utility @pole")
		s.add("machine motor @roof")
		l := s.link("feed: utility electricity motor, " + word + " panel/it")
		s.zone("z", "motor electricity")
		line := func() Line {
			lines := mustBuild(t, s.Drawing).Lines(Plan{Points: []string{"stonebend/panel/it"}}, 1)
			if len(lines) != 1 {
				t.Fatalf("%s: %d lines", word, len(lines))
			}
			return lines[0]
		}
		got := line()
		if got.Hardware.String() != hardware || got.Drawn || got.Place != "between pole and roof" || got.Panel != "panel" || got.Yard != "stonebend" || got.Device != "it" || got.HardwareText == "" {
			t.Errorf("%s: %+v", word, got)
		}
		if n := len(got.Needs); (n == 0) != (hardware == "HARDWARE_NONE") {
			t.Errorf("%s needs %v", word, got.Needs)
		}
		l.Device.Holes = 2
		if got := line(); got.Hardware != recordv1.Hardware_HARDWARE_NONE || got.Takes != 2 || !strings.Contains(got.HardwareText, "2 holes") {
			t.Errorf("%s with holes: %+v", word, got)
		}
		l.Device.Hardware, l.Device.Poles, l.Device.Rating = recordv1.Hardware_HARDWARE_CHAIN, 3, "60 A"
		if got := line(); got.Hardware != recordv1.Hardware_HARDWARE_CHAIN || !got.Drawn || got.HardwareText != "chain for a 3-pole 60 A "+word {
			t.Errorf("%s drawn: %+v", word, got)
		}
	}
}

// TestPlace: the panel's own name wins over the nodes beside it, which may be far
// apart, and another yard's place is never taken.
func TestPlace(t *testing.T) {
	s, far := legHouse(), neighbour()
	far.Nodes[0].Place = "shed"
	s.Links[4].Device.Panel = "tunnel"
	g := mustBuild(t, s.Drawing, far.Drawing)
	for id, want := range map[string]string{"stonebend/gear/mcc": "switch-room", "stonebend/tunnel/drag": "tunnel", "stonebend/mcc-1/leg": "between switch-room and head-house",
		"stonebend/gear/main": "between yard and switch-room", "millrow/shed/tie": "shed"} {
		if got := g.Lines(Plan{Points: []string{id}}, 1)[0].Place; got != want {
			t.Errorf("%s: %q, want %q", id, got, want)
		}
	}
	far.Nodes[0].Place = ""
	g = mustBuild(t, s.Drawing, far.Drawing)
	if got := g.Lines(Plan{Points: []string{"millrow/shed/tie"}}, 1)[0].Place; got != "" {
		t.Errorf("a place of another yard: %q", got)
	}
}

// TestHasp counts locks: a hasp takes one hole and gives six (common practice,
// no source); beyond that a group box.
func TestHasp(t *testing.T) {
	s := legHouse()
	d := s.Links[2].Device
	for _, x := range []struct {
		holes    uint32
		hardware recordv1.Hardware
		people   int
		needs    string
		box      bool
	}{
		{0, 0, -3, "[1 breaker clip]", false},
		{0, 0, 1, "[1 breaker clip]", false},
		{0, 0, 2, "[1 hasp 1 breaker clip]", false},
		{0, 0, 6, "[1 hasp 1 breaker clip]", false},
		{0, 0, 7, "[1 hasp 1 breaker clip]", true},
		{3, 0, 3, "[]", false},
		{3, 0, 4, "[1 hasp]", false},
		{3, 0, 8, "[1 hasp]", false},
		{3, 0, 9, "[1 hasp]", true},
		{0, recordv1.Hardware_HARDWARE_HASP, 1, "[1 hasp]", false},
		{0, recordv1.Hardware_HARDWARE_HASP, 6, "[1 hasp]", false},
		{0, recordv1.Hardware_HARDWARE_HASP, 7, "[1 hasp]", true},
	} {
		d.Holes, d.Hardware = x.holes, x.hardware
		got := mustBuild(t, s.Drawing).Lines(Plan{Points: []string{"stonebend/mcc-1/leg"}}, x.people)[0]
		var needs []string
		for _, n := range got.Needs {
			needs = append(needs, strings.TrimSuffix(n.String(), " (the drawing doesn't say what the yard has)"))
		}
		if fmt.Sprint(needs) != x.needs || got.GroupBox != x.box || strings.Contains(got.Note, "group lock box") != x.box {
			t.Errorf("%+v: needs %v, box %v, note %q", x, needs, got.GroupBox, got.Note)
		}
	}
}

// TestStock counts what the whole plan needs of each yard's own stock.
func TestStock(t *testing.T) {
	s, far := legHouse(), neighbour()
	s.Stock = []*recordv1.Stock{{Hardware: recordv1.Hardware_HARDWARE_BREAKER_CLIP, Count: 2}, {Hardware: recordv1.Hardware_HARDWARE_HASP, Count: 2}}
	g := mustBuild(t, s.Drawing, far.Drawing)
	say := func(people int, points ...string) string {
		var out []string
		for _, l := range g.Lines(Plan{Points: points}, people) {
			for _, n := range l.Needs {
				out = append(out, fmt.Sprintf("%s %s short=%v", l.Point, n, n.Short()))
			}
		}
		return strings.Join(out, "\n")
	}
	if got, want := say(1, "stonebend/gear/mcc", "stonebend/mcc-1/leg"),
		"stonebend/gear/mcc 1 breaker clip (the yard has 2) short=false\nstonebend/mcc-1/leg 1 breaker clip (the yard has 2) short=false"; got != want {
		t.Errorf("enough:\n%s", got)
	}
	// three clips are needed here and one over there, where nobody wrote any down
	if got, want := say(1, "millrow/shed/tie", "stonebend/gear/mcc", "stonebend/mcc-1/drag", "stonebend/mcc-1/leg"), strings.Join([]string{
		"millrow/shed/tie 1 breaker clip (the drawing doesn't say what the yard has) short=false",
		"stonebend/gear/mcc 1 breaker clip (TOO FEW: the plan needs 3, the yard has 2) short=true",
		"stonebend/mcc-1/drag 1 breaker clip (TOO FEW: the plan needs 3, the yard has 2) short=true",
		"stonebend/mcc-1/leg 1 breaker clip (TOO FEW: the plan needs 3, the yard has 2) short=true"}, "\n"); got != want {
		t.Errorf("too few:\n%s", got)
	}
	// a yard that lists its stock and not this kind has none
	s.Stock = s.Stock[1:]
	g = mustBuild(t, s.Drawing, far.Drawing)
	if got := say(2, "stonebend/mcc-1/leg"); !strings.Contains(got, "breaker clip (TOO FEW: the plan needs 1, the yard has 0)") || !strings.Contains(got, "hasp (the yard has 2)") {
		t.Errorf("none:\n%s", got)
	}
	if got := g.Lines(Plan{Points: []string{"stonebend/no/such"}}, 1); len(got) != 1 || got[0].Note == "" || len(got[0].Needs) > 0 {
		t.Errorf("unknown point: %+v", got)
	}
}

// TestHoldersControl: a plug in its holder's hand needs no hardware for one
// person, and a box for more (1910.147(a)(2)(iii)(A); unchecked).
func TestHoldersControl(t *testing.T) {
	s := newSketch("stonebend")
	s.add("source utility")
	s.add("machine sweep")
	s.link("cord: utility electricity sweep, plug door/sweep").Device.UnderHoldersControl = true
	s.zone("z", "sweep electricity")
	g := mustBuild(t, s.Drawing)
	plan := mustPlan(t, g, "stonebend/z", asked)
	one, two := g.Lines(plan, 1)[0], g.Lines(plan, 2)[0]
	if !one.HoldersControl || len(one.Needs) > 0 || !strings.Contains(one.HardwareText, "the holder keeps the plug") || !strings.Contains(one.Note, "(a)(2)(iii)(A) (unchecked)") {
		t.Errorf("one: %+v", one)
	}
	if two.Hardware != recordv1.Hardware_HARDWARE_PLUG_BOX || len(two.Needs) == 0 {
		t.Errorf("two: %+v", two)
	}
}

// TestHardwareRefused spoils one thing at a time.
func TestHardwareRefused(t *testing.T) {
	for _, x := range []struct {
		spoil func(*sketch)
		field string
	}{
		{func(s *sketch) { s.Stock = []*recordv1.Stock{{Hardware: 99}} }, "stock[0].hardware"},
		{func(s *sketch) { s.Stock = []*recordv1.Stock{{Hardware: recordv1.Hardware_HARDWARE_NONE}} }, "stock[0].hardware"},
		{func(s *sketch) {
			s.Stock = []*recordv1.Stock{{Hardware: recordv1.Hardware_HARDWARE_PIN}, {Hardware: recordv1.Hardware_HARDWARE_PIN}}
		}, "stock[1].hardware"},
		{func(s *sketch) {
			s.Stock = []*recordv1.Stock{{Hardware: recordv1.Hardware_HARDWARE_PIN, Count: 100_001}}
		}, "stock[0].count"},
		{func(s *sketch) { s.Stock = make([]*recordv1.Stock, 10_000) }, "stock"},
		{func(s *sketch) { s.Links[2].Device.Hardware = 99 }, "links[2].device.hardware"},
		{func(s *sketch) { s.Links[2].Device.Poles = 13 }, "links[2].device.poles"},
		{func(s *sketch) { s.Links[2].Device.Holes = 1001 }, "links[2].device.holes"},
		{func(s *sketch) { s.Links[2].Device.Rating = "60 A\nLOCKED" }, "links[2].device.rating"},
		{func(s *sketch) { s.Links[2].Device.UnderHoldersControl = true }, "links[2].device.under_holders_control"},
		{func(s *sketch) { s.Nodes[8].StartKind = 99 }, "nodes[8].start_kind"},
		{func(s *sketch) { s.Nodes[0].StartKind = recordv1.StartKind_START_KIND_REMOTE }, "nodes[0].start_kind"},
		{func(s *sketch) { s.Nodes[0].Volts = -480 }, "nodes[0].volts"},
		{func(s *sketch) { s.Nodes[0].Volts = 1.1e6 }, "nodes[0].volts"},
	} {
		s := legHouse()
		x.spoil(s)
		ps := Check(s.Drawing, nil)
		found := 0
		for _, p := range ps {
			if !p.Warning && p.Field == x.field {
				found++
			}
		}
		if found == 0 || !Refused(ps) {
			t.Errorf("%s: %v", x.field, ps)
		}
	}
}
