package energy

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// soundYard is a drawing no electrician says anything about; each test spoils it.
func soundYard() *recordv1.Drawing {
	elec, motion := recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.Medium_MEDIUM_MOTION
	breaker := func(device string, poles uint32) *recordv1.Device {
		return &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc", Device: device, Lockable: true, Poles: poles, Hardware: recordv1.Hardware_HARDWARE_BREAKER_CLIP}
	}
	return &recordv1.Drawing{
		Yard: "stonebend", Revision: 1,
		Stock: []*recordv1.Stock{{Hardware: recordv1.Hardware_HARDWARE_BREAKER_CLIP, Count: 3}},
		Nodes: []*recordv1.Node{
			{Name: "utility", Kind: recordv1.NodeKind_NODE_KIND_SOURCE},
			{Name: "bus", Kind: recordv1.NodeKind_NODE_KIND_BUS},
			{Name: "bucket", Kind: recordv1.NodeKind_NODE_KIND_BUS},
			{Name: "motor", Kind: recordv1.NodeKind_NODE_KIND_MACHINE},
			{Name: "start", Kind: recordv1.NodeKind_NODE_KIND_CONTROL, Starts: []string{"motor"}},
			{Name: "fan", Kind: recordv1.NodeKind_NODE_KIND_MACHINE},
			{Name: "coast", Kind: recordv1.NodeKind_NODE_KIND_STORE, Store: &recordv1.Store{Medium: motion, Release: "see it stopped",
				What: &recordv1.Store_Flywheel{Flywheel: &recordv1.Flywheel{Inertia: 2, Rpm: 900, RunDownSeconds: 60}}}},
			{Name: "pump", Kind: recordv1.NodeKind_NODE_KIND_MACHINE},
		},
		Links: []*recordv1.Link{
			{Name: "main", From: "utility", To: "bus", Medium: elec, Device: breaker("main", 3)},
			{Name: "feed", From: "bus", To: "bucket", Medium: elec, Device: breaker("motor", 3)},
			{Name: "lead", From: "bucket", To: "motor", Medium: elec, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_DISCONNECT, Panel: "head", Device: "motor", Lockable: true, Poles: 3}},
			{Name: "button", From: "bucket", To: "start", Medium: elec, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_PUSH_BUTTON}},
			{Name: "shaft", From: "motor", To: "fan", Medium: motion},
			{Name: "wheel", From: "fan", To: "coast", Medium: motion},
			{Name: "pump-feed", From: "bus", To: "pump", Medium: elec, Device: breaker("pump", 3)},
		},
		Zones: []*recordv1.Zone{{Name: "motor", Parts: []*recordv1.ExposedPart{{Node: "motor", Media: []recordv1.Medium{elec, motion}}}}},
	}
}

// millrowFeed is another yard with 120 V to give.
func millrowFeed() *recordv1.Drawing {
	return &recordv1.Drawing{Yard: "millrow", Revision: 1,
		Nodes: []*recordv1.Node{{Name: "mains", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}, {Name: "panel", Kind: recordv1.NodeKind_NODE_KIND_BUS}},
		Links: []*recordv1.Link{{Name: "service", From: "mains", To: "panel", Medium: recordv1.Medium_MEDIUM_ELECTRICITY}}}
}

// doubtful is a sound drawing with one thing that an electrician would ask about, and
// the field and the words of the warning.
type doubtful struct {
	name  string
	spoil func(d *recordv1.Drawing)
	field string
	text  []string
}

