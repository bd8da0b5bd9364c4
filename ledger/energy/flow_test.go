package energy

import (
	"math/rand/v2"
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

// TestMaximumFlow checks flows printed in textbooks.
func TestMaximumFlow(t *testing.T) {
	// CLRS 3rd ed. fig. 26.1 and 26.6: nodes s 0, v1..v4, t 5. Figure from
	// memory; the value 23 is printed.
	clrs := []flowArc{{0, 1, 16}, {0, 2, 13}, {1, 3, 12}, {2, 1, 4}, {2, 4, 14}, {3, 2, 9}, {3, 5, 20}, {4, 3, 7}, {4, 5, 4}}
	for _, x := range []struct {
		source string
		arcs   []flowArc
		nodes  int
		want   int64
	}{
		{"CLRS 3rd ed. fig. 26.1", clrs, 6, 23},
		{"CLRS 1st and 2nd ed., with v1-v2 10", append(append([]flowArc{}, clrs...), flowArc{1, 2, 10}), 6, 23},
		// E. Lawler, Combinatorial Optimization, fig. 4.3: the published flow's
		// own values as capacities; the printed capacities were not at hand.
		{"Lawler fig. 4.3", []flowArc{{0, 1, 2}, {0, 2, 2}, {1, 3, 2}, {2, 4, 2}, {3, 5, 2}, {4, 5, 2}, {2, 1, 2}, {3, 2, 2}, {4, 3, 2}}, 6, 4},
	} {
		if got, _ := flowOf(t, x.nodes, x.arcs, 0, int32(x.nodes-1)); got != x.want {
			t.Errorf("%s: flow %d, want %d", x.source, got, x.want)
		}
	}
}

// TestMinimumCut checks CLRS fig. 26.5: the cut {s,v1,v2,v4} / {v3,t} of
// capacity 12+7+4.
func TestMinimumCut(t *testing.T) {
	arcs := []flowArc{{0, 1, 16}, {0, 2, 13}, {1, 3, 12}, {2, 1, 4}, {2, 4, 14}, {3, 2, 9}, {3, 5, 20}, {4, 3, 7}, {4, 5, 4}}
	_, n := flowOf(t, 6, arcs, 0, 5)
	for v, want := range []bool{false, false, false, true, false, true} {
		if n.sinkSide(int32(v)) != want {
			t.Errorf("node %d on the sink side: %v, want %v", v, !want, want)
		}
	}
}

// TestFlowSecondOpinion compares the value with gonum's MaxFlowDinic, and the
// capacity of the cut with the value (Ford and Fulkerson).
func TestFlowSecondOpinion(t *testing.T) {
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
