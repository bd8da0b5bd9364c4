package energy

import (
	"cmp"
	"slices"
)

// Position is where an isolation point stands at this moment.
type Position int8

const (
	// Closed passes energy. A position that is not known counts as closed.
	Closed Position = iota
	// Open stops energy, but anyone may close it.
	Open
	// OpenAndLocked stops energy, and at least one lock holds it.
	OpenAndLocked
)

// Condition is what the drawings say about a node or zone with the points as they are,
// worst first. It is no proof: only valid readings are.
type Condition int8

const (
	// Live: some source reaches it.
	Live Condition = iota
	// OpenNotLocked: no source reaches it, but only because of points that are
	// open and not locked. Anyone could make it live.
	OpenNotLocked
	// OneLockShort is for a zone that needs double isolation. Locked points keep every
	// source off, but some path has one device where two are needed.
	OneLockShort
	// Locked: locked points keep every source off, with as many devices as needed.
	Locked
	// NoFeed: the drawings show no source that could ever reach it.
	NoFeed
)

// String spells a condition out, as screens and sheets print it.
func (c Condition) String() string {
	switch c {
	case OpenNotLocked:
		return "open but not locked"
	case OneLockShort:
		return "locked, second device missing"
	case Locked:
		return "locked"
	case NoFeed:
		return "no feed drawn"
	}
	return "live"
}

// Picture is what is live and what is cut off with the points as they are.
type Picture struct {
	Nodes []NodeNow // by id
	Zones []ZoneNow // by id
	// EitherOf are the sources of which only one of each group can be connected. All of
	// them are taken as connected.
	EitherOf []EitherOf
}

// NodeNow is one node at this moment.
type NodeNow struct {
	ID        string
	Condition Condition
}

// ZoneNow is one zone at this moment, at the level that it needs.
type ZoneNow struct {
	ID        string
	Condition Condition
	// Path is a way by which energy comes to a live zone. For a zone that is open but
	// not locked, energy would come by this way if those points closed. For one a lock
	// short, it is the way with one device where two are needed. It is nil for a zone
	// that is locked or has no feed.
	Path *Path
	// Points are the points that matter, sorted. For a live zone: the closed points on
	// Path. For one that is open but not locked: the points to lock. For one a lock
	// short: the points that could be the second device on Path. For a locked one: the
	// points that keep the sources off.
	Points []string
}

// EitherOf is a group of interlocked sources: a transfer switch connects one of them.
type EitherOf struct {
	Interlock string   // "yard/name"
	Sources   []string // node ids, sorted
}

// Now gives the picture with each point in the position that position returns. A nil
// position means that all are closed.
func (g *Graph) Now(position func(point string) Position) Picture {
	n := &now{g: g, stops: make([]bool, len(g.points)), locked: make([]bool, len(g.points)), search: g.backward()}
	for i := range g.points {
		at := Closed
		if position != nil {
			at = position(g.points[i].ID)
		}
		n.locked[i] = at == OpenAndLocked
		n.stops[i] = at == Open || at == OpenAndLocked
	}
	n.asIs, n.asLocked = g.spread(n.stops, 1), g.spread(n.locked, 2)
	pic := Picture{Nodes: make([]NodeNow, len(g.nodes)), Zones: make([]ZoneNow, len(g.zones)), EitherOf: g.eitherOf()}
	for i := range g.nodes {
		pic.Nodes[i] = NodeNow{ID: g.nodes[i].id, Condition: n.node(int32(i))}
	}
	for i := range g.zones {
		pic.Zones[i] = n.zone(&g.zones[i])
	}
	return pic
}

// now is the working state for one picture.
type now struct {
	g              *Graph
	stops, locked  []bool // per point: open at all; open and locked
	asIs, asLocked *spread
	search         *backward
}

func (n *now) node(i int32) Condition {
	switch {
	case !n.g.fed[i]:
		return NoFeed
	case n.asIs.live(i):
		return Live
	case n.asLocked.live(i):
		return OpenNotLocked
	}
	return Locked
}

func (n *now) zone(z *zone) ZoneNow {
	out := ZoneNow{ID: z.ID, Condition: NoFeed}
	needed := need(z.Isolation)
	worst := int32(-1)
	for _, p := range z.parts {
		c := n.node(p)
		if c == Locked && needed > 1 && n.asLocked.label[p] < needed {
			c = OneLockShort
		}
		if c < out.Condition {
			out.Condition, worst = c, p
		}
	}
	switch out.Condition {
	case Live:
		out.take(n.asIs.path(worst))
		out.Points = n.g.pointsOf(n.on(n.asIs, worst, func(p int32) bool { return !n.stops[p] }))
	case OpenNotLocked:
		out.take(n.asLocked.path(worst))
		out.Points = n.between(z, n.stops, needed, func(c crossing) bool { return !n.locked[c.point] && n.asLocked.label[c.outer] < needed })
	case OneLockShort:
		out.take(n.asLocked.path(worst))
		out.Points = n.g.pointsOf(n.on(n.asLocked, worst, func(p int32) bool { return !n.locked[p] }))
	case Locked:
		out.Points = n.between(z, n.locked, needed, func(c crossing) bool { return n.g.fed[c.outer] })
	}
	return out
}

func (z *ZoneNow) take(p Path) { z.Path = &p }

// on lists the points, selected by which, on the shortest way to a node.
func (n *now) on(s *spread, node int32, which func(point int32) bool) []int32 {
	var out []int32
	for a := s.came[node]; a.node >= 0; a = s.came[a.node] {
		if p := n.g.links[a.link].point; p >= 0 && which(p) {
			out = append(out, p)
		}
	}
	return out
}

// between lists the points, selected by which, met on the way back from the zone.
func (n *now) between(z *zone, open []bool, limit uint8, which func(c crossing) bool) []string {
	var out []int32
	for _, c := range n.search.ahead(z.parts, open, limit) {
		if which(c) {
			out = append(out, c.point)
		}
	}
	return n.g.pointsOf(out)
}

// eitherOf lists, by name, the interlocks that join two or more sources.
func (g *Graph) eitherOf() []EitherOf {
	at := map[string]int{}
	var all []EitherOf
	for _, s := range g.sources {
		name := g.nodes[s].interlock
		if name == "" {
			continue
		}
		i, ok := at[name]
		if !ok {
			i = len(all)
			at[name] = i
			all = append(all, EitherOf{Interlock: name})
		}
		all[i].Sources = append(all[i].Sources, g.nodes[s].id)
	}
	all = slices.DeleteFunc(all, func(e EitherOf) bool { return len(e.Sources) < 2 })
	slices.SortFunc(all, func(a, b EitherOf) int { return cmp.Compare(a.Interlock, b.Interlock) })
	return all
}