// What feeds what, and from how many sides.
var doubtfulFeeds = []doubtful{
	{"motor without a disconnect", func(d *recordv1.Drawing) { d.Links[0].Device, d.Links[6].Device = nil, nil }, "nodes[7].name",
		[]string{"stonebend/pump has no disconnect that locks between it and stonebend/utility"}},
	{"motors that share one", func(d *recordv1.Drawing) {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: "pump-b", Kind: recordv1.NodeKind_NODE_KIND_MACHINE})
		d.Links = append(d.Links, &recordv1.Link{Name: "b", From: "pump", To: "pump-b", Medium: recordv1.Medium_MEDIUM_ELECTRICITY})
	}, "nodes[7].name", []string{"stonebend/pump has no disconnect of its own", "stonebend/pump-b"}},
	{"control ahead of the disconnect", func(d *recordv1.Drawing) { d.Links[3].From = "bus" }, "nodes[4].starts[0]",
		[]string{"stonebend/start is fed apart from stonebend/motor, at stonebend/bus"}},
	{"control from another yard", func(d *recordv1.Drawing) { d.Links[3].From = "millrow/panel" }, "nodes[4].starts[0]",
		[]string{"from another yard, at millrow/panel"}},
	{"control without a feed", func(d *recordv1.Drawing) { d.Links = append(d.Links[:3], d.Links[4:]...) }, "nodes[4].name",
		[]string{"stonebend/start is drawn without a feed"}},
	{"second source", func(d *recordv1.Drawing) {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: "generator", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Interlock: "transfer"})
		d.Links = append(d.Links, &recordv1.Link{Name: "standby", From: "generator", To: "bus", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc", Device: "standby", Lockable: true, Poles: 3}})
	}, "nodes[0].interlock", []string{"stonebend/utility feeds the same wires as stonebend/generator"}},
	{"second source, neither interlocked", func(d *recordv1.Drawing) {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: "generator", Kind: recordv1.NodeKind_NODE_KIND_SOURCE})
		d.Links = append(d.Links, &recordv1.Link{Name: "standby", From: "generator", To: "bus", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc", Device: "standby", Lockable: true, Poles: 3}})
	}, "nodes[8].interlock", []string{"stonebend/generator feeds the same wires as stonebend/utility"}},
	{"second source in another yard", func(d *recordv1.Drawing) {
		d.Nodes[0].Interlock = "transfer"
		d.Links = append(d.Links, &recordv1.Link{Name: "tie", From: "millrow/panel", To: "bus", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc", Device: "tie", Lockable: true, Poles: 3}})
	}, "nodes[0].interlock", []string{"stonebend/utility feeds the same wires as millrow/mains"}},
	{"island", func(d *recordv1.Drawing) {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: "bin", Kind: recordv1.NodeKind_NODE_KIND_BUS}, &recordv1.Node{Name: "spout", Kind: recordv1.NodeKind_NODE_KIND_BUS})
		d.Links = append(d.Links, &recordv1.Link{Name: "fill", From: "spout", To: "bin", Medium: recordv1.Medium_MEDIUM_GRAIN})
	}, "nodes[8].name", []string{"nothing feeds stonebend/bin and 1 more"}},
	// 1910.272(g)(1)(i): a permit before anybody enters a bin.
	{"a zone beside one that people enter", func(d *recordv1.Drawing) {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: "grain", Kind: recordv1.NodeKind_NODE_KIND_SOURCE})
		grain := []*recordv1.ExposedPart{{Node: "grain", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_GRAIN}}}
		d.Zones = append(d.Zones, &recordv1.Zone{Name: "in-bin", Entered: true, Parts: grain}, &recordv1.Zone{Name: "hatch", Parts: grain})
	}, "zones[2].entered", []string{`zone "hatch" touches the grain at grain, as "in-bin" does, which people enter`}},
}

