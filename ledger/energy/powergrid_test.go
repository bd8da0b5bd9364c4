package energy

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Branches of the IEEE test systems: pglib-opf v23.07, pglib_opf_case14_ieee.m
// and pglib_opf_case30_ieee.m, (c) 1999 Richard D. Christie, University of
// Washington, CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/). Only the
// two end numbers of each branch are kept; nothing else was changed.
const (
	ieee14 = `1-2 1-5 2-3 2-4 2-5 3-4 4-5 4-7 4-9 5-6 6-11 6-12 6-13 7-8 7-9 9-10 9-14 10-11 12-13 13-14`
	ieee30 = `1-2 1-3 2-4 3-4 2-5 2-6 4-6 5-7 6-7 6-8 6-9 6-10 9-11 9-10 4-12 12-13 12-14 12-15 12-16 14-15 16-17 15-18
18-19 19-20 10-20 10-17 10-21 10-22 21-22 15-23 22-24 23-24 24-25 25-26 25-27 28-27 27-29 27-30 29-30 8-28
6-28`
)

// grid draws branches as links with a breaker each, buses 1 to n with a zone at
// each, and a source at every generator bus.
func grid(branches string, n int, generators ...int) *recordv1.Drawing {
	s := newSketch("millrow")
	for i := 1; i <= n; i++ {
		word := "bus"
		if slices.Contains(generators, i) {
			word = "source"
		}
		s.add(fmt.Sprintf("%s b%d", word, i))
		s.zone(fmt.Sprintf("z%d", i), fmt.Sprintf("b%d electricity", i))
	}
	for i, b := range strings.Fields(branches) {
		u, v, _ := strings.Cut(b, "-")
		s.link(fmt.Sprintf("l%d: b%s electricity b%s, breaker yard/q%d-%s-%s", i, u, v, i, u, v))
	}
	return s.Drawing
}

// leastBranches checks the least number of branches that cut a bus off
// from every generator bus: multi-source minimum edge cuts of the IEEE systems,
// computed elsewhere with another program.
func leastBranches(t *testing.T) {
	for _, x := range []struct {
		name       string
		branches   string
		buses      int
		generators []int
		want       map[int]int
		rest       int
	}{
		{"14-bus", ieee14, 14, []int{1, 2, 3, 6, 8}, map[int]int{4: 5, 5: 4, 9: 4, 7: 3, 13: 3}, 2},
		{"30-bus", ieee30, 30, []int{1, 2, 5, 8, 11, 13}, map[int]int{6: 7, 10: 5, 12: 5, 4: 4, 15: 4, 9: 3, 22: 3, 24: 3, 28: 3, 26: 1}, 2},
	} {
		g := mustBuild(t, grid(x.branches, x.buses, x.generators...))
		if len(g.Points()) != len(strings.Fields(x.branches)) {
			t.Errorf("%s: %d points", x.name, len(g.Points()))
		}
		for bus := 1; bus <= x.buses; bus++ {
			p := mustPlan(t, g, fmt.Sprintf("millrow/z%d", bus), single)
			if slices.Contains(x.generators, bus) {
				if p.Isolates || p.CannotCut == nil || len(p.Points) != 0 {
					t.Errorf("%s: generator bus %d: isolates %v with %q", x.name, bus, p.Isolates, p.Points)
				}
				continue
			}
			want, listed := x.want[bus]
			if !listed {
				want = x.rest
			}
			if len(p.Points) != want || !p.Isolates || !p.Fewest {
				t.Errorf("%s: bus %d: %d branches %q, isolates %v, fewest %v; want %d", x.name, bus, len(p.Points), p.Points, p.Isolates, p.Fewest, want)
			}
		}
	}
}

