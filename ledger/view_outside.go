package ledger

import (
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Outsider reports whether a board shows a person as a contractor of an employer other
// than the co-op.
func Outsider(b *recordv1.Board, person string) bool {
	for _, p := range b.GetPeople() {
		if p.GetId() == person {
			return slices.Contains(p.GetRoles(), contractor) && p.GetEmployer() != b.GetCoop()
		}
	}
	return false
}

// Concerns reports whether a job concerns a person: they are in a crew of it, signed on
// to it, or have a lock on for it.
func Concerns(j *recordv1.JobView, person string) bool {
	return j.GetResponsible() == person || slices.Contains(j.GetCrew(), person) ||
		slices.ContainsFunc(j.GetMembers(), func(m *recordv1.MemberView) bool { return m.GetPerson() == person }) ||
		slices.ContainsFunc(j.GetSignedOn(), func(s *recordv1.SignOnView) bool { return s.GetPerson() == person }) ||
		slices.ContainsFunc(j.GetHolds(), func(h *recordv1.HoldView) bool { return h.GetHolder() == person && !h.GetFound() })
}

// theirs collects what on a board belongs to a person of an outside employer.
type theirs struct {
	person              string
	jobs, points, zones map[string]bool
	// names are the names that make an alarm concern the person: their own name, their
	// jobs with zones and points, their locks and sign-ons.
	names map[string]bool
	// raised are the alarms of their jobs.
	raised []*recordv1.Finding
}

// ContractorView is what a person of an outside employer may see of a board: their jobs,
// their locks, the points of their plans, the alarms that touch them, what was exchanged
// with their employer, and of all people only themself. It returns a copy. A replica
// shows them no more of a board, and of the history only their own records.
func ContractorView(b *recordv1.Board, person string) *recordv1.Board {
	v := &recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Yards: b.GetYards()}
	t := &theirs{person: person, jobs: map[string]bool{}, points: map[string]bool{}, zones: map[string]bool{}, names: map[string]bool{person: true}}
	v.Jobs = t.ofJobs(b)
	v.Holds = t.ofHolds(b)
	// They must above all see what they wrote here and nobody else knows of.
	v.WrittenHere = those(b.GetWrittenHere(), func(w *recordv1.WrittenView) bool {
		return w.GetSigner() == person || t.jobs[w.GetAbout()] || t.points[w.GetAbout()]
	})
	v.Permits = those(b.GetPermits(), func(m *recordv1.PermitView) bool {
		return t.jobs[m.GetJob()] || slices.Contains(m.GetNamed(), person) || slices.Contains(m.GetWatchers(), person)
	})
	v.SignedOn = those(b.GetSignedOn(), func(s *recordv1.SignOnView) bool { return s.GetPerson() == person || t.jobs[s.GetJob()] })
	for _, s := range v.GetSignedOn() {
		t.names[s.GetRef()] = t.names[s.GetRef()] || s.GetPerson() == person
	}
	v.Points = those(b.GetPoints(), func(p *recordv1.PointView) bool { return t.points[p.GetPoint()] })
	v.Boxes = those(b.GetBoxes(), func(x *recordv1.BoxView) bool { return t.points[x.GetBox()] || t.anyPoint(x.GetPoints()) })
	v.Requests = those(b.GetRequests(), func(r *recordv1.RequestView) bool { return t.jobs[r.GetJob()] || t.anyPoint(r.GetPoints()) })
	v.Alarms = those(b.GetAlarms(), t.alarm)
	v.Due = those(b.GetDue(), func(d *recordv1.DueView) bool { return d.GetSubject() == person })
	v.Procedures = those(b.GetProcedures(), func(p *recordv1.ProcedureView) bool { return t.zones[p.GetZone()] })
	v.People = those(b.GetPeople(), func(p *recordv1.PersonView) bool { return p.GetId() == person })
	employer := ""
	for _, p := range v.GetPeople() {
		employer = p.GetEmployer()
	}
	v.Exchanges = those(b.GetExchanges(), func(e *recordv1.ExchangeView) bool { return e.GetEmployer() == employer })
	return proto.CloneOf(v)
}

func those[V any](all []V, are func(V) bool) []V {
	var out []V
	for _, v := range all {
		if are(v) {
			out = append(out, v)
		}
	}
	return out
}

// ofJobs lists their jobs and notes what is theirs through these jobs.
func (t *theirs) ofJobs(b *recordv1.Board) []*recordv1.JobView {
	jobs := those(b.GetJobs(), func(j *recordv1.JobView) bool { return Concerns(j, t.person) })
	for _, j := range jobs {
		t.jobs[j.GetId()], t.zones[j.GetZone()] = true, true
		t.names[j.GetId()], t.names[j.GetZone()] = true, true
		for _, p := range j.GetPlan() {
			t.points[p], t.names[p] = true, true
		}
		t.raised = append(t.raised, j.GetAlarms()...)
	}
	return jobs
}

// ofHolds lists the locks that are theirs or touch their jobs. It notes what is theirs
// through their own locks.
func (t *theirs) ofHolds(b *recordv1.Board) []*recordv1.HoldView {
	var out []*recordv1.HoldView
	for _, h := range b.GetHolds() {
		own := h.GetHolder() == t.person && !h.GetFound()
		if !own && !t.jobs[h.GetJob()] && !t.anyPoint(h.GetCovers()) {
			continue
		}
		out = append(out, h)
		if own {
			t.names[h.GetRef()] = true
			for _, p := range append(slices.Clone(h.GetCovers()), h.GetTarget()) {
				t.points[p], t.names[p] = true, true
			}
		}
	}
	return out
}

func (t *theirs) anyPoint(points []string) bool {
	return slices.ContainsFunc(points, func(p string) bool { return t.points[p] })
}

// alarm reports whether an alarm concerns them. It belongs to one of their jobs or names
// something of theirs. An alarm about a fumigant always concerns them, because nobody
// who comes to a yard may miss it.
func (t *theirs) alarm(f *recordv1.Finding) bool {
	return code.Is(f, Fumigated) || t.named(f) || slices.ContainsFunc(t.raised, func(r *recordv1.Finding) bool { return proto.Equal(r, f) })
}

// named reports whether a finding, or one of its reasons, names something of theirs.
func (t *theirs) named(f *recordv1.Finding) bool {
	return t.names[f.GetSubject()] || slices.ContainsFunc(f.GetArgs(), func(a *recordv1.Arg) bool {
		return slices.ContainsFunc(a.GetNames(), func(n string) bool { return t.names[n] }) || slices.ContainsFunc(a.GetFindings(), t.named)
	})
}
