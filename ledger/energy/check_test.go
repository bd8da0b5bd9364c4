package energy

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestCheckAccepts: the drawings the other cases spoil have no problem at all.
func TestCheckAccepts(t *testing.T) {
	near, far := legHouse(), neighbour()
	if ps := Check(near.Drawing, []*recordv1.Drawing{far.Drawing}); len(ps) > 0 {
		t.Errorf("stonebend: %v", ps)
	}
	if ps := Check(far.Drawing, []*recordv1.Drawing{near.Drawing}); len(ps) > 0 {
		t.Errorf("millrow: %v", ps)
	}
	// an older drawing of the same yard among the others is left out
	old := newSketch("stonebend")
	old.link("lost: gone electricity away")
	if ps := Check(near.Drawing, []*recordv1.Drawing{old.Drawing, far.Drawing}); len(ps) > 0 {
		t.Errorf("beside its own old revision: %v", ps)
	}
}

// neighbour is a yard whose drawing leans on legHouse.
func neighbour() *sketch {
	s := newSketch("millrow")
	s.add("source generator")
	s.add("control remote").Starts = []string{"stonebend/drag"}
	s.add("store tank").Store.Medium = recordv1.Medium_MEDIUM_AIR
	s.link("tie-line: generator electricity stonebend/main, breaker shed/tie")
	s.link("air: tank air stonebend/leg")
	s.zone("tunnel", "stonebend/leg motion")
	return s
}

// spoilt is a drawing with one thing wrong, and the field and the words of what is
// said of it.
type spoilt struct {
	spoil func(d *recordv1.Drawing)
	field string
	text  string
}

// Nodes, and what the drawing says of itself.
var spoiltNodes = []spoilt{
	{func(d *recordv1.Drawing) { d.Revision = 0 }, "revision", "revision is 0"},
	{func(d *recordv1.Drawing) { d.Title = "a\nb" }, "title", "control characters"},
	{func(d *recordv1.Drawing) { d.Nodes[6].Name = "Dust" }, "nodes[6].name", `"Dust" is no node name`},
	{func(d *recordv1.Drawing) { d.Nodes[6].Kind = 0 }, "nodes[6].kind", "no known kind"},
	{func(d *recordv1.Drawing) { d.Nodes[6].Kind = 77 }, "nodes[6].kind", "no known kind"},
	{func(d *recordv1.Drawing) { d.Nodes[6].Label = "\x00" }, "nodes[6].label", "control characters"},
	{func(d *recordv1.Drawing) { d.Nodes[6].Place = strings.Repeat("x", 2001) }, "nodes[6].place", "too long"},
	{func(d *recordv1.Drawing) { d.Nodes[0].Interlock = "a b" }, "nodes[0].interlock", "no interlock name"},
	{func(d *recordv1.Drawing) {
		d.Nodes[4].FeedsBack, d.Links[2].OneWay = true, "the motor only takes"
	}, "links[2].one_way", "stonebend/leg-motor can feed its supply back"},
	{func(d *recordv1.Drawing) { d.Nodes = append(d.Nodes, d.Nodes[2]) }, "nodes[11].name", `node "mcc" is already nodes[2]`},
	{func(d *recordv1.Drawing) { d.Nodes[6].Kind = recordv1.NodeKind_NODE_KIND_STORE }, "nodes[6].store", "says nothing of what it holds"},
	{func(d *recordv1.Drawing) { d.Nodes[6].Store = goodStore() }, "nodes[6].store", "isn't of kind store"},
	{func(d *recordv1.Drawing) { spoilStore(d).Medium = 0 }, "nodes[6].store.medium", "no known medium"},
	{func(d *recordv1.Drawing) { spoilStore(d).Joules = -1 }, "nodes[6].store.joules", "no number"},
	{func(d *recordv1.Drawing) { spoilStore(d).Joules = math.NaN() }, "nodes[6].store.joules", "no number"},
	{func(d *recordv1.Drawing) { spoilStore(d).Joules = math.Inf(1) }, "nodes[6].store.joules", "no number"},
	{func(d *recordv1.Drawing) { d.Nodes[8].Starts = []string{"mcc"} }, "nodes[8].starts[0]", "stonebend/mcc isn't a machine"},
	{func(d *recordv1.Drawing) { d.Nodes[8].Starts[0] = "fan" }, "nodes[8].starts[0]", "node stonebend/fan isn't in"},
	{func(d *recordv1.Drawing) { d.Nodes[6].Starts = []string{"leg"} }, "nodes[6].starts", "is no control"},
}