// Devices, stores, readings and hardware.
var doubtfulParts = []doubtful{
	{"switch that leaves a conductor closed", func(d *recordv1.Drawing) { d.Links[2].Device.LeavesConductorClosed = true }, "links[2].device.leaves_conductor_closed",
		[]string{`the disconnect in link "lead" leaves a conductor closed`}},
	{"device that can't be locked", func(d *recordv1.Drawing) {
		d.Links[0].Device.Lockable, d.Links[6].Device.Lockable = false, false
		d.Links[0].Device.Hardware, d.Links[6].Device.Hardware = 0, 0
	}, "links[0].device.lockable", []string{`the breaker in link "main" can't take a lock`, "stonebend/bus, which stays live"}},
	{"two poles on three phases", func(d *recordv1.Drawing) { d.Links[2].Device.Poles = 2 }, "links[2].device.poles",
		[]string{`"lead" opens 2 poles`, `"feed" opens 3`}},
	{"store without figures", func(d *recordv1.Drawing) { d.Nodes[6].Store.What = nil }, "nodes[6].store", []string{`store "coast" has no figures`}},
	{"no run-down", func(d *recordv1.Drawing) { d.Nodes[6].Store.GetFlywheel().RunDownSeconds = 0 }, "nodes[6].store.flywheel", []string{"no run-down"}},
	{"no time to cool", func(d *recordv1.Drawing) {
		d.Nodes[6].Store.Medium = recordv1.Medium_MEDIUM_HEAT
		d.Nodes[6].Store.What = &recordv1.Store_HotPart{HotPart: &recordv1.HotPart{Celsius: 200}}
	}, "nodes[6].store.hot_part", []string{"no time to cool"}},
	{"builds up unwatched", func(d *recordv1.Drawing) { d.Nodes[6].Store.BuildsUp = true }, "nodes[6].store.builds_up", []string{"how often to look"}},
	{"part without a reading", func(d *recordv1.Drawing) { d.Zones[0].Parts[0].Media = d.Zones[0].Parts[0].Media[:1] }, "zones[0].parts[0].media",
		[]string{`motion comes to part "motor" over link "shaft"`}},
	{"part without a medium", func(d *recordv1.Drawing) { d.Zones[0].Parts[0].Media = nil }, "zones[0].parts[0].media", []string{"has no medium"}},
	{"one-way wire", func(d *recordv1.Drawing) { d.Links[6].OneWay = "the pump only takes" }, "links[6].one_way", []string{"electricity can't come back"}},
	{"one-way shaft", func(d *recordv1.Drawing) { d.Links[4].OneWay = "the fan only takes" }, "links[4].one_way", []string{"motion can't come back"}},
	{"one-way air", func(d *recordv1.Drawing) {
		d.Links[4].Medium, d.Links[4].OneWay = recordv1.Medium_MEDIUM_AIR, "it blows"
	}, "links[4].one_way", []string{"air can't come back"}},
	{"clip on a disconnect", func(d *recordv1.Drawing) { d.Links[2].Device.Hardware = recordv1.Hardware_HARDWARE_BREAKER_CLIP }, "links[2].device.hardware",
		[]string{"a breaker clip does not go on a disconnect"}},
	{"hardware without a lock", func(d *recordv1.Drawing) { d.Links[2].Device.Hardware, d.Links[2].Device.Lockable = 2, false }, "links[2].device.hardware",
		[]string{"not that it can be locked"}},
	{"hardware the yard lacks", func(d *recordv1.Drawing) { d.Stock[0].Count = 0 }, "links[0].device.hardware", []string{"no such thing as a breaker clip"}},
}

func TestWarnings(t *testing.T) {
	for _, test := range slices.Concat(doubtfulFeeds, doubtfulParts) {
		t.Run(test.name, func(t *testing.T) {
			d := soundYard()
			test.spoil(d)
			var all []string
			for _, p := range Warnings(d, []*recordv1.Drawing{millrowFeed()}) {
				all = append(all, p.String())
				if !p.Warning || p.Yard != "stonebend" {
					t.Errorf("%s is no warning of the yard", p)
				}
				if p.Field != test.field {
					continue
				}
				missing := ""
				for _, text := range test.text {
					if !strings.Contains(p.Text, text) {
						missing = text
					}
				}
				if missing == "" {
					return
				}
			}
			t.Errorf("want %s: %q; got\n%s", test.field, test.text, strings.Join(all, "\n"))
		})
	}
}

