package ledger

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const chokeClause = "1910.272(q)(1)"

// Choke is a leg that is choked, or that grain was fed into, until it is dug out.
type Choke struct {
	Ref   string `json:"ref"`
	Where string `json:"where"` // zone or node
	// Zones are those it meant when it was found: what reached them reaches it.
	Zones []string `json:"zones,omitempty"`
	Fed   bool     `json:"fed,omitempty"`
	Seen  string   `json:"seen,omitempty"`
	At    Mark     `json:"at"`
}

func (c *Choke) text() string {
	how := "CHOKED"
	if c.Fed {
		how = "FED WITH GRAIN"
	}
	return fmt.Sprintf("%s: %s (%s)%s: never jog a choked leg to free it", how, c.Where, c.Ref, why(c.Seen))
}

// foundChoked is never refused; every open request that reaches the place is void.
func (x *step) foundChoked(f *recordv1.FoundChoked) {
	s := x.s
	c := &Choke{Ref: x.out.Ref, Where: f.GetWhere(), Zones: s.zonesAt(f.GetWhere()), Fed: f.GetFed(), Seen: f.GetSeen(), At: x.mark}
	s.Chokes[c.Ref] = c
	if len(c.Zones) == 0 {
		x.flag("NOT_DRAWN", c.Where, "no current drawing shows a zone there: every test and every start is refused until it is cleared", chokeClause)
	}
	s.alarm("CHOKED", c.Ref, c.text(), x.mark)
	x.change("%s", c.text())
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && s.Turns(c, q.Points) {
			s.void(q, c.Where+" was found choked", x)
		}
	}
}

func (x *step) clearChoke(r *recordv1.ClearChoke) {
	c := x.s.Chokes[r.GetChoke()]
	switch {
	case c == nil:
		x.refuse("UNKNOWN_CHOKE", r.GetChoke(), "nothing choked is recorded under this reference", "read the reference on the board again", x.who.ID, "")
	case !r.GetDugOut():
		x.refuse("NOT_DUG_OUT", c.Where, "it is not said that the grain was dug out by hand", "dig it out under locks, then record it", "authorised employee or supervisor", chokeClause)
	case !c.At.before(x.mark):
		x.refuse("NOT_SEEN", c.Where, "this was written, or the grain dug out, before the choke was known there", "look again and clear it again", x.who.ID, chokeClause)
	default:
		delete(x.s.Chokes, c.Ref)
		x.s.clearAlarm("CHOKED", c.Ref)
		x.change("%s dug out by hand, says %s: %s", c.Where, x.who.ID, r.GetHow())
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

// ChokeReached reports whether closing these points could turn what is choked: by
// the structure of any drawing, past or present. A place on no drawing is reached
// by anything.
func (s *State) ChokeReached(where string, points []string) bool {
	zones := s.zonesAt(where)
	return len(zones) == 0 || slices.ContainsFunc(zones, func(z string) bool { return s.CouldReach(z, points, true) })
}

// Turns reports whether closing these points could turn what is choked, by where it
// is and by the zones that it was in: no revision narrows what reaches it.
func (s *State) Turns(c *Choke, points []string) bool {
	return s.ChokeReached(c.Where, points) || slices.ContainsFunc(c.Zones, func(z string) bool { return overlap(s.reachOf(z), points) })
}

// chokeConditions lists the chokes that closing these points would reach.
func (s *State) chokeConditions(points []string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, ref := range sorted(s.Chokes) {
		if c := s.Chokes[ref]; s.Turns(c, points) {
			cs = append(cs, cond("CHOKED", c.Where, c.text(), "dig it out by hand under locks, then an authorised employee or supervisor records it", "authorised employee or supervisor", chokeClause))
		}
	}
	return cs
}

// chokesFor lists in words what is choked in a job's zone, or is reached by its plan.
func (s *State) chokesFor(j *Job) []string {
	var out []string
	for _, ref := range sorted(s.Chokes) {
		if c := s.Chokes[ref]; slices.Contains(s.zonesAt(c.Where), j.Zone) || c.Where == j.Zone || s.Turns(c, j.Plan) {
			out = append(out, c.text())
		}
	}
	return out
}
