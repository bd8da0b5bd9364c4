package energy

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// members lists the nodes of each set, by its head.
func (s *survey) members(u *union) map[int32][]int32 {
	m := map[int32][]int32{}
	for n := range s.ids {
		h := u.of(int32(n))
		m[h] = append(m[h], int32(n))
	}
	return m
}

// fedElectric reports whether a wire of electricity ends at n.
func (s *survey) fedElectric(n int32) bool {
	return slices.ContainsFunc(s.near[n], func(x int32) bool { return s.wires[x].electric() })
}

// motors warns of machines without their own lockable disconnect. Each machine with an
// electric feed needs one. 29 CFR 1910.147(c)(2)(iii) asks that new machines take a
// lock.
func (s *survey) motors() {
	members := s.members(s.shared)
	s.own(func(i int, n int32, _ *recordv1.Node) {
		if !s.isMachine(n) || !s.fedElectric(n) {
			return
		}
		field := fmt.Sprintf("nodes[%d].name", i)
		var with []string
		for _, m := range members[s.shared.of(n)] {
			switch {
			case s.isSource(m):
				s.say(field, "machine %s has no disconnect that locks between it and %s: fit one, or draw the one there is", s.ids[n], s.ids[m])
				return
			case m != n && s.isMachine(m) && s.fedElectric(m) && len(with) < 1000:
				with = append(with, s.ids[m])
			}
		}
		if len(with) > 0 {
			s.say(field, "machine %s has no disconnect of its own that locks: it shares one with %s", s.ids[n], some(with))
		}
	})
}

// some names the first few ids.
func some(ids []string) string {
	slices.Sort(ids)
	if len(ids) > 3 {
		return fmt.Sprintf("%s and %d more", strings.Join(ids[:3], ", "), len(ids)-3)
	}
	return strings.Join(ids, ", ")
}

// controls warns of a control that is fed apart from its machine. Its terminals stay
// live when the machine is locked, 29 CFR 1910.333(b)(2)(ii)(B). NEC 430.75 wants
// control power cut together with the machine's (clause from memory).
func (s *survey) controls() {
	members := s.members(s.shared)
	edge := map[int32][]int32{} // per set: the electric wires at its edge that take a lock
	for x := range s.wires {
		if w := &s.wires[x]; w.electric() && w.parts() {
			a, b := s.shared.of(w.from), s.shared.of(w.to)
			edge[a] = append(edge[a], int32(x))
			if a != b {
				edge[b] = append(edge[b], int32(x))
			}
		}
	}
	s.own(func(i int, n int32, node *recordv1.Node) {
		if node.GetKind() != recordv1.NodeKind_NODE_KIND_CONTROL || len(node.GetStarts()) == 0 {
			return
		}
		if len(s.near[n]) == 0 {
			s.say(fmt.Sprintf("nodes[%d].name", i), "control %s is drawn without a feed and counts as live whatever is locked: draw where its power comes from", s.ids[n])
			return
		}
		for j, ref := range node.GetStarts() {
			m, ok := s.node(s.d.GetYard(), ref)
			if !ok || !s.fedElectric(m) || s.inLine(m, members, edge)[s.shared.of(n)] {
				continue
			}
			s.say(fmt.Sprintf("nodes[%d].starts[%d]", i, j), "control %s is fed apart from %s, %s: locking the machine's own feed leaves the control live", s.ids[n], s.ids[m], s.fedFrom(n, members))
		}
	})
}

// inLine gives the sets of nodes in line with m's feed: m's own set, and the following
// sets until something branches off or a source is met.
func (s *survey) inLine(m int32, members map[int32][]int32, edge map[int32][]int32) map[int32]bool {
	line := map[int32]bool{s.shared.of(m): true}
	queue := []int32{s.shared.of(m)}
	for i := 0; i < len(queue) && i < 1000; i++ {
		for _, x := range edge[queue[i]] {
			for _, end := range []int32{s.wires[x].from, s.wires[x].to} {
				next := s.shared.of(end)
				if line[next] || len(edge[next]) > 2 || slices.ContainsFunc(members[next], s.isSource) {
					continue
				}
				line[next] = true
				queue = append(queue, next)
			}
		}
	}
	return line
}

// fedFrom says where the power of a control comes from. It names another yard if a wire
// is drawn from there to something that no lock separates from the control.
func (s *survey) fedFrom(n int32, members map[int32][]int32) string {
	home := yardOf(s.ids[n])
	for _, m := range members[s.shared.of(n)] {
		for _, x := range s.near[m] {
			if w := &s.wires[x]; w.electric() && w.to == m && yardOf(s.ids[w.from]) != home {
				return "from another yard, at " + s.ids[w.from]
			}
		}
	}
	for _, x := range s.near[n] {
		if w := &s.wires[x]; w.electric() {
			return "at " + s.ids[w.from+w.to-n]
		}
	}
	return "from elsewhere"
}

// secondSources warns of two sources of one electric network that have no common
// interlock. Both could be closed onto it.
func (s *survey) secondSources() {
	net := newUnion(len(s.ids))
	for x := range s.wires {
		if w := &s.wires[x]; w.electric() {
			net.join(w.from, w.to)
		}
	}
	on := map[int32][]int32{}
	for n := range s.ids {
		if s.isSource(int32(n)) && s.fedElectric(int32(n)) {
			h := net.of(int32(n))
			on[h] = append(on[h], int32(n))
		}
	}
	locked := func(n int32) string {
		id := s.nodes[n].GetInterlock()
		if id != "" {
			id, _ = qualify(yardOf(s.ids[n]), id)
		}
		return id
	}
	s.own(func(i int, n int32, _ *recordv1.Node) {
		if !s.isSource(n) || !s.fedElectric(n) {
			return
		}
		for _, m := range on[net.of(n)] {
			if m == n || locked(n) != "" && locked(m) == locked(n) {
				continue
			}
			s.say(fmt.Sprintf("nodes[%d].interlock", i), "source %s feeds the same wires as %s and nothing keeps both from being closed: draw the interlock, or fit one", s.ids[n], s.ids[m])
			return
		}
	})
}

// islands gives one warning for each island: a set of nodes that no source reaches.
func (s *survey) islands() {
	fed := s.flood(nil)
	island := newUnion(len(s.ids))
	for _, w := range s.wires {
		if !fed[w.from] && !fed[w.to] {
			island.join(w.from, w.to)
		}
	}
	size := map[int32]int{}
	for n := range s.ids {
		if !fed[n] {
			size[island.of(int32(n))]++
		}
	}
	told := map[int32]bool{}
	s.own(func(i int, n int32, node *recordv1.Node) {
		h := island.of(n)
		if fed[n] || told[h] || node.GetKind() == recordv1.NodeKind_NODE_KIND_CONTROL && size[h] == 1 {
			return
		}
		told[h] = true
		also := ""
		if size[h] > 1 {
			also = fmt.Sprintf(" and %d more with it", size[h]-1)
		}
		s.say(fmt.Sprintf("nodes[%d].name", i), "nothing feeds %s%s on these drawings, so it counts as cut off: draw what feeds it, or take it out", s.ids[n], also)
	})
}
