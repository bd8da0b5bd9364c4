package picture

import (
	"cmp"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	boxWidth = 208.0
	gapX     = 22.0
	gapY     = 30.0
	margin   = 26.0
	pointed  = 10.0 // how far the ends of a source stick out
)

// box is a place in the layout: a node, a link, or a bend of a long line.
type box struct {
	node, tie int // -1: none
	w, h      float64
	x, y      float64 // middle
	top, low  float64 // top and bottom of its layer
	layer     int
	up, down  []int // boxes above and below, joined to it by lines
}

// layout places the boxes in layers, with energy coming from above (after K. Sugiyama,
// S. Tagawa and M. Toda, "Methods for visual understanding of hierarchical system
// structures", IEEE Transactions on Systems, Man and Cybernetics 11, 1981; from memory).
// It makes layers, adds a bend where a line crosses a layer, orders each layer by the
// middle of the neighbours, and then places the boxes.
// neighbours, then places.
type layout struct {
	boxes  []box
	layers [][]int
	// lines are the two halves of each link, from its box to a node.
	lines         []wayLine
	width, height float64
}

// wayLine leads from one box over bends to another.
type wayLine struct {
	over []int // boxes, including both ends
	node int   // the scene's node at one of its ends
	head bool  // with an arrow at its end
}

func (s *scene) layout() *layout {
	l := &layout{}
	for i := range s.nodes {
		w, h := size(s.nodes[i].lines(), boxWidth)
		if s.nodes[i].kind == recordv1.NodeKind_NODE_KIND_SOURCE {
			w += 2 * pointed
		}
		l.boxes = append(l.boxes, box{node: i, tie: -1, w: w, h: h})
	}
	for i := range s.ties {
		least := boxWidth
		if s.ties[i].link.GetDevice() == nil {
			least = 96
		}
		w, h := size(s.ties[i].lines(), least)
		l.boxes = append(l.boxes, box{node: -1, tie: i, w: w, h: h})
	}
	edges := s.rank(l)
	for _, e := range edges {
		l.connect(e)
	}
	l.order()
	l.placeX()
	l.placeY()
	return l
}

// size is the size of a box that holds the lines.
func size(lines []line, width float64) (w, h float64) {
	h = 10
	for _, x := range lines {
		h += x.size + 4
	}
	return width, h
}

// edge joins two boxes, the upper box first.
type edge struct {
	a, b int
	node int
	head bool // one-way, ends at b
	tail bool // one-way, ends at a
}

// rank gives each box its layer: below everything that leads to it, as the links are
// drawn. A link that would close a circle is followed in reverse.
func (s *scene) rank(l *layout) []edge {
	out := make([][]int, len(l.boxes))
	for i, t := range s.ties {
		box := len(s.nodes) + i
		out[t.from] = append(out[t.from], box)
		out[box] = append(out[box], t.to)
	}
	order, forward := straighten(out)
	l.sink(order, forward)
	l.lift(order, forward)
	return s.edges(l)
}

// straighten reverses the links that close a circle. It returns the boxes, each before
// the boxes that it leads to, and for each box the boxes that it now leads to. It begins
// with the boxes that the fewest links lead to.
func straighten(out [][]int) (order []int, forward [][]int) {
	const unseen, begun, done = 0, 1, 2
	state := make([]int8, len(out))
	forward = make([][]int, len(out))
	var visit func(v int)
	visit = func(v int) {
		state[v] = begun
		for _, w := range out[v] {
			if state[w] == begun {
				forward[w] = append(forward[w], v)
				continue
			}
			forward[v] = append(forward[v], w)
			if state[w] == unseen {
				visit(w)
			}
		}
		state[v] = done
		order = append(order, v)
	}
	into := make([]int, len(out))
	starts := make([]int, len(out))
	for v, ws := range out {
		starts[v] = v
		for _, w := range ws {
			into[w]++
		}
	}
	slices.SortStableFunc(starts, func(a, b int) int { return cmp.Compare(into[a], into[b]) })
	for _, v := range starts {
		if state[v] == unseen {
			visit(v)
		}
	}
	slices.Reverse(order) // except for the reversed links
	return order, forward
}

