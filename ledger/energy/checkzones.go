package energy

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// defaultIsolation is the rule where the drawing names none. Double isolation is needed
// where people enter, where grain can come, for fuel gas and for chemicals. Otherwise
// single isolation is enough (after UK HSE HSG253: entry and toxic fluids want positive
// isolation; clause details from memory).
func defaultIsolation(z *recordv1.Zone) recordv1.Isolation {
	if z.GetEntered() {
		return recordv1.Isolation_ISOLATION_DOUBLE
	}
	for _, p := range z.GetParts() {
		for _, m := range p.GetMedia() {
			switch m {
			case recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_FUEL_GAS, recordv1.Medium_MEDIUM_CHEMICAL:
				return recordv1.Isolation_ISOLATION_DOUBLE
			}
		}
	}
	return recordv1.Isolation_ISOLATION_SINGLE
}

// isolation is what a zone needs. A waiver needs a name and a reason, or it is ignored.
func isolation(z *recordv1.Zone) recordv1.Isolation {
	def := defaultIsolation(z)
	switch z.GetIsolation() {
	case recordv1.Isolation_ISOLATION_DOUBLE:
		return recordv1.Isolation_ISOLATION_DOUBLE
	case recordv1.Isolation_ISOLATION_SINGLE:
		if !blank(z.GetWaivedBy()) && !blank(z.GetWaivedWhy()) {
			return recordv1.Isolation_ISOLATION_SINGLE
		}
	}
	return def
}

func (c *checker) zones() {
	seen := make(map[string]int, len(c.d.GetZones()))
	for i, z := range c.d.GetZones() {
		at := func(field string) string { return fmt.Sprintf("zones[%d].%s", i, field) }
		if !ValidName(z.GetName()) {
			c.bad(at("name"), "%q is no zone name: %s", z.GetName(), nameRule)
		}
		if j, twice := seen[z.GetName()]; twice {
			c.bad(at("name"), "zone %q is already zones[%d]: give each its own name", z.GetName(), j)
		} else {
			seen[z.GetName()] = i
		}
		for _, t := range []struct{ field, text string }{{"label", z.GetLabel()}, {"waived_by", z.GetWaivedBy()}, {"waived_why", z.GetWaivedWhy()}} {
			if !plain(t.text) {
				c.bad(at(t.field), "%s is too long or holds control characters: keep it to plain text of at most %d bytes", t.field, MaxText)
			}
		}
		c.waiver(i, z)
		if len(z.GetParts()) == 0 {
			c.bad(at("parts"), "zone %q has no exposed part: name what people there can touch", z.GetName())
		}
		if len(z.GetParts()) > MaxParts {
			c.bad(at("parts"), "zone %q has more than %d parts: split it", z.GetName(), MaxParts)
			continue
		}
		c.parts(i, z)
	}
}

func (c *checker) waiver(i int, z *recordv1.Zone) {
	at := func(field string) string { return fmt.Sprintf("zones[%d].%s", i, field) }
	if _, ok := recordv1.Isolation_name[int32(z.GetIsolation())]; !ok {
		c.bad(at("isolation"), "zone %q has no known isolation: single, double, or leave it out", z.GetName())
		return
	}
	single := z.GetIsolation() == recordv1.Isolation_ISOLATION_SINGLE
	if !single || defaultIsolation(z) != recordv1.Isolation_ISOLATION_DOUBLE {
		if z.GetWaivedBy() != "" || z.GetWaivedWhy() != "" {
			c.warn(at("waived_by"), "zone %q waives nothing: take waived_by and waived_why off", z.GetName())
		}
		return
	}
	if blank(z.GetWaivedBy()) {
		c.bad(at("waived_by"), "zone %q needs double isolation: name who waives it, or leave isolation out", z.GetName())
	}
	if blank(z.GetWaivedWhy()) {
		c.bad(at("waived_why"), "zone %q needs double isolation: say why it is waived, or leave isolation out", z.GetName())
	}
}

func (c *checker) parts(i int, z *recordv1.Zone) {
	seen := make(map[string]int, len(z.GetParts()))
	for j, p := range z.GetParts() {
		at := func(field string) string { return fmt.Sprintf("zones[%d].parts[%d].%s", i, j, field) }
		if id, ok := c.node(func() string { return at("node") }, p.GetNode()); ok {
			if k, twice := seen[id]; twice {
				c.bad(at("node"), "%s is already parts[%d]: name each part once, with all its media", id, k)
			} else {
				seen[id] = j
			}
		}
		if len(p.GetMedia()) == 0 {
			c.bad(at("media"), "part %q lists no medium: without one nothing there is proved dead", p.GetNode())
		}
		for k, m := range p.GetMedia() {
			field := fmt.Sprintf("zones[%d].parts[%d].media[%d]", i, j, k)
			if !knownMedium(m) {
				c.bad(field, "part %q has an unknown medium: spell one out", p.GetNode())
			} else if slices.Contains(p.GetMedia()[:k], m) {
				c.bad(field, "part %q lists %s twice: once is enough", p.GetNode(), mediumWord(m))
			}
			if k >= len(recordv1.Medium_name) {
				break // more than all known media: the repeats are reported
			}
		}
	}
}

// dangles reports nodes that the drawings of other yards name and d no longer has.
func (c *checker) dangles(others []*recordv1.Drawing) {
	yard := c.d.GetYard()
	for _, o := range others {
		lost := func(ref string) (string, bool) {
			id, ok := qualify(o.GetYard(), ref)
			if !ok || yardOf(id) != yard {
				return "", false
			}
			_, have := c.ix.nodes[id]
			return id, !have
		}
		for _, n := range o.GetNodes() {
			for _, m := range n.GetStarts() {
				if id, gone := lost(m); gone {
					c.bad("nodes", "control %s/%s starts %s, which this drawing no longer has: keep it, or change that yard's drawing first", o.GetYard(), n.GetName(), id)
				} else if id != "" && c.ix.nodes[id] != recordv1.NodeKind_NODE_KIND_MACHINE {
					c.bad("nodes", "control %s/%s starts %s, which is no machine in this drawing: keep its kind, or change that yard's drawing first", o.GetYard(), n.GetName(), id)
				}
			}
		}
		for _, l := range o.GetLinks() {
			if id, _ := qualify(o.GetYard(), l.GetTo()); l.GetOneWay() != "" && l.GetMedium() == recordv1.Medium_MEDIUM_ELECTRICITY && yardOf(id) == yard && c.ix.feedsBack[id] {
				c.bad("nodes", "link %s/%s is one-way into %s, which can feed its supply back in this drawing: change that yard's drawing first", o.GetYard(), l.GetName(), id)
			}
			for _, ref := range []string{l.GetFrom(), l.GetTo()} {
				if id, gone := lost(ref); gone {
					c.bad("nodes", "link %s/%s ends at %s, which this drawing no longer has: keep it, or change that yard's drawing first", o.GetYard(), l.GetName(), id)
				}
			}
		}
		for _, z := range o.GetZones() {
			for _, p := range z.GetParts() {
				if id, gone := lost(p.GetNode()); gone {
					c.bad("nodes", "zone %s/%s exposes %s, which this drawing no longer has: keep it, or change that yard's drawing first", o.GetYard(), z.GetName(), id)
				}
			}
		}
	}
}
