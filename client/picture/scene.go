package picture

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// most is how many nodes of the dead side a picture shows. Nobody could read more.
const most = 150

// thing is a node or a link of the scene.
type thing struct {
	id, label, place string
	kind             recordv1.NodeKind // of a node
	store            *energy.Store
	link             *recordv1.Link // of a link
	lock             int            // number in the plan, from 1; 0: none
	part             bool
	state            energy.Condition
}

// tie is a link of the scene between two of its nodes.
type tie struct {
	thing
	from, to int
}

// scene is what a picture shows.
type scene struct {
	zone   energy.Zone
	plan   energy.Plan
	nodes  []thing
	ties   []tie
	left   int // nodes of the dead side left out
	onFile []string
}

// yardLink is a link with full names.
type yardLink struct {
	id, from, to, point string
	l                   *recordv1.Link
}

// gather is the working state for one scene.
type gather struct {
	nodes map[string]*recordv1.Node
	links []yardLink
	near  map[string][]int
	keep  map[string]bool // nodes
	tied  map[int]bool    // links
	dead  map[string]bool
	// ways has, for each medium and for all media together (unspecified), the link by
	// which the nearest source reaches each node. It is -1 at a source.
	ways map[recordv1.Medium]map[string]int
}

func newScene(g *energy.Graph, drawings []*recordv1.Drawing, plan energy.Plan) (*scene, error) {
	if g == nil {
		return nil, fmt.Errorf("there are no drawings that can be used: check them first")
	}
	zone, ok := g.Zone(plan.Zone)
	if !ok {
		return nil, fmt.Errorf("zone %q isn't in the drawings: name one as \"yard/zone\"", plan.Zone)
	}
	s := &scene{zone: zone, plan: plan}
	w := newGather(drawings)
	lock := make(map[string]int)
	for i, p := range plan.Points {
		lock[p] = i + 1
	}
	parts := make([]string, len(zone.Parts))
	for i, p := range zone.Parts {
		parts[i] = p.Node
	}
	s.left = w.deadSide(parts, lock, plan.Isolates)
	for _, i := range w.points(lock) {
		w.tied[i] = true
		for _, end := range []string{w.links[i].from, w.links[i].to} {
			w.take(end, w.links[i].l.GetMedium())
		}
	}
	w.controls()
	paths := slices.Clone(plan.Live)
	if plan.CannotCut != nil {
		paths = append(paths, *plan.CannotCut)
	}
	for _, p := range paths {
		w.path(p)
	}
	s.fill(g, w, lock, parts)
	for _, d := range drawings {
		s.onFile = append(s.onFile, fmt.Sprintf("%s revision %d", d.GetYard(), d.GetRevision()))
	}
	slices.Sort(s.onFile)
	return s, nil
}

func newGather(drawings []*recordv1.Drawing) *gather {
	w := &gather{nodes: map[string]*recordv1.Node{}, near: map[string][]int{}, keep: map[string]bool{}, tied: map[int]bool{}, dead: map[string]bool{}, ways: map[recordv1.Medium]map[string]int{}}
	for _, d := range drawings {
		full := func(ref string) string {
			if strings.Contains(ref, "/") {
				return ref
			}
			return d.GetYard() + "/" + ref
		}
		for _, n := range d.GetNodes() {
			w.nodes[full(n.GetName())] = n
		}
		for _, l := range d.GetLinks() {
			x := yardLink{id: full(l.GetName()), from: full(l.GetFrom()), to: full(l.GetTo()), l: l}
			if l.GetDevice().GetLockable() {
				x.point = d.GetYard() + "/" + l.GetDevice().GetPanel() + "/" + l.GetDevice().GetDevice()
			}
			w.links = append(w.links, x)
		}
	}
	slices.SortFunc(w.links, func(a, b yardLink) int { return cmp.Compare(a.id, b.id) })
	for i, l := range w.links {
		w.near[l.from] = append(w.near[l.from], i)
		w.near[l.to] = append(w.near[l.to], i)
	}
	return w
}

// way finds the way from the nearest source to every node, with all points closed, over
// links of one medium, or of any medium if m is unspecified.
func (w *gather) way(m recordv1.Medium) map[string]int {
	if way := w.ways[m]; way != nil {
		return way
	}
	way := map[string]int{}
	w.ways[m] = way
	var queue []string
	for id, n := range w.nodes {
		if n.GetKind() == recordv1.NodeKind_NODE_KIND_SOURCE {
			queue = append(queue, id)
		}
	}
	slices.Sort(queue)
	for _, id := range queue {
		way[id] = -1
	}
	for i := 0; i < len(queue); i++ {
		for _, x := range w.near[queue[i]] {
			l := w.links[x]
			if m != 0 && l.l.GetMedium() != m {
				continue
			}
			next := l.to
			if next == queue[i] {
				if next = l.from; l.l.GetOneWay() != "" {
					continue
				}
			}
			if _, seen := way[next]; !seen {
				way[next] = x
				queue = append(queue, next)
			}
		}
	}
	return way
}

