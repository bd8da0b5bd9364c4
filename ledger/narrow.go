package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const walkClause = "NFPA 70E 120.5(1)"

// OlderPoints lists the points that reach a zone by an older drawing alone. They
// count for whoever is in it until the zone's yard takes them out (decisions.md 9).
func (s *State) OlderPoints(zone string) []string {
	now, err := s.Graph().Reach(zone)
	if err != nil {
		return nil // a zone that left the drawings is reached by anything
	}
	return slices.DeleteFunc(slices.Clone(s.Reach[zone]), func(p string) bool { return slices.Contains(now, p) })
}

// narrowZone takes such points out, in the journal of the zone's yard alone: what was
// promised there before was written before, and is signed off before this is taken.
func (x *step) narrowZone(n *recordv1.NarrowZone) {
	s, zone := x.s, n.GetZone()
	if YardOf(zone) != x.env.GetYard() {
		x.refuse("NOT_HOME", zone, "what reaches a zone is taken back only at its own yard "+YardOf(zone), "record it there", x.who.ID, "")
		return
	}
	now, err := s.Graph().Reach(zone)
	if err != nil {
		x.refuse("UNKNOWN_ZONE", zone, "no current drawing shows this zone: anything may reach it", "publish a drawing with it, or read its name again", x.who.ID, "")
		return
	}
	for _, p := range n.GetPoints() {
		switch {
		case slices.Contains(now, p):
			x.refuse("STILL_REACHES", p, p+" reaches "+zone+" on the current drawings", "leave it out, or correct the drawing", x.who.ID, walkClause)
		case !slices.Contains(s.Reach[zone], p):
			x.refuse("NEVER_REACHED", p, "no drawing shows "+p+" reaching "+zone+", or it was taken out already", "read the list again", x.who.ID, "")
		}
	}
	x.narrowOnWalked(zone, n.GetPoints())
	for _, who := range s.about(zone) {
		x.refuse("STILL_ON", zone, who+" is signed on there or has a lock on for work there", "they take off their locks and sign off the zone", who, "1910.147(e)(2)(i)")
	}
	for _, ref := range sorted(s.Chokes) {
		if c := s.Chokes[ref]; s.Turns(c, n.GetPoints()) {
			x.out.Conditions = append(x.out.Conditions, c.finding())
		}
	}
	x.narrowUnsure(zone, n.GetPoints())
	if x.refused() {
		return
	}
	s.Narrowed[zone] = x.mark
	s.Reach[zone] = slices.DeleteFunc(slices.Clone(s.Reach[zone]), func(p string) bool { return slices.Contains(n.GetPoints(), p) })
	x.change("%s is reached no longer by %s, says %s: %s", zone, strings.Join(n.GetPoints(), ", "), x.who.ID, n.GetWhy())
}

// narrowUnsure refuses it while a permit has people at work in the zone, signed on or
// not, and while it is not known what ran without the ledger behind a point.
func (x *step) narrowUnsure(zone string, points []string) {
	s := x.s
	for _, id := range sorted(s.WorkPermits) {
		if p := s.WorkPermits[id]; p.Zone == zone && p.open() && (p.binEntry() || !p.Done.Set()) {
			x.refuse("PERMIT_OPEN", id, "permit "+id+" for "+PermitWord(p.Kind)+" there is not over: "+strings.Join(p.Named, ", "), "they come out; the permit is closed, or the hot work recorded as over", namesOr(p.Named, ""), "1910.147(e)(2)(i)")
		}
	}
	for _, ref := range sorted(s.Started) {
		if st := s.Started[ref]; overlap(st.Points, points) {
			x.out.Conditions = append(x.out.Conditions, s.startedFinding(st))
		}
	}
}

// narrowOnWalked refuses it on a drawing that nobody compared with the steel, that
// proved wrong, or that the signer walked alone.
func (x *step) narrowOnWalked(zone string, points []string) {
	s := x.s
	near := []string{YardOf(zone)}
	for _, p := range points {
		near = append(near, YardOf(p))
	}
	for _, y := range sorted(s.Plans) {
		d := s.Plans[y]
		switch {
		case !d.Walked.Set():
			x.refuse("NOT_WALKED", y, fmt.Sprintf("nobody has walked the drawing of %s revision %d against the steel", y, d.Revision), "a qualified person walks it and signs", "a qualified person", walkClause)
		case len(d.Suspect) > 0:
			x.refuse("SUSPECT_DRAWING", y, "something was found live on the drawing of "+y+": it can't be relied on", "a qualified person finds and corrects the cause", "a qualified person", walkClause)
		case !slices.Contains(near, y) && d.Revision == 1: // no revision of it left anything out
		case !d.Walked.before(x.mark):
			x.refuse("NOT_SEEN", y, fmt.Sprintf("this was signed or written before it was known there that the drawing of %s revision %d was walked", y, d.Revision), "read the drawings and the list again, and sign it anew", x.who.ID, walkClause)
		case d.Walked.By == x.who.ID:
			x.refuse("OWN_WALK", y, x.who.ID+" walked the drawing of "+y+": two people look before a zone is narrowed", "another supervisor or manager signs", "supervisor or manager", "common practice, no source")
		case overlap(s.hands(x.signingKey(x.who.ID)), s.hands(s.keyAt(d.Walked.By, d.Walked.Index))):
			x.refuse("ONE_HAND", y, x.oneHandText(d.Walked.By), "another supervisor or manager signs", "supervisor or manager", "common practice, no source")
		}
	}
}

// about names who is signed on to a zone or has a lock on for work there, by whatever
// job; with somebody on a job that nobody knows, who may be anywhere.
func (s *State) about(zone string) []string {
	var out []string
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; j.Zone == zone {
			out = append(out, s.atRisk(j, nil)...)
		}
	}
	for _, ref := range sorted(s.inside) {
		if so := s.inside[ref]; s.Jobs[so.Job] == nil {
			out = append(out, so.Person)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
