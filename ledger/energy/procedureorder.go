package energy

import (
	"cmp"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// stop is one machine or feed in the order of the shut-down.
type stop struct {
	node int32
	// feed: a source of grain. It is held back, not stopped.
	feed bool
	// fire: fuel gas comes to it, so its fire must go out before any air stops.
	fire bool
	// ring: it and others of the list feed each other in a ring, so no order from the
	// drawing is right for all.
	ring bool
	// dark: it loses its energy by the plan, or is a part of the zone. Otherwise it is
	// stopped only so that its grain does not pile up.
	dark bool
	// controls that start it, by id.
	controls []string
}

// stopping lists what must be stopped before the points are opened: the machines of the
// zone, those that run through a plan point, those that lose every source, and
// everything that feeds grain into them. Fires come first. Then the order follows the
// flow of grain, each feed before what it feeds, so that nothing keeps running into a
// standing machine. Machines that pass no grain come last. Grain links are drawn the way
// the grain flows.
func (g *Graph) stopping(z *zone, open []bool) []stop {
	s := g.spread(open, 1)
	of := make([]int32, len(g.nodes)) // 0: no, 1: feeds one that stops, 2: stops
	var queue []int32
	for i := range g.nodes {
		n := int32(i)
		_, part := slices.BinarySearch(z.parts, n)
		if g.nodes[i].kind == recordv1.NodeKind_NODE_KIND_MACHINE && (part || g.fed[n] && !s.live(n)) || part && g.nodes[i].kind != recordv1.NodeKind_NODE_KIND_CONTROL {
			of[n] = 2
			queue = append(queue, n)
		}
	}
	for _, n := range g.load(open) {
		if of[n] == 0 && g.nodes[n].kind == recordv1.NodeKind_NODE_KIND_MACHINE {
			of[n] = 2
			queue = append(queue, n)
		}
	}
	up := g.grain(false)
	for i := 0; i < len(queue); i++ {
		if g.nodes[queue[i]].kind == recordv1.NodeKind_NODE_KIND_SOURCE {
			continue // grain is held back here: what fills it may go on
		}
		for _, a := range up.of(queue[i]) {
			if of[a.node] == 0 {
				of[a.node] = 1
				queue = append(queue, a.node)
			}
		}
	}
	slices.Sort(queue)
	ring, order := g.downstream(z, queue)
	fire := make(map[int32]bool)
	for i := range g.links {
		if l := &g.links[i]; l.medium == recordv1.Medium_MEDIUM_FUEL_GAS {
			fire[l.from], fire[l.to] = true, true
		}
	}
	controls := map[int32][]string{}
	for i := range g.nodes {
		for _, m := range g.nodes[i].starts {
			if by := controls[m]; len(by) == 0 || by[len(by)-1] != g.nodes[i].id {
				controls[m] = append(by, g.nodes[i].id)
			}
		}
	}
	var out []stop
	for _, n := range order {
		kind := g.nodes[n].kind
		x := stop{node: n, feed: kind == recordv1.NodeKind_NODE_KIND_SOURCE, ring: ring[n], dark: of[n] == 2, controls: controls[n]}
		if kind == recordv1.NodeKind_NODE_KIND_MACHINE {
			x.fire = fire[n]
		} else if !x.feed {
			continue // spouts and bins stop together with what fills and empties them
		}
		out = append(out, x)
	}
	flows := g.flows()
	rank := func(x stop) int {
		switch {
		case x.fire:
			return 0
		case flows[x.node]:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(out, func(a, b stop) int { return cmp.Compare(rank(a), rank(b)) })
	return out
}

// load lists the nodes that run through an open point, in the direction drawn. A switch
// is opened only when these nodes draw nothing (NFPA 70E 120.5(2), 120.6(2) in the 2024
// edition). Motion and grain are stopped by stopping what drives them.
func (g *Graph) load(open []bool) []int32 {
	var queue []int32
	seen := make([]bool, len(g.nodes))
	take := func(n int32) {
		if !seen[n] {
			seen[n] = true
			queue = append(queue, n)
		}
	}
	runs := func(m recordv1.Medium) bool {
		return m != recordv1.Medium_MEDIUM_MOTION && m != recordv1.Medium_MEDIUM_GRAIN
	}
	for p, yes := range open {
		if l := &g.links[g.pointLink[p]]; yes && runs(l.medium) {
			take(l.to)
		}
	}
	for i := 0; i < len(queue); i++ {
		for _, a := range g.outOf.of(queue[i]) {
			if l := &g.links[a.link]; l.from == queue[i] && runs(l.medium) {
				take(a.node)
			}
		}
	}
	return queue
}

// flows marks the nodes that grain passes.
func (g *Graph) flows() []bool {
	out := make([]bool, len(g.nodes))
	for i := range g.links {
		if l := &g.links[i]; l.medium == recordv1.Medium_MEDIUM_GRAIN {
			out[l.from], out[l.to] = true, true
		}
	}
	return out
}

// grain lists the grain links, as drawn, by the node that they leave or by the node that
// they come to.
func (g *Graph) grain(leaving bool) adjacency {
	a := adjacency{start: make([]int32, len(g.nodes)+1)}
	each := func(f func(at, other, link int32)) {
		for i := range g.links {
			l := &g.links[i]
			if l.medium != recordv1.Medium_MEDIUM_GRAIN {
				continue
			}
			if leaving {
				f(l.from, l.to, int32(i))
			} else {
				f(l.to, l.from, int32(i))
			}
		}
	}
	each(func(at, _, _ int32) { a.start[at+1]++ })
	for i := range g.nodes {
		a.start[i+1] += a.start[i]
	}
	next := slices.Clone(a.start)
	a.arcs = make([]arc, a.start[len(g.nodes)])
	each(func(at, other, link int32) {
		a.arcs[next[at]] = arc{other, link}
		next[at]++
	})
	return a
}

// downstream orders the nodes so that each comes before those it sends grain to, ties by
// id. The components are R. Tarjan's (SIAM J. Comput. 1, 1972; from memory), which come
// out last first. The walk keeps its own stack, so a deep drawing cannot overflow it.
func (g *Graph) downstream(z *zone, nodes []int32) (ring []bool, order []int32) {
	down := g.grain(true)
	in := make([]bool, len(g.nodes))
	for _, n := range nodes {
		in[n] = true
	}
	ring = make([]bool, len(g.nodes))
	index, low, on := make([]int32, len(g.nodes)), make([]int32, len(g.nodes)), make([]bool, len(g.nodes))
	next := make([]int32, len(g.nodes))
	var stack, walk, reversed []int32
	count := int32(0)
	enter := func(n int32) {
		count++
		index[n], low[n], on[n] = count, count, true
		stack, walk = append(stack, n), append(walk, n)
	}
	// the last id goes in first, so that the first id comes out first
	for i := len(nodes) - 1; i >= 0; i-- {
		if index[nodes[i]] != 0 {
			continue
		}
		enter(nodes[i])
		for len(walk) > 0 {
			n := walk[len(walk)-1]
			if arcs := down.of(n); int(next[n]) < len(arcs) {
				to := arcs[next[n]].node
				next[n]++
				switch {
				case !in[to]:
				case index[to] == 0:
					enter(to)
				case on[to]:
					low[n] = min(low[n], index[to])
				}
				continue
			}
			walk = walk[:len(walk)-1]
			if len(walk) > 0 {
				up := walk[len(walk)-1]
				low[up] = min(low[up], low[n])
			}
			if low[n] != index[n] {
				continue
			}
			at := len(stack) - 1
			for stack[at] != n {
				at--
			}
			set := slices.Clone(stack[at:])
			stack = stack[:at]
			for _, m := range set {
				on[m] = false
			}
			set = g.around(z, set, &down, ring)
			slices.Reverse(set)
			reversed = append(reversed, set...)
		}
	}
	slices.Reverse(reversed)
	return ring, reversed
}

// around orders nodes that feed each other in a ring. The ring is cut where grain leaves
// the zone, because the flow should end there. What is still in a ring is marked and
// ordered by id.
func (g *Graph) around(z *zone, set []int32, down *adjacency, ring []bool) []int32 {
	if len(set) == 1 {
		return set
	}
	slices.Sort(set)
	waits := make(map[int32]int, len(set)) // links of grain still to come in
	for _, n := range set {
		waits[n] += 0
	}
	leaves := func(n int32, f func(to int32)) {
		if _, part := slices.BinarySearch(z.parts, n); part {
			return
		}
		for _, a := range down.of(n) {
			if _, ok := waits[a.node]; ok {
				f(a.node)
			}
		}
	}
	for _, n := range set {
		leaves(n, func(to int32) { waits[to]++ })
	}
	var out []int32
	for _, n := range set {
		if waits[n] == 0 {
			out = append(out, n)
		}
	}
	for i := 0; i < len(out); i++ {
		leaves(out[i], func(to int32) {
			if waits[to]--; waits[to] == 0 {
				out = append(out, to)
			}
		})
	}
	for _, n := range set {
		if waits[n] > 0 {
			ring[n] = true
			out = append(out, n)
		}
	}
	return out
}
