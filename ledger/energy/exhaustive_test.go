package energy

import (
	"cmp"
	"math/bits"
	"slices"
	"testing"
)

// small is a graph of at most 7 nodes: per node the set of its neighbours.
type small []uint8

func (g small) net() net {
	return joined(len(g), func(u, v int) bool { return g[u]>>v&1 == 1 })
}

func (g small) connected() bool {
	seen, edge := uint8(1), uint8(1)
	for edge != 0 {
		var next uint8
		for v := range g {
			if edge>>v&1 == 1 {
				next |= g[v]
			}
		}
		edge = next &^ seen
		seen |= next
	}
	return bits.OnesCount8(seen) == len(g)
}

// canonical returns the same number for two graphs just when they are the same
// but for the order of their nodes: the least code over all orders that keep
// nodes sorted by degree and neighbours' degrees.
func (g small) canonical() uint32 {
	rank := make([]int, len(g))
	for v := range g {
		rank[v] = bits.OnesCount8(g[v]) << 16
		for w := range g {
			if g[v]>>w&1 == 1 {
				d := bits.OnesCount8(g[w])
				rank[v] += d * d * d
			}
		}
	}
	sorted := slices.Clone(rank)
	slices.SortFunc(sorted, func(a, b int) int { return cmp.Compare(b, a) })
	best := ^uint32(0)
	order := make([]int, 0, len(g))
	var place func(used uint8, code uint32)
	place = func(used uint8, code uint32) {
		if len(order) == len(g) {
			best = min(best, code)
			return
		}
		for v := range g {
			if used>>v&1 == 1 || rank[v] != sorted[len(order)] {
				continue
			}
			next := code
			for _, w := range order {
				next = next<<1 | uint32(g[v]>>w&1)
			}
			order = append(order, v)
			place(used|1<<v, next)
			order = order[:len(order)-1]
		}
	}
	place(0, 0)
	return best
}

// everyGraph lists the graphs of n nodes for n = 1..most, each once but for the
// order of its nodes: every one of n nodes is one of n-1 with a node more.
func everyGraph(most int) [][]small {
	all := [][]small{nil, {small{0}}}
	for n := 2; n <= most; n++ {
		seen := map[uint32]bool{}
		var next []small
		for _, g := range all[n-1] {
			for joins := range uint8(1) << (n - 1) {
				h := append(slices.Clone(g), joins)
				for v := range n - 1 {
					if joins>>v&1 == 1 {
						h[v] |= 1 << (n - 1)
					}
				}
				if c := h.canonical(); !seen[c] {
					seen[c] = true
					next = append(next, h)
				}
			}
		}
		all = append(all, next)
	}
	return all
}

// exhaustiveCounts counts all graphs of 3 to 7 nodes by the connectivity that the
// plans give, and Whitney's kappa <= lambda <= least degree on those of up to 6.
func exhaustiveCounts(t *testing.T) {
	wantAll := []int{0, 1, 2, 4, 11, 34, 156, 1044} // A000088, from memory
	wantConnected := []int{0, 1, 1, 2, 6, 21, 112, 853}
	wantTwo := []int{0, 0, 0, 1, 3, 10, 56, 468} // K2 left out, by kappa
	wantThree := []int{0, 0, 0, 0, 1, 3, 17, 136}
	for n, graphs := range everyGraph(7) {
		if n < 3 {
			continue
		}
		connected, two, three := 0, 0, 0
		for _, g := range graphs {
			if !g.connected() {
				continue
			}
			connected++
			k := kappa(t, g.net())
			if k >= 2 {
				two++
			}
			if k >= 3 {
				three++
			}
			if n > 6 {
				continue
			}
			if l, d := lambda(t, g.net()), g.net().leastDegree(); k < 1 || k > l || l > d {
				t.Errorf("%v: kappa %d, lambda %d, least degree %d", g.net().edges, k, l, d)
			}
		}
		if len(graphs) != wantAll[n] || connected != wantConnected[n] || two != wantTwo[n] || three != wantThree[n] {
			t.Errorf("%d nodes: %d graphs, %d connected, %d 2-connected, %d 3-connected; want %d, %d, %d, %d",
				n, len(graphs), connected, two, three, wantAll[n], wantConnected[n], wantTwo[n], wantThree[n])
		}
	}
}