// deadSide keeps the nodes whose energy could come to a part without crossing a point of
// the plan. left is how many nodes were too many. If the plan does not isolate, that
// would be everything, so only the paths that reach the parts are kept.
func (w *gather) deadSide(parts []string, lock map[string]int, isolates bool) (left int) {
	queue := slices.Clone(parts)
	for _, p := range parts {
		w.keep[p], w.dead[p] = true, true
	}
	if !isolates {
		return 0
	}
	for i := 0; i < len(queue); i++ {
		for _, x := range w.near[queue[i]] {
			l := w.links[x]
			prev := l.from
			if prev == queue[i] {
				if prev = l.to; l.l.GetOneWay() != "" {
					continue
				}
			}
			if lock[l.point] > 0 && l.point != "" {
				continue
			}
			if !w.dead[prev] {
				if len(w.dead) >= most {
					left++
					continue
				}
				w.dead[prev], w.keep[prev] = true, true
				queue = append(queue, prev)
			}
			w.tied[x] = true
		}
	}
	return left
}

// points lists the links of the plan's points.
func (w *gather) points(lock map[string]int) []int {
	var out []int
	for i, l := range w.links {
		if l.point != "" && lock[l.point] > 0 {
			out = append(out, i)
		}
	}
	return out
}

// take keeps a node and, unless it is on the dead side, its way to a source. It prefers
// a way by the medium, because that is the feed people know.
func (w *gather) take(id string, m recordv1.Medium) {
	if _, fed := w.way(m)[id]; !fed {
		m = recordv1.Medium_MEDIUM_UNSPECIFIED
	}
	for w.nodes[id] != nil {
		w.keep[id] = true
		x, fed := w.way(m)[id]
		if w.dead[id] || !fed || x < 0 || w.tied[x] {
			return
		}
		w.tied[x] = true
		if l := w.links[x]; l.from == id {
			id = l.to
		} else {
			id = l.from
		}
	}
}

// controls keeps the controls that start something on the dead side.
func (w *gather) controls() {
	var ids []string
	for id, n := range w.nodes {
		yard, _, _ := strings.Cut(id, "/")
		if slices.ContainsFunc(n.GetStarts(), func(m string) bool {
			if !strings.Contains(m, "/") {
				m = yard + "/" + m
			}
			return w.dead[m]
		}) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	for _, id := range ids {
		w.take(id, recordv1.Medium_MEDIUM_ELECTRICITY)
	}
}

// path keeps the nodes and links a path names.
func (w *gather) path(p energy.Path) {
	for i, step := range p.Steps {
		if w.nodes[step] == nil {
			continue
		}
		w.keep[step] = true
		if i < 2 {
			continue
		}
		before := p.Steps[i-2]
		for _, x := range w.near[step] {
			if l := w.links[x]; (l.from == before || l.to == before) && l.named(p.Steps[i-1]) {
				w.tied[x] = true
			}
		}
	}
}

// named reports whether a step of a path is this link: "breaker yard/panel/device",
// "backstop in link yard/link" or "link yard/link".
func (l yardLink) named(step string) bool {
	_, last, _ := strings.Cut(step, "link ")
	if last == l.id {
		return true
	}
	d := l.l.GetDevice()
	yard, _, _ := strings.Cut(l.id, "/")
	return d.GetDevice() != "" && strings.HasSuffix(step, " "+yard+"/"+d.GetPanel()+"/"+d.GetDevice())
}

// fill puts the kept nodes and links into the scene, sorted.
func (s *scene) fill(g *energy.Graph, w *gather, lock map[string]int, parts []string) {
	locked := func(p string) energy.Position {
		if lock[p] > 0 {
			return energy.OpenAndLocked
		}
		return energy.Closed
	}
	states := make(map[string]energy.Condition)
	for _, n := range g.Now(locked).Nodes {
		states[n.ID] = n.Condition
	}
	stores := make(map[string]*energy.Store)
	for i := range s.plan.Stores {
		stores[s.plan.Stores[i].ID] = &s.plan.Stores[i]
	}
	var ids []string
	for id := range w.keep {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	at := make(map[string]int)
	for _, id := range ids {
		n := w.nodes[id]
		if n == nil {
			continue
		}
		at[id] = len(s.nodes)
		s.nodes = append(s.nodes, thing{id: id, label: cmp.Or(n.GetLabel(), n.GetName()), place: n.GetPlace(), kind: n.GetKind(), store: stores[id],
			part: slices.Contains(parts, id), state: states[id]})
	}
	for i, l := range w.links {
		from, ok1 := at[l.from]
		to, ok2 := at[l.to]
		if !w.tied[i] || !ok1 || !ok2 || from == to {
			continue
		}
		t := tie{from: from, to: to}
		t.id, t.label, t.link = l.id, l.l.GetDevice().GetLabel(), l.l
		if l.point != "" {
			t.id, t.lock = l.point, lock[l.point]
		}
		s.ties = append(s.ties, t)
	}
}

func (t *thing) live() bool { return t.state == energy.Live }

// word is the state of a node in the picture's words.
func (t *thing) word() string {
	switch t.state {
	case energy.Live:
		return "LIVE"
	case energy.NoFeed:
		return "no feed drawn"
	}
	return "cut off"
}
