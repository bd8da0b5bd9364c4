package energy

import (
	"cmp"
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Warnings returns what an electrician would say about d, beside the current drawings of
// the other yards. d must pass Check. A warned drawing may be used, but something on it,
// or at the steel, deserves a look. The rules are common practice where no clause is
// named. Sorted by field, at most 200.
func Warnings(d *recordv1.Drawing, others []*recordv1.Drawing) []Problem {
	if d == nil {
		return nil
	}
	s := newSurvey(d, others)
	s.loneDevices()
	s.motors()
	s.controls()
	s.secondSources()
	s.islands()
	s.unlockable()
	s.unlikePoles()
	s.storeFigures()
	s.zoneMedia()
	s.entries()
	s.oneWays()
	s.stock()
	slices.SortStableFunc(s.found, func(a, b Problem) int { return cmp.Compare(fieldOrder(a.Field), fieldOrder(b.Field)) })
	return s.found[:min(len(s.found), maxProblems)]
}

// fieldOrder sorts fields by list, then by number.
func fieldOrder(field string) int {
	list, n := 0, 0
	for i := 0; i < len(field) && field[i] != '.' && field[i] != ']'; i++ {
		if c := field[i]; c >= '0' && c <= '9' {
			n = min(n*10+int(c-'0'), 1<<30)
		}
	}
	switch field[:min(4, len(field))] {
	case "node":
		list = 1
	case "link":
		list = 2
	case "zone":
		list = 3
	}
	return list<<32 + n
}

// wire is a link of any yard as the survey sees it. ends are node numbers.
type wire struct {
	from, to int32
	l        *recordv1.Link
	at       int // its number in d's links; -1: another yard's
}

// parts reports whether a lock can separate the wire's ends.
func (w *wire) parts() bool { return isolationPoint(w.l.GetDevice()) }

func (w *wire) electric() bool { return w.l.GetMedium() == recordv1.Medium_MEDIUM_ELECTRICITY }

// survey is all drawings together, and what was found in the checked one.
type survey struct {
	d     *recordv1.Drawing
	ids   []string
	nodes []*recordv1.Node
	at    map[string]int32
	wires []wire
	near  [][]int32 // per node: its wires
	found []Problem
	// shared joins nodes by electric wires that no lock separates.
	shared *union
}

func newSurvey(d *recordv1.Drawing, others []*recordv1.Drawing) *survey {
	s := &survey{d: d, at: map[string]int32{}}
	all := []*recordv1.Drawing{d}
	for _, o := range newest(slices.Clone(others)) {
		if o.GetYard() != d.GetYard() {
			all = append(all, o)
		}
	}
	for _, x := range all {
		for _, n := range x.GetNodes() {
			id := x.GetYard() + "/" + n.GetName()
			if _, twice := s.at[id]; !twice {
				s.at[id] = int32(len(s.ids))
				s.ids, s.nodes = append(s.ids, id), append(s.nodes, n)
			}
		}
	}
	s.near = make([][]int32, len(s.ids))
	s.shared = newUnion(len(s.ids))
	for i, x := range all {
		for j, l := range x.GetLinks() {
			from, ok1 := s.node(x.GetYard(), l.GetFrom())
			to, ok2 := s.node(x.GetYard(), l.GetTo())
			if !ok1 || !ok2 {
				continue
			}
			w := wire{from: from, to: to, l: l, at: -1}
			if i == 0 {
				w.at = j
			}
			n := int32(len(s.wires))
			s.wires = append(s.wires, w)
			s.near[from], s.near[to] = append(s.near[from], n), append(s.near[to], n)
			if w.electric() && !w.parts() {
				s.shared.join(from, to)
			}
		}
	}
	return s
}

func (s *survey) node(yard, ref string) (int32, bool) {
	id, _ := qualify(yard, ref)
	n, ok := s.at[id]
	return n, ok
}

func (s *survey) isMachine(n int32) bool {
	return s.nodes[n].GetKind() == recordv1.NodeKind_NODE_KIND_MACHINE
}

func (s *survey) isSource(n int32) bool {
	return s.nodes[n].GetKind() == recordv1.NodeKind_NODE_KIND_SOURCE
}

func (s *survey) say(field, format string, args ...any) {
	// Keep more than the limit, because the list is sorted before it is cut.
	if len(s.found) < 100*maxProblems {
		s.found = append(s.found, Problem{Yard: s.d.GetYard(), Field: field, Text: fmt.Sprintf(format, args...), Warning: true})
	}
}

// own calls f for the nodes of d.
func (s *survey) own(f func(i int, n int32, node *recordv1.Node)) {
	for i, node := range s.d.GetNodes() {
		if n, ok := s.at[s.d.GetYard()+"/"+node.GetName()]; ok {
			f(i, n, node)
		}
	}
}

// flood marks what the sources reach over the wires that are not stopped.
func (s *survey) flood(stopped func(*wire) bool) []bool {
	in := make([]bool, len(s.ids))
	var queue []int32
	for n := range s.ids {
		if s.isSource(int32(n)) {
			in[n] = true
			queue = append(queue, int32(n))
		}
	}
	for i := 0; i < len(queue); i++ {
		for _, x := range s.near[queue[i]] {
			w := &s.wires[x]
			next := w.to
			if next == queue[i] {
				if next = w.from; w.l.GetOneWay() != "" {
					continue
				}
			}
			if !in[next] && (stopped == nil || !stopped(w)) {
				in[next] = true
				queue = append(queue, next)
			}
		}
	}
	return in
}

// union keeps sets of nodes.
type union struct{ up []int32 }

func newUnion(n int) *union {
	u := &union{make([]int32, n)}
	for i := range u.up {
		u.up[i] = int32(i)
	}
	return u
}

func (u *union) of(n int32) int32 {
	for u.up[n] != n {
		u.up[n] = u.up[u.up[n]]
		n = u.up[n]
	}
	return n
}

func (u *union) join(a, b int32) {
	if a, b = u.of(a), u.of(b); a != b {
		u.up[max(a, b)] = min(a, b)
	}
}
