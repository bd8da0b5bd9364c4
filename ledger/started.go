package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetFoundStarted, Kind{Name: "found_started", Called: "found started", Class: Protects, May: anybody(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtFirstPoint, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(f *recordv1.FoundStarted) About { return About{Points: f.GetPoints()} },
		func(f *fields, s *recordv1.FoundStarted) {
			f.points("points", s.GetPoints())
			f.text("what", s.GetWhat())
		},
		(*step).foundStarted),
)

var (
	// FoundStarted stands until the cause is corrected. The arguments holders and
	// found_locks say whose locks hang on the points.
	FoundStarted = code.New("FOUND_STARTED", code.Row{Args: "record finder what:text points holders found_locks", Clause: "1910.147(d)(6)", Who: "a-qualified-person", Next: "yardhasp correct {record} --cause CAUSE"})
	// StartedPointUnknown: nobody registered the point, so only the alarm names it.
	StartedPointUnknown = code.New("STARTED_POINT_UNKNOWN", code.Row{Args: "point"})
	// StartedPointElsewhere: only the journal of the point's home yard says where its
	// handle is.
	StartedPointElsewhere = code.New("STARTED_POINT_ELSEWHERE", code.Row{Args: "point home", Who: "anybody-enrolled", Next: "yardhasp found-closed {point}"})
)

// Started is a start made without the ledger, until its cause is corrected.
type Started struct {
	Ref    string   `json:"ref"`
	Points []string `json:"points,omitempty"`
	What   string   `json:"what"`
	At     Mark     `json:"at"`
}

// foundStarted records that something was started without the ledger. It raises an alarm
// at every yard and never becomes an approval. If the yard whose journal takes it is the
// home of a point, that point is live from then on. It does not make the points of other
// yards live: whether a point is live depends on its home journal alone
// (protocol.md C4). That home yard must record the point as found closed. Until the cause is
// corrected, no work may start behind these points.
func (x *step) foundStarted(f *recordv1.FoundStarted) {
	s := x.s
	st := &Started{Ref: x.out.Ref, Points: slices.Sorted(slices.Values(f.GetPoints())), What: f.GetWhat(), At: x.mark}
	for _, id := range st.Points {
		p := s.Points[id]
		switch {
		case p == nil:
			x.note(StartedPointUnknown, id, id)
		case p.Yard != x.env.GetYard():
			x.note(StartedPointElsewhere, id, id, p.Yard)
		default:
			x.foundClosedBy(p, x.who.ID)
		}
	}
	s.Started[st.Ref] = st
	found := s.startedFinding(st)
	s.raise(st.Ref, found, x.mark)
	x.out.Did = append(x.out.Did, found)
}

// startedFinding says what was started without the ledger and whose locks hang on its
// points now.
func (s *State) startedFinding(st *Started) *recordv1.Finding {
	var hs []*Hold
	for _, p := range st.Points {
		hs = append(hs, s.HoldsOn(p)...)
	}
	holders, foundLocks := ownersOf(hs)
	return FoundStarted.About(st.Ref, st.Ref, st.At.By, st.What, st.Points, holders, foundLocks)
}

// startedCorrected ends the alarm of a start made without the ledger. Earlier readings
// no longer count if they rest on the drawings of the yards whose points it named.
func (x *step) startedCorrected(ref string) bool {
	st := x.s.Started[ref]
	if st == nil {
		return false
	}
	for _, p := range st.Points {
		if d := x.s.Drawings[YardOf(p)]; d != nil {
			d.Mended = x.mark
		}
	}
	delete(x.s.Started, ref)
	x.s.lower(FoundStarted, ref)
	return true
}

// startedFor lists the starts made without the ledger that concern a job: they name a
// point of its plan, or a point that may reach its zone.
func (s *State) startedFor(j *Job) []*Started {
	var out []*Started
	for _, ref := range sorted(s.Started) {
		if st := s.Started[ref]; overlap(st.Points, j.Plan) || overlap(st.Points, s.reachOf(j.Zone)) {
			out = append(out, st)
		}
	}
	return out
}
