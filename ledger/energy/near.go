package energy

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// goesDark lists the machines outside the zone that lose their source: they had one with
// every device closed and have none in s.
func (g *Graph) goesDark(z *zone, s *spread) []string {
	var out []string
	for i := range g.nodes {
		n := int32(i)
		if g.nodes[i].kind != recordv1.NodeKind_NODE_KIND_MACHINE || !g.fed[n] || s.live(n) {
			continue
		}
		if _, part := slices.BinarySearch(z.parts, n); !part {
			out = append(out, g.nodes[i].id)
		}
	}
	return out
}

// spot is a place as people find it. Each yard names its own places.
type spot struct{ yard, place string }

func (g *Graph) spot(n int32) spot { return spot{yardOf(g.nodes[n].id), g.nodes[n].place} }

// staysLive lists what near the zone keeps a source: direct neighbours of what went dark
// or is exposed, and everything in the same place as a part or as the line side of an
// open point. It also lists the controls that start a machine on the dead side, unless
// the points cut their own feed. A control drawn without a feed counts as live, because
// nobody showed where it gets its power.
func (g *Graph) staysLive(z *zone, open []bool, s *spread, b *behind) []string {
	listed := make([]bool, len(g.nodes))
	spots := map[spot]bool{}
	dead := func(n int32) bool {
		_, part := slices.BinarySearch(z.parts, n)
		return part || g.fed[n] && !s.live(n)
	}
	for _, n := range z.parts {
		spots[g.spot(n)] = true
	}
	for i := range g.links {
		l := &g.links[i]
		for _, ends := range [2][2]int32{{l.from, l.to}, {l.to, l.from}} {
			if !s.live(ends[0]) {
				continue
			}
			if dead(ends[1]) {
				listed[ends[0]] = true
			}
			if l.point >= 0 && open[l.point] {
				spots[g.spot(ends[0])] = true
			}
		}
	}
	var out []string
	for i := range g.nodes {
		n := int32(i)
		here := g.spot(n)
		switch {
		case listed[i] && s.live(n), here.place != "" && spots[here] && s.live(n), g.startsDead(n, z, s, b):
			out = append(out, g.nodes[i].id)
		}
	}
	return out
}

// startsDead reports whether n is a control with power that starts a machine of the
// zone. Such a machine is a part, or has no source and its energy comes to a part
// without crossing an open point.
func (g *Graph) startsDead(n int32, z *zone, s *spread, b *behind) bool {
	if g.fed[n] && !s.live(n) {
		return false
	}
	for _, m := range g.nodes[n].starts {
		if _, part := slices.BinarySearch(z.parts, m); part || b.in[m] && !s.live(m) {
			return true
		}
	}
	return false
}
