package energy

import (
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Store is energy that stays after the feed is cut.
type Store struct {
	ID     string // node id
	Medium recordv1.Medium
	// Joules is the energy held when full. 0 where nobody knows.
	Joules float64
	// WaitSeconds is how long to wait, after the feed is cut, before the release step
	// counts. It is the longest of what the drawing says, what is computed and what the
	// maker's label says. Time alone never verifies: Proofs has the reading.
	WaitSeconds uint32
	Release     string
	// What says what it is, such as "capacitor". "" where the drawing does not say.
	What string
	// HowWorkedOut gives formula, figures and results in one line. Source says where
	// formula and limit come from.
	HowWorkedOut, Source string
	// Limit says when the store counts as empty, such as "below 50 V".
	Limit string
	// Hazard is what a published threshold says about it, with the source. It is "" if
	// the store passes no threshold.
	Hazard string
	// BuildsUp: it can fill again while work goes on. It must be looked at every
	// RecheckSeconds until work ends, 29 CFR 1910.147(d)(5)(ii).
	BuildsUp       bool
	RecheckSeconds uint32
	RecheckSource  string
}

// Reach returns every isolation point on some way into a part of the zone, whatever the
// positions of the points. Sorted.
func (g *Graph) Reach(zone string) ([]string, error) {
	points, _, err := g.ReachNow(nil, zone)
	return points, err
}

// ReachNow follows energy back from the parts of zones. A point stops it if barrier is
// true for the point (open and locked). Everything else passes it. It returns, sorted,
// every point it met, those that stopped it included. live says whether it met a source.
// A nil barrier stops nothing.
func (g *Graph) ReachNow(barrier func(point string) bool, zones ...string) (points []string, live bool, err error) {
	all := &zone{}
	for _, id := range zones {
		z, err := g.zone(id)
		if err != nil {
			return nil, false, err
		}
		all.parts = append(all.parts, z.parts...)
	}
	b := g.behind(all, func(p int32) bool { return barrier != nil && barrier(g.points[p].ID) })
	return g.named(b.met), b.live, nil
}

// behind is everything whose energy comes to a part of a zone.
type behind struct {
	in   []bool // per node
	met  []bool // per point
	live bool   // a source is in
}

func (g *Graph) behind(z *zone, barrier func(point int32) bool) *behind {
	b := &behind{in: make([]bool, len(g.nodes)), met: make([]bool, len(g.points))}
	stops := make([]bool, len(g.points))
	queue := make([]int32, 0, len(z.parts))
	take := func(n int32) {
		if !b.in[n] {
			b.in[n] = true
			b.live = b.live || g.nodes[n].kind == recordv1.NodeKind_NODE_KIND_SOURCE
			queue = append(queue, n)
		}
	}
	for _, n := range z.parts {
		take(n)
	}
	for i := 0; i < len(queue); i++ {
		for _, a := range g.into.of(queue[i]) {
			if p := g.links[a.link].point; p >= 0 {
				if !b.met[p] {
					b.met[p] = true
					stops[p] = barrier != nil && barrier(p)
				}
				if stops[p] {
					continue
				}
			}
			take(a.node)
		}
	}
	return b
}

// Stores returns, by id, the stores whose energy comes to a part of the zone without
// crossing an open point, over any number of links.
func (g *Graph) Stores(zone string, open []string) ([]Store, error) {
	z, err := g.zone(zone)
	if err != nil {
		return nil, err
	}
	o, err := g.opened(open)
	if err != nil {
		return nil, err
	}
	return g.stores(g.behind(z, func(p int32) bool { return o[p] })), nil
}

func (g *Graph) stores(b *behind) []Store {
	var out []Store
	for i := range g.nodes {
		if s := g.nodes[i].store; s != nil && b.in[i] {
			out = append(out, *s)
		}
	}
	return out
}
