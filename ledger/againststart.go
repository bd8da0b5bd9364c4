package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// AgainstRequest lists what stands against a request for these points now. It does not
// say what is missing before work may start: see MissingForWork.
func (s *State) AgainstRequest(job string, kind recordv1.RequestKind, points []string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(c ...*recordv1.Finding) { cs = append(cs, c...) }
	j, asked := s.Jobs[job], &Request{Kind: kind}
	if j == nil || j.Closed.Set() {
		return append(cs, UnknownJob.About(job, job))
	}
	for _, p := range points {
		pt := s.Points[p]
		switch {
		case pt == nil:
			add(UnknownPoint.About(p, p))
			continue
		case pt.Live:
			add(InServiceAlready.About(p, p))
		}
		if !slices.Contains(j.Plan, p) {
			add(NotInPlan.About(p, p, job, j.Responsible))
		}
		if _, drawn := s.Graph().Point(p); !drawn {
			add(PointNotDrawn.About(p, p))
		}
		add(s.holdConditions(p, asked)...)
		for _, id := range sorted(s.Reqs) {
			if q := s.Reqs[id]; q.open() && slices.Contains(q.Points, p) {
				add(RequestOpen.About(p, p, id, q.By.By))
			}
		}
	}
	return append(cs, s.againstStart(j, asked, points)...)
}

// againstStart lists what stands against closing these points for job j. It is asked at
// the request and again at the energise. It lists what job j itself still owes, what
// other jobs owe if the points are theirs or reach their zone, and the people in the
// way. It treats the request q as Exposed does.
func (s *State) againstStart(j *Job, q *Request, points []string) []*recordv1.Finding {
	asking := q.Test() && !q.By.Set()
	cs := s.releaseConditions(j, asking)
	for _, id := range sorted(s.Jobs) {
		o := s.Jobs[id]
		if id != j.ID && !o.Closed.Set() && o.begun() && (overlap(o.Plan, points) || s.CouldReach(o.Zone, points, false)) {
			cs = append(cs, s.releaseConditions(o, asking)...)
		}
	}
	cs = append(cs, s.chokeConditions(points)...)
	return append(cs, s.peopleConditions(q, points)...)
}

// begun reports whether anybody locked, entered or looked over the area for the job. If
// so, the job has something to give back before a start.
func (j *Job) begun() bool { return j.LastHold.Set() || j.LastOn.Set() || j.Looked.Set() }
