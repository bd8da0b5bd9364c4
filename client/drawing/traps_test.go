package drawing

import (
	"slices"
	"strings"
	"testing"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// built is the three yards as one graph.
func built(t *testing.T) (*energy.Graph, map[string]*recordv1.Drawing) {
	t.Helper()
	drawings := coop(t)
	var list []*recordv1.Drawing
	for _, yard := range []string{"stonebend", "millrow", "eastfork"} {
		list = append(list, drawings[yard])
	}
	g, problems := energy.Build(list)
	if g == nil {
		t.Fatal(problems)
	}
	return g, drawings
}

// The yards are as large as a real one, and hold every medium.
func TestCoopSize(t *testing.T) {
	_, drawings := built(t)
	media := make(map[recordv1.Medium]bool)
	for yard, least := range map[string]int{"eastfork": 60, "millrow": 90, "stonebend": 150} {
		devices := 0
		for _, l := range drawings[yard].Links {
			media[l.Medium] = true
			if l.Device != nil {
				devices++
			}
		}
		if devices < least {
			t.Errorf("%s has %d devices, want at least %d", yard, devices, least)
		}
	}
	if want := len(recordv1.Medium_name) - 1; len(media) != want {
		t.Errorf("the yards have %d media, want %d", len(media), want)
	}
}

// Published one after the other, each drawing is complete when its turn comes.
func TestCoopPublishes(t *testing.T) {
	drawings := coop(t)
	var current []*recordv1.Drawing
	for _, yard := range []string{"stonebend", "millrow", "eastfork"} {
		for _, p := range energy.Check(drawings[yard], current) {
			t.Error(p)
		}
		current = append(current, drawings[yard])
	}
}

// The plan that the whole story of the boot stands on.
func TestCoopLegBootPlan(t *testing.T) {
	g, _ := built(t)
	p, err := g.Plan("stonebend/leg-2-boot", 0)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"millrow/bridge/transfer-pan", "millrow/control-panel/stonebend-leg-2", "stonebend/boot-pit/bin-3-pan", "stonebend/head-house/leg-2-disconnect"}
	if !slices.Equal(p.Points, want) || !p.Isolates || !p.Fewest {
		t.Errorf("got %v, isolates %v, fewest %v", p.Points, p.Isolates, p.Fewest)
	}
	for _, s := range p.Stores {
		if s.ID == "stonebend/leg-2-drive-bus" && s.WaitSeconds != 600 {
			t.Errorf("the drive's label says ten minutes, the plan %d s", s.WaitSeconds)
		}
	}
}

// trap is what looks like the lock of a zone and is not enough: the live path that is
// left, and what was missing.
type trap struct {
	trap   string
	zone   string
	naive  []string // nil: the plan without what is missing
	part   string   // live all the same
	source string
	by     []string // on the path
	add    []string // what was missing
}

// Electricity that comes another way.
var electricTraps = []trap{
	{"control power tapped ahead of the disconnect", "stonebend/leg-1-starter",
		[]string{"stonebend/mcc-1/leg-1", "stonebend/head-house/leg-1-disconnect"},
		"stonebend/leg-1-control", "", []string{"stonebend/mcc-1-bus", "breaker stonebend/mcc-1/leg-1-control"},
		[]string{"stonebend/mcc-1/leg-1-control"}},
	{"control power from another yard", "stonebend/leg-2-boot",
		[]string{"stonebend/head-house/leg-2-disconnect", "stonebend/boot-pit/bin-3-pan", "millrow/bridge/transfer-pan"},
		"stonebend/leg-2-control", "millrow/utility", []string{"millrow/control-transformer", "breaker millrow/control-panel/stonebend-leg-2"},
		[]string{"millrow/control-panel/stonebend-leg-2"}},
	{"transfer conveyor from another yard", "stonebend/leg-2-boot",
		[]string{"stonebend/head-house/leg-2-disconnect", "stonebend/boot-pit/bin-3-pan", "millrow/control-panel/stonebend-leg-2"},
		"stonebend/leg-2-boot", "millrow/bin-6", []string{"millrow/transfer", "blank millrow/bridge/transfer-pan"},
		[]string{"millrow/bridge/transfer-pan"}},
	{"a loaded leg turns its motor", "stonebend/leg-2-boot",
		[]string{"stonebend/head-house/leg-2-disconnect", "millrow/control-panel/stonebend-leg-2", "millrow/bridge/transfer-pan"},
		"stonebend/leg-2-motor", "stonebend/bin-3", []string{"stonebend/leg-2-boot", "stonebend/leg-2", "backstop in link stonebend/leg-2-shaft"},
		[]string{"stonebend/boot-pit/bin-3-pan"}},
	{"second service through shared control power", "millrow/receiving-control",
		[]string{"millrow/switchboard/receiving-control"},
		"millrow/receiving-control", "millrow/office-utility", []string{"millrow/office-panel", "breaker millrow/office-panel/receiving"},
		[]string{"millrow/office-panel/receiving"}},
	{"bypass contactor of a drive", "stonebend/dust-fan",
		[]string{"stonebend/mcc-2/dust-fan", "stonebend/head-house/rotary-valve-disconnect", "stonebend/head-house/filter-air"},
		"stonebend/dust-fan-motor", "stonebend/utility", []string{"breaker stonebend/mcc-2/dust-fan-bypass", "contactor in link stonebend/dust-bypass"},
		[]string{"stonebend/mcc-2/dust-fan-bypass"}},
	{"standby generator behind the transfer switch", "eastfork/manlift",
		[]string{"eastfork/switchboard/utility"},
		"eastfork/manlift", "eastfork/generator", []string{"breaker eastfork/switchboard/generator", "eastfork/main-bus"},
		[]string{"eastfork/head-house/manlift"}},
	{"cord of a portable generator", "millrow/sockets",
		[]string{"millrow/switchboard/lighting"},
		"millrow/sockets", "millrow/portable-generator", []string{"plug millrow/dryer-tower/generator-inlet"},
		[]string{"millrow/dryer-tower/generator-inlet"}},
}