// Links, and the devices in them.
var spoiltLinks = []spoilt{
	{func(d *recordv1.Drawing) { d.Links[3].Name = "" }, "links[3].name", `"" is no link name`},
	{func(d *recordv1.Drawing) { d.Links[3].Name = strings.Repeat("x", 65) }, "links[3].name", "is no link name"},
	{func(d *recordv1.Drawing) { d.Links[3].Name = "tap" }, "links[5].name", "already links[3]"},
	{func(d *recordv1.Drawing) { d.Links[3].From = "attic" }, "links[3].from", "node stonebend/attic isn't in the current drawings"},
	{func(d *recordv1.Drawing) { d.Links[3].To = "millrow/attic" }, "links[3].to", "node millrow/attic isn't in the current drawings"},
	{func(d *recordv1.Drawing) { d.Links[3].To = "a/b/c" }, "links[3].to", `"a/b/c" is no node name`},
	{func(d *recordv1.Drawing) { d.Links[3].To = "stonebend/leg-motor" }, "links[3].to", "to itself"},
	{func(d *recordv1.Drawing) { d.Links[3].Medium = 0 }, "links[3].medium", "no known medium"},
	{func(d *recordv1.Drawing) { d.Links[3].Medium = 99 }, "links[3].medium", "no known medium"},
	{func(d *recordv1.Drawing) { d.Links[3].OneWay = " " }, "links[3].one_way", "only spaces"},
	{func(d *recordv1.Drawing) { d.Links[8].OneWay = "the backstop holds it" }, "links[8].one_way", "a backstop is no reason"},
	{func(d *recordv1.Drawing) { d.Links[8].OneWay = "Check valves close" }, "links[8].one_way", "a check valve is no reason"},
	{func(d *recordv1.Drawing) { d.Links[8].OneWay = "the drive blocks it" }, "links[8].one_way", "a drive is no reason"},
	{func(d *recordv1.Drawing) {
		d.Links[3].Device.Kind = recordv1.DeviceKind_DEVICE_KIND_CHECK_VALVE
		d.Links[3].OneWay = "it only opens outward"
	}, "links[3].one_way", "a check valve passes energy both ways"},
	{func(d *recordv1.Drawing) {
		d.Links[3].Device.Kind = recordv1.DeviceKind_DEVICE_KIND_INTERLOCK
		d.Links[3].OneWay = "the lid is shut"
	}, "links[3].one_way", "an interlock passes energy both ways"},
	{func(d *recordv1.Drawing) { d.Links[2].Device.Kind = 0 }, "links[2].device.kind", "no known kind"},
	{func(d *recordv1.Drawing) { d.Links[2].Device.Kind = 8 }, "links[2].device.kind", "no known kind"},
	{func(d *recordv1.Drawing) { d.Links[2].Device.Panel = "" }, "links[2].device.panel", "is no panel name"},
	{func(d *recordv1.Drawing) { d.Links[2].Device.Panel, d.Links[2].Device.Device = "", "" }, "links[2].device.device", "is no device name"},
	{func(d *recordv1.Drawing) { d.Links[2].Device.Device = "a/b" }, "links[2].device.device", "is no device name"},
	{func(d *recordv1.Drawing) { d.Links[3].Device.Panel = "" }, "links[3].device.panel", "is no panel name"},
	{func(d *recordv1.Drawing) { d.Links[4].Device.Device = "leg" }, "links[4].device.device", "stonebend/mcc-1/leg already stands in links[2]"},
	{func(d *recordv1.Drawing) { d.Links[3].Device.Device = "leg" }, "links[3].device.device", "stonebend/mcc-1/leg already stands in links[2]"},
}

// Zones, and how much of anything there may be.
var spoiltZones = []spoilt{
	{func(d *recordv1.Drawing) { d.Zones[0].Name = "-a" }, "zones[0].name", "is no zone name"},
	{func(d *recordv1.Drawing) { d.Zones[1].Name = "motor" }, "zones[1].name", "already zones[0]"},
	{func(d *recordv1.Drawing) { d.Zones[0].Parts = nil }, "zones[0].parts", "has no exposed part"},
	{func(d *recordv1.Drawing) { d.Zones[0].Parts[0].Node = "belt" }, "zones[0].parts[0].node", "node stonebend/belt isn't in"},
	{func(d *recordv1.Drawing) { d.Zones[0].Parts[0].Media = nil }, "zones[0].parts[0].media", "lists no medium"},
	{func(d *recordv1.Drawing) { d.Zones[0].Parts[0].Media[1] = 0 }, "zones[0].parts[0].media[1]", "unknown medium"},
	{func(d *recordv1.Drawing) { d.Zones[0].Parts[0].Media[1] = 1 }, "zones[0].parts[0].media[1]", "electricity twice"},
	{func(d *recordv1.Drawing) { d.Zones[0].Parts = append(d.Zones[0].Parts, d.Zones[0].Parts[0]) }, "zones[0].parts[1].node", "already parts[0]"},
	{func(d *recordv1.Drawing) { d.Zones[0].Isolation = 9 }, "zones[0].isolation", "no known isolation"},
	{func(d *recordv1.Drawing) { d.Zones[1].Entered, d.Zones[1].WaivedWhy = true, "dry" }, "zones[1].waived_by", "name who waives it"},
	{func(d *recordv1.Drawing) { d.Zones[1].Entered, d.Zones[1].WaivedBy = true, "lead" }, "zones[1].waived_why", "say why"},
	{func(d *recordv1.Drawing) { d.Nodes = make([]*recordv1.Node, MaxNodes+1) }, "nodes", "200001 nodes, at most 200000"},
	{func(d *recordv1.Drawing) { d.Links = make([]*recordv1.Link, MaxLinks+1) }, "links", "200001 links, at most 200000"},
	{func(d *recordv1.Drawing) { d.Zones = make([]*recordv1.Zone, MaxZones+1) }, "zones", "20001 zones, at most 20000"},
}

