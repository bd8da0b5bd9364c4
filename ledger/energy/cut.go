package energy

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// maxCuts limits the networks solved for one plan. Only drawings where blanks and other
// devices stand side by side need more than one.
const maxCuts = 128

// problem is the part of the graph that a plan for one zone has to cut: what some source
// reaches and what reaches the zone.
type problem struct {
	g              *Graph
	level          recordv1.Isolation
	nodes          int
	spans          []span
	sources, sinks []int32
	// dear is more than twice what any set of points costs.
	dear int64
	// steps left for flows.
	steps int64
	// without marks points that may not be opened. cheap marks those that cost 1 where
	// the others cost price. Each is nil where there are none.
	without, cheap []bool
	price          int64
}

// problem numbers the part of the graph that matters to z. If whole is set, nodes that
// no device can separate stay apart, so that devices may be fitted between them.
func (g *Graph) problem(z *zone, level recordv1.Isolation, whole bool) *problem {
	p := &problem{g: g, level: level, price: 1, dear: 4 * int64(len(g.points)+1), steps: maxSteps}
	back := g.behind(z, nil).in
	number := make([]int32, len(g.nodes))
	for i := range number {
		number[i] = -1
	}
	of := func(n int32) int32 {
		if !back[n] || !g.fed[n] {
			return -1
		}
		key := n
		if !whole {
			key = g.clump[n]
		}
		if number[key] < 0 {
			number[key] = int32(p.nodes)
			p.nodes++
		}
		return number[key]
	}
	p.spans = make([]span, 0, len(g.links))
	for i := range g.links {
		l := &g.links[i]
		u, v := of(l.from), of(l.to)
		if u >= 0 && v >= 0 && u != v {
			p.spans = append(p.spans, span{u: u, v: v, both: !l.oneWay, link: int32(i)})
		}
	}
	for _, n := range g.sources {
		if v := of(n); v >= 0 {
			p.sources = append(p.sources, v)
		}
	}
	for _, n := range z.parts {
		if v := of(n); v >= 0 {
			p.sinks = append(p.sinks, v)
		}
	}
	return p
}

func (p *problem) layers() int { return int(need(p.level)) }

func (p *problem) point(x *span) int32 { return p.g.links[x.link].point }

// mayOpen returns the point in x, or -1 where no point there may be opened.
func (p *problem) mayOpen(x *span) int32 {
	point := p.point(x)
	if point >= 0 && p.without != nil && p.without[point] {
		return -1
	}
	return point
}

// prefer says which points may not be opened, and which are cheap: the others cost price
// times more.
func (p *problem) prefer(cheap, without []bool, price int64) {
	p.cheap, p.without, p.price = cheap, without, price
	p.dear = 4 * price * int64(len(p.g.points)+1)
}

// cost is what it costs to open a point.
func (p *problem) cost(point int32) int64 {
	if p.cheap != nil && p.cheap[point] {
		return 1
	}
	return p.price
}

// choice is what a branch has decided about a blank.
type choice int8

const (
	undecided choice = iota
	opened
	shut
)

// cut finds the fewest points that isolate the zone. Where some points are preferred, it
// finds the points that cost least. Among those sets it takes the one that leaves the
// fewest nodes dark. fewest is false if maxCuts and maxSteps did not allow a proof. All
// points together must isolate the zone. If no cut at all was found in time, the result
// is all the points that matter.
//
// Every path must climb as many labels as devices are needed. A label may rise by one
// over a device, by two over a blank, and not at all elsewhere. A blank costs one lock
// for a rise of one or of two, which is not a convex cost. So placing blanks among other
// devices is as hard as the multiway cut with three terminals (Dahlhaus et al., SIAM J.
// Comput. 23, 1994; from memory). A blank is therefore first priced at half a lock per
// step, which never overstates its cost. Where a least labelling climbs only one step
// over a blank, both answers for that blank are tried.
func (p *problem) cut() (open []bool, fewest bool) {
	c := &cutter{p: p, choices: make([]choice, len(p.spans))}
	floor := c.branch(0)
	switch {
	case c.best == nil && c.stopped:
		return p.every(), false
	case c.best == nil:
		return nil, false
	}
	return c.best, !c.stopped || c.cost == (floor+1)/2
}

