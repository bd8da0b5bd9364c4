package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const groupClause = "1910.147(f)(3)(ii)"

var _ = declare(
	kind((*recordv1.Record).GetSetCoordinator, Kind{Name: "set_coordinator", Called: "coordinator", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: groupClause + "(C)", By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.SetCoordinator) About { return About{Job: c.GetJob()} },
		func(f *fields, a *recordv1.SetCoordinator) {
			f.name("job", a.GetJob())
			f.name("person", a.GetPerson())
			f.optionalName("instead_of", a.GetInsteadOf())
		},
		(*step).setCoordinator),
	kind((*recordv1.Record).GetAddCrew, Kind{Name: "add_crew", Called: "crew", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: groupClause + "(A)", By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.AddCrew) About { return About{Job: c.GetJob()} },
		func(f *fields, a *recordv1.AddCrew) {
			f.name("job", a.GetJob())
			f.name("crew", a.GetCrew())
			f.name("responsible", a.GetResponsible())
			f.names("people", a.GetPeople())
		},
		(*step).addCrew),
	kind((*recordv1.Record).GetAnswerVerification, Kind{Name: "answer_verification", Called: "verified", Class: Asserts, May: anybody(), Clause: "1910.147(f)(3)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtJob, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(v *recordv1.AnswerVerification) About { return About{Job: v.GetJob()} },
		func(f *fields, a *recordv1.AnswerVerification) {
			f.name("job", a.GetJob())
			f.oneOf("answer", recordv1.VerificationAnswer_name, int32(a.GetAnswer()))
		},
		(*step).answerVerification),
)

var (
	// TwoCoordinators: another person coordinates already. The argument person is that
	// one, or "" when nobody coordinates.
	TwoCoordinators = code.New("TWO_COORDINATORS", code.Row{Args: "job coordinator", Clause: groupClause + "(C)", Who: "the-signer", Next: "yardhasp job coordinator {job} PERSON --instead-of {coordinator}"})
	CoordinatorSet  = code.New("COORDINATOR_SET", code.Row{Args: "person job"})
	NoCoordinator   = code.New("NO_COORDINATOR", code.Row{Args: "job crews:number", Clause: groupClause + "(C)", Who: "supervisor-manager", Next: "yardhasp job coordinator {job} PERSON"})
	TwoResponsible  = code.New("TWO_RESPONSIBLE", code.Row{Args: "crew person", Clause: groupClause + "(A)", Who: "the-signer"})
	// InTwoCrews: the person is in another crew. The argument crew is that crew, or ""
	// for the job's first crew.
	InTwoCrews           = code.New("IN_TWO_CREWS", code.Row{Args: "person crew", Clause: groupClause + "(A)", Who: "the-signer"})
	CrewAdded            = code.New("CREW_ADDED", code.Row{Args: "crew job person people"})
	IsolationVerified    = code.New("ISOLATION_VERIFIED", code.Row{Args: "person job"})
	VerificationDeclined = code.New("VERIFICATION_DECLINED", code.Row{Args: "person job"})

	// ProtectionEnded: the last lock came off a job that is not recorded as finished.
	ProtectionEnded = code.New("PROTECTION_ENDED", code.Row{Args: "job person", Clause: handOverClause, Who: "supervisor", Next: "yardhasp job show {job}"})
)

// These make a job a complex lockout, NFPA 70E 120.4.
var (
	SeveralYards     = code.New("SEVERAL_YARDS", code.Row{Args: "yards"})
	SeveralCrews     = code.New("SEVERAL_CREWS", code.Row{Args: "crews:number"})
	SeveralEmployers = code.New("SEVERAL_EMPLOYERS", code.Row{Args: "employers"})
)

// Crew is one of several crews on a job, and the person responsible for it.
type Crew struct {
	Name        string   `json:"name"`
	Responsible string   `json:"responsible"`
	People      []string `json:"people"`
	Added       Mark     `json:"added"`
}

// Answer is what a member answered to the offer to verify the isolation.
type Answer struct {
	Said recordv1.VerificationAnswer `json:"said"`
	At   Mark                        `json:"at"`
}

// setCoordinator makes one authorised employee the coordinator of all crews. A second
// coordinator is refused. A change must name the person who is relieved.
func (x *step) setCoordinator(c *recordv1.SetCoordinator) {
	j := x.openJobFor(c.GetJob())
	if j == nil {
		return
	}
	p := x.s.People[c.GetPerson()]
	switch {
	case p == nil:
		x.deny(UnknownPerson, c.GetPerson(), c.GetPerson())
	case !p.Has(authorised):
		x.deny(NotAuthorised, p.ID, p.ID, groupClause+"(C)")
	}
	if j.Coordinator != c.GetInsteadOf() {
		x.deny(TwoCoordinators, j.ID, j.ID, j.Coordinator)
	}
	if x.refused() {
		return
	}
	j.Coordinator = p.ID
	x.did(CoordinatorSet, j.ID, p.ID, j.ID)
}

// addCrew adds a crew, or adds people to the crew of that name.
func (x *step) addCrew(a *recordv1.AddCrew) {
	s, j := x.s, x.openJobFor(a.GetJob())
	if j == nil {
		return
	}
	k := j.Crews[a.GetCrew()]
	if k != nil && k.Responsible != a.GetResponsible() {
		x.deny(TwoResponsible, a.GetCrew(), a.GetCrew(), k.Responsible)
	}
	for _, id := range append([]string{a.GetResponsible()}, a.GetPeople()...) {
		if s.People[id] == nil {
			x.deny(UnknownPerson, id, id)
		} else if in, ok := j.crewOf(id); ok && in != a.GetCrew() {
			x.deny(InTwoCrews, id, id, in)
		}
	}
	if p := s.People[a.GetResponsible()]; p != nil && !p.Has(authorised, contractor) {
		x.deny(NotAuthorised, p.ID, p.ID, groupClause+"(A)")
	}
	if x.refused() {
		return
	}
	if k == nil {
		k = &Crew{Name: a.GetCrew(), Responsible: a.GetResponsible(), Added: x.mark}
	}
	k.People = slices.Compact(slices.Sorted(slices.Values(append(k.People, a.GetPeople()...))))
	if j.Crews == nil {
		j.Crews = map[string]*Crew{}
	}
	j.Crews[k.Name] = k
	x.did(CrewAdded, j.ID, k.Name, j.ID, k.Responsible, k.People)
}

// crewOf names the crew that a person is in. "" is the job's first crew.
func (j *Job) crewOf(person string) (crew string, ok bool) {
	if person == j.Responsible || slices.Contains(j.Crew, person) {
		return "", true
	}
	for _, n := range sorted(j.Crews) {
		if k := j.Crews[n]; k.Responsible == person || slices.Contains(k.People, person) {
			return n, true
		}
	}
	return "", false
}

// member reports whether a person is in any crew of the job or coordinates it.
func (j *Job) member(person string) bool {
	_, ok := j.crewOf(person)
	return ok || j.Coordinator == person && person != ""
}

func (x *step) answerVerification(a *recordv1.AnswerVerification) {
	j := x.job(a.GetJob())
	if j == nil || !x.ok {
		return
	}
	if !j.member(x.who.ID) {
		x.note(NotOnCrew, x.who.ID, x.who.ID, j.ID)
	}
	if j.Verified == nil {
		j.Verified = map[string]*Answer{}
	}
	j.Verified[x.who.ID] = &Answer{Said: a.GetAnswer(), At: x.mark}
	if a.GetAnswer() == recordv1.VerificationAnswer_VERIFICATION_ANSWER_VERIFIED_MYSELF {
		x.did(IsolationVerified, j.ID, x.who.ID, j.ID)
	} else {
		x.did(VerificationDeclined, j.ID, x.who.ID, j.ID)
	}
}

// crewConditions checks that several crews have one coordinator, and that each crew has
// a responsible employee with current training.
func (s *State) crewConditions(j *Job, at int64) []*recordv1.Finding {
	if len(j.Crews) == 0 {
		return nil
	}
	var cs []*recordv1.Finding
	lead := []string{}
	for _, n := range sorted(j.Crews) {
		lead = append(lead, j.Crews[n].Responsible)
	}
	if j.Coordinator == "" {
		cs = append(cs, NoCoordinator.About(j.ID, j.ID, len(j.Crews)+1))
	} else {
		lead = append(lead, j.Coordinator)
	}
	slices.Sort(lead)
	for _, id := range slices.Compact(lead) {
		if p := s.People[id]; id != j.Responsible && (p == nil || !p.trained(at)) {
			cs = append(cs, TrainingLapsed.About(id, id))
		}
	}
	return cs
}

// members lists everybody in a job's crews. It adds people who are signed on or have a
// lock on for the job without being in a crew. A person whose state is unknown counts as
// inside.
func (s *State) members(j *Job) []*recordv1.MemberView {
	in, locked := map[string]bool{}, map[string]bool{}
	for _, so := range s.signedOn(j.ID) {
		in[so.Person] = true
	}
	for _, h := range s.active {
		if h.Holder != "" && !h.StoodClear() && (h.Job == j.ID || s.unclaimed(h) && overlap(s.Covers(h), j.Plan)) {
			locked[h.Holder] = true
		}
	}
	all := append([]string{j.Responsible}, j.Crew...)
	if j.Coordinator != "" {
		all = append(all, j.Coordinator)
	}
	for _, n := range sorted(j.Crews) {
		all = append(append(all, j.Crews[n].Responsible), j.Crews[n].People...)
	}
	all = append(append(all, sorted(in)...), sorted(locked)...)
	slices.Sort(all)
	var out []*recordv1.MemberView
	for _, id := range slices.Compact(all) {
		v := &recordv1.MemberView{Person: id, Exposure: recordv1.Exposure_EXPOSURE_OFF}
		v.Crew, _ = j.crewOf(id)
		v.Responsible = id == j.Responsible || j.Crews[v.Crew] != nil && j.Crews[v.Crew].Responsible == id
		if p := s.People[id]; p != nil {
			v.Employer = p.Employer
		}
		switch {
		case in[id]:
			v.Exposure = recordv1.Exposure_EXPOSURE_ON
		case locked[id]:
			// The person has a lock on and no sign-on, so nobody can say that they are
			// out.
			v.Exposure = recordv1.Exposure_EXPOSURE_UNSPECIFIED
		}
		if a := j.Verified[id]; a != nil {
			v.Verification, v.VerifiedUnixMs = a.Said, a.At.Time
			v.VerificationStale = !s.openedBefore(j, a.At, 0)
		}
		out = append(out, v)
	}
	return out
}

// complexLockout lists what makes a job a complex lockout. Such a job needs a written
// plan and a person in charge.
func (s *State) complexLockout(j *Job) []*recordv1.Finding {
	var out []*recordv1.Finding
	yards := j.workYards()
	slices.Sort(yards)
	if yards = slices.Compact(yards); len(yards) > 1 {
		out = append(out, SeveralYards.About(j.ID, yards))
	}
	if len(j.Crews) > 0 {
		out = append(out, SeveralCrews.About(j.ID, len(j.Crews)+1))
	}
	var firms []string
	for _, m := range s.members(j) {
		if m.GetEmployer() != "" {
			firms = append(firms, m.GetEmployer())
		}
	}
	slices.Sort(firms)
	if firms = slices.Compact(firms); len(firms) > 1 {
		out = append(out, SeveralEmployers.About(j.ID, firms))
	}
	return out
}

// protects reports whether any lock protects the people of a job.
func (s *State) protects(j *Job) bool {
	for _, h := range s.active {
		if !h.StoodClear() && !h.Equipment && (h.Job == j.ID || overlap(s.Covers(h), j.Plan)) {
			return true
		}
	}
	return false
}

// protectionEnded flags a release that leaves an unfinished job without any lock,
// 1910.147(f)(4). The lock belongs to its holder and comes off all the same.
func (x *step) protectionEnded(h *Hold, covered []string) {
	s := x.s
	for _, id := range sorted(s.Jobs) {
		j := s.Jobs[id]
		if j.Closed.Set() || h.Job != id && !overlap(covered, j.Plan) || !j.begun() || j.cleared() || s.protects(j) {
			continue
		}
		f := ProtectionEnded.About(id, id, x.who.ID)
		x.out.Flags = append(x.out.Flags, f)
		s.raise(id, f, x.mark)
	}
}

// protectedAgain ends that alarm once a lock is on again or the area is clear.
func (s *State) protectedAgain(j *Job) {
	if j.Closed.Set() || j.cleared() || s.protects(j) {
		s.lower(ProtectionEnded, j.ID)
	}
}