// sink moves each box below all boxes that lead to it. Because of the reversed links it
// takes several rounds, at most as many as there are boxes.
func (l *layout) sink(order []int, forward [][]int) {
	for range l.boxes {
		changed := false
		for _, v := range order {
			for _, w := range forward[v] {
				if l.boxes[w].layer <= l.boxes[v].layer {
					l.boxes[w].layer = l.boxes[v].layer + 1
					changed = true
				}
			}
		}
		if !changed {
			return
		}
	}
}

// lift moves a box that leads to one box only right above that box. Otherwise it would
// stand too high.
func (l *layout) lift(order []int, forward [][]int) {
	for range l.boxes {
		changed := false
		for _, v := range slices.Backward(order) {
			if len(forward[v]) != 1 {
				continue
			}
			if want := l.boxes[forward[v][0]].layer - 1; l.boxes[v].layer < want {
				l.boxes[v].layer = want
				changed = true
			}
		}
		if !changed {
			return
		}
	}
}

// edges joins each link's box to both its ends, downwards.
func (s *scene) edges(l *layout) []edge {
	var edges []edge
	for i, t := range s.ties {
		box, one := len(s.nodes)+i, t.link.GetOneWay() != ""
		for _, e := range []edge{{a: t.from, b: box, node: t.from}, {a: box, b: t.to, node: t.to, head: one}} {
			if l.boxes[e.a].layer > l.boxes[e.b].layer {
				e.a, e.b, e.head, e.tail = e.b, e.a, false, e.head
			}
			edges = append(edges, e)
		}
	}
	return edges
}

// connect draws an edge, with a bend in every layer that it crosses.
func (l *layout) connect(e edge) {
	way := []int{e.a}
	at := e.a
	for layer := l.boxes[e.a].layer + 1; layer < l.boxes[e.b].layer; layer++ {
		l.boxes = append(l.boxes, box{node: -1, tie: -1, w: 10, layer: layer})
		bend := len(l.boxes) - 1
		l.join(at, bend)
		at = bend
		way = append(way, bend)
	}
	l.join(at, e.b)
	way = append(way, e.b)
	if e.tail {
		slices.Reverse(way)
	}
	l.lines = append(l.lines, wayLine{over: way, node: e.node, head: e.head || e.tail})
}

func (l *layout) join(a, b int) {
	l.boxes[a].down = append(l.boxes[a].down, b)
	l.boxes[b].up = append(l.boxes[b].up, a)
}

// order sorts the boxes of each layer by the middle of their neighbours, alternately
// from above and from below. It keeps the order with the fewest crossings.
func (l *layout) order() {
	for i := range l.boxes {
		for l.boxes[i].layer >= len(l.layers) {
			l.layers = append(l.layers, nil)
		}
		l.layers[l.boxes[i].layer] = append(l.layers[l.boxes[i].layer], i)
	}
	at := make([]float64, len(l.boxes))
	number := func(layer []int) {
		for i, b := range layer {
			at[b] = float64(i) / float64(max(1, len(layer)-1))
			if len(layer) == 1 {
				at[b] = 0.5
			}
		}
	}
	for _, layer := range l.layers {
		number(layer)
	}
	best, fewest := l.copyLayers(), l.crossings()
	for round := range 24 {
		for k := range l.layers {
			layer := l.layers[k]
			if round%2 == 1 {
				layer = l.layers[len(l.layers)-1-k]
			}
			want := make(map[int]float64, len(layer))
			for _, b := range layer {
				side := l.boxes[b].up
				if round%2 == 1 {
					side = l.boxes[b].down
				}
				want[b] = at[b]
				if len(side) > 0 {
					sum := 0.0
					for _, x := range side {
						sum += at[x]
					}
					want[b] = sum / float64(len(side))
				}
			}
			slices.SortStableFunc(layer, func(a, b int) int { return cmp.Compare(want[a], want[b]) })
			number(layer)
		}
		if c := l.crossings(); c < fewest {
			best, fewest = l.copyLayers(), c
		}
	}
	l.layers = best
}

