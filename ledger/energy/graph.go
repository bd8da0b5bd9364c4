package energy

import (
	"cmp"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Graph holds the current drawings of all yards as one graph. It never changes after
// Build.
type Graph struct {
	nodes []node // by id, and so are links, points and zones
	links []link
	zones []zone

	points    []Point
	pointLink []int32 // per point: its link

	nodeAt  map[string]int32
	pointAt map[string]int32
	zoneAt  map[string]int32
	// never says, for a device that is not an isolation point, why it is not.
	never map[string]string

	// what plans, proofs and procedures say beside the paths
	furnishing

	into, outOf adjacency
	sources     []int32
	// fed marks the nodes that some source reaches with every device closed.
	fed []bool
	// clump numbers the sets of nodes that no device can separate: nodes joined in both
	// directions by links without an isolation point.
	clump  []int32
	clumps int
	// air numbers the sets of nodes between which gas could pass.
	air []int32
}

// Point is an isolation point: a lockable energy-isolating device.
type Point struct {
	ID    string // "yard/panel/device"
	Yard  string // home yard
	Panel string
	// Device is the name within the panel.
	Device string
	Label  string
	Kind   recordv1.DeviceKind
	// Holes is how many locks it takes.
	Holes uint32
	// Link is the id of the link it stands in.
	Link string
	// Weight is how many devices it counts for on a path: 2 for a blank, otherwise 1.
	Weight int
	// UnderHoldersControl marks a plug that isolates only while its holder keeps it,
	// 1910.147(a)(2)(iii)(A).
	UnderHoldersControl bool
}

type node struct {
	id, label, place string
	kind             recordv1.NodeKind
	store            *Store
	starts           []int32
	// interlock is "yard/name", shared by sources of which only one can be connected at
	// a time. It is "" for none.
	interlock string
}

type link struct {
	id       string
	from, to int32
	medium   recordv1.Medium
	oneWay   bool
	point    int32 // -1: it can't be opened
	kind     recordv1.DeviceKind
	device   string // id of the device, "" where it has no name
}

// step is the name of a link in a path.
func (l *link) step() string {
	word := devices[l.kind].word
	switch {
	case word == "":
		return "link " + l.id
	case l.device == "":
		return word + " in link " + l.id
	}
	return word + " " + l.device
}

// arc is one direction of a link, seen from one end.
type arc struct{ node, link int32 }

// adjacency lists the arcs of each node, in the order of the links.
type adjacency struct {
	start []int32
	arcs  []arc
}

func (a *adjacency) of(n int32) []arc { return a.arcs[a.start[n]:a.start[n+1]] }

// Build joins the current drawings, one per yard. The graph is nil if any problem is
// more than a warning.
func Build(ds []*recordv1.Drawing) (*Graph, []Problem) {
	ds = slices.Clone(ds)
	slices.SortStableFunc(ds, func(a, b *recordv1.Drawing) int { return cmp.Compare(a.GetYard(), b.GetYard()) })
	var problems []Problem
	ix := newIndex(ds)
	for i, d := range ds {
		c := &checker{d: d, ix: ix}
		if i > 0 && d.GetYard() == ds[i-1].GetYard() {
			c.bad("yard", "there are two drawings of yard %q: give the current one only", d.GetYard())
		}
		c.drawing()
		problems = append(problems, c.all()...)
	}
	if Refused(problems) {
		return nil, problems
	}
	g := &Graph{never: map[string]string{}}
	g.addNodes(ds)
	g.addLinks(ds)
	g.addZones(ds)
	g.outOf = g.adjacent(false)
	g.into = g.adjacent(true)
	g.fed = g.reachable()
	g.joinClumps()
	g.joinAir()
	g.furnish(ds)
	return g, problems
}

func (g *Graph) addNodes(ds []*recordv1.Drawing) {
	total := 0
	for _, d := range ds {
		total += len(d.GetNodes())
	}
	g.nodes = make([]node, 0, total)
	for _, d := range ds {
		for _, n := range d.GetNodes() {
			id := d.GetYard() + "/" + n.GetName()
			v := node{id: id, label: n.GetLabel(), place: n.GetPlace(), kind: n.GetKind()}
			if n.GetInterlock() != "" {
				v.interlock, _ = qualify(d.GetYard(), n.GetInterlock())
			}
			if s := n.GetStore(); s != nil {
				v.store = newStore(id, s)
			}
			g.nodes = append(g.nodes, v)
		}
	}
	slices.SortFunc(g.nodes, func(a, b node) int { return cmp.Compare(a.id, b.id) })
	g.nodeAt = make(map[string]int32, len(g.nodes))
	for i := range g.nodes {
		g.nodeAt[g.nodes[i].id] = int32(i)
		if g.nodes[i].kind == recordv1.NodeKind_NODE_KIND_SOURCE {
			g.sources = append(g.sources, int32(i))
		}
	}
	for _, d := range ds {
		for _, n := range d.GetNodes() {
			v := &g.nodes[g.nodeAt[d.GetYard()+"/"+n.GetName()]]
			for _, m := range n.GetStarts() {
				v.starts = append(v.starts, g.node(d, m))
			}
		}
	}
}

// node finds a node whose name Check has accepted.
func (g *Graph) node(d *recordv1.Drawing, ref string) int32 {
	id, _ := qualify(d.GetYard(), ref)
	return g.nodeAt[id]
}

func (g *Graph) addLinks(ds []*recordv1.Drawing) {
	type drawn struct {
		link
		d    *recordv1.Device
		yard string
	}
	total := 0
	for _, d := range ds {
		total += len(d.GetLinks())
	}
	all := make([]drawn, 0, total)
	for _, d := range ds {
		for _, l := range d.GetLinks() {
			x := drawn{d: l.GetDevice(), yard: d.GetYard()}
			x.link = link{id: d.GetYard() + "/" + l.GetName(), from: g.node(d, l.GetFrom()), to: g.node(d, l.GetTo()),
				medium: l.GetMedium(), oneWay: l.GetOneWay() != "", point: -1, kind: l.GetDevice().GetKind()}
			if x.d.GetDevice() != "" {
				x.device = d.GetYard() + "/" + x.d.GetPanel() + "/" + x.d.GetDevice()
			}
			all = append(all, x)
		}
	}
	slices.SortFunc(all, func(a, b drawn) int { return cmp.Compare(a.id, b.id) })
	g.links = make([]link, len(all))
	for i, x := range all {
		g.links[i] = x.link
		switch {
		case isolationPoint(x.d):
			g.points = append(g.points, Point{ID: x.device, Yard: x.yard, Panel: x.d.GetPanel(), Device: x.d.GetDevice(),
				Label: x.d.GetLabel(), Kind: x.kind, Holes: max(1, x.d.GetHoles()), Link: x.id, Weight: devices[x.kind].weight,
				UnderHoldersControl: x.kind == recordv1.DeviceKind_DEVICE_KIND_PLUG && x.d.GetUnderHoldersControl()})
		case x.device != "" && g.never[x.device] == "":
			g.never[x.device] = whyNot(x.d)
		}
	}
	slices.SortFunc(g.points, func(a, b Point) int { return cmp.Compare(a.ID, b.ID) })
	g.pointAt = make(map[string]int32, len(g.points))
	g.pointLink = make([]int32, len(g.points))
	for i, p := range g.points {
		g.pointAt[p.ID] = int32(i)
	}
	for i, x := range all {
		if isolationPoint(x.d) {
			p := g.pointAt[x.device]
			g.links[i].point = p
			g.pointLink[p] = int32(i)
		}
	}
}

// adjacent lists the arcs out of each node, or into it.
func (g *Graph) adjacent(into bool) adjacency {
	a := adjacency{start: make([]int32, len(g.nodes)+1)}
	each := func(f func(at, other, link int32)) {
		for i := range g.links {
			from, to := g.links[i].from, g.links[i].to
			if into {
				from, to = to, from
			}
			f(from, to, int32(i))
			if !g.links[i].oneWay {
				f(to, from, int32(i))
			}
		}
	}
	each(func(at, _, _ int32) { a.start[at+1]++ })
	for i := range g.nodes {
		a.start[i+1] += a.start[i]
	}
	next := slices.Clone(a.start)
	a.arcs = make([]arc, a.start[len(g.nodes)])
	each(func(at, other, link int32) {
		a.arcs[next[at]] = arc{other, link}
		next[at]++
	})
	return a
}

// reachable marks what the sources reach with every device closed.
func (g *Graph) reachable() []bool {
	fed := make([]bool, len(g.nodes))
	queue := slices.Clone(g.sources)
	for _, s := range queue {
		fed[s] = true
	}
	for i := 0; i < len(queue); i++ {
		for _, a := range g.outOf.of(queue[i]) {
			if !fed[a.node] {
				fed[a.node] = true
				queue = append(queue, a.node)
			}
		}
	}
	return fed
}

func (g *Graph) joinClumps() {
	g.clump = make([]int32, len(g.nodes))
	for i := range g.clump {
		g.clump[i] = -1
	}
	var queue []int32
	for i := range g.nodes {
		if g.clump[i] >= 0 {
			continue
		}
		c := int32(g.clumps)
		g.clumps++
		g.clump[i] = c
		queue = append(queue[:0], int32(i))
		for j := 0; j < len(queue); j++ {
			for _, a := range g.outOf.of(queue[j]) {
				if l := &g.links[a.link]; l.point < 0 && !l.oneWay && g.clump[a.node] < 0 {
					g.clump[a.node] = c
					queue = append(queue, a.node)
				}
			}
		}
	}
}

// Points returns every isolation point, by id.
func (g *Graph) Points() []Point { return slices.Clone(g.points) }

// Point returns one isolation point.
func (g *Graph) Point(id string) (Point, bool) {
	i, ok := g.pointAt[id]
	if !ok {
		return Point{}, false
	}
	return g.points[i], true
}
