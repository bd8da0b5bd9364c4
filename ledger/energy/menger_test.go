package energy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

// menger packs paths that share no link between two nodes of random graphs, by
// single augmenting paths, and compares their number with the plan: no more fit
// than the cut has links, and as many do.
func menger(t *testing.T) {
	sizes := map[int]int{}
	for trial := range uint64(300) {
		r := rand.New(rand.NewPCG(24, trial))
		g := net{n: 3 + r.IntN(10)}
		for range g.n + r.IntN(3*g.n) {
			if u, v := r.IntN(g.n), r.IntN(g.n); u != v {
				g.edges = append(g.edges, [2]int{u, v}) // some twice
			}
		}
		from, to := 0, g.n-1
		paths := disjointPaths(g, from, to)
		used := map[int]bool{}
		for _, path := range paths {
			at := from
			for _, e := range path {
				if used[e] || g.edges[e][0] != at && g.edges[e][1] != at {
					t.Fatalf("trial %d: edge %d of %v used twice or out of place", trial, e, path)
				}
				used[e] = true
				at = g.edges[e][0] + g.edges[e][1] - at
			}
			if at != to {
				t.Fatalf("trial %d: path %v ends at %d", trial, path, at)
			}
		}
		p := mustPlan(t, mustBuild(t, g.wired(from)), fmt.Sprintf("eastfork/z%d", to), single)
		if len(p.Points) != len(paths) || !p.Isolates {
			t.Fatalf("trial %d: %d points cut %d disjoint paths", trial, len(p.Points), len(paths))
		}
		sizes[len(paths)]++
	}
	if len(sizes) < 5 {
		t.Errorf("one-sided trials: %v", sizes)
	}
}

// disjointPaths returns as many paths as fit without a shared edge, as lists of
// edges.
func disjointPaths(g net, from, to int) (paths [][]int) {
	flow := make([]int, len(g.edges)) // 1 from first end to second, -1 back
	step := func(e, at int) (next, way int) {
		if g.edges[e][0] == at {
			return g.edges[e][1], 1
		}
		return g.edges[e][0], -1
	}
	var seen []bool
	var push func(at int) bool
	push = func(at int) bool {
		if at == to {
			return true
		}
		seen[at] = true
		for e := range g.edges {
			if !slices.Contains(g.edges[e][:], at) {
				continue
			}
			if next, way := step(e, at); flow[e] != way && !seen[next] && push(next) {
				flow[e] += way
				return true
			}
		}
		return false
	}
	for {
		seen = make([]bool, g.n)
		if !push(from) {
			break
		}
	}
	for {
		var path []int
		at := from
		for at != to {
			moved := false
			for e := range g.edges {
				if !slices.Contains(g.edges[e][:], at) {
					continue
				}
				if next, way := step(e, at); flow[e] == way {
					flow[e], at, moved = 0, next, true
					path = append(path, e)
					break
				}
			}
			if !moved {
				return paths
			}
		}
		paths = append(paths, path)
	}
}
