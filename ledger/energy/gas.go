package energy

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// joinAir numbers the sets of nodes between which gas could pass. Links that carry
// grain, air or a chemical join nodes, in both directions and past every device. Gas
// also moves against the grain, and no gate is tight.
func (g *Graph) joinAir() {
	g.air = make([]int32, len(g.nodes))
	for i := range g.air {
		g.air[i] = int32(i)
	}
	root := func(n int32) int32 {
		for g.air[n] != n {
			g.air[n] = g.air[g.air[n]]
			n = g.air[n]
		}
		return n
	}
	for i := range g.links {
		switch l := &g.links[i]; l.medium {
		case recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_AIR, recordv1.Medium_MEDIUM_CHEMICAL:
			g.air[root(l.from)] = root(l.to)
		}
	}
	for i := range g.air {
		g.air[i] = root(int32(i))
	}
}

// SharesAir reports whether gas could pass between a zone and a place, over grain, air
// and chemical links. The place is a zone or a node. One that no drawing shows counts as
// joined, because nobody can say that it is not.
func (g *Graph) SharesAir(zone, place string) bool {
	z, err := g.zone(zone)
	if err != nil {
		return true
	}
	var there []int32
	if n, ok := g.nodeAt[place]; ok {
		there = append(there, n)
	}
	if p, err := g.zone(place); err == nil {
		there = append(there, p.parts...)
	}
	for _, a := range there {
		for _, b := range z.parts {
			if g.air[a] == g.air[b] {
				return true
			}
		}
	}
	return len(there) == 0
}
