package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const groupClause = "1910.147(f)(3)(ii)"

// Crew is one crew of several on a job, and who is responsible for it.
type Crew struct {
	Name        string   `json:"name"`
	Responsible string   `json:"responsible"`
	People      []string `json:"people"`
	Added       Mark     `json:"added"`
}

// Answer is what a member said to the offer to verify the isolation.
type Answer struct {
	Said recordv1.VerificationAnswer `json:"said"`
	At   Mark                        `json:"at"`
}

func (x *step) openJobFor(id string) *Job {
	j := x.s.Jobs[id]
	if j == nil || j.Closed.Set() {
		x.refuse("UNKNOWN_JOB", id, "there is no open job of this name", "read its name again", x.who.ID, "")
		return nil
	}
	return j
}

// setCoordinator: one authorised employee coordinates all crews; a second one is
// refused, and a change names who is relieved.
func (x *step) setCoordinator(c *recordv1.SetCoordinator) {
	j := x.openJobFor(c.GetJob())
	if j == nil {
		return
	}
	p := x.s.People[c.GetPerson()]
	switch {
	case p == nil:
		x.refuse("UNKNOWN_PERSON", c.GetPerson(), "nobody of this name is enrolled", "name them by their id", x.who.ID, "")
	case !p.Has(authorised):
		x.refuse("NOT_AUTHORISED", p.ID, p.ID+" is not an authorised employee", "name one who is", x.who.ID, groupClause+"(C)")
	}
	if j.Coordinator != c.GetInsteadOf() {
		x.refuse("TWO_COORDINATORS", j.ID, fmt.Sprintf("%s coordinates this job, and there is one only", orNobody(j.Coordinator)), "to change, name who is relieved", x.who.ID, groupClause+"(C)")
	}
	if x.refused() {
		return
	}
	j.Coordinator = p.ID
	x.change("%s coordinates all crews of %s", p.ID, j.ID)
}

func orNobody(id string) string {
	if id == "" {
		return "nobody"
	}
	return id
}

// addCrew adds a crew, or people to a crew of that name.
func (x *step) addCrew(a *recordv1.AddCrew) {
	s, j := x.s, x.openJobFor(a.GetJob())
	if j == nil {
		return
	}
	k := j.Crews[a.GetCrew()]
	if k != nil && k.Responsible != a.GetResponsible() {
		x.refuse("TWO_RESPONSIBLE", a.GetCrew(), k.Responsible+" is responsible for this crew, and there is one only", "name the other people as a crew of their own", x.who.ID, groupClause+"(A)")
	}
	for _, id := range append([]string{a.GetResponsible()}, a.GetPeople()...) {
		if s.People[id] == nil {
			x.refuse("UNKNOWN_PERSON", id, "nobody of this name is enrolled", "invite them first", "a manager", "")
		} else if in, ok := j.crewOf(id); ok && in != a.GetCrew() {
			x.refuse("IN_TWO_CREWS", id, id+" is in "+crewWord(in)+" already", "name each person in one crew", x.who.ID, groupClause+"(A)")
		}
	}
	if p := s.People[a.GetResponsible()]; p != nil && !p.Has(authorised, contractor) {
		x.refuse("NOT_AUTHORISED", p.ID, p.ID+" is not an authorised employee", "name one who is", x.who.ID, groupClause+"(A)")
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
	x.change("crew %s of %s: %s responsible, with %s", k.Name, j.ID, k.Responsible, strings.Join(k.People, ", "))
}

func crewWord(name string) string {
	if name == "" {
		return "the job's first crew"
	}
	return "crew " + name
}

// crewOf names the crew a person is in; "" is the job's first.
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

// member reports whether a person is on any crew of the job, or coordinates it.
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
		x.flag("NOT_ON_CREW", x.who.ID, x.who.ID+" is not on the crew of "+j.ID, "1910.147(f)(3)")
	}
	if j.Verified == nil {
		j.Verified = map[string]*Answer{}
	}
	j.Verified[x.who.ID] = &Answer{Said: a.GetAnswer(), At: x.mark}
	if a.GetAnswer() == recordv1.VerificationAnswer_VERIFICATION_ANSWER_VERIFIED_MYSELF {
		x.change("%s verified the isolation of %s", x.who.ID, j.ID)
	} else {
		x.change("%s was offered to verify the isolation of %s, and declined", x.who.ID, j.ID)
	}
}

// crewConditions: several crews need one coordinator, and each crew its responsible
// employee with current training.
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
		cs = append(cs, cond("NO_COORDINATOR", j.ID, fmt.Sprintf("%d crews are on this job and nobody coordinates them", len(j.Crews)+1), "name one authorised employee", "supervisor or manager", groupClause+"(C)"))
	} else {
		lead = append(lead, j.Coordinator)
	}
	slices.Sort(lead)
	for _, id := range slices.Compact(lead) {
		if p := s.People[id]; id != j.Responsible && (p == nil || !p.trained(at)) {
			cs = append(cs, cond("TRAINING_LAPSED", id, id+" leads people on this job and has no current training as an authorised employee", "train them and record it", "supervisor or manager", "1910.147(c)(7)(i) (unchecked)"))
		}
	}
	return cs
}

// members shows everybody on a job's crews, and whoever is signed on or has a lock
// on for it without being on one. Unknown counts as inside.
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
			// A lock on and no sign-on: nobody can say that they are out.
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

// complexLockout lists what makes a job a complex lockout: it needs a written plan
// and a person in charge.
func (s *State) complexLockout(j *Job) []string {
	var out []string
	yards := []string{YardOf(j.Zone)}
	for _, p := range j.Plan {
		yards = append(yards, YardOf(p))
	}
	slices.Sort(yards)
	if yards = slices.Compact(yards); len(yards) > 1 {
		out = append(out, "points or zone in more than one yard: "+strings.Join(yards, ", "))
	}
	if len(j.Crews) > 0 {
		out = append(out, fmt.Sprintf("%d crews", len(j.Crews)+1))
	}
	var firms []string
	for _, m := range s.members(j) {
		if m.GetEmployer() != "" {
			firms = append(firms, m.GetEmployer())
		}
	}
	slices.Sort(firms)
	if firms = slices.Compact(firms); len(firms) > 1 {
		out = append(out, "more than one employer: "+strings.Join(firms, ", "))
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

// protectionEnded flags a release that leaves an unfinished job with nobody on it,
// 1910.147(f)(4). The lock is its holder's and comes off all the same.
func (x *step) protectionEnded(h *Hold, covered []string) {
	s := x.s
	for _, id := range sorted(s.Jobs) {
		j := s.Jobs[id]
		if j.Closed.Set() || h.Job != id && !overlap(covered, j.Plan) || !j.begun() || j.cleared() || s.protects(j) {
			continue
		}
		text := fmt.Sprintf("PROTECTION ENDED WHILE THE JOB IS OPEN: %s took the last lock off %s, which is not recorded finished. Supervisor: have the area looked over, or somebody lock on", x.who.ID, id)
		x.flag("PROTECTION_ENDED", id, text, handOverClause)
		s.alarm("PROTECTION_ENDED", id, text, x.mark)
	}
}

// protectedAgain ends that alarm once somebody is on it or the area is clear.
func (s *State) protectedAgain(j *Job) {
	for _, a := range s.Alarms {
		if a.Code == "PROTECTION_ENDED" && a.Subject == j.ID && (j.Closed.Set() || j.cleared() || s.protects(j)) {
			s.clearAlarm("PROTECTION_ENDED", j.ID)
			return
		}
	}
}
