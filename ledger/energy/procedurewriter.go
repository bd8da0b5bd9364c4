package energy

import (
	"cmp"
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// writer gathers what the sections of a procedure are written from.
type writer struct {
	g     *Graph
	z     *zone
	level recordv1.Isolation
	// sources reach the zone with every point closed.
	sources []int32
	// direct are the sources that a crew thinks of first, per node (see Graph.direct).
	direct []bool
	// stores are on the dead side with the plan's points open.
	stores []Store
	proofs []Proof
	// points in the order they are opened.
	points []procedurePoint
	// machines in the order they are stopped.
	machines []stop
	// behind is the dead side: everything that reaches the zone without crossing a plan
	// point.
	behind *behind
}

// procedurePoint is a plan point and what opening it does.
type procedurePoint struct {
	index int32
	line  Line
	// sources reach it without crossing another plan point.
	sources []string
	// parts are those that would lack isolation without this point.
	parts []string
}

func (g *Graph) writer(z *zone, open []bool, level recordv1.Isolation) *writer {
	b := g.behind(z, func(p int32) bool { return open[p] })
	w := &writer{g: g, z: z, level: level, stores: g.stores(b), proofs: g.proofs(z, b), behind: b}
	every := g.behind(z, nil)
	for _, n := range g.sources {
		if every.in[n] {
			w.sources = append(w.sources, n)
		}
	}
	for _, l := range g.Lines(Plan{Points: g.named(open)}, 1) {
		p := procedurePoint{index: g.pointAt[l.Point], line: l}
		p.sources = g.pressingOn(p.index, open)
		p.parts = g.restingOn(z, p.index, open, level)
		w.points = append(w.points, p)
	}
	slices.SortStableFunc(w.points, func(a, b procedurePoint) int {
		return cmp.Or(cmp.Compare(stage(a.line.Kind), stage(b.line.Kind)), cmp.Compare(away(z, a.line.Yard), away(z, b.line.Yard)), cmp.Compare(a.line.Point, b.line.Point))
	})
	w.direct = g.direct(w.points, open)
	w.machines = g.stopping(z, open)
	return w
}

// stage orders points so that nobody puts hands where something still moves. Switches
// come first, then valves and gates, then blocks and blanks, which are fitted by hand at
// the machine (common practice, no source).
func stage(k recordv1.DeviceKind) int {
	switch k {
	case recordv1.DeviceKind_DEVICE_KIND_VALVE, recordv1.DeviceKind_DEVICE_KIND_GATE:
		return 1
	case recordv1.DeviceKind_DEVICE_KIND_BLOCK, recordv1.DeviceKind_DEVICE_KIND_BLANK:
		return 2
	}
	return 0
}

// away puts the zone's own yard before the others.
func away(z *zone, yard string) int {
	if yard == z.Yard {
		return 0
	}
	return 1
}

// pressingOn lists the sources whose energy comes to a point without crossing an open
// one.
func (g *Graph) pressingOn(point int32, open []bool) []string {
	l := &g.links[g.pointLink[point]]
	ends := []int32{l.from, l.to}
	if l.oneWay {
		ends = ends[:1]
	}
	b := g.behind(&zone{parts: ends}, func(p int32) bool { return open[p] })
	var out []string
	for _, n := range g.sources {
		if b.in[n] {
			out = append(out, g.nodes[n].id)
		}
	}
	return out
}

// direct marks the sources whose energy comes to a plan point in the point's own medium,
// in the direction drawn, without passing another source or an open point. The other
// sources reach the zone through turning machines and the like. In a plant where
// everything is connected these are most of them, and a list of all would hide the ones
// that matter.
func (g *Graph) direct(points []procedurePoint, open []bool) []bool {
	out := make([]bool, len(g.nodes))
	seen := make([]int32, len(g.nodes)) // by which point, from 1
	for i, p := range points {
		first := &g.links[g.pointLink[p.index]]
		queue := []int32{first.from}
		if first.medium != recordv1.Medium_MEDIUM_GRAIN && !first.oneWay {
			queue = append(queue, first.to)
		}
		for _, n := range queue {
			seen[n] = int32(i) + 1
		}
		for k := 0; k < len(queue); k++ {
			n := queue[k]
			if g.nodes[n].kind == recordv1.NodeKind_NODE_KIND_SOURCE {
				out[n] = true
				continue
			}
			for _, a := range g.into.of(n) {
				l := &g.links[a.link]
				if l.medium != first.medium || l.point >= 0 && open[l.point] || seen[a.node] == int32(i)+1 ||
					l.medium == recordv1.Medium_MEDIUM_GRAIN && l.to != n {
					continue
				}
				seen[a.node] = int32(i) + 1
				queue = append(queue, a.node)
			}
		}
	}
	return out
}

// restingOn lists the parts that would lack isolation if the point were closed.
func (g *Graph) restingOn(z *zone, point int32, open []bool, level recordv1.Isolation) []string {
	less := slices.Clone(open)
	less[point] = false
	var out []string
	for _, p := range g.examine(z, less, level).Live {
		out = append(out, p.Part)
	}
	return out
}

// at makes a step about a node.
func (w *writer) at(n int32, a act, clause, format string, args ...any) Step {
	x := &w.g.nodes[n]
	return Step{Text: fmt.Sprintf(format, args...), Clause: clause, Yard: yardOf(x.id), Place: x.place, Node: x.id, act: a}
}

// tell makes a step that belongs to no single place.
func tell(clause, format string, args ...any) Step {
	return Step{Text: fmt.Sprintf(format, args...), Clause: clause}
}

// called is the name that people use for a node.
func (w *writer) called(n int32) string {
	x := &w.g.nodes[n]
	if x.label == "" {
		return x.id
	}
	return fmt.Sprintf("%s (%s)", x.label, x.id)
}

func (p *procedurePoint) called() string {
	if p.line.Label == "" {
		return devices[p.line.Kind].word + " " + p.line.Point
	}
	return fmt.Sprintf("%s %s (%s)", devices[p.line.Kind].word, p.line.Point, p.line.Label)
}
