package ledger

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// JobView shows one job as it stands at a moment, in Unix ms, if nothing is recorded
// until then. It is nil when there is no job of this name.
func (s *State) JobView(id string, at int64) *recordv1.JobView {
	j := s.Jobs[id]
	if j == nil {
		return nil
	}
	v := &recordv1.JobView{Id: id, Zone: j.Zone, Purpose: j.Purpose, Responsible: j.Responsible, Crew: j.Crew, Plan: j.Plan,
		Affected: j.Affected, Stage: s.stageAt(j, at), Caution: Caution}
	if z, ok := s.Graph().Zone(j.Zone); ok && z.WaivedBy != "" {
		v.Waiver = "SINGLE ISOLATION: double was waived by " + z.WaivedBy + ": " + z.WaivedWhy
	}
	if !j.Closed.Set() {
		v.ToStart = s.MissingForWorkAt(j, at)
		v.ToEnergise = s.AgainstRequest(id, recordv1.RequestKind_REQUEST_KIND_UNSPECIFIED, j.Plan)
	}
	for _, so := range s.signedOn(id) {
		v.SignedOn = append(v.SignedOn, s.signOnView(so))
	}
	for _, ref := range sorted(s.Holds) {
		if h := s.Holds[ref]; h.Active() && (h.Job == id || overlap(s.Covers(h), j.Plan)) {
			v.Holds = append(v.Holds, s.HoldView(h))
		}
	}
	for _, r := range sorted(s.Reqs) {
		if s.Reqs[r].Job == id {
			v.Requests = append(v.Requests, s.RequestView(r))
		}
	}
	for _, a := range s.Alarms {
		if s.concerns(a, j) {
			v.Alarms = append(v.Alarms, a.Finding)
		}
	}
	v.Alarms = append(v.Alarms, s.overdue(at, func(h *Hold) bool { return overlap(s.Covers(h), j.Plan) })...)
	v.Chokes = s.chokesFor(j)
	for _, y := range s.drawingsOf(j) {
		if d := s.Drawings[y]; d != nil {
			v.Drawings = append(v.Drawings, fmt.Sprintf("%s revision %d", y, d.Revision))
		}
	}
	v.OlderPoints = s.OlderPoints(j.Zone)
	for _, p := range j.Plan {
		v.Points = append(v.Points, s.PointView(p))
	}
	v.Permits = s.permitViews(id, at, nil)
	s.fillPeople(v, j, at)
	return v
}

// concerns reports whether an alarm is about a job.
func (s *State) concerns(a Alarm, j *Job) bool {
	return a.Subject == j.ID || j.Found[a.Subject] != nil || a.Code == string(FoundStarted) || s.unacknowledgedOn(j, a.Subject) || s.permitAlarmOf(j, a) || slices.Contains(j.Plan, a.Subject)
}

func (s *State) signOnView(so *SignOn) *recordv1.SignOnView {
	v := &recordv1.SignOnView{Ref: so.Ref, Person: so.Person, Job: so.Job, SinceUnixMs: so.On.Time}
	if p := s.People[so.Person]; p != nil {
		v.Name = p.Name
	}
	return v
}

// fillPeople adds to a job's view its crews, its procedure and what was exchanged with
// outside employers.
func (s *State) fillPeople(v *recordv1.JobView, j *Job, at int64) {
	v.Members, v.Complex, v.Coordinator = s.members(j), s.complexLockout(j), j.Coordinator
	v.Procedure = s.ProcedureView(j.Zone, at)
	if j.Exception.By.Set() {
		v.Exception = j.exceptionFinding()
	}
	for _, k := range sorted(s.Exchanges) {
		e := s.Exchanges[k]
		firm := slices.ContainsFunc(v.Members, func(m *recordv1.MemberView) bool { return m.GetEmployer() == e.Employer })
		if firm && slices.Contains(j.workYards(), e.Yard) {
			v.Exchanges = append(v.Exchanges, s.exchangeView(e))
		}
	}
}