func (l *layout) copyLayers() [][]int {
	out := make([][]int, len(l.layers))
	for i, layer := range l.layers {
		out[i] = slices.Clone(layer)
	}
	return out
}

func (l *layout) crossings() int {
	place := make([]int, len(l.boxes))
	for _, layer := range l.layers {
		for i, b := range layer {
			place[b] = i
		}
	}
	count := 0
	for _, layer := range l.layers {
		var ends []int
		for _, b := range layer {
			var down []int
			for _, d := range l.boxes[b].down {
				down = append(down, place[d])
			}
			slices.Sort(down)
			for _, d := range down {
				for _, e := range ends {
					if e > d {
						count++
					}
				}
			}
			ends = append(ends, down...)
		}
	}
	return count
}

// placeX puts each box as near to the middle of its neighbours as the order and the gaps
// allow.
func (l *layout) placeX() {
	for _, layer := range l.layers {
		x := 0.0
		for _, b := range layer {
			l.boxes[b].x = x + l.boxes[b].w/2
			x += l.boxes[b].w + gapX
		}
		for _, b := range layer {
			l.boxes[b].x -= x / 2
		}
	}
	for round := range 60 {
		for k := range l.layers {
			layer := l.layers[k]
			if round%2 == 1 {
				layer = l.layers[len(l.layers)-1-k]
			}
			l.settle(layer)
		}
	}
	left, right := 0.0, 0.0
	for i, b := range l.boxes {
		if i == 0 || b.x-b.w/2 < left {
			left = b.x - b.w/2
		}
		if i == 0 || b.x+b.w/2 > right {
			right = b.x + b.w/2
		}
	}
	for i := range l.boxes {
		l.boxes[i].x += margin - left
	}
	l.width = right - left + 2*margin
}

// settle moves the boxes of a layer towards their wanted places. Boxes that touch form
// groups, which move as little as possible (pool of adjacent violators).
func (l *layout) settle(layer []int) {
	type group struct {
		from, to int
		sum      float64 // the sum of where its members want the first member to be
		x        float64
	}
	offset := make([]float64, len(layer))
	for i := 1; i < len(layer); i++ {
		offset[i] = offset[i-1] + l.boxes[layer[i-1]].w/2 + gapX + l.boxes[layer[i]].w/2
	}
	var groups []group
	for i, b := range layer {
		want, n := 0.0, 0
		for _, side := range [][]int{l.boxes[b].up, l.boxes[b].down} {
			for _, x := range side {
				want += l.boxes[x].x
				n++
			}
		}
		if n == 0 {
			want, n = l.boxes[b].x, 1
		}
		g := group{i, i + 1, want/float64(n) - offset[i], 0}
		g.x = g.sum
		groups = append(groups, g)
		for len(groups) > 1 && groups[len(groups)-2].x > groups[len(groups)-1].x {
			last, before := groups[len(groups)-1], &groups[len(groups)-2]
			before.to, before.sum = last.to, before.sum+last.sum
			before.x = before.sum / float64(before.to-before.from)
			groups = groups[:len(groups)-1]
		}
	}
	for _, g := range groups {
		for i := g.from; i < g.to; i++ {
			l.boxes[layer[i]].x = g.x + offset[i]
		}
	}
}

func (l *layout) placeY() {
	y := margin
	for _, layer := range l.layers {
		h := 0.0
		for _, b := range layer {
			h = max(h, l.boxes[b].h)
		}
		for _, b := range layer {
			l.boxes[b].y, l.boxes[b].top, l.boxes[b].low = y+h/2, y, y+h
			if l.boxes[b].node < 0 && l.boxes[b].tie < 0 {
				l.boxes[b].h = h // a bend runs straight through its layer
			}
		}
		y += h + gapY
	}
	l.height = y - gapY + margin
}
