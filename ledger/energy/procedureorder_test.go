package energy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestShutDownOrder: over random grain plants each machine stops before any that
// it sends grain to, unless grain comes back from there to it.
func TestShutDownOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	compared := 0
	for range 300 {
		s := newSketch("eastfork")
		n := 3 + r.IntN(7)
		s.add("source utility")
		s.add("bus mcc")
		s.link("feeder: utility electricity mcc, breaker p/feeder")
		sends := make([][]bool, n)
		for i := range n {
			sends[i] = make([]bool, n)
			s.add(fmt.Sprintf("machine m%d", i))
			s.link(fmt.Sprintf("feed%d: mcc electricity m%d, breaker p/m%d", i, i, i))
		}
		for k := range n + r.IntN(n) {
			i, j := r.IntN(n), r.IntN(n)
			if i != j && !sends[i][j] {
				sends[i][j] = true
				s.link(fmt.Sprintf("spout%d: m%d grain m%d", k, i, j)).OneWay = "grain falls"
			}
		}
		last := r.IntN(n)
		s.zone("z", fmt.Sprintf("m%d motion", last))
		g := mustBuild(t, s.Drawing)
		z, _ := g.zone("eastfork/z")
		all, err := g.opened([]string{"eastfork/p/feeder"})
		if err != nil {
			t.Fatal(err)
		}
		at := map[string]int{}
		stops := g.stopping(z, all)
		for i, x := range stops {
			at[g.nodes[x.node].id] = i
		}
		if len(at) != n || len(stops) != n {
			t.Fatalf("%d of %d machines stop", len(stops), n)
		}
		comes := make([][]bool, n) // by Warshall
		for i := range n {
			comes[i] = slices.Clone(sends[i])
		}
		for k := range n {
			for i := range n {
				for j := range n {
					comes[i][j] = comes[i][j] || comes[i][k] && comes[k][j]
				}
			}
		}
		name := func(i int) string { return fmt.Sprintf("eastfork/m%d", i) }
		for i := range n {
			for j := range n {
				if comes[i][j] && !comes[j][i] {
					compared++
					if at[name(i)] > at[name(j)] {
						t.Errorf("m%d feeds m%d and stops after it", i, j)
					}
				}
			}
			// what feeds the zone on a ring still stops before the zone, which is
			// where the ring is cut
			if sends[i][last] && i != last && !stops[at[name(i)]].ring && at[name(i)] > at[name(last)] {
				t.Errorf("m%d feeds the zone and stops after it", i)
			}
		}
	}
	if compared < 1000 {
		t.Errorf("only %d pairs compared", compared)
	}
}

// TestShutDownRing: reclaim, leg and bin feed each other; the ring is cut where
// grain leaves the zone, and said so where that doesn't help.
func TestShutDownRing(t *testing.T) {
	s := newSketch("eastfork")
	s.add("source utility")
	for _, m := range []string{"a-reclaim", "b-leg", "c-belt", "bin"} {
		s.add("machine " + m)
		if m != "bin" {
			s.link("feed-" + m + ": utility electricity " + m + ", breaker p/" + m)
		}
	}
	s.add("machine burner")
	s.add("source gas")
	s.link("train: gas fuel gas burner, valve p/gas")
	s.link("feed-burner: utility electricity burner, breaker p/burner")
	// heat may come back along its link, so the burner is never without a source;
	// it runs through the plan's points all the same
	s.link("heat: burner heat bin")
	for i, x := range []string{"bin grain a-reclaim", "a-reclaim grain b-leg", "b-leg grain c-belt", "c-belt grain bin"} {
		s.link(fmt.Sprintf("spout-%d: %s", i, x)).OneWay = "grain falls"
	}
	s.zone("bin", "bin grain, heat").Entered = true
	s.zone("belt", "b-leg motion", "c-belt motion")
	g := mustBuild(t, s.Drawing)
	list := func(zone string, points ...string) (out []string) {
		z, _ := g.zone(zone)
		open, err := g.opened(points)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range g.stopping(z, open) {
			out = append(out, fmt.Sprintf("%s ring=%v fire=%v dark=%v", g.nodes[x.node].id[len("eastfork/"):], x.ring, x.fire, x.dark))
		}
		return out
	}
	same(t, "bin", list("eastfork/bin", "eastfork/p/burner", "eastfork/p/gas"), []string{"burner ring=false fire=true dark=true",
		"a-reclaim ring=false fire=false dark=false", "b-leg ring=false fire=false dark=false", "c-belt ring=false fire=false dark=false", "bin ring=false fire=false dark=true"})
	s.link("back: c-belt grain a-reclaim").OneWay = "grain falls"
	g = mustBuild(t, s.Drawing)
	same(t, "a second ring", list("eastfork/bin", "eastfork/p/burner", "eastfork/p/gas"), []string{"burner ring=false fire=true dark=true",
		"a-reclaim ring=true fire=false dark=false", "b-leg ring=true fire=false dark=false", "bin ring=true fire=false dark=true", "c-belt ring=true fire=false dark=false"})
}
