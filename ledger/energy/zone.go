package energy

import (
	"cmp"
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Zone is a place people work in.
type Zone struct {
	ID    string // "yard/zone"
	Yard  string
	Name  string
	Label string
	// Parts are, by node, what a person there can touch, or what can move, burn or bury
	// them.
	Parts []Part
	// Isolation is what the zone needs. It is never unspecified: the default is filled
	// in.
	Isolation recordv1.Isolation
	// WaivedBy and WaivedWhy are set when double isolation is waived.
	WaivedBy, WaivedWhy string
	// Entered says that people enter it: a bin or a pit.
	Entered bool
	// Bin is the entered zone whose grain this zone shares: itself when it is entered.
	// It is "" for none, and where a named person gave the reason why one device is
	// enough here.
	Bin string
}

// Part is one exposed part of a zone.
type Part struct {
	Node  string // node id
	Media []recordv1.Medium
}

// Surrounds reports whether a person in the zone stands in what the node holds: its
// grain, its air or its chemical. Two zones that share such a node are one place.
func (p Part) Surrounds() bool {
	return slices.ContainsFunc(p.Media, func(m recordv1.Medium) bool {
		return m == recordv1.Medium_MEDIUM_GRAIN || m == recordv1.Medium_MEDIUM_AIR || m == recordv1.Medium_MEDIUM_CHEMICAL
	})
}

type zone struct {
	Zone
	parts []int32 // nodes, in the order of Parts
}

func (g *Graph) addZones(ds []*recordv1.Drawing) {
	for _, d := range ds {
		for _, z := range d.GetZones() {
			v := zone{Zone: Zone{ID: d.GetYard() + "/" + z.GetName(), Yard: d.GetYard(), Name: z.GetName(), Label: z.GetLabel(),
				Isolation: isolation(z), Entered: z.GetEntered()}}
			if v.Isolation != defaultIsolation(z) && v.Isolation == recordv1.Isolation_ISOLATION_SINGLE {
				v.WaivedBy, v.WaivedWhy = z.GetWaivedBy(), z.GetWaivedWhy()
			}
			for _, p := range z.GetParts() {
				v.parts = append(v.parts, g.node(d, p.GetNode()))
				media := slices.Clone(p.GetMedia())
				slices.Sort(media)
				v.Parts = append(v.Parts, Part{Node: g.nodes[v.parts[len(v.parts)-1]].id, Media: media})
			}
			slices.Sort(v.parts) // nodes are numbered by id
			slices.SortFunc(v.Parts, func(a, b Part) int { return cmp.Compare(a.Node, b.Node) })
			g.zones = append(g.zones, v)
		}
	}
	slices.SortFunc(g.zones, func(a, b zone) int { return cmp.Compare(a.ID, b.ID) })
	g.zoneAt = make(map[string]int32, len(g.zones))
	for i := range g.zones {
		g.zoneAt[g.zones[i].ID] = int32(i)
	}
	g.findBins()
}

func (g *Graph) findBins() {
	at := map[string]string{} // node -> an entered zone with its grain
	for i := range g.zones {
		z := &g.zones[i]
		if !z.Entered {
			continue
		}
		z.Bin = z.ID
		for _, n := range z.grain() {
			at[n] = z.ID
		}
	}
	for i := range g.zones {
		if z := &g.zones[i]; !z.Entered && z.WaivedBy == "" {
			for _, n := range z.grain() {
				z.Bin = cmp.Or(z.Bin, at[n])
			}
		}
	}
}

// grain lists the nodes whose grain people in the zone are exposed to.
func (z *Zone) grain() []string {
	var out []string
	for _, p := range z.Parts {
		if slices.Contains(p.Media, recordv1.Medium_MEDIUM_GRAIN) {
			out = append(out, p.Node)
		}
	}
	return out
}

// Zones returns the ids of all zones, sorted.
func (g *Graph) Zones() []string {
	ids := make([]string, len(g.zones))
	for i := range g.zones {
		ids[i] = g.zones[i].ID
	}
	return ids
}

// Zone returns one zone.
func (g *Graph) Zone(id string) (Zone, bool) {
	z, err := g.zone(id)
	if err != nil {
		return Zone{}, false
	}
	v := z.Zone
	v.Parts = make([]Part, len(z.Parts))
	for i, p := range z.Parts {
		v.Parts[i] = Part{Node: p.Node, Media: slices.Clone(p.Media)}
	}
	return v, true
}

// Isolation returns what a zone needs, with the default filled in: single or double. It
// is unspecified for a zone that is not on the drawings.
func (g *Graph) Isolation(id string) recordv1.Isolation {
	z, err := g.zone(id)
	if err != nil {
		return recordv1.Isolation_ISOLATION_UNSPECIFIED
	}
	return z.Isolation
}

func (g *Graph) zone(id string) (*zone, error) {
	i, ok := g.zoneAt[id]
	if !ok {
		return nil, fmt.Errorf("zone %q isn't in the current drawings: name one as \"yard/zone\"", id)
	}
	return &g.zones[i], nil
}

// ask resolves a zone and the level asked of it.
func (g *Graph) ask(id string, level recordv1.Isolation) (*zone, recordv1.Isolation, error) {
	z, err := g.zone(id)
	if err != nil {
		return nil, 0, err
	}
	switch level {
	case recordv1.Isolation_ISOLATION_UNSPECIFIED:
		return z, z.Isolation, nil
	case recordv1.Isolation_ISOLATION_SINGLE, recordv1.Isolation_ISOLATION_DOUBLE:
		return z, level, nil
	}
	return nil, 0, fmt.Errorf("isolation %d is unknown: ask for single or double", level)
}
