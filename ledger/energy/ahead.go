package energy

import "slices"

// crossing is an open point met on the way back from a zone. outer is the node on its
// far side.
type crossing struct{ point, outer int32 }

// backward searches back from the parts of a zone, against the way that energy passes.
// It crosses fewer than limit open points. It reuses its memory from one zone to the
// next.
type backward struct {
	g     *Graph
	seen  []bool
	queue []int32
	next  []int32
}

func (g *Graph) backward() *backward { return &backward{g: g, seen: make([]bool, len(g.nodes))} }

// ahead returns the open points met, once for every way across each, in the order of the
// search.
func (b *backward) ahead(parts []int32, open []bool, limit uint8) []crossing {
	var met []crossing
	b.queue, b.next = b.queue[:0], append(b.next[:0], parts...)
	done := 0
	for label := uint8(0); label < limit; label++ {
		for _, n := range b.next {
			b.take(n)
		}
		b.next = b.next[:0]
		for ; done < len(b.queue); done++ {
			for _, a := range b.g.into.of(b.queue[done]) {
				p := b.g.links[a.link].point
				if p < 0 || !open[p] {
					b.take(a.node)
					continue
				}
				met = append(met, crossing{p, a.node})
				if b.g.points[p].Weight == 1 {
					b.next = append(b.next, a.node)
				}
			}
		}
	}
	for _, n := range b.queue {
		b.seen[n] = false
	}
	return met
}

func (b *backward) take(n int32) {
	if !b.seen[n] {
		b.seen[n] = true
		b.queue = append(b.queue, n)
	}
}

// pointsOf lists the ids of points, sorted, each once.
func (g *Graph) pointsOf(points []int32) []string {
	slices.Sort(points)
	var ids []string
	for _, p := range slices.Compact(points) {
		ids = append(ids, g.points[p].ID)
	}
	return ids
}
