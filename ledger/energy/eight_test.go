package energy

import (
	"fmt"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// pump is the machine that may be serviced without a written procedure: one
// feed, one disconnect, its button fed behind it, nothing stored.
func pump() *sketch {
	s := newSketch("eastfork")
	s.add("source service")
	s.add("bus load-side")
	s.add("machine pump")
	s.add("control button").Starts = []string{"pump"}
	s.link("feed: service electricity load-side, disconnect wall/pump")
	s.link("wire: load-side electricity pump")
	s.link("control-wire: load-side electricity button")
	s.zone("pump", "pump electricity, motion")
	return s
}

func answers(t *testing.T, g *Graph, zone string, plan Plan) (string, []EightCondition) {
	t.Helper()
	cs, err := g.WithoutProcedure(zone, plan)
	if err != nil {
		t.Fatal(err)
	}
	letters := ""
	for i, c := range cs {
		if c.Number != i+1 || c.Text == "" || c.Why == "" {
			t.Errorf("condition %+v", c)
		}
		letters += map[Holds]string{HoldsYes: "y", HoldsNo: "n", HoldsToBeRecorded: "r"}[c.Holds]
	}
	return letters, cs
}

// TestEightConditions breaks one condition at a time of 29 CFR 1910.147(c)(4)(i);
// which can be computed is from our reading of the clause (standards 1.4).
func TestEightConditions(t *testing.T) {
	for name, x := range map[string]struct {
		spoil func(*sketch)
		want  string
	}{
		"as it is": {func(*sketch) {}, "yyyryrrr"},
		"a store": {func(s *sketch) {
			s.add("store bank")
			s.link("bank-wire: load-side electricity bank")
		}, "nyyryrrr"},
		// gravity head of grain above a gate fails 1 and 2
		"grain above": {func(s *sketch) {
			s.add("source bin")
			s.link("spout: bin grain pump, gate floor/slide")
			s.Zones[0].Isolation, s.Zones[0].WaivedBy, s.Zones[0].WaivedWhy = single, "nia", "a test"
		}, "nnnrnrrr"},
		"a machine that feeds back": {func(s *sketch) { s.Nodes[2].FeedsBack = true }, "nyyryrrr"},
		"a second feed": {func(s *sketch) {
			s.add("source generator")
			s.link("spare: generator electricity load-side, breaker shed/out")
		}, "ynnrnrrr"},
		"a second feed ahead of the disconnect": {func(s *sketch) {
			s.add("source generator")
			s.link("spare: generator electricity service, breaker shed/out")
		}, "ynnryrrr"},
		"a remote button with a feed of its own": {func(s *sketch) {
			s.add("control far-button").Starts = []string{"pump"}
			s.link("far-wire: service electricity far-button")
		}, "yynryrrr"},
		"a button nobody drew a feed for": {func(s *sketch) { s.add("control radio").Starts = []string{"pump"} }, "yynryrrr"},
		"double isolation wanted": {func(s *sketch) {
			s.Zones[0].Isolation = double
			s.Links[1].Device = &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_DISCONNECT, Panel: "pump", Device: "local", Lockable: true}
		}, "yyyrnrrr"},
		"no source drawn": {func(s *sketch) { s.Nodes[0].Kind = recordv1.NodeKind_NODE_KIND_BUS }, "ynnrnrrr"},
	} {
		s := pump()
		x.spoil(s)
		g := mustBuild(t, s.Drawing)
		got, cs := answers(t, g, "eastfork/pump", mustPlan(t, g, "eastfork/pump", asked))
		if got != x.want {
			t.Errorf("%s: %s, want %s; %+v", name, got, x.want, cs)
		}
		if NeedsProcedure(cs) != strings.Contains(x.want, "n") {
			t.Errorf("%s: needs a procedure: %v", name, NeedsProcedure(cs))
		}
	}
}

// TestEightWithoutIsolating: points that don't isolate fail 3 and 5.
func TestEightWithoutIsolating(t *testing.T) {
	g := mustBuild(t, pump().Drawing)
	none, cs := answers(t, g, "eastfork/pump", Plan{Zone: "eastfork/pump"})
	if none != "yynrnrrr" || !strings.Contains(cs[2].Why, "eastfork/service still reaches eastfork/pump") {
		t.Errorf("%s %+v", none, cs)
	}
	// one point of the two it takes
	two := pump()
	two.add("source generator")
	two.link("spare: generator electricity load-side, breaker shed/out")
	if got, cs := answers(t, mustBuild(t, two.Drawing), "eastfork/pump", Plan{Zone: "eastfork/pump", Points: []string{"eastfork/wall/pump"}}); got != "ynnrnrrr" || !strings.Contains(cs[4].Why, "alone doesn't isolate") {
		t.Errorf("%s %+v", got, cs)
	}
	if !NeedsProcedure(nil) || !NeedsProcedure(cs[:7]) {
		t.Error("half a list counts as the whole")
	}
	for _, p := range []Plan{{Zone: "eastfork/other"}, {}, {Zone: "eastfork/pump", Points: []string{"eastfork/wall/none"}}} {
		if cs, err := g.WithoutProcedure("eastfork/pump", p); err == nil || cs != nil {
			t.Errorf("%+v: %v", p, err)
		}
	}
	if _, err := g.WithoutProcedure("eastfork/none", Plan{Zone: "eastfork/none"}); err == nil {
		t.Error("an unknown zone is answered")
	}
	if fmt.Sprint(HoldsYes, HoldsNo, HoldsToBeRecorded) != "yes, on these drawings no to be recorded" {
		t.Error(fmt.Sprint(HoldsYes, HoldsNo, HoldsToBeRecorded))
	}
}
