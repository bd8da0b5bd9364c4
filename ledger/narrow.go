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
	now, _, err := s.ReachNow(zone, nil)
	if err != nil {
		return nil // a zone that left the drawings is reached by anything
	}
	return slices.DeleteFunc(slices.Clone(s.Reach[zone]), func(p string) bool { return slices.Contains(now, p) })
}

// narrowZone takes such points out of a zone and of every other name that its place has
// at this yard, in the journal of that yard alone: what was promised there before was
// written before, and is signed off before this is taken. Another yard takes them out of
// its own names; until all have, they count for whoever is in the place.
func (x *step) narrowZone(n *recordv1.NarrowZone) {
	s, zone := x.s, n.GetZone()
	if YardOf(zone) != x.env.GetYard() {
		x.refuse("NOT_HOME", zone, "what reaches a zone is taken back only at its own yard "+YardOf(zone), "record it there", x.who.ID, "")
		return
	}
	now, _, err := s.Graph().ReachNow(nil, s.drawnNames(zone)...)
	if err != nil || len(s.drawnNames(zone)) == 0 {
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
	for _, e := range s.presentAt(zone) {
		x.narrowOver(zone, e)
	}
	for _, ref := range sorted(s.Chokes) {
		if c := s.Chokes[ref]; s.Turns(c, n.GetPoints()) {
			x.refuse("CHOKED", c.Where, c.text(), "dig it out by hand under locks, and record it", "authorised employee or supervisor", chokeClause)
		}
	}
	x.narrowUnsure(n.GetPoints())
	if x.refused() {
		return
	}
	for _, z := range s.PlaceOf(zone) {
		if YardOf(z) == YardOf(zone) {
			s.Narrowed[z] = x.mark
			s.Reach[z] = slices.DeleteFunc(slices.Clone(s.Reach[z]), func(p string) bool { return slices.Contains(n.GetPoints(), p) })
		}
	}
	s.joinPlaces() // afresh: copies of the state share the old ones
	x.change("%s is reached no longer by %s, says %s: %s", zone, strings.Join(n.GetPoints(), ", "), x.who.ID, n.GetWhy())
}

// narrowOver refuses it over somebody who is in the place, by whatever name of it.
func (x *step) narrowOver(zone string, e Exposure) {
	const clause = "1910.147(e)(2)(i)"
	names := namesOr(e.People, "")
	if e.By == BySignOn || e.By == ByLock {
		x.refuse("STILL_ON", zone, names+" is signed on there or has a lock on for work there", "they take off their locks and sign off the zone", names, clause)
		return
	}
	p := x.s.WorkPermits[e.Ref]
	x.refuse("PERMIT_OPEN", p.ID, "permit "+p.ID+" for "+PermitWord(p.Kind)+" there is not over: "+names, "they come out; the permit is closed, or the hot work recorded as over", names, clause)
}

// narrowUnsure refuses it while it is not known what ran without the ledger behind a
// point.
func (x *step) narrowUnsure(points []string) {
	s := x.s
	for _, ref := range sorted(s.Started) {
		if st := s.Started[ref]; overlap(st.Points, points) {
			x.refuse("FOUND_STARTED", ref, st.text(), "a qualified person finds and corrects the cause", "a qualified person", "1910.147(d)(6)")
		}
	}
}

// narrowOnWalked refuses it on a drawing that nobody compared with the steel, that
// proved wrong, or that the signer walked alone.
func (x *step) narrowOnWalked(zone string, points []string) {
	s := x.s
	var near []string
	for _, z := range s.PlaceOf(zone) { // what made them one place is drawn there
		near = append(near, YardOf(z))
	}
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
