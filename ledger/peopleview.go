package ledger

import (
	"cmp"
	"encoding/hex"
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// dueSoon is how long ahead of its date something is listed as due, in ms (common
// practice, no source).
const dueSoon = 30 * dayMS

func (p *Person) fill(v *recordv1.PersonView) {
	for _, c := range sorted(p.Courses) {
		k := p.Courses[c]
		class, _ := ParseClass(c)
		v.Courses = append(v.Courses, &recordv1.CourseView{Training: class, DoneUnixMs: k.Done, UntilUnixMs: k.Until, Certificate: k.Certificate})
	}
	for _, z := range sorted(p.Retrain) {
		v.Retrain = append(v.Retrain, &recordv1.RetrainView{Zone: z, Why: p.Retrain[z].Why, SinceUnixMs: p.Retrain[z].Since.Late})
	}
}

// ParseClass reads a training class's name: "bin-entry".
func ParseClass(word string) (recordv1.TrainingClass, bool) {
	for c := recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED; c <= recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING; c++ {
		if ClassName(c) == word {
			return c, true
		}
	}
	return recordv1.TrainingClass_TRAINING_CLASS_UNSPECIFIED, false
}

// ProcedureView shows a zone's procedure as it stands at a moment, nil when none
// was published.
func (s *State) ProcedureView(zone string, at int64) *recordv1.ProcedureView {
	p := s.Procs[zone]
	if p == nil {
		return nil
	}
	v, c := &recordv1.ProcedureView{Zone: zone}, &p.Current
	if w := &p.Waiting; w.Number > 0 {
		v.Waiting, v.WaitingAuthor, v.WaitingHash, v.WaitingIndex = w.Number, w.Written.By, unhex(w.Hash), w.Written.Index
	}
	if c.Number == 0 {
		return v
	}
	v.Version, v.TextHash, v.Author, v.ApprovedBy, v.ApprovedUnixMs = c.Number, unhex(c.Hash), c.Written.By, c.Approved.By, c.Approved.Time
	v.Machines, v.Points, v.Drawings, v.Stale, v.Index = c.Machines, c.Points, c.Drawings, c.Stale, c.Written.Index
	v.InspectionDueUnixMs, v.ToReview = p.dueAt(), s.toReview(p, at)
	if p.Inspected.By.Set() {
		v.InspectedUnixMs, v.Inspector = p.Inspected.Date, p.Inspected.By.By
	}
	return v
}

func unhex(h string) []byte {
	b, _ := hex.DecodeString(h)
	return b
}

func (s *State) exchangeView(e *Exchange) *recordv1.ExchangeView {
	return &recordv1.ExchangeView{Yard: e.Yard, Employer: e.Employer, Contractor: e.Contractor, HostPerson: e.At.By, HostProcedures: e.Host,
		OutsideProcedures: e.Outside, DateUnixMs: e.Date, Hazards: e.Hazards, Emergency: e.Emergency}
}

// Due lists training, retraining, inspections and reviews that are due at a moment
// or within 30 days of it, the most urgent first.
func (s *State) Due(at int64) []*recordv1.DueView {
	var out []*recordv1.DueView
	add := func(kind, subject, what string, due int64, overdue bool, clause string) {
		out = append(out, &recordv1.DueView{Kind: kind, Subject: subject, What: what, DueUnixMs: due, Overdue: overdue, Clause: clause})
	}
	for _, id := range sorted(s.People) {
		p := s.People[id]
		if s.LiveKey(id) == nil {
			continue // gone: nothing they sign counts
		}
		for _, z := range sorted(p.Retrain) {
			add("retraining", id, z+": "+p.Retrain[z].Why, p.Retrain[z].Since.Late, true, retrainClause)
		}
		until := map[string]int64{}
		for c, k := range p.Courses {
			until[c] = k.Until
		}
		if p.Has(authorised, contractor) {
			until["authorised"] = p.TrainedUntil
		}
		if _, ok := until["affected"]; p.Has(affected) && !ok {
			until["affected"] = 0
		}
		if _, ok := until["grain-handling"]; !s.outsider(p) && !ok {
			until["grain-handling"] = 0
		}
		for _, c := range sorted(until) {
			class, _ := ParseClass(c)
			switch u := until[c]; {
			case u == 0:
				add("training", id, c+": never recorded", 0, true, classClause(class))
			case u <= at+dueSoon:
				add("training", id, c, u, u <= at, classClause(class))
			}
		}
	}
	for _, z := range s.Graph().Zones() {
		if p := s.Procs[z]; p == nil || p.Current.Number == 0 {
			add("procedure", z, "no approved procedure", 0, true, procedureClause)
		}
	}
	for _, z := range sorted(s.Procs) {
		p := s.Procs[z]
		if p.Current.Number == 0 {
			continue
		}
		if d := p.dueAt(); d <= at+dueSoon {
			add("inspection", z, fmt.Sprintf("procedure version %d", p.Current.Number), d, at > d, inspectClause)
		}
		for _, id := range s.toReview(p, at) {
			add("review", id, "duties under the procedure of "+z, p.dueAt(), at > p.dueAt(), inspectClause+"(C)")
		}
	}
	slices.SortStableFunc(out, func(a, b *recordv1.DueView) int {
		return cmp.Or(boolCompare(b.GetOverdue(), a.GetOverdue()), cmp.Compare(a.GetDueUnixMs(), b.GetDueUnixMs()))
	})
	return out
}

func boolCompare(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// fillPeople adds to a job's view its crews, its procedure and what was exchanged.
func (s *State) fillPeople(v *recordv1.JobView, j *Job, at int64) {
	v.Members, v.Complex, v.Coordinator = s.members(j), s.complexLockout(j), j.Coordinator
	v.Procedure = s.ProcedureView(j.Zone, at)
	if j.Exception.By.Set() {
		v.Exception = "no written procedure, attested by " + j.Exception.By.By + ": " + j.Exception.How
	}
	for _, k := range sorted(s.Exchanges) {
		e := s.Exchanges[k]
		firm := slices.ContainsFunc(v.Members, func(m *recordv1.MemberView) bool { return m.GetEmployer() == e.Employer })
		if firm && slices.Contains(j.workYards(), e.Yard) {
			v.Exchanges = append(v.Exchanges, s.exchangeView(e))
		}
	}
}