// Nothing is said of a drawing that is sound, nor of pairs that only look like
// what the rules are about.
func TestNoWarnings(t *testing.T) {
	for name, spoil := range map[string]func(d *recordv1.Drawing){
		"as it is":        func(*recordv1.Drawing) {},
		"two poles alone": func(d *recordv1.Drawing) { d.Links[6].Device.Poles = 2 },
		"interlocked generator": func(d *recordv1.Drawing) {
			d.Nodes[0].Interlock = "transfer"
			d.Nodes = append(d.Nodes, &recordv1.Node{Name: "generator", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Interlock: "transfer"})
			d.Links = append(d.Links, &recordv1.Link{Name: "standby", From: "generator", To: "bus", Medium: recordv1.Medium_MEDIUM_ELECTRICITY,
				Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc", Device: "standby", Lockable: true, Poles: 3}})
		},
		"a lock behind one that can't lock": func(d *recordv1.Drawing) {
			d.Links[1].Device.Lockable, d.Links[1].Device.Hardware = false, 0
			d.Nodes[4].Starts = nil
			d.Links[0].Device.Poles = 0
		},
		"a bare wire past a breaker that can't lock": func(d *recordv1.Drawing) {
			d.Links[0].Device.Lockable, d.Links[0].Device.Hardware = false, 0
			d.Links = append(d.Links, &recordv1.Link{Name: "past", From: "utility", To: "bus", Medium: recordv1.Medium_MEDIUM_ELECTRICITY})
		},
		"joules of nobody knows what": func(d *recordv1.Drawing) { d.Nodes[6].Store.What, d.Nodes[6].Store.Joules = nil, 500 },
		"grain falls": func(d *recordv1.Drawing) {
			d.Links[4].Medium, d.Links[4].OneWay = recordv1.Medium_MEDIUM_GRAIN, "it falls"
			d.Zones = nil
		},
	} {
		d := soundYard()
		spoil(d)
		for _, p := range Warnings(d, nil) {
			t.Errorf("%s: %s", name, p)
		}
	}
	if Warnings(nil, nil) != nil {
		t.Error("no drawing has warnings")
	}
}

// An island is told once; energy doesn't come to it against a one-way link.
func TestIslands(t *testing.T) {
	d := soundYard()
	d.Nodes = append(d.Nodes, &recordv1.Node{Name: "bin", Kind: recordv1.NodeKind_NODE_KIND_BUS}, &recordv1.Node{Name: "spout", Kind: recordv1.NodeKind_NODE_KIND_BUS})
	d.Links = append(d.Links, &recordv1.Link{Name: "fill", From: "spout", To: "bin", Medium: recordv1.Medium_MEDIUM_GRAIN},
		&recordv1.Link{Name: "drop", From: "bin", To: "fan", Medium: recordv1.Medium_MEDIUM_GRAIN, OneWay: "it falls"})
	ps := Warnings(d, nil)
	if len(ps) != 1 || ps[0].Field != "nodes[8].name" || !strings.Contains(ps[0].Text, "stonebend/bin and 1 more") {
		t.Errorf("got %v", ps)
	}
}

// Nodes come before links, links before zones, each by number.
func TestWarningsOrder(t *testing.T) {
	d := soundYard()
	d.Zones[0].Parts[0].Media = d.Zones[0].Parts[0].Media[:1]
	d.Links[2].Device.LeavesConductorClosed = true
	d.Links[6].OneWay = "the pump only takes"
	d.Nodes[6].Store.What = nil
	var got []string
	for _, p := range Warnings(d, nil) {
		got = append(got, p.Field)
	}
	want := []string{"nodes[6].store", "links[2].device.leaves_conductor_closed", "links[6].one_way", "zones[0].parts[0].media"}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("got %v, want %v", got, want)
	}
}

// The same drawing gives the same warnings in the order of its fields, and no
// more than the bound.
func TestWarningsAreBoundedAndOrdered(t *testing.T) {
	d := &recordv1.Drawing{Yard: "x", Nodes: []*recordv1.Node{{Name: "s", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}}}
	for i := range 500 {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: fmt.Sprintf("m%d", i), Kind: recordv1.NodeKind_NODE_KIND_MACHINE})
		d.Links = append(d.Links, &recordv1.Link{Name: fmt.Sprintf("l%d", i), From: "s", To: fmt.Sprintf("m%d", i), Medium: recordv1.Medium_MEDIUM_ELECTRICITY})
	}
	ps := Warnings(d, nil)
	if len(ps) != 200 {
		t.Fatalf("%d warnings", len(ps))
	}
	for i, p := range ps {
		if want := fmt.Sprintf("nodes[%d].name", i+1); p.Field != want {
			t.Fatalf("warning %d is of %s, want %s", i, p.Field, want)
		}
	}
}

func BenchmarkWarnings100000(b *testing.B) {
	d := &recordv1.Drawing{Yard: "x", Nodes: []*recordv1.Node{{Name: "s", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}}}
	for i := range 100_000 {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: fmt.Sprintf("m%d", i), Kind: recordv1.NodeKind_NODE_KIND_MACHINE})
		from := "s"
		if i > 0 {
			from = fmt.Sprintf("m%d", (i-1)/3)
		}
		d.Links = append(d.Links, &recordv1.Link{Name: fmt.Sprintf("l%d", i), From: from, To: fmt.Sprintf("m%d", i), Medium: recordv1.Medium_MEDIUM_ELECTRICITY,
			Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "p", Device: fmt.Sprintf("d%d", i), Lockable: true, Poles: 3}})
	}
	for b.Loop() {
		if ps := Warnings(d, nil); len(ps) > 0 {
			b.Fatal(ps[0])
		}
	}
}