// every opens each point on a way into the zone.
func (p *problem) every() []bool {
	open := make([]bool, len(p.g.points))
	for i := range p.spans {
		if point := p.mayOpen(&p.spans[i]); point >= 0 {
			open[point] = true
		}
	}
	return open
}

type cutter struct {
	p       *problem
	choices []choice // per span
	solved  int
	stopped bool

	best []bool // best set so far, per point of the graph
	cost int64
	dark int // nodes without a source under best; -1: not yet counted
}

// branch solves the problem under the choices made. chosen is twice the cost of the
// blanks opened so far. It returns twice a lower bound of the cost.
func (c *cutter) branch(chosen int64) int64 {
	if c.solved == maxCuts {
		c.stopped = true
		return 0
	}
	c.solved++
	p := c.p
	spans := make([]span, 0, len(p.spans))
	for i, x := range p.spans {
		point := p.mayOpen(&x)
		blank := point >= 0 && p.g.points[point].Weight > 1 && p.layers() > 1
		switch {
		case c.choices[i] == opened:
			continue // two devices: nothing left to decide about it
		case point < 0 || c.choices[i] == shut:
			x.one = p.dear
		case blank:
			x.one = p.cost(point)
		default:
			x.one, x.two = 2*p.cost(point), p.dear
		}
		spans = append(spans, x)
	}
	labels, cost, ok := labelling(p.nodes, spans, p.sources, p.sinks, p.layers(), &p.steps)
	if !ok {
		c.stopped = true
		return 0
	}
	floor := cost + chosen
	if cost >= p.dear || c.best != nil && (floor+1)/2 > c.cost {
		return floor
	}
	c.offer(labels)
	for i := range p.spans {
		x := &p.spans[i]
		point := p.mayOpen(x)
		if p.layers() == 1 || point < 0 || p.g.points[point].Weight == 1 || c.choices[i] != undecided || x.rise(labels) != 1 {
			continue
		}
		c.choices[i] = opened
		c.branch(chosen + 2*p.cost(point))
		c.choices[i] = shut
		c.branch(chosen)
		c.choices[i] = undecided
		break
	}
	return floor
}

// offer takes the set given by labels and choices if it is better than the best so far:
// it costs less, or leaves fewer nodes dark, or comes first by point.
func (c *cutter) offer(labels []uint8) {
	open := make([]bool, len(c.p.g.points))
	cost := int64(0)
	for i := range c.p.spans {
		x := &c.p.spans[i]
		point := c.p.mayOpen(x)
		if point >= 0 && (c.choices[i] == opened || c.choices[i] == undecided && x.rise(labels) > 0) {
			open[point] = true
			cost += c.p.cost(point)
		}
	}
	if c.best == nil || cost < c.cost {
		c.best, c.cost, c.dark = open, cost, -1
		return
	}
	if cost > c.cost {
		return
	}
	if c.dark < 0 {
		c.dark = c.p.g.darkened(c.best)
	}
	if dark := c.p.g.darkened(open); dark < c.dark || dark == c.dark && earlier(open, c.best) {
		c.best, c.dark = open, dark
	}
}

// earlier orders sets of the same size by their points.
func earlier(a, b []bool) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i]
		}
	}
	return false
}

// darkened counts the nodes that no source reaches past the open points.
func (g *Graph) darkened(open []bool) int {
	s := g.spread(open, 1)
	n := 0
	for i := range s.label {
		if !s.live(int32(i)) {
			n++
		}
	}
	return n
}

// fit returns the fewest links in which devices would have to be fitted to make the zone
// isolable, nearest the work, and how many devices in each. It returns none when the
// steps ran out. No part of the zone may be a source.
func (p *problem) fit() (links []int32, devices []int) {
	spans := slices.Clone(p.spans)
	for i := range spans {
		x := &spans[i]
		point := p.point(x)
		switch {
		case point < 0:
			x.one = p.dear
		case p.g.points[point].Weight > 1:
			x.one = 1
		default:
			x.one, x.two = 1, p.dear-1
		}
	}
	labels, _, ok := labelling(p.nodes, spans, p.sources, p.sinks, p.layers(), &p.steps)
	if !ok {
		return nil, nil
	}
	for i := range spans {
		x := &spans[i]
		r := x.rise(labels)
		if point := p.point(x); point >= 0 {
			r -= p.g.points[point].Weight
		}
		if r > 0 {
			links = append(links, x.link)
			devices = append(devices, r)
		}
	}
	return links, devices
}