// Grain, air and what turns by itself.
var flowTraps = []trap{
	{"spout from overhead after everything is off", "eastfork/boot-pit",
		[]string{"eastfork/switchboard/leg", "eastfork/head-house/leg", "eastfork/switchboard/pit-auger", "eastfork/boot-pit/feed-gate", "eastfork/truck-pit/pit-gate"},
		"eastfork/leg-boot", "eastfork/hopper", []string{"gate eastfork/boot-pit/hopper-outlet-gate", "blank eastfork/boot-pit/hopper-outlet-pan"},
		[]string{"eastfork/boot-pit/hopper-outlet-pan"}},
	{"one gate is not two", "eastfork/boot-pit",
		[]string{"eastfork/switchboard/leg", "eastfork/head-house/leg", "eastfork/switchboard/pit-auger", "eastfork/boot-pit/feed-gate", "eastfork/truck-pit/pit-gate", "eastfork/boot-pit/hopper-outlet-gate"},
		"eastfork/leg-boot", "eastfork/hopper", []string{"gate eastfork/boot-pit/hopper-outlet-gate"},
		[]string{"eastfork/boot-pit/hopper-outlet-pan"}},
	{"windmilling fan", "eastfork/fan-2",
		[]string{"eastfork/bin-row/fan-2-disconnect", "eastfork/bin-row/bin-2-damper", "eastfork/bin-row/duct-blank", "eastfork/bin-row/duct-slide"},
		"eastfork/fan-2", "", []string{"eastfork/fan", "link eastfork/fan--duct", "eastfork/duct"},
		[]string{"eastfork/bin-row/fan"}},
	{"fumigated neighbour through a shared duct", "eastfork/bin-1",
		[]string{"eastfork/bin-1-roof/fill-cap", "eastfork/tunnel/bin-1-gate", "eastfork/switchboard/tunnel-belt", "eastfork/tunnel/bin-2-unload-pan", "eastfork/tunnel/bin-3-unload-pan", "eastfork/bin-row/fan", "eastfork/switchboard/fan"},
		"eastfork/bin-1", "eastfork/bin-2-fumigant", []string{"valve eastfork/bin-row/bin-2-damper", "blank eastfork/bin-row/duct-blank"},
		[]string{"eastfork/bin-row/duct-blank"}},
	{"sweep fed from the other end of the tunnel", "stonebend/bin-5",
		nil,
		"stonebend/bin-5", "stonebend/utility", []string{"breaker stonebend/mcc-2/tunnel-sockets", "plug stonebend/east-tunnel/sweep-cord"},
		[]string{"stonebend/east-tunnel/sweep-cord", "stonebend/mcc-2/tunnel-sockets"}},
	{"air from the other house past a check valve", "stonebend/dust-filter",
		[]string{"stonebend/mcc-1/compressor", "stonebend/east-row/cannon-air", "stonebend/head-house/rotary-valve-disconnect", "stonebend/mcc-2/dust-fan", "stonebend/mcc-2/dust-fan-bypass"},
		"stonebend/dust-filter", "", []string{"valve millrow/bridge/air-tie", "valve stonebend/head-house/filter-air"},
		[]string{"stonebend/head-house/filter-air"}},
	{"belt from another yard into an entered pit", "millrow/wet-leg-boot",
		nil,
		"millrow/wet-leg-boot", "", []string{"blank eastfork/road-bridge/tie-pan"},
		[]string{"eastfork/road-bridge/tie-pan"}},
}

// shownBy reports whether a live path is the one that people forget.
func (x trap) shownBy(p energy.Path) bool {
	if p.Part != x.part || x.source != "" && p.Source != x.source {
		return false
	}
	return !slices.ContainsFunc(x.by, func(step string) bool { return !slices.Contains(p.Steps, step) })
}