// What a neighbour's drawing leans on.
var spoiltForOthers = []spoilt{
	{func(d *recordv1.Drawing) { rename(d, "main", "main-bus") }, "nodes", "link millrow/tie-line ends at stonebend/main"},
	{func(d *recordv1.Drawing) { rename(d, "leg", "leg-1") }, "nodes", "zone millrow/tunnel exposes stonebend/leg"},
	{func(d *recordv1.Drawing) { rename(d, "drag", "drag-1") }, "nodes", "control millrow/remote starts stonebend/drag"},
}

// TestCheckRefuses spoils one thing at a time and expects just that field.
func TestCheckRefuses(t *testing.T) {
	for _, x := range slices.Concat(spoiltNodes, spoiltLinks, spoiltZones, spoiltForOthers) {
		near, far := legHouse(), neighbour()
		x.spoil(near.Drawing)
		found := false
		ps := Check(near.Drawing, []*recordv1.Drawing{far.Drawing})
		for _, p := range ps {
			found = found || p.Field == x.field && strings.Contains(p.Text, x.text) && !p.Warning && p.Yard == "stonebend"
		}
		if !found || !Refused(ps) {
			t.Errorf("want %s: %s\ngot %v", x.field, x.text, ps)
		}
		if g, ps := Build([]*recordv1.Drawing{near.Drawing, far.Drawing}); g != nil || !Refused(ps) {
			t.Errorf("%s: %s: built all the same", x.field, x.text)
		}
	}
}

func goodStore() *recordv1.Store {
	return &recordv1.Store{Medium: recordv1.Medium_MEDIUM_MOTION, Joules: 5, Release: "wait until it stands"}
}

func spoilStore(d *recordv1.Drawing) *recordv1.Store {
	d.Nodes[6].Kind, d.Nodes[6].Store = recordv1.NodeKind_NODE_KIND_STORE, goodStore()
	return d.Nodes[6].Store
}

// rename renames a node wherever d itself names it.
func rename(d *recordv1.Drawing, from, to string) {
	swap := func(s *string) {
		if *s == from {
			*s = to
		}
	}
	for _, n := range d.Nodes {
		swap(&n.Name)
		for i := range n.Starts {
			swap(&n.Starts[i])
		}
	}
	for _, l := range d.Links {
		swap(&l.From)
		swap(&l.To)
	}
	for _, z := range d.Zones {
		for _, p := range z.Parts {
			swap(&p.Node)
		}
	}
}

// TestCheckWarns: what may be used as it is, but deserves a look.
func TestCheckWarns(t *testing.T) {
	for _, x := range []struct {
		spoil func(d *recordv1.Drawing)
		field string
	}{
		{func(d *recordv1.Drawing) { d.Links[3].Device.Lockable = true }, "links[3].device.lockable"},
		{func(d *recordv1.Drawing) { d.Links[2].Device.LeavesConductorClosed = true }, "links[2].device.leaves_conductor_closed"},
		{func(d *recordv1.Drawing) { d.Links[2].Device.Lockable, d.Links[2].Device.Holes = false, 3 }, "links[2].device.holes"},
		{func(d *recordv1.Drawing) { d.Links[2].Device.Kind = recordv1.DeviceKind_DEVICE_KIND_GATE }, "links[2].device.kind"},
		{func(d *recordv1.Drawing) { spoilStore(d).Release = "" }, "nodes[6].store.release"},
		{func(d *recordv1.Drawing) { d.Nodes[2].Interlock = "transfer" }, "nodes[2].interlock"},
		{func(d *recordv1.Drawing) { d.Zones[0].WaivedBy = "lead" }, "zones[0].waived_by"},
	} {
		near := legHouse()
		x.spoil(near.Drawing)
		ps := Check(near.Drawing, nil)
		if len(ps) != 1 || ps[0].Field != x.field || !ps[0].Warning || Refused(ps) {
			t.Errorf("%s: %v", x.field, ps)
		}
		if g, _ := Build([]*recordv1.Drawing{near.Drawing}); g == nil {
			t.Errorf("%s: not built", x.field)
		}
	}
}

