package energy

import (
	"fmt"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Plan is a set of points for one zone and what follows from it. It says only what the
// drawings show: "cut off", never "dead".
type Plan struct {
	Zone  string
	Level recordv1.Isolation
	// Points are the points to open and lock, sorted. From Plan it is empty if no set
	// isolates.
	Points   []string
	Isolates bool
	// Fewest says that no smaller set isolates. It is false for a given set, and where a
	// drawing with many blanks was too large to prove it.
	Fewest bool
	// Live has one path for each part that is not cut off.
	Live []Path
	// CannotCut is a path that no set of points cuts as the level asks. It is nil if
	// some set isolates the zone. WouldHaveToFit says what would make the path cuttable.
	CannotCut      *Path
	WouldHaveToFit string
	// GoesDark are the machines outside the zone that lose every source.
	GoesDark []string
	// StaysLive is what keeps a source next to the cut-off region, or in the same place
	// as a part or as a point's line side. It also lists the controls that start the
	// zone.
	StaysLive []string
	// Conditions are the conditions, in words, under which a point counts at all.
	Conditions []string
	// Stores hold energy behind the locks.
	Stores []Store
	Proofs []Proof
}

// Plan finds the fewest points that isolate the zone at the level. Among those sets it
// takes the one nearest the work, which leaves the least dark. An unspecified level asks
// for what the zone needs.
func (g *Graph) Plan(zone string, level recordv1.Isolation) (Plan, error) {
	z, level, err := g.ask(zone, level)
	if err != nil {
		return Plan{}, err
	}
	every := make([]bool, len(g.points))
	for i := range every {
		every[i] = true
	}
	if v := g.examine(z, every, level); !v.Isolates {
		p := g.describe(z, make([]bool, len(g.points)), level)
		p.CannotCut = &v.Live[0]
		p.WouldHaveToFit = g.wouldHaveToFit(z, level)
		return p, nil
	}
	open, fewest := g.problem(z, level, false).cut()
	p := g.describe(z, open, level)
	p.Fewest = fewest && p.Isolates
	return p, nil
}

// Describe says about a given set of points what Plan says about its own. It leaves out
// Fewest, CannotCut and WouldHaveToFit. It fails as Examine does.
func (g *Graph) Describe(zone string, points []string, level recordv1.Isolation) (Plan, error) {
	z, level, err := g.ask(zone, level)
	if err != nil {
		return Plan{}, err
	}
	open, err := g.opened(points)
	if err != nil {
		return Plan{}, err
	}
	return g.describe(z, open, level), nil
}

func (g *Graph) describe(z *zone, open []bool, level recordv1.Isolation) Plan {
	s := g.spread(open, need(level))
	v := g.verdict(z, s, level)
	b := g.behind(z, func(p int32) bool { return open[p] })
	return Plan{
		Zone: z.ID, Level: level, Points: g.named(open), Isolates: v.Isolates, Live: v.Live,
		GoesDark: g.goesDark(z, s), StaysLive: g.staysLive(z, open, s, b), Conditions: g.conditions(open),
		Stores: g.stores(b), Proofs: g.proofs(z, b),
	}
}

// conditions says what each marked point needs besides a lock, if anything.
func (g *Graph) conditions(open []bool) []string {
	var out []string
	for i, yes := range open {
		if yes && g.points[i].UnderHoldersControl {
			out = append(out, fmt.Sprintf("plug %s counts only while its holder is present and keeps it with them, 1910.147(a)(2)(iii)(A) (unchecked)", g.points[i].ID))
		}
	}
	return out
}

// wouldHaveToFit says in words which devices would make the zone isolable.
func (g *Graph) wouldHaveToFit(z *zone, level recordv1.Isolation) string {
	for _, n := range z.parts {
		if g.nodes[n].kind == recordv1.NodeKind_NODE_KIND_SOURCE {
			return fmt.Sprintf("nothing can be fitted ahead of %s, which is itself a source: expose what it feeds instead, or draw the two apart", g.nodes[n].id)
		}
	}
	links, devices := g.problem(z, level, true).fit()
	if len(links) == 0 {
		return "fit lockable isolating devices along the path that can't be cut; the fewest weren't found, the drawing is too tangled"
	}
	var words []string
	for i, l := range links {
		words = append(words, g.fitting(&g.links[l], devices[i]))
	}
	return strings.Join(words, "; ")
}

func (g *Graph) fitting(l *link, devices int) string {
	where := fmt.Sprintf("link %s, %s to %s", l.id, g.nodes[l.from].id, g.nodes[l.to].id)
	if l.point >= 0 {
		return fmt.Sprintf("fit a second lockable %s in series with %s in %s", device(l.medium), l.step(), where)
	}
	if devices > 1 {
		return fmt.Sprintf("fit two lockable devices in series (each a %s) in %s", device(l.medium), where)
	}
	return fmt.Sprintf("fit a lockable %s in %s", device(l.medium), where)
}

// device is what isolates a medium (common practice, no source).
func device(m recordv1.Medium) string {
	switch m {
	case recordv1.Medium_MEDIUM_ELECTRICITY:
		return "disconnect that opens every ungrounded conductor"
	case recordv1.Medium_MEDIUM_MOTION:
		return "block or pin"
	case recordv1.Medium_MEDIUM_GRAIN:
		return "gate"
	}
	return "valve"
}
