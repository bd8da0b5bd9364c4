package ledger

import (
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// ExposedBy is the kind of record by which the ledger knows that somebody may be hurt.
type ExposedBy int

// BySignOn is a sign-on. ByLock is a lock hung for work. ByBinEntry is a permit for bin
// entry that is not closed. ByHotWork is hot work that nobody has declared over.
const (
	BySignOn ExposedBy = iota + 1
	ByLock
	ByBinEntry
	ByHotWork
)

// Exposure is a person, or a group of people, who may be hurt. It says where they are
// and by which record the ledger knows it.
type Exposure struct {
	By ExposedBy
	// People is one person, or the people whom a permit names. It is [""] for a lock
	// whose owner is not known.
	People []string
	Job    string
	// Zone is where the people are. It is "" where nobody knows: they may be in any
	// place.
	Zone string
	Ref  string // the reference of the sign-on, lock or permit
	// Promised are the points that a yard promised, at sign-on, to keep off.
	Promised []string
}

// Finding is the finding that says who may be hurt and where.
func (e *Exposure) Finding() *recordv1.Finding {
	switch {
	case e.By == ByLock:
		return LockedForWork.About(e.Ref, e.People, e.Job, e.Zone, e.Ref)
	case e.By == ByBinEntry:
		return MayBeInside.About(e.Ref, e.People, e.Zone, e.Ref)
	case e.By == ByHotWork:
		return MayBeAtHotWork.About(e.Ref, e.People, e.Zone, e.Ref)
	case e.Zone == "":
		return MayBeAnywhere.About(e.Ref, e.People, e.Job, e.Ref)
	}
	return InZone.About(e.Ref, e.People, e.Job, e.Zone, e.Ref)
}

var (
	// These say who may be hurt, and by which record the ledger knows it.
	InZone         = code.New("SIGNED_ON_IN_ZONE", code.Row{Args: "people job zone record", Clause: insideClause, Who: "{people}", Next: "yardhasp sign-off {record}"})
	LockedForWork  = code.New("LOCK_FOR_WORK", code.Row{Args: "people job zone record", Clause: insideClause, Who: "{people}", Next: "yardhasp release {record}"})
	MayBeInside    = code.New("MAY_BE_INSIDE", code.Row{Args: "people zone permit", Clause: "1910.272(g)(1)(ii)", Who: "supervisor-manager", Next: "yardhasp permit close {permit}"})
	MayBeAtHotWork = code.New("MAY_BE_AT_HOT_WORK", code.Row{Args: "people zone permit", Clause: insideClause, Who: "{people}", Next: "yardhasp permit hot-work-done {permit}"})
	MayBeAnywhere  = code.New("MAY_BE_ANYWHERE", code.Row{Args: "people job record", Clause: insideClause, Who: "{people}", Next: "yardhasp sign-off {record}"})

	// These stand against closing points.
	ReachesBinEntry = code.New("REACHES_BIN_ENTRY", code.Row{Args: "points zone permit", Clause: "1910.272(g)(1)(ii)", Who: "supervisor-manager", Next: "yardhasp permit close {permit}"})
	ReachesHotWork  = code.New("REACHES_HOT_WORK", code.Row{Args: "points zone permit people", Clause: insideClause, Who: "{people}", Next: "yardhasp permit hot-work-done {permit}"})
	// ReachesAnywhere: somebody is signed on to a job that the ledger does not know.
	ReachesAnywhere = code.New("REACHES_ANYWHERE", code.Row{Args: "people job record", Clause: insideClause, Who: "{people}", Next: "yardhasp sign-off {record}"})
	// ReachesPeople: energy could come to the place where these people are. The argument
	// names lists the other names of that place on the drawings.
	ReachesPeople = code.New("REACHES_PEOPLE", code.Row{Args: "points zone names job people", Clause: insideClause, Who: "{people}"})
	// Promised: a yard promised at sign-on that these points stay off.
	Promised = code.New("PROMISED", code.Row{Args: "person points record", Clause: insideClause, Who: "{person}", Next: "yardhasp sign-off {record}"})

	// MayBeReached is a warning about people inside. Points that could reach them may be
	// closed, or lost what kept them off.
	MayBeReached          = code.New("MAY_BE_REACHED", code.Row{Args: "because:why who:why", Clause: insideClause})
	PointsUnsureAfterLoss = code.New("POINTS_UNSURE_AFTER_LOSS", code.Row{Args: "yard"})
	RemovedLockKeptOff    = code.New("REMOVED_LOCK_KEPT_OFF", code.Row{Args: "record"})
)

// insideClause demands that everybody is out of the way before a start.
const insideClause = "1910.147(e)(2)(i)"

// inside reports whether these people may be inside although no lock of theirs is on.
func (e *Exposure) inside() bool { return e.By != ByLock }

// Exposed answers the question: who may be hurt if these points close? (decisions.md 32;
// design.md, The fine print). It lists everybody in a place that these points could
// bring energy to. All names of the place count. It does not matter which points a
// person locked. It also lists everybody who was promised that one of these points stays
// off.
//
// A lock does not count if its holder stood clear of it for the request q. While a test
// is being asked for, q is not yet a request (its index is unset). Then no lock counts,
// because the holders stand clear after the test is asked for. People inside still
// count: nobody may be inside during a test.
func (s *State) Exposed(points []string, q *Request) []Exposure {
	type question struct {
		zone   string
		inside bool
	}
	known := map[question]bool{}
	reached := func(zone string, inside bool) bool {
		ask := question{zone, inside}
		if _, asked := known[ask]; !asked {
			known[ask] = s.CouldReach(zone, points, inside)
		}
		return known[ask]
	}
	return slices.DeleteFunc(s.presence(q), func(e Exposure) bool {
		inside := e.inside() || len(s.signedOn(e.Job)) > 0 // the holder of a lock may be inside together with those who signed on
		return e.Zone != "" && !overlap(e.Promised, points) && !reached(e.Zone, inside)
	})
}

// presence lists everybody who is or may be in some place. It treats the request q as
// Exposed does. It includes the people of a closed job: their sign-on may have reached
// the ledger after the job was closed.
func (s *State) presence(q *Request) []Exposure {
	var out []Exposure
	for _, ref := range sorted(s.inside) {
		if so := s.inside[ref]; s.Jobs[so.Job] == nil {
			out = append(out, Exposure{By: BySignOn, People: []string{so.Person}, Job: so.Job, Ref: ref, Promised: so.Promised})
		}
	}
	for _, id := range sorted(s.Jobs) {
		out = append(out, s.atWork(s.Jobs[id], q)...)
	}
	for _, id := range sorted(s.WorkPermits) {
		p := s.WorkPermits[id]
		switch {
		case !p.open():
		case p.binEntry():
			out = append(out, Exposure{By: ByBinEntry, People: p.Named, Job: p.Job, Zone: p.Zone, Ref: id})
		case !p.Done.Set(): // the fire watch after it stands clear of the machine
			out = append(out, Exposure{By: ByHotWork, People: p.Named, Job: p.Job, Zone: p.Zone, Ref: id})
		}
	}
	return out
}

// atWork lists who is signed on to a job, or has a lock on for it. A lock that names no
// open job counts for every open job whose plan it touches.
func (s *State) atWork(j *Job, q *Request) []Exposure {
	var out []Exposure
	for _, so := range s.signedOn(j.ID) {
		out = append(out, Exposure{By: BySignOn, People: []string{so.Person}, Job: j.ID, Zone: j.Zone, Ref: so.Ref, Promised: so.Promised})
	}
	if q != nil && q.Test() && !q.By.Set() {
		return out
	}
	for _, ref := range sorted(s.active) {
		h := s.active[ref]
		if !h.StoodClearFor(q) && (h.Job == j.ID || !j.Closed.Set() && s.unclaimed(h) && overlap(s.Covers(h), j.Plan)) {
			out = append(out, Exposure{By: ByLock, People: []string{h.Holder}, Job: j.ID, Zone: j.Zone, Ref: ref})
		}
	}
	return out
}

// presentAt lists who is or may be in the place of a zone. A person signed on to a zone
// that no current drawing shows may be in any place.
func (s *State) presentAt(zone string) []Exposure {
	return slices.DeleteFunc(s.presence(nil), func(e Exposure) bool {
		return e.Zone != "" && s.drawn(e.Zone) && !s.samePlace(e.Zone, zone)
	})
}

// insideAt lists the sign-ons of everybody who is, or may be, in the place of a zone.
func (s *State) insideAt(zone string) []*SignOn {
	var out []*SignOn
	for _, e := range s.presentAt(zone) {
		if e.By == BySignOn {
			out = append(out, s.SignOns[e.Ref])
		}
	}
	slices.SortFunc(out, func(a, b *SignOn) int { return strings.Compare(a.Ref, b.Ref) })
	return out
}

// namesOf lists the people of these exposures, sorted, each person once.
func namesOf(es []Exposure) []string {
	var out []string
	for _, e := range es {
		out = append(out, e.People...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// peopleConditions lists the people who stand against closing these points.
func (s *State) peopleConditions(q *Request, points []string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	of := map[string][]Exposure{} // by job
	for _, e := range s.Exposed(points, q) {
		switch {
		case e.By == ByBinEntry:
			cs = append(cs, ReachesBinEntry.About(e.Ref, points, e.Zone, e.Ref))
		case e.By == ByHotWork:
			cs = append(cs, ReachesHotWork.About(e.Ref, points, e.Zone, e.Ref, e.People))
		case e.Zone == "":
			cs = append(cs, ReachesAnywhere.About(e.Job, e.People, e.Job, e.Ref))
		default:
			of[e.Job] = append(of[e.Job], e)
		}
	}
	for _, id := range sorted(of) {
		inside := false
		for _, e := range of[id] {
			inside = inside || e.inside()
			if kept := slices.DeleteFunc(slices.Clone(points), func(p string) bool { return !slices.Contains(e.Promised, p) }); len(kept) > 0 {
				cs = append(cs, Promised.About(e.People[0], e.People[0], kept, e.Ref))
			}
		}
		if zone := of[id][0].Zone; s.CouldReach(zone, points, inside) {
			cs = append(cs, ReachesPeople.About(zone, points, zone, s.otherNames(zone), id, namesOf(of[id])))
		}
	}
	return cs
}

// otherNames lists the other names that the drawings show for the place of a zone.
func (s *State) otherNames(zone string) []string {
	return slices.DeleteFunc(s.drawnNames(zone), func(z string) bool { return z == zone })
}

// noteExposed warns of each person inside who may be hurt by these points. The points
// may be closed, or may have lost what kept them off; because says which.
func (x *step) noteExposed(points []string, because *recordv1.Finding) {
	for _, e := range x.s.Exposed(points, nil) {
		if e.inside() {
			x.note(MayBeReached, e.Ref, because, e.Finding())
		}
	}
}
