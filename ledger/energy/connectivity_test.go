package energy

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// net is an undirected graph; nodes count from 0.
type net struct {
	n     int
	edges [][2]int
}

// parseNet reads "u-v u-v" with nodes counted from first.
func parseNet(n, first int, edges string) net {
	g := net{n: n}
	for _, e := range strings.Fields(edges) {
		u, v, _ := strings.Cut(e, "-")
		i, err := strconv.Atoi(u)
		j, err2 := strconv.Atoi(v)
		if err != nil || err2 != nil {
			panic("no edge: " + e)
		}
		g.edges = append(g.edges, [2]int{i - first, j - first})
	}
	return g
}

// hamiltonian draws a ring of n nodes with the chords of the repeated LCF jumps
// (J. Lederberg; H. S. M. Coxeter and R. Frucht).
func hamiltonian(n int, jumps ...int) net {
	g := net{n: n}
	for i := range n {
		g.edges = append(g.edges, [2]int{i, (i + 1) % n})
		if j := ((i+jumps[i%len(jumps)])%n + n) % n; i < j {
			g.edges = append(g.edges, [2]int{i, j})
		}
	}
	return g
}

// joined draws every edge for which join is true.
func joined(n int, join func(u, v int) bool) net {
	g := net{n: n}
	for u := range n {
		for v := u + 1; v < n; v++ {
			if join(u, v) {
				g.edges = append(g.edges, [2]int{u, v})
			}
		}
	}
	return g
}

func (g net) adjacent(u, v int) bool {
	return slices.Contains(g.edges, [2]int{u, v}) || slices.Contains(g.edges, [2]int{v, u})
}

// leastDegree counts the edges at the node with fewest.
func (g net) leastDegree() int {
	degree := make([]int, g.n)
	for _, e := range g.edges {
		degree[e[0]]++
		degree[e[1]]++
	}
	return slices.Min(degree)
}

// split draws each node as two halves with a breaker n<i> between them, so that
// opening it takes the node out. The outer half of source is the source; there is
// a zone z<i> at the inner half of every other node.
func (g net) split(source int) *recordv1.Drawing {
	s := newSketch("eastfork")
	for i := range g.n {
		s.add(fmt.Sprintf("bus in%d", i))
		word := "bus"
		if i == source {
			word = "source"
		} else {
			s.zone(fmt.Sprintf("z%d", i), fmt.Sprintf("in%d electricity", i))
		}
		s.add(fmt.Sprintf("%s out%d", word, i))
		s.link(fmt.Sprintf("n%d: in%d electricity out%d, breaker p/n%d", i, i, i, i)).OneWay = "one half of a split node"
	}
	for k, e := range g.edges {
		s.link(fmt.Sprintf("e%d: out%d electricity in%d", k, e[0], e[1])).OneWay = "one half of a split edge"
		s.link(fmt.Sprintf("b%d: out%d electricity in%d", k, e[1], e[0])).OneWay = "one half of a split edge"
	}
	return s.Drawing
}

// wired draws each edge as a link with a breaker, node source as the source, and
// a zone z<i> at every other node.
func (g net) wired(source int) *recordv1.Drawing {
	s := newSketch("eastfork")
	for i := range g.n {
		word := "machine"
		if i == source {
			word = "source"
		} else {
			s.zone(fmt.Sprintf("z%d", i), fmt.Sprintf("m%d electricity", i))
		}
		s.add(fmt.Sprintf("%s m%d", word, i))
	}
	for k, e := range g.edges {
		s.link(fmt.Sprintf("e%d: m%d electricity m%d, breaker p/e%d", k, e[0], e[1], k))
	}
	return s.Drawing
}

// kappa is the vertex connectivity through the public plan: the least plan
// between two nodes that share no edge (Menger); n-1 where all do.
func kappa(t *testing.T, g net) int {
	least := g.n - 1
	for a := range g.n {
		var graph *Graph
		for b := a + 1; b < g.n; b++ {
			if g.adjacent(a, b) {
				continue
			}
			if graph == nil {
				graph = mustBuild(t, g.split(a))
			}
			least = min(least, len(mustPlan(t, graph, fmt.Sprintf("eastfork/z%d", b), single).Points))
		}
	}
	return least
}

// lambda is the edge connectivity through the public plan: the least plan between
// one node and another.
func lambda(t *testing.T, g net) int {
	graph, least := mustBuild(t, g.wired(0)), len(g.edges)
	for b := 1; b < g.n; b++ {
		least = min(least, len(mustPlan(t, graph, fmt.Sprintf("eastfork/z%d", b), single).Points))
	}
	return least
}

// cutVertices lists the nodes whose breaker alone cuts some other node off.
func cutVertices(t *testing.T, g net) (cut []int) {
	for v := range g.n {
		source := 0
		if v == 0 {
			source = 1
		}
		graph := mustBuild(t, g.split(source))
		for w := range g.n {
			if w != v && w != source && mustExamine(t, graph, fmt.Sprintf("eastfork/z%d", w), single, fmt.Sprintf("eastfork/p/n%d", v)).Isolates {
				cut = append(cut, v)
				break
			}
		}
	}
	return cut
}

// hypercube joins numbers that differ in one bit.
func hypercube(bits int) net {
	return joined(1<<bits, func(u, v int) bool { return (u^v)&(u^v-1) == 0 })
}

