package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const chokeClause = "1910.272(q)(1)"

var _ = declare(
	kind((*recordv1.Record).GetFoundChoked, Kind{Name: "found_choked", Called: "found choked", Class: Protects, May: anybody(), Clause: chokeClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtZone, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(f *recordv1.FoundChoked) About { return About{Zone: f.GetWhere()} },
		func(f *fields, a *recordv1.FoundChoked) {
			f.place("where", a.GetWhere())
			f.optionalText("seen", a.GetSeen())
		},
		(*step).foundChoked),
	kind((*recordv1.Record).GetClearChoke, Kind{Name: "clear_choke", Called: "choke cleared", Class: Lifts, May: whoHas(authorised, supervisor), Clause: chokeClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtRecord, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.ClearChoke) About { return About{Record: c.GetChoke()} },
		func(f *fields, a *recordv1.ClearChoke) {
			f.refText("choke", a.GetChoke())
			f.text("how", a.GetHow())
		},
		(*step).clearChoke),
)

var (
	// Choked stands until the grain is dug out. The argument how is "choked" or
	// "fed-with-grain".
	Choked = code.New("CHOKED", code.Row{Args: "where record how:word seen:text", Clause: chokeClause, Who: "authorised-supervisor", Next: "yardhasp clear-choke {record} --dug-out"})
	// ChokeNotDrawn: the leg is choked at a place where no drawing shows a zone.
	ChokeNotDrawn = code.New("CHOKE_NOT_DRAWN", code.Row{Args: "where", Clause: chokeClause})
	UnknownChoke  = code.New("UNKNOWN_CHOKE", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp board", Answer: code.Unknown})
	NotDugOut     = code.New("NOT_DUG_OUT", code.Row{Args: "where record", Clause: chokeClause, Who: "authorised-supervisor", Next: "yardhasp clear-choke {record} --dug-out"})
	// ChokeNotSeen: the record clears a choke that its yard did not yet know of.
	ChokeNotSeen = code.New("CHOKE_NOT_SEEN", code.Row{Args: "where record", Clause: chokeClause, Who: "the-signer", Next: "yardhasp clear-choke {record} --dug-out"})
	ChokeCleared = code.New("CHOKE_CLEARED", code.Row{Args: "where person how:text"})
	// VoidByChoke says why a request ended.
	VoidByChoke = code.New("VOID_BY_CHOKE", code.Row{Args: "where"})
)

// Choke is a leg that is choked or was fed with grain. It stands until it is dug out.
type Choke struct {
	Ref   string `json:"ref"`
	Where string `json:"where"` // zone or node
	// Zones are the zones that the name meant when the choke was found. A point that
	// reaches one of them can turn the leg.
	Zones []string `json:"zones,omitempty"`
	Fed   bool     `json:"fed,omitempty"`
	Seen  string   `json:"seen,omitempty"`
	At    Mark     `json:"at"`
}

// Finding says what is choked. A choked leg must never be jogged to free it.
func (c *Choke) Finding() *recordv1.Finding {
	how := "choked"
	if c.Fed {
		how = "fed-with-grain"
	}
	return Choked.About(c.Where, c.Where, c.Ref, how, c.Seen)
}

// foundChoked is never refused. It voids every open request that reaches the place.
func (x *step) foundChoked(f *recordv1.FoundChoked) {
	s := x.s
	c := &Choke{Ref: x.out.Ref, Where: f.GetWhere(), Zones: s.zonesAt(f.GetWhere()), Fed: f.GetFed(), Seen: f.GetSeen(), At: x.mark}
	s.Chokes[c.Ref] = c
	if len(c.Zones) == 0 {
		x.note(ChokeNotDrawn, c.Where, c.Where)
	}
	s.raise(c.Ref, c.Finding(), x.mark)
	x.out.Did = append(x.out.Did, c.Finding())
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && s.Turns(c, q.Points) {
			x.void(q, VoidByChoke.About(q.ID, c.Where))
		}
	}
}

func (x *step) clearChoke(r *recordv1.ClearChoke) {
	c := x.s.Chokes[r.GetChoke()]
	switch {
	case c == nil:
		x.deny(UnknownChoke, r.GetChoke(), r.GetChoke())
	case !r.GetDugOut():
		x.deny(NotDugOut, c.Where, c.Where, c.Ref)
	case !c.At.before(x.mark):
		x.deny(ChokeNotSeen, c.Where, c.Where, c.Ref)
	default:
		delete(x.s.Chokes, c.Ref)
		x.s.lower(Choked, c.Ref)
		x.did(ChokeCleared, c.Where, c.Where, x.who.ID, r.GetHow())
	}
}

// zonesAt lists the zones that a zone or node name means on the current drawings.
func (s *State) zonesAt(where string) []string {
	var out []string
	for _, id := range s.Graph().Zones() {
		z, _ := s.Graph().Zone(id)
		for _, p := range z.Parts {
			if p.Node == where {
				out = append(out, id)
				break
			}
		}
		if id == where {
			out = append(out, id)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// ChokeReached reports whether closing these points could turn what is choked. Every
// drawing counts, past or present. Anything may reach a place that is on no drawing.
func (s *State) ChokeReached(where string, points []string) bool {
	zones := s.zonesAt(where)
	return len(zones) == 0 || slices.ContainsFunc(zones, func(z string) bool { return s.CouldReach(z, points, true) })
}

// Turns reports whether closing these points could turn what is choked. It asks for the
// place itself and for the zones that it was in when found. So no revision of a drawing
// can free it.
func (s *State) Turns(c *Choke, points []string) bool {
	return s.ChokeReached(c.Where, points) || slices.ContainsFunc(c.Zones, func(z string) bool { return overlap(s.reachOf(z), points) })
}

// chokeConditions lists the chokes that closing these points would reach.
func (s *State) chokeConditions(points []string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, ref := range sorted(s.Chokes) {
		if c := s.Chokes[ref]; s.Turns(c, points) {
			cs = append(cs, c.Finding())
		}
	}
	return cs
}

// chokesFor lists what is choked in a job's zone or is reached by its plan.
func (s *State) chokesFor(j *Job) []*recordv1.Finding {
	var out []*recordv1.Finding
	for _, ref := range sorted(s.Chokes) {
		if c := s.Chokes[ref]; slices.Contains(s.zonesAt(c.Where), j.Zone) || c.Where == j.Zone || s.Turns(c, j.Plan) {
			out = append(out, c.Finding())
		}
	}
	return out
}