// pairCuts checks edge cuts between two buses of the 14-bus system: 1-14 is
// 2, 2-13 is 3, 4-6 is 3; the cut of 1-14 is {9-14, 13-14}.
func pairCuts(t *testing.T) {
	for _, x := range []struct{ from, to, want int }{{1, 14, 2}, {2, 13, 3}, {4, 6, 3}} {
		g := mustBuild(t, grid(ieee14, 14, x.from))
		p := mustPlan(t, g, fmt.Sprintf("millrow/z%d", x.to), single)
		if len(p.Points) != x.want {
			t.Errorf("%d-%d: %q, want %d branches", x.from, x.to, p.Points, x.want)
		}
		if x.to == 14 {
			same(t, "cut of 1-14", p.Points, []string{"millrow/yard/q16-9-14", "millrow/yard/q19-13-14"})
		}
	}
}

// bridges checks the bridges: the branches which alone cut some bus off when
// bus 1 is the only source. 14-bus: 7-8; 30-bus: 9-11, 12-13, 25-26.
func bridges(t *testing.T) {
	for _, x := range []struct {
		branches string
		buses    int
		want     []string
	}{{ieee14, 14, []string{"7-8"}}, {ieee30, 30, []string{"12-13", "25-26", "9-11"}}} {
		g := mustBuild(t, grid(x.branches, x.buses, 1))
		var got []string
		for _, point := range g.Points() {
			for bus := 2; bus <= x.buses; bus++ {
				if mustExamine(t, g, fmt.Sprintf("millrow/z%d", bus), single, point.ID).Isolates {
					_, pair, _ := strings.Cut(point.Device, "-")
					got = append(got, pair)
					break
				}
			}
		}
		slices.Sort(got)
		same(t, fmt.Sprintf("bridges of the %d-bus system", x.buses), got, x.want)
	}
}

// gridCounts checks buses, branches, distinct pairs and independent loops as the
// files have them.
func gridCounts(t *testing.T) {
	for _, x := range []struct {
		branches               string
		buses, lines, loops    int
		cutVertices, generator []int
	}{
		{ieee14, 14, 20, 7, []int{7}, []int{1, 2, 3, 6, 8}},
		{ieee30, 30, 41, 12, []int{9, 12, 25, 27}, []int{1, 2, 5, 8, 11, 13}},
	} {
		g := mustBuild(t, grid(x.branches, x.buses, x.generator...))
		net := parseNet(x.buses, 1, x.branches)
		pairs := map[[2]int]bool{}
		for _, e := range net.edges {
			pairs[[2]int{min(e[0], e[1]), max(e[0], e[1])}] = true
		}
		if len(g.nodes) != x.buses || len(g.Points()) != x.lines || len(pairs) != x.lines || len(net.edges)-x.buses+1 != x.loops || len(g.sources) != len(x.generator) {
			t.Errorf("%d buses, %d branches, %d pairs, %d loops, %d generators", len(g.nodes), len(g.Points()), len(pairs), len(net.edges)-x.buses+1, len(g.sources))
		}
		var want []int
		for _, v := range x.cutVertices {
			want = append(want, v-1)
		}
		if got := cutVertices(t, net); !slices.Equal(got, want) {
			t.Errorf("cut vertices of the %d-bus system, from 0: %v, want %v", x.buses, got, want)
		}
	}
}

// busPairs checks node cuts between buses of the 14-bus system that share no
// branch: 1-14 is 2, by {9, 13}; 2-13 is 2; 4-6 is 2.
func busPairs(t *testing.T) {
	net := parseNet(14, 1, ieee14)
	for _, x := range []struct{ from, to, want int }{{1, 14, 2}, {2, 13, 2}, {4, 6, 2}} {
		p := mustPlan(t, mustBuild(t, net.split(x.from-1)), fmt.Sprintf("eastfork/z%d", x.to-1), single)
		if len(p.Points) != x.want || !p.Isolates {
			t.Errorf("%d-%d: %q, want %d buses", x.from, x.to, p.Points, x.want)
		}
		if x.to == 14 {
			same(t, "node cut of 1-14", p.Points, []string{"eastfork/p/n12", "eastfork/p/n8"})
		}
	}
}
