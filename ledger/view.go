package ledger

import (
	"fmt"
	"slices"

	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// PointView shows one point.
func (s *State) PointView(id string) *recordv1.PointView {
	p := s.Points[id]
	if p == nil {
		return &recordv1.PointView{Point: id}
	}
	v := &recordv1.PointView{Point: id, Yard: p.Yard, Label: p.Label, Holes: p.Holes, Position: recordv1.Position_POSITION_LIVE,
		HolesLeft: int32(p.Holes) - int32(s.locksAt(id)), NotLockable: p.NotLockable, Demonstration: p.Demonstration}
	for _, h := range s.HoldsOn(id) {
		v.Holds = append(v.Holds, h.Ref)
	}
	if !p.Live {
		v.Position = recordv1.Position_POSITION_OPEN
		if len(s.Guarding(id)) > 0 {
			v.Position = recordv1.Position_POSITION_OPEN_AND_HELD
		}
	}
	for _, r := range sorted(s.Reqs) {
		if q := s.Reqs[r]; q.open() && slices.Contains(q.Points, id) {
			v.Request = r
		}
	}
	for _, b := range sorted(s.Boxes) {
		if _, in := s.Boxes[b].Points[id]; in {
			v.Boxes = append(v.Boxes, b)
		}
	}
	return v
}

// HoldView shows one hold.
func (s *State) HoldView(h *Hold) *recordv1.HoldView {
	v := &recordv1.HoldView{Ref: h.Ref, Holder: h.Holder, Target: h.Target(), Covers: s.Covers(h), Job: h.Job, Padlock: h.Padlock,
		SinceUnixMs: h.On.Time, Index: h.On.Index, Flags: h.Flags, Found: h.Holder == "", Guards: len(s.Covers(h)) > 0 && !h.StoodClear() && !h.Equipment, StoodClear: h.Stood,
		Standing: s.standing(h), TagOnly: h.TagOnly(), Equipment: h.Equipment, ReviewUnixMs: h.Review, Tag: h.Tag.view()}
	if p := s.People[h.Holder]; p != nil {
		v.Name = p.Name
	}
	for _, c := range v.Covers {
		v.Guards = v.Guards && s.Points[c] != nil && !s.Points[c].Live && s.lacks(h, c) == ""
	}
	return v
}

// RequestView shows one request; nil when there is none of this name. It shares
// nothing that a later entry changes in place.
func (s *State) RequestView(id string) *recordv1.RequestView {
	q := s.Reqs[id]
	if q == nil {
		return nil
	}
	v := &recordv1.RequestView{Id: q.ID, Job: q.Job, Requester: q.By.By, Points: q.Points, State: q.State, Involved: q.Involved,
		Confirmed: slices.Clone(q.Attested), Energised: slices.Clone(q.Energised), DeadlineUnixMs: q.Deadline, Why: q.Why,
		Kind: q.Kind, Index: q.By.Index, Because: q.Because}
	if q.Test() && q.open() {
		for _, h := range s.notClear(q) {
			v.NotClear = append(v.NotClear, h.Ref)
		}
	}
	return v
}

func (s *State) signOnView(so *SignOn) *recordv1.SignOnView {
	v := &recordv1.SignOnView{Ref: so.Ref, Person: so.Person, Job: so.Job, SinceUnixMs: so.On.Time}
	if p := s.People[so.Person]; p != nil {
		v.Name = p.Name
	}
	return v
}

// JobView shows one job as it stands at a moment, in Unix ms, with nothing
// recorded since; nil when there is none of this name.
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
		v.ToEnergise = s.RequestConditions(id, recordv1.RequestKind_REQUEST_KIND_UNSPECIFIED, j.Plan)
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
		if f := j.Found[a.Subject]; a.Subject == id || f != nil || a.Code == "FOUND_STARTED" || s.owedOn(j, a.Subject) || s.permitAlarmOf(j, a) || slices.Contains(j.Plan, a.Subject) {
			v.Alarms, v.Raised = a.appendTo(v.Alarms, v.Raised)
		}
	}
	v.Alarms = append(v.Alarms, s.overdue(at, func(h *Hold) bool { return overlap(s.Covers(h), j.Plan) })...)
	v.Choked = s.chokesFor(j)
	for _, y := range s.drawingsOf(j) {
		if d := s.Plans[y]; d != nil {
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

// Board shows everything that is on, loudest first. With a yard it shows that
// yard's points and boxes, and the jobs and holds that touch them.
func (s *State) Board(yard string, at int64) *recordv1.Board {
	b := &recordv1.Board{Coop: s.Coop}
	here := func(ids ...string) bool {
		return yard == "" || slices.ContainsFunc(ids, func(id string) bool { return YardOf(id) == yard })
	}
	for _, a := range s.Alarms {
		b.Alarms, b.Raised = a.appendTo(b.Alarms, b.Raised)
	}
	b.Alarms = append(b.Alarms, s.overdue(at, func(*Hold) bool { return true })...)
	for _, id := range sorted(s.Locks) {
		b.Padlocks = append(b.Padlocks, s.PadlockView(id))
	}
	for _, id := range sorted(s.Points) {
		if here(id) {
			b.Points = append(b.Points, s.PointView(id))
		}
	}
	for _, id := range sorted(s.Boxes) {
		x := s.Boxes[id]
		if !here(id) {
			continue
		}
		v := &recordv1.BoxView{Box: id, Yard: x.Yard, Label: x.Label, Holes: x.Holes, Points: sorted(x.Points), HolesLeft: int32(x.Holes) - int32(s.locksAt(id))}
		for _, h := range s.holdsAt(id) {
			v.Holds = append(v.Holds, h.Ref)
		}
		b.Boxes = append(b.Boxes, v)
	}
	for _, ref := range sorted(s.Holds) {
		if h := s.Holds[ref]; h.Active() && here(append(s.Covers(h), h.Target())...) {
			b.Holds = append(b.Holds, s.HoldView(h))
		}
	}
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; !j.Closed.Set() && here(append(slices.Clone(j.Plan), j.Zone)...) {
			b.Jobs = append(b.Jobs, s.JobView(id, at))
		}
	}
	for _, id := range sorted(s.Reqs) {
		q := s.Reqs[id]
		j := s.Jobs[q.Job]
		ended := j != nil && !j.Closed.Set() && q.State != recordv1.RequestState_REQUEST_STATE_DONE // its requester reads why
		if (q.open() || ended) && here(q.Points...) {
			b.Requests = append(b.Requests, s.RequestView(id))
		}
	}
	for _, ref := range sorted(s.SignOns) {
		so := s.SignOns[ref]
		if j := s.Jobs[so.Job]; !so.Off.Set() && (j == nil || here(append(slices.Clone(j.Plan), j.Zone)...)) {
			b.SignedOn = append(b.SignedOn, s.signOnView(so))
		}
	}
	b.Permits = s.permitViews("", at, here)
	for _, id := range sorted(s.People) {
		p := s.People[id]
		v := &recordv1.PersonView{Id: id, Name: p.Name, Employer: p.Employer, Roles: p.Roles,
			Qualified: p.Qualified, TrainedUntilUnixMs: p.TrainedUntil, HasKey: s.LiveKey(id) != nil}
		p.fill(v)
		b.People = append(b.People, v)
	}
	for _, id := range sorted(s.Yards) {
		b.Yards = append(b.Yards, s.YardView(id))
	}
	b.Due = s.Due(at)
	for _, z := range sorted(s.Procs) {
		if here(z) {
			b.Procedures = append(b.Procedures, s.ProcedureView(z, at))
		}
	}
	for _, k := range sorted(s.Exchanges) {
		if e := s.Exchanges[k]; here(e.Yard) {
			b.Exchanges = append(b.Exchanges, s.exchangeView(e))
		}
	}
	return b
}

// YardView shows one yard.
func (s *State) YardView(id string) *recordv1.YardView {
	y := s.Yards[id]
	v := &recordv1.YardView{Id: id, Name: y.Name, Address: y.Address, Fingerprint: seal.Fingerprint(y.Key), ReplicaKey: y.Key}
	if d := s.Plans[id]; d != nil {
		v.DrawingRevision, v.DrawingWalkedBy = d.Revision, d.Walked.By
	}
	return v
}
