package energy

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Verdict says whether a set of open and locked points cuts a zone off.
type Verdict struct {
	Isolates bool
	// Live has one path for each exposed part that energy still reaches, or that has too
	// few devices in front of it. The path has the fewest open points, and among those
	// the fewest links. Sorted by part.
	Live  []Path
	Level recordv1.Isolation
}

// Path is a way energy takes from a source to an exposed part.
type Path struct {
	Part, Source string
	// Steps are nodes and, between them, what stands in the links: "breaker
	// stonebend/mcc-1/control", or "link stonebend/feeder" for an empty link.
	Steps []string
	// Held are the open and locked points on the path. None when it is live, one where
	// double isolation lacks the second.
	Held []string
}

// need is how many devices must stand on every path.
func need(level recordv1.Isolation) uint8 {
	if level == recordv1.Isolation_ISOLATION_DOUBLE {
		return 2
	}
	return 1
}

// Examine takes these points as open and locked, and all others as closed. An
// unspecified level asks for what the zone needs. It fails, with the reason, on an
// unknown zone and on a name that is not an isolation point.
func (g *Graph) Examine(zone string, points []string, level recordv1.Isolation) (Verdict, error) {
	z, level, err := g.ask(zone, level)
	if err != nil {
		return Verdict{}, err
	}
	open, err := g.opened(points)
	if err != nil {
		return Verdict{}, err
	}
	return g.examine(z, open, level), nil
}

func (g *Graph) examine(z *zone, open []bool, level recordv1.Isolation) Verdict {
	return g.verdict(z, g.spread(open, need(level)), level)
}

// verdict reads the answer from a spread that goes as far as the level needs.
func (g *Graph) verdict(z *zone, s *spread, level recordv1.Isolation) Verdict {
	v := Verdict{Level: level}
	for _, p := range z.parts {
		if s.label[p] < need(level) {
			v.Live = append(v.Live, s.path(p))
		}
	}
	v.Isolates = len(v.Live) == 0
	return v
}

// opened marks the named points, per point.
func (g *Graph) opened(points []string) ([]bool, error) {
	open := make([]bool, len(g.points))
	for _, id := range points {
		i, ok := g.pointAt[id]
		if !ok {
			if why := g.never[id]; why != "" {
				return nil, fmt.Errorf("%s %s", id, why)
			}
			return nil, fmt.Errorf("point %q isn't in the current drawings: name one as \"yard/panel/device\"", id)
		}
		open[i] = true
	}
	return open, nil
}

// named lists the marked points, sorted.
func (g *Graph) named(open []bool) []string {
	var ids []string
	for i, yes := range open {
		if yes {
			ids = append(ids, g.points[i].ID)
		}
	}
	return ids
}

// far is the label of a node with enough devices in front of it.
const far = 255

// spread is how energy spreads from the sources. It is a breadth-first search in which a
// link counts the weight of its open point, or nothing.
type spread struct {
	g *Graph
	// label is the least weight of open points on any way from a source. It is far where
	// that is limit or more, or where there is no way.
	label []uint8
	hops  []int32
	came  []arc // the node and link before, on a shortest such way
}

// arrival is energy coming to a node.
type arrival struct {
	node, hops int32
	from       arc
}

func (g *Graph) spread(open []bool, limit uint8) *spread {
	s := &spread{g: g, label: make([]uint8, len(g.nodes)), hops: make([]int32, len(g.nodes)), came: make([]arc, len(g.nodes))}
	for i := range s.label {
		s.label[i] = far
	}
	arrivals := make([]arrival, 0, len(g.sources))
	for _, n := range g.sources {
		arrivals = append(arrivals, arrival{n, 0, arc{-1, -1}})
	}
	var queue []int32
	for label := uint8(0); label < limit; label++ {
		var next []arrival
		queue = queue[:0]
		settle := func(x arrival) {
			if s.label[x.node] == far {
				s.label[x.node], s.hops[x.node], s.came[x.node] = label, x.hops, x.from
				queue = append(queue, x.node)
			}
		}
		// arrivals and queue both ascend in hops, so taking the lesser head keeps the
		// search breadth first
		for i, j := 0, 0; ; {
			if i < len(arrivals) && (j == len(queue) || arrivals[i].hops <= s.hops[queue[j]]) {
				settle(arrivals[i])
				i++
				continue
			}
			if j == len(queue) {
				break
			}
			n := queue[j]
			j++
			for _, a := range g.outOf.of(n) {
				if s.label[a.node] != far {
					continue
				}
				x := arrival{a.node, s.hops[n] + 1, arc{n, a.link}}
				p := g.links[a.link].point
				switch {
				case p < 0 || !open[p]:
					settle(x)
				case g.points[p].Weight == 1:
					next = append(next, x)
				}
			}
		}
		arrivals = next
	}
	return s
}

// live reports whether some source reaches n without crossing an open point.
func (s *spread) live(n int32) bool { return s.label[n] == 0 }

// path returns the shortest way to a node whose label is not far.
func (s *spread) path(n int32) Path {
	p := Path{Part: s.g.nodes[n].id}
	at, label := n, s.label[n]
	for {
		p.Steps = append(p.Steps, s.g.nodes[at].id)
		a := s.came[at]
		if a.node < 0 {
			break
		}
		l := &s.g.links[a.link]
		p.Steps = append(p.Steps, l.step())
		if s.label[a.node] < label {
			label = s.label[a.node]
			p.Held = append(p.Held, s.g.points[l.point].ID)
		}
		at = a.node
	}
	p.Source = s.g.nodes[at].id
	slices.Reverse(p.Steps)
	slices.Reverse(p.Held)
	return p
}