// The traps of a country elevator: what looks like the lock is not enough, the
// live path is named, and what is missing makes it enough. The traps are common
// field knowledge of the trade; each case names what is behind it.
func TestTraps(t *testing.T) {
	g, _ := built(t)
	for _, test := range slices.Concat(electricTraps, flowTraps) {
		t.Run(test.trap, func(t *testing.T) {
			naive := test.naive
			if naive == nil {
				naive = without(planOf(t, g, test.zone), test.add...)
			}
			v, err := g.Examine(test.zone, naive, 0)
			if err != nil {
				t.Fatal(err)
			}
			if v.Isolates {
				t.Fatalf("%v passes for enough", naive)
			}
			if !slices.ContainsFunc(v.Live, test.shownBy) {
				t.Errorf("no live path to %s from %s by %v among\n%s", test.part, test.source, test.by, pathsText(v.Live))
			}
			all := append(slices.Clone(naive), test.add...)
			if v, err := g.Examine(test.zone, all, 0); err != nil || !v.Isolates {
				t.Errorf("with %v it is not enough either: %v %s", test.add, err, pathsText(v.Live))
			}
			if p, err := g.Plan(test.zone, 0); err != nil || !p.Isolates {
				t.Errorf("there is no plan for %s: %v", test.zone, err)
			}
		})
	}
}

func planOf(t *testing.T, g *energy.Graph, zone string) []string {
	t.Helper()
	p, err := g.Plan(zone, 0)
	if err != nil {
		t.Fatal(err)
	}
	return p.Points
}

func without(list []string, gone ...string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return slices.Contains(gone, s) })
}

func pathsText(live []energy.Path) string {
	var b strings.Builder
	for _, p := range live {
		b.WriteString(strings.Join(p.Steps, " > ") + "\n")
	}
	return b.String()
}

// What stays charged behind the locks is listed: a dead header is not a dead tank.
func TestTrapsThatStayCharged(t *testing.T) {
	g, _ := built(t)
	for _, test := range []struct {
		trap, zone string
		points     []string
		stores     []string
	}{
		{"cannon tanks after the header is shut", "stonebend/bin-5", planOf(t, g, "stonebend/bin-5"), []string{"stonebend/cannon-1", "stonebend/cannon-2", "stonebend/cannon-3", "stonebend/fan-5-coast"}},
		{"pulse tank behind a check valve", "eastfork/filter", planOf(t, g, "eastfork/filter"), []string{"eastfork/pulse-tank"}},
		{"receiver behind the compressor's check valve", "stonebend/dust-filter", []string{"stonebend/mcc-1/compressor", "millrow/bridge/air-tie", "stonebend/head-house/rotary-valve-disconnect", "stonebend/mcc-2/dust-fan", "stonebend/mcc-2/dust-fan-bypass"}, []string{"stonebend/air-receiver", "stonebend/cannon-1"}},
		{"deck held up by oil", "stonebend/truck-dump", planOf(t, g, "stonebend/truck-dump"), []string{"stonebend/dump-load"}},
		{"drive bus after the breaker is open", "stonebend/dust-fan", planOf(t, g, "stonebend/dust-fan"), []string{"stonebend/dust-fan-drive-bus", "stonebend/dust-fan-coast"}},
		{"rotor that coasts for minutes", "eastfork/mill", planOf(t, g, "eastfork/mill"), []string{"eastfork/mill-coast"}},
	} {
		stores, err := g.Stores(test.zone, test.points)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range test.stores {
			i := slices.IndexFunc(stores, func(s energy.Store) bool { return s.ID == want })
			if i < 0 {
				t.Errorf("%s: %s is not listed", test.trap, want)
			} else if stores[i].Release == "" || stores[i].Joules == 0 {
				t.Errorf("%s: %+v has no figures or no release step", test.trap, stores[i])
			}
		}
	}
}

// The warnings of the three yards are the traps drawn into them, and no more.
func TestCoopWarnings(t *testing.T) {
	_, drawings := built(t)
	want := map[string][]string{
		"stonebend": {"leg-2-start is fed apart", "leg-2-selector is fed apart", "leg-1-start is fed apart"},
		"millrow": {"millrow/utility feeds the same wires", "leg-2-remote is fed apart", "transfer-start is fed apart from millrow/transfer, at millrow/control-bus", "office-utility feeds the same wires",
			"receiving-remote is fed apart from millrow/pit-belt-motor", "receiving-remote is fed apart from millrow/wet-leg-motor", "portable-generator feeds the same wires", `air comes to part "burner"`},
		"eastfork": nil,
	}
	for yard, texts := range want {
		var others []*recordv1.Drawing
		for other, d := range drawings {
			if other != yard {
				others = append(others, d)
			}
		}
		got := energy.Warnings(drawings[yard], others)
		if len(got) != len(texts) {
			t.Errorf("%s has %d warnings, want %d: %v", yard, len(got), len(texts), got)
			continue
		}
		for i, text := range texts {
			if !strings.Contains(got[i].Text, text) {
				t.Errorf("%s: warning %d is %s, want %q", yard, i, got[i], text)
			}
		}
	}
}
