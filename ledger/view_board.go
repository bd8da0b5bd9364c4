package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Board shows everything that is on, most urgent first. If a yard is named, it shows the
// points and boxes of that yard, and the jobs and holds that touch them.
func (s *State) Board(yard string, at int64) *recordv1.Board {
	b := &recordv1.Board{Coop: s.Coop}
	here := func(ids ...string) bool {
		return yard == "" || slices.ContainsFunc(ids, func(id string) bool { return YardOf(id) == yard })
	}
	for _, a := range s.Alarms {
		b.Alarms = append(b.Alarms, a.Finding)
	}
	b.Alarms = append(b.Alarms, s.overdue(at, func(*Hold) bool { return true })...)
	s.fillLocks(b, here)
	s.fillJobs(b, at, here)
	for _, id := range sorted(s.People) {
		b.People = append(b.People, s.personView(id))
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

// fillJobs adds the jobs, their requests and permits, and who entered for them.
func (s *State) fillJobs(b *recordv1.Board, at int64, here func(ids ...string) bool) {
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; !j.Closed.Set() && here(append(slices.Clone(j.Plan), j.Zone)...) {
			b.Jobs = append(b.Jobs, s.JobView(id, at))
		}
	}
	for _, id := range sorted(s.Reqs) {
		q := s.Reqs[id]
		j := s.Jobs[q.Job]
		ended := j != nil && !j.Closed.Set() && q.State != recordv1.RequestState_REQUEST_STATE_DONE // its requester must be able to read why it ended
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
}

// fillLocks adds the padlocks, and what hangs on which points and boxes.
func (s *State) fillLocks(b *recordv1.Board, here func(ids ...string) bool) {
	for _, id := range sorted(s.Padlocks) {
		b.Padlocks = append(b.Padlocks, s.PadlockView(id))
	}
	for _, id := range sorted(s.Points) {
		if here(id) {
			b.Points = append(b.Points, s.PointView(id))
		}
	}
	for _, id := range sorted(s.Boxes) {
		if here(id) {
			b.Boxes = append(b.Boxes, s.BoxView(id))
		}
	}
	for _, ref := range sorted(s.Holds) {
		if h := s.Holds[ref]; h.Active() && here(append(s.Covers(h), h.Target())...) {
			b.Holds = append(b.Holds, s.HoldView(h))
		}
	}
}
