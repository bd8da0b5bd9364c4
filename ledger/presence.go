package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// ExposedBy says by what record the ledger knows that somebody may be hurt.
type ExposedBy int

// A sign-on, a lock for work, a permit for bin entry that is not closed, hot work that
// nobody has said is over.
const (
	BySignOn ExposedBy = iota + 1
	ByLock
	ByBinEntry
	ByHotWork
)

// Exposure is who may be hurt, where, and by what record.
type Exposure struct {
	By ExposedBy
	// People is one person, or those whom a permit names.
	People []string
	Job    string
	// Zone is where they are, "" where nobody knows: then they may be in any place.
	Zone string
	Ref  string // the sign-on, the lock or the permit
	// Promised are the points that a yard promised at sign-on to keep off.
	Promised []string
}

// Text says it in words.
func (e *Exposure) Text() string {
	who := namesOr(e.People, "somebody")
	switch {
	case e.By == ByLock:
		return fmt.Sprintf("%s has a lock on for job %s in %s (%s)", who, e.Job, e.Zone, e.Ref)
	case e.By == ByBinEntry:
		return fmt.Sprintf("%s may be inside %s under permit %s", who, e.Zone, e.Ref)
	case e.By == ByHotWork:
		return fmt.Sprintf("%s may be at hot work in %s under permit %s", who, e.Zone, e.Ref)
	case e.Zone == "":
		return fmt.Sprintf("%s is signed on for job %s, which nobody knows: they may be anywhere (%s)", who, e.Job, e.Ref)
	}
	return fmt.Sprintf("%s is signed on for job %s in %s (%s)", who, e.Job, e.Zone, e.Ref)
}

// inside reports whether they may be inside without any lock of theirs on.
func (e *Exposure) inside() bool { return e.By != ByLock }

// Exposed answers who may be hurt if these points close: whoever is in a place that
// energy could come to by them, under any name of it, whichever points they locked
// (decisions.md 32; design.md, The fine print), and whoever was promised that one of
// them stays off. A lock does not count whose holder stood clear of it for the request
// q. While a test is being asked for, q is no request yet (its index is unset): holders
// stand clear once it is, so no lock counts; whoever is inside may not.
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
		inside := e.inside() || len(s.signedOn(e.Job)) > 0 // who has a lock on may be in with them
		return e.Zone != "" && !overlap(e.Promised, points) && !reached(e.Zone, inside)
	})
}

// presence lists everybody who is or may be in some place, for the request q as Exposed
// has it. Of a closed job too: its people may have come to the ledger late.
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

// atWork lists who is signed on to a job or has a lock on for it. A lock that names no
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
			out = append(out, Exposure{By: ByLock, People: []string{holderName(h)}, Job: j.ID, Zone: j.Zone, Ref: ref})
		}
	}
	return out
}

// presentAt lists who is or may be in the place of a zone. Whoever is in a zone that no
// current drawing shows may be in any.
func (s *State) presentAt(zone string) []Exposure {
	return slices.DeleteFunc(s.presence(nil), func(e Exposure) bool {
		return e.Zone != "" && s.drawn(e.Zone) && !s.samePlace(e.Zone, zone)
	})
}

// insideAt lists the sign-ons of whoever is, or may be, in the place of a zone.
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

// namesOf lists the people of exposures, each once.
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
	add := func(code, subject, text, remedy, who, clause string) {
		cs = append(cs, cond(code, subject, text, remedy, who, clause))
	}
	what := strings.Join(points, ", ")
	of := map[string][]Exposure{} // by job
	for _, e := range s.Exposed(points, q) {
		where := fmt.Sprintf("closing %s could let energy reach %s, where ", what, e.Zone)
		switch {
		case e.By == ByBinEntry:
			add("PERMIT_OPEN", e.Ref, where+"permit "+e.Ref+" for bin entry is not closed", "everybody comes out, then close it", "supervisor or manager", "1910.272(g)(1)(ii)")
		case e.By == ByHotWork:
			add("PERMIT_OPEN", e.Ref, where+"nobody has recorded that the hot work of permit "+e.Ref+" is over: "+strings.Join(e.People, ", "), "they come away from it and record that it is over", namesOr(e.People, ""), "1910.147(e)(2)(i)")
		case e.Zone == "":
			add("REACHES_PEOPLE", e.Job, fmt.Sprintf("%s is signed on to the zone of %s, a job nobody knows: they may be anywhere", e.People[0], e.Job), e.People[0]+" signs off", e.People[0], "1910.147(e)(2)(i)")
		default:
			of[e.Job] = append(of[e.Job], e)
		}
	}
	for _, id := range sorted(of) {
		inside := false
		for _, e := range of[id] {
			inside = inside || e.inside()
			if kept := slices.DeleteFunc(slices.Clone(points), func(p string) bool { return !slices.Contains(e.Promised, p) }); len(kept) > 0 {
				add("PROMISED", e.People[0], fmt.Sprintf("%s was promised at sign-on that this stays off: %s", e.People[0], strings.Join(kept, ", ")), e.People[0]+" signs off the zone", e.People[0], "1910.147(e)(2)(i)")
			}
		}
		zone, names := of[id][0].Zone, strings.Join(namesOf(of[id]), ", ")
		if s.CouldReach(zone, points, inside) {
			add("REACHES_PEOPLE", zone, fmt.Sprintf("closing %s could let energy reach %s, where job %s has %s", what, s.placeText(zone), id, names),
				"they take off their locks and sign off the zone", names, "1910.147(e)(2)(i)")
		}
	}
	return cs
}

// placeText names a zone, with the other names of its place that the drawings show.
func (s *State) placeText(zone string) string {
	others := slices.DeleteFunc(s.drawnNames(zone), func(z string) bool { return z == zone })
	if len(others) == 0 {
		return zone
	}
	const few = 3
	text := strings.Join(others[:min(few, len(others))], ", ")
	if n := len(others) - few; n > 0 {
		text += fmt.Sprintf(" and %d more", n)
	}
	return zone + " (the same place as " + text + ")"
}

// flagExposed names those inside who may be hurt by points that may be closed, or that
// lost what kept them off.
func (x *step) flagExposed(points []string, why string) {
	for _, e := range x.s.Exposed(points, nil) {
		if e.inside() {
			x.flag("REACHES_PEOPLE", e.Ref, why+": "+e.Text()+". Make sure that nobody is in the way", "1910.147(e)(2)(i)")
		}
	}
}