// hoffmanSingleton has five pentagons and five pentagrams: node j of pentagon h
// is joined to node h*i+j of pentagram i (N. Robertson's construction; from
// memory).
func hoffmanSingleton() net {
	return joined(50, func(u, v int) bool {
		p, j := u/5, u%5
		q, k := v/5, v%5
		switch {
		case p == q && p < 5:
			return (k-j+5)%5 == 1 || (k-j+5)%5 == 4
		case p == q:
			return (k-j+5)%5 == 2 || (k-j+5)%5 == 3
		case p < 5 && q >= 5:
			return (p*(q-5)+j)%5 == k
		}
		return false
	})
}

// tutte is W. T. Tutte's graph of 46 nodes; edges as NetworkX 2.8.8 has them.
const tutte = `0-1 0-2 0-3 1-4 1-26 2-10 2-11 3-18 3-19 4-5 4-33 5-6 5-29 6-7 6-27 7-8 7-14 8-9 8-38 9-10 9-37 10-39
11-12 11-39 12-13 12-35 13-14 13-15 14-34 15-16 15-22 16-17 16-44 17-18 17-43 18-45 19-20 19-45 20-21 20-41 21-22 21-23
22-40 23-24 23-27 24-25 24-32 25-26 25-31 26-33 27-28 28-29 28-32 29-30 30-31 30-33 31-32 34-35 34-38 35-36 36-37 36-39
37-38 40-41 40-44 41-42 42-43 42-45 43-44`

// connectivity checks kappa and lambda of one graph.
func connectivity(g net, kappaWant, lambdaWant, degreeWant int) func(t *testing.T) {
	return func(t *testing.T) {
		if k, l, d := kappa(t, g), lambda(t, g), g.leastDegree(); k != kappaWant || l != lambdaWant || d != degreeWant {
			t.Errorf("kappa %d, lambda %d, least degree %d; want %d, %d, %d", k, l, d, kappaWant, lambdaWant, degreeWant)
		}
	}
}

// namedGraphs are graphs whose connectivity is printed or well known.
func namedGraphs() (checks []outsideCheck) {
	const known = "textbook value, from memory; recomputed with another program"
	even := func(name, source string, g net, k int) {
		checks = append(checks, outsideCheck{"kappa of " + name, source, connectivity(g, k, k, k)})
	}
	petersen := joined(10, func(u, v int) bool {
		switch {
		case u < 5 && v < 5:
			return v-u == 1 || v-u == 4
		case u < 5:
			return v == u+5
		}
		return v-u == 2 || v-u == 3
	})
	icosahedron := parseNet(12, 0, `0-1 0-2 0-3 0-4 0-5 1-2 2-3 3-4 4-5 5-1 6-7 7-8 8-9 9-10 10-6 1-6 2-7 3-8 4-9 5-10
		1-7 2-8 3-9 4-10 5-6 11-6 11-7 11-8 11-9 11-10`)
	bipartite := func(a, b int) net {
		return joined(a+b, func(u, v int) bool { return u < a && v >= a })
	}
	even("the Petersen graph", "published value 3", petersen, 3)
	even("the icosahedron", "NetworkX documentation: node connectivity 5", icosahedron, 5)
	even("the octahedron", "published value 4", joined(6, func(u, v int) bool { return u/2 != v/2 }), 4)
	even("the cube", "university laboratory sheet (Ryerson): 3", hypercube(3), 3)
	even("the hypercube of 4", known, hypercube(4), 4)
	even("the hypercube of 5", known, hypercube(5), 5)
	even("K(3,3), the utility graph", "published value 3", bipartite(3, 3), 3)
	even("K(3,4)", known, bipartite(3, 4), 3)
	even("K7", known+"; n-1 by convention", joined(7, func(u, v int) bool { return true }), 6)
	even("the dodecahedron", known, hamiltonian(20, 10, 7, 4, -4, -7, 10, -4, 7, -7, 4), 3)
	even("the Heawood graph", known, hamiltonian(14, 5, -5), 3)
	even("the Pappus graph", known, hamiltonian(18, 5, 7, -7, 7, -7, -5), 3)
	even("the Desargues graph", known, hamiltonian(20, 5, -5, 9, -9), 3)
	even("the Frucht graph", known, hamiltonian(12, -5, -2, -4, 2, 5, -2, 2, 5, -2, -5, 4, 2), 3)
	even("the Tutte graph", known, parseNet(46, 0, tutte), 3)
	even("the Hoffman-Singleton graph", known, hoffmanSingleton(), 7)
	even("the wheel of 7 nodes", known, joined(7, func(u, v int) bool { return u == 0 || v-u == 1 || v-u == 5 }), 3)
	even("a ring of 9", known, joined(9, func(u, v int) bool { return v-u == 1 || v-u == 8 }), 2)
	even("a grid of 5 by 5", known, joined(25, func(u, v int) bool { return v-u == 5 || v-u == 1 && v%5 != 0 }), 2)
	return append(checks,
		outsideCheck{"Maple's help graph, kappa below lambda", "Maple help page: edge connectivity 2, vertex connectivity 1, least degree 2",
			connectivity(parseNet(6, 1, "1-2 1-3 1-4 2-3 3-4 4-5 4-6 5-6"), 1, 2, 2)},
		outsideCheck{"a barbell of two triangles", known,
			connectivity(parseNet(6, 0, "0-1 1-2 2-0 2-3 3-4 4-5 5-3"), 1, 1, 2)})
}
