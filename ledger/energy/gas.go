package energy

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// SharesAir reports whether gas could pass between a zone and a place, a zone or a
// node: by any links that carry grain, air or a chemical, both ways, past every
// device. Gas goes against the grain, and no gate is tight. A zone or place that
// no drawing shows counts as joined: nobody can say that it isn't.
func (g *Graph) SharesAir(zone, place string) bool {
	z, err := g.zone(zone)
	if err != nil {
		return true
	}
	goal := map[int32]bool{}
	if n, ok := g.nodeAt[place]; ok {
		goal[n] = true
	}
	if p, err := g.zone(place); err == nil {
		for _, n := range p.parts {
			goal[n] = true
		}
	}
	if len(goal) == 0 {
		return true
	}
	next := make([][]int32, len(g.nodes))
	for i := range g.links {
		switch l := &g.links[i]; l.medium {
		case recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_AIR, recordv1.Medium_MEDIUM_CHEMICAL:
			next[l.from] = append(next[l.from], l.to)
			next[l.to] = append(next[l.to], l.from)
		}
	}
	seen := make([]bool, len(g.nodes))
	queue := append([]int32(nil), z.parts...)
	for _, n := range queue {
		seen[n] = true
	}
	for i := 0; i < len(queue); i++ {
		if goal[queue[i]] {
			return true
		}
		for _, n := range next[queue[i]] {
			if !seen[n] {
				seen[n] = true
				queue = append(queue, n)
			}
		}
	}
	return false
}
