package picture

// spotted is a point of a line.
type spotted struct{ x, y float64 }

// route is the points of a line, without the bends that it does not need.
func (l *layout) route(w wayLine) []spotted {
	first, last := &l.boxes[w.over[0]], &l.boxes[w.over[len(w.over)-1]]
	down := first.y < last.y
	side := func(b *box, low bool) spotted {
		if low {
			return spotted{b.x, b.y + b.h/2}
		}
		return spotted{b.x, b.y - b.h/2}
	}
	// Leave the layer straight first, because taller boxes may stand beside this one.
	rim := func(b *box, low bool) spotted {
		if low {
			return spotted{b.x, b.low}
		}
		return spotted{b.x, b.top}
	}
	all := []spotted{side(first, down), rim(first, down)}
	for _, i := range w.over[1 : len(w.over)-1] {
		b := &l.boxes[i]
		all = append(all, side(b, !down), side(b, down))
	}
	all = append(all, rim(last, !down), side(last, !down))
	out := []spotted{all[0]}
	for i := 0; i < len(all)-1; {
		j := len(all) - 1
		for j > i+1 && !l.free(all[i], all[j], first, last) {
			j--
		}
		out = append(out, all[j])
		i = j
	}
	return out
}

// free reports whether a straight line passes every box except its own ends.
func (l *layout) free(a, b spotted, first, last *box) bool {
	for i := range l.boxes {
		x := &l.boxes[i]
		if x == first || x == last || x.node < 0 && x.tie < 0 {
			continue
		}
		if crosses(a, b, x.x-x.w/2-8, x.y-x.h/2-8, x.x+x.w/2+8, x.y+x.h/2+8) {
			return false
		}
	}
	return true
}

// crosses reports whether a line enters a rectangle (clipping after Y.-D. Liang
// and B. A. Barsky, ACM Transactions on Graphics 3, 1984; from memory).
func crosses(a, b spotted, left, top, right, bottom float64) bool {
	t0, t1 := 0.0, 1.0
	dx, dy := b.x-a.x, b.y-a.y
	for _, e := range [4][2]float64{{-dx, a.x - left}, {dx, right - a.x}, {-dy, a.y - top}, {dy, bottom - a.y}} {
		p, q := e[0], e[1]
		if p == 0 {
			if q < 0 {
				return false
			}
			continue
		}
		r := q / p
		if p < 0 {
			t0 = max(t0, r)
		} else {
			t1 = min(t1, r)
		}
		if t0 > t1 {
			return false
		}
	}
	return true
}
