package ledger

import (
	"maps"
	"slices"
)

// Clone returns an independent copy, equal to what Restore makes of the serialised
// state, but without writing it out. It shares what never changes once it is made: the
// joined drawings, the places, what was worked out from them, and flags.
func (s *State) Clone() *State {
	c := *s
	c.Tree = s.Tree.Clone()
	c.Yards = each(s.Yards, func(y *Yard) { y.Key, y.Hashes = slices.Clone(y.Key), slices.Clone(y.Hashes) })
	c.People = each(s.People, func(p *Person) { p.part() })
	c.Keys = each(s.Keys, func(k *Key) { k.Public = slices.Clone(k.Public) })
	c.Invites = each(s.Invites, func(i *Invitation) { i.Whom = slices.Clone(i.Whom) })
	c.Padlocks = each(s.Padlocks, func(*Padlock) {})
	c.Points = each(s.Points, func(*Point) {})
	c.Boxes = each(s.Boxes, func(b *Box) { b.Points = maps.Clone(b.Points) })
	c.Drawings = each(s.Drawings, func(d *Drawing) { d.Bytes, d.Suspect = slices.Clone(d.Bytes), slices.Clone(d.Suspect) })
	c.Reach = maps.Clone(s.Reach)
	for z, points := range c.Reach {
		c.Reach[z] = slices.Clone(points)
	}
	c.Narrowed = maps.Clone(s.Narrowed)
	c.Meant = maps.Clone(s.Meant)
	for z, nodes := range c.Meant {
		c.Meant[z] = maps.Clone(nodes)
	}
	c.Jobs = each(s.Jobs, (*Job).part)
	c.Holds = each(s.Holds, (*Hold).part)
	c.Troubles = each(s.Troubles, func(*Trouble) {})
	c.Chokes = each(s.Chokes, func(k *Choke) { k.Zones = slices.Clone(k.Zones) })
	c.SignOns = each(s.SignOns, func(so *SignOn) { so.Promised = slices.Clone(so.Promised) })
	c.Reqs = each(s.Reqs, func(q *Request) {
		q.Points, q.Involved = slices.Clone(q.Points), slices.Clone(q.Involved)
		q.Attested, q.Energised = slices.Clone(q.Attested), slices.Clone(q.Energised)
	})
	c.Tickets = each(s.Tickets, func(*TicketState) {})
	c.UnacknowledgedRemovals = each(s.UnacknowledgedRemovals, func(*UnacknowledgedRemoval) {})
	c.Started = each(s.Started, func(st *Started) { st.Points = slices.Clone(st.Points) })
	c.WorkPermits = each(s.WorkPermits, func(p *WorkPermit) {
		p.Named, p.Watchers, p.Agents, p.ClosedPaths = slices.Clone(p.Named), slices.Clone(p.Watchers), slices.Clone(p.Agents), maps.Clone(p.ClosedPaths)
		p.Because = slices.Clone(p.Because)
	})
	c.Air = each(s.Air, func(a *Air) { a.Tests = each(a.Tests, func(t *AirTest) { t.Bad = maps.Clone(t.Bad) }) })
	c.Watches = each(s.Watches, func(*Watch) {})
	c.Fumigations = each(s.Fumigations, func(f *Fumigation) { f.Connected, f.Places = slices.Clone(f.Connected), slices.Clone(f.Places) })
	c.Procs = each(s.Procs, (*Procedure).part)
	c.Required = each(s.Required, func(*Required) {})
	c.Used = maps.Clone(s.Used)
	for z, who := range c.Used {
		c.Used[z] = maps.Clone(who)
	}
	c.Exchanges = each(s.Exchanges, func(e *Exchange) { e.Hazards = slices.Clone(e.Hazards) })
	c.Alarms, c.Ended = slices.Clone(s.Alarms), slices.Clone(s.Ended)

	c.active, c.inside = make(map[string]*Hold, len(s.active)), make(map[string]*SignOn, len(s.inside))
	for ref := range s.active {
		c.active[ref] = c.Holds[ref]
	}
	for ref := range s.inside {
		c.inside[ref] = c.SignOns[ref]
	}
	c.verdicts, c.proofs, c.stores = maps.Clone(s.verdicts), maps.Clone(s.proofs), maps.Clone(s.stores)
	c.exceptions = maps.Clone(s.exceptions)
	return &c
}

// part gives a copied job its own maps and lists.
func (j *Job) part() {
	j.Plan, j.Crew, j.Affected = slices.Clone(j.Plan), slices.Clone(j.Crew), slices.Clone(j.Affected)
	j.ToldBefore, j.ToldAfter, j.Released = maps.Clone(j.ToldBefore), maps.Clone(j.ToldAfter), maps.Clone(j.Released)
	j.Looked, j.LastHold, j.LastOff, j.LastOn = maps.Clone(j.Looked), maps.Clone(j.LastHold), maps.Clone(j.LastOff), maps.Clone(j.LastOn)
	j.Readings = each(j.Readings, func(*Proof) {})
	j.Found = each(j.Found, func(*Found) {})
	j.Crews = each(j.Crews, func(k *Crew) { k.People = slices.Clone(k.People) })
	j.Verified = each(j.Verified, func(*Answer) {})
}

func (p *Person) part() {
	p.Roles = slices.Clone(p.Roles)
	p.Courses = each(p.Courses, func(*Course) {})
	p.Retrain = each(p.Retrain, func(*Retrain) {})
}

func (p *Procedure) part() {
	for _, v := range []*Version{&p.Current, &p.Waiting} {
		v.Machines, v.Points, v.Drawings = slices.Clone(v.Machines), slices.Clone(v.Points), slices.Clone(v.Drawings)
	}
	p.Inspected.Employees = slices.Clone(p.Inspected.Employees)
	p.Reviewed = maps.Clone(p.Reviewed)
}

// part gives a copied hold its own lists.
func (h *Hold) part() {
	h.Flags = slices.Clone(h.Flags)
	if h.Tag != nil {
		t := *h.Tag
		t.Means = slices.Clone(t.Means)
		h.Tag = &t
	}
}

// each copies a map and the values it points to. part then copies the lists inside them.
func each[V any](m map[string]*V, part func(*V)) map[string]*V {
	if m == nil {
		return nil
	}
	c := make(map[string]*V, len(m))
	for k, v := range m {
		if v == nil {
			c[k] = nil
			continue
		}
		w := *v
		part(&w)
		c[k] = &w
	}
	return c
}
