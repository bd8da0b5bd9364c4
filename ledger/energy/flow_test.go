package energy

import (
	"math/rand/v2"
	"slices"
	"testing"

	gonum "gonum.org/v1/gonum/graph/network"
	"gonum.org/v1/gonum/graph/simple"
)

type flowArc struct {
	u, v int32
	c    int64
}

func flowOf(t *testing.T, nodes int, arcs []flowArc, from, to int32) (int64, *network) {
	t.Helper()
	n := newNetwork(nodes, len(arcs))
	for _, a := range arcs {
		n.join(a.u, a.v, a.c, 0)
	}
	n.steps = maxSteps
	value, ok := n.maximum(from, to)
	if !ok {
		t.Fatalf("%d steps were too few for %d arcs", maxSteps, len(arcs))
	}
	return value, n
}

// clrsArcs are nodes s 0, v1..v4, t 5; the figure is from memory.
var clrsArcs = []flowArc{{0, 1, 16}, {0, 2, 13}, {1, 3, 12}, {2, 1, 4}, {2, 4, 14}, {3, 2, 9}, {3, 5, 20}, {4, 3, 7}, {4, 5, 4}}

// clrs checks the flow of 23 and the cut {s,v1,v2,v4} / {v3,t} of 12+7+4.
func clrs(t *testing.T) {
	got, n := flowOf(t, 6, clrsArcs, 0, 5)
	if got != 23 {
		t.Errorf("flow %d, want 23", got)
	}
	for v, want := range []bool{false, false, false, true, false, true} {
		if n.sinkSide(int32(v)) != want {
			t.Errorf("node %d on the sink side: %v, want %v", v, !want, want)
		}
	}
}

// clrsEarlier is the variant of the first two editions.
func clrsEarlier(t *testing.T) {
	if got, _ := flowOf(t, 6, append(slices.Clone(clrsArcs), flowArc{1, 2, 10}), 0, 5); got != 23 {
		t.Errorf("flow %d, want 23", got)
	}
}

// lawler takes the published flow's own values as capacities; the printed
// capacities were not at hand.
func lawler(t *testing.T) {
	if got, _ := flowOf(t, 6, []flowArc{{0, 1, 2}, {0, 2, 2}, {1, 3, 2}, {2, 4, 2}, {3, 5, 2}, {4, 5, 2}, {2, 1, 2}, {3, 2, 2}, {4, 3, 2}}, 0, 5); got != 4 {
		t.Errorf("flow %d, want 4", got)
	}
}

// flowSecondOpinion compares the value with gonum's MaxFlowDinic, and the
// capacity of the cut with the value (Ford and Fulkerson).
func flowSecondOpinion(t *testing.T) {
	for trial := range uint64(400) {
		r := rand.New(rand.NewPCG(1, trial))
		nodes := 2 + r.IntN(12)
		g := simple.NewWeightedDirectedGraph(0, 0)
		for i := range nodes {
			g.AddNode(simple.Node(i))
		}
		var arcs []flowArc
		for range r.IntN(4 * nodes) {
			u, v, c := r.IntN(nodes), r.IntN(nodes), int64(1+r.IntN(9))
			if u == v || g.HasEdgeFromTo(int64(u), int64(v)) {
				continue
			}
			g.SetWeightedEdge(g.NewWeightedEdge(simple.Node(u), simple.Node(v), float64(c)))
			arcs = append(arcs, flowArc{int32(u), int32(v), c})
		}
		got, n := flowOf(t, nodes, arcs, 0, int32(nodes-1))
		if want := int64(gonum.MaxFlowDinic(g, simple.Node(0), simple.Node(nodes-1), 1e-9)); got != want {
			t.Fatalf("trial %d: flow %d, gonum says %d", trial, got, want)
		}
		var cut int64
		for _, a := range arcs {
			if !n.sinkSide(a.u) && n.sinkSide(a.v) {
				cut += a.c
			}
		}
		if cut != got {
			t.Fatalf("trial %d: cut of capacity %d for a flow of %d", trial, cut, got)
		}
	}
}