// TestNames draws the line of what may be a name.
func TestNames(t *testing.T) {
	for name, want := range map[string]bool{
		"a": true, "9": true, "mcc-1": true, "a-": true, strings.Repeat("x", 64): true,
		"": false, "-a": false, "A": false, "a b": false, "a/b": false, "a_b": false, "é": false, "a\x00": false, strings.Repeat("x", 65): false,
	} {
		if ValidName(name) != want {
			t.Errorf("%q: %v", name, !want)
		}
	}
}

// TestFeedsBackAcrossYards: what one yard draws as one-way, another may not turn
// into a machine that feeds back.
func TestFeedsBackAcrossYards(t *testing.T) {
	near, far := legHouse(), neighbour()
	far.link("spare: generator electricity stonebend/leg-motor, breaker shed/spare").OneWay = "the motor only takes"
	others := []*recordv1.Drawing{far.Drawing}
	if ps := Check(near.Drawing, others); len(ps) > 0 {
		t.Errorf("%v", ps)
	}
	near.Nodes[4].FeedsBack = true
	if ps := Check(near.Drawing, others); len(ps) != 1 || ps[0].Field != "nodes" || !strings.Contains(ps[0].Text, "link millrow/spare is one-way into stonebend/leg-motor") {
		t.Errorf("%v", ps)
	}
	if ps := Check(far.Drawing, []*recordv1.Drawing{near.Drawing}); len(ps) != 1 || ps[0].Field != "links[2].one_way" {
		t.Errorf("%v", ps)
	}
	if g, _ := Build([]*recordv1.Drawing{near.Drawing, far.Drawing}); g != nil {
		t.Error("built all the same")
	}
}

// TestTwoDrawingsOfOneYard, nothing, and a great many problems.
func TestBuildOddities(t *testing.T) {
	a, b := legHouse(), legHouse()
	b.Revision = 2
	if g, ps := Build([]*recordv1.Drawing{a.Drawing, b.Drawing}); g != nil || !strings.Contains(fmt.Sprint(ps), "two drawings of yard") {
		t.Errorf("two drawings of a yard: %v", ps)
	}
	if g, ps := Build(nil); g == nil || len(ps) > 0 || len(g.Zones()) > 0 {
		t.Errorf("no drawings: %v", ps)
	}
	if g, ps := Build([]*recordv1.Drawing{nil}); g != nil || !Refused(ps) {
		t.Error("a missing drawing is built")
	}
	if ps := Check(nil, nil); !Refused(ps) {
		t.Error("a missing drawing passes")
	}
	s := newSketch("eastfork")
	s.Nodes = make([]*recordv1.Node, 5000)
	if ps := Check(s.Drawing, nil); len(ps) != maxProblems+1 || !strings.Contains(ps[maxProblems].Text, "more than 200 problems") {
		t.Errorf("%d problems", len(ps))
	}
}

// TestSpoiltBytes flips bytes of stored drawings: whatever still parses is
// refused or answered, without a panic, and plan and verdict agree.
func TestSpoiltBytes(t *testing.T) {
	refused, answered := 0, 0
	for trial := range uint64(6000) {
		r := rand.New(rand.NewPCG(7, trial))
		var ds []*recordv1.Drawing
		for _, d := range []*recordv1.Drawing{legHouse().Drawing, neighbour().Drawing} {
			raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(d)
			if err != nil {
				t.Fatal(err)
			}
			for range r.IntN(3) {
				raw[r.IntN(len(raw))] = byte(r.IntN(256))
			}
			spoilt := &recordv1.Drawing{}
			if proto.Unmarshal(raw, spoilt) == nil {
				ds = append(ds, spoilt)
			}
		}
		for _, d := range ds {
			Check(d, ds)
		}
		g, ps := Build(ds)
		if g == nil {
			refused++
			if !Refused(ps) {
				t.Fatalf("trial %d: no graph and no reason", trial)
			}
			continue
		}
		g.Now(func(p string) Position { return Position(len(p) % 3) })
		for _, z := range g.Zones() {
			answered++
			if c, err := g.Alternatives(z, asked, 3); err != nil || len(c.Sets) > 3 {
				t.Fatalf("trial %d: %d sets of %s, %v", trial, len(c.Sets), z, err)
			}
			p := mustPlan(t, g, z, asked)
			if v := mustExamine(t, g, z, asked, p.Points...); v.Isolates != p.Isolates {
				t.Fatalf("trial %d: plan and verdict differ on %s", trial, z)
			}
		}
	}
	if refused < 500 || answered < 500 {
		t.Errorf("one-sided trials: %d refused, %d answered", refused, answered)
	}
}
