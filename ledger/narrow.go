package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const walkClause = "NFPA 70E 120.5(1)"

var _ = declare(
	kind((*recordv1.Record).GetNarrowZone, Kind{Name: "narrow_zone", Called: "drawing narrow", Class: Lifts, May: whoHas(supervisor, manager), Clause: walkClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtZone, Elsewhere: HomeOnly, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(n *recordv1.NarrowZone) About { return About{Zone: n.GetZone(), Points: n.GetPoints()} },
		func(f *fields, n *recordv1.NarrowZone) {
			f.place("zone", n.GetZone())
			f.some("points", len(n.GetPoints()))
			f.points("points", n.GetPoints())
			f.text("why", n.GetWhy())
		},
		(*step).narrowZone),
)

var (
	ZoneNotHome = code.New("ZONE_NOT_HOME", code.Row{Args: "zone yard", Who: "the-signer", Answer: code.Denied})
	// ReachUnknown: no current drawing shows the zone, so anything may reach it.
	ReachUnknown = code.New("REACH_UNKNOWN", code.Row{Args: "zone", Who: "the-signer", Next: "yardhasp drawing publish FILE", Answer: code.Unknown})
	StillReaches = code.New("STILL_REACHES", code.Row{Args: "point zone", Clause: walkClause, Who: "the-signer"})
	NeverReached = code.New("NEVER_REACHED", code.Row{Args: "point zone", Who: "the-signer", Next: "yardhasp drawing narrow {zone}"})
	// StillAt: a person is in the place, under any name of it.
	StillAt = code.New("STILL_AT_PLACE", code.Row{Args: "zone people record", Clause: "1910.147(e)(2)(i)", Who: "{people}"})
	// PermitStillAt: a person may be in the place under a permit.
	PermitStillAt = code.New("PERMIT_STILL_AT_PLACE", code.Row{Args: "zone permit people", Clause: "1910.147(e)(2)(i)", Who: "{people}", Next: "yardhasp permit close {permit}"})
	// WalkNotSeen: the record was written before its yard knew that the drawing was
	// walked.
	WalkNotSeen = code.New("WALK_NOT_SEEN", code.Row{Args: "yard revision:number", Clause: walkClause, Who: "the-signer", Next: "yardhasp drawing narrow ZONE"})
	// OwnWalk: the signer walked the drawing. Two different people must look before a
	// zone is narrowed.
	OwnWalk      = code.New("OWN_WALK", code.Row{Args: "person yard", Clause: "common practice, no source", Who: "supervisor-manager"})
	ZoneNarrowed = code.New("ZONE_NARROWED", code.Row{Args: "zone points person why:text"})
)

// OlderPoints lists the points that reach a zone on an earlier drawing only. They still
// count for people in the zone until the zone's yard takes them out (decisions.md 9).
func (s *State) OlderPoints(zone string) []string {
	now, _, err := s.ReachNow(zone, nil)
	if err != nil {
		return nil // anything may reach a zone that is no longer drawn
	}
	return slices.DeleteFunc(slices.Clone(s.Reach[zone]), func(p string) bool { return slices.Contains(now, p) })
}

// narrowZone takes such points out of a zone, and out of every other name that its place
// has at this yard. Only the journal of that yard may do so. Any promise made there
// about these points stands earlier in that journal, so it must be signed off before
// this record is taken. Another yard takes the points out of its own names. Until all
// yards have, the points count for people in the place.
func (x *step) narrowZone(n *recordv1.NarrowZone) {
	s, zone := x.s, n.GetZone()
	if YardOf(zone) != x.env.GetYard() {
		x.deny(ZoneNotHome, zone, zone, YardOf(zone))
		return
	}
	now, _, err := s.Graph().ReachNow(nil, s.drawnNames(zone)...)
	if err != nil || len(s.drawnNames(zone)) == 0 {
		x.deny(ReachUnknown, zone, zone)
		return
	}
	for _, p := range n.GetPoints() {
		switch {
		case slices.Contains(now, p):
			x.deny(StillReaches, p, p, zone)
		case !slices.Contains(s.Reach[zone], p):
			x.deny(NeverReached, p, p, zone)
		}
	}
	x.narrowOnWalked(zone, n.GetPoints())
	for _, e := range s.presentAt(zone) {
		x.narrowOver(zone, e)
	}
	for _, ref := range sorted(s.Chokes) {
		if c := s.Chokes[ref]; s.Turns(c, n.GetPoints()) {
			x.out.Conditions = append(x.out.Conditions, c.Finding())
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
	s.joinPlaces() // new places: copies of the state share the previous ones
	x.did(ZoneNarrowed, zone, zone, n.GetPoints(), x.who.ID, n.GetWhy())
}

// narrowOver refuses to narrow while somebody is in the place, under any name of it.
func (x *step) narrowOver(zone string, e Exposure) {
	if e.By == BySignOn || e.By == ByLock {
		x.deny(StillAt, zone, zone, e.People, e.Ref)
		return
	}
	x.deny(PermitStillAt, e.Ref, zone, e.Ref, e.People)
}

// narrowUnsure refuses to narrow while something ran behind one of the points without
// the ledger and the cause is not known.
func (x *step) narrowUnsure(points []string) {
	s := x.s
	for _, ref := range sorted(s.Started) {
		if st := s.Started[ref]; overlap(st.Points, points) {
			x.out.Conditions = append(x.out.Conditions, s.startedFinding(st))
		}
	}
}

// narrowOnWalked refuses to narrow on a drawing that nobody compared with the steel,
// that proved wrong, or that the signer walked alone.
func (x *step) narrowOnWalked(zone string, points []string) {
	s := x.s
	var near []string
	for _, z := range s.PlaceOf(zone) { // the drawings of these zones made them one place
		near = append(near, YardOf(z))
	}
	for _, p := range points {
		near = append(near, YardOf(p))
	}
	for _, y := range sorted(s.Drawings) {
		d := s.Drawings[y]
		switch {
		case !d.Walked.Set():
			x.deny(NotWalked, y, y, d.Revision)
		case len(d.Suspect) > 0:
			x.deny(SuspectDrawing, y, y, d.Suspect)
		case !slices.Contains(near, y) && d.Revision == 1: // no revision of it left anything out
		case !d.Walked.before(x.mark):
			x.deny(WalkNotSeen, y, y, d.Revision)
		case d.Walked.By == x.who.ID:
			x.deny(OwnWalk, y, x.who.ID, y)
		case s.mightBeOneHand(x.signingKey(x.who.ID), s.keyAt(d.Walked.By, d.Walked.Index)):
			x.deny(OneHand, y, x.who.ID, d.Walked.By, "supervisor-manager", "common practice, no source")
		}
	}
}
