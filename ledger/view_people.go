package ledger

import (
	"cmp"
	"encoding/hex"
	"slices"

	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// dueSoon is how long before its date something is listed as due, in ms (common
// practice, no source).
const dueSoon = 30 * dayMS

// These say what is due.
var (
	// TrainingMissing: no such training was ever recorded.
	TrainingMissing = code.New("TRAINING_MISSING", code.Row{Args: "person class:word clause", Who: "supervisor-manager", Next: "yardhasp person training {person} --class {class} --until DAY"})
	TrainingDue     = code.New("TRAINING_DUE", code.Row{Args: "person class:word until:time clause", Who: "supervisor-manager", Next: "yardhasp person training {person} --class {class} --until DAY"})
	InspectionDue   = code.New("INSPECTION_DUE", code.Row{Args: "zone version:number due:time", Clause: inspectClause, Who: "authorised", Next: "yardhasp procedure inspect {zone} --machine MACHINE --date DAY --employee PERSON"})
	ReviewDue       = code.New("REVIEW_DUE", code.Row{Args: "person zone due:time", Clause: inspectClause + "(C)", Who: "authorised", Next: "yardhasp procedure inspect {zone} --machine MACHINE --date DAY --employee {person}"})
)

func (s *State) personView(id string) *recordv1.PersonView {
	p := s.People[id]
	v := &recordv1.PersonView{Id: id, Name: p.Name, Employer: p.Employer, Roles: p.Roles,
		Qualified: p.Qualified, TrainedUntilUnixMs: p.TrainedUntil, HasKey: s.LiveKey(id) != nil}
	for _, c := range sorted(p.Courses) {
		k := p.Courses[c]
		class, _ := ParseClass(c)
		v.Courses = append(v.Courses, &recordv1.CourseView{Training: class, DoneUnixMs: k.Done, UntilUnixMs: k.Until, Certificate: k.Certificate})
	}
	for _, z := range sorted(p.Retrain) {
		v.Retrain = append(v.Retrain, &recordv1.RetrainView{Zone: z, Because: p.Retrain[z].Because, SinceUnixMs: p.Retrain[z].Since.Late})
	}
	return v
}

// ParseClass reads the name of a training class, such as "bin-entry".
func ParseClass(word string) (recordv1.TrainingClass, bool) {
	for c := recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED; c <= recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING; c++ {
		if ClassName(c) == word {
			return c, true
		}
	}
	return recordv1.TrainingClass_TRAINING_CLASS_UNSPECIFIED, false
}

// ProcedureView shows a zone's procedure as it stands at a moment, in Unix ms. It is nil
// when none was published.
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

// Due lists the training, retraining, inspections and reviews that are due at a moment
// or within 30 days of it, the most urgent first.
func (s *State) Due(at int64) []*recordv1.DueView {
	var out []*recordv1.DueView
	for _, id := range sorted(s.People) {
		if s.LiveKey(id) != nil { // nothing is due from a person who left
			out = append(out, s.trainingsDue(s.People[id], at)...)
		}
	}
	out = append(out, s.proceduresDue(at)...)
	slices.SortStableFunc(out, func(a, b *recordv1.DueView) int {
		return cmp.Or(boolCompare(b.GetOverdue(), a.GetOverdue()), cmp.Compare(a.GetDueUnixMs(), b.GetDueUnixMs()))
	})
	return out
}

// trainingsDue lists what a person must be trained in or retrained on.
func (s *State) trainingsDue(p *Person, at int64) []*recordv1.DueView {
	var out []*recordv1.DueView
	for _, z := range sorted(p.Retrain) {
		out = append(out, &recordv1.DueView{Kind: "retraining", Subject: p.ID, Due: p.retrainFinding(z), DueUnixMs: p.Retrain[z].Since.Late, Overdue: true})
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
			out = append(out, &recordv1.DueView{Kind: "training", Subject: p.ID, Due: TrainingMissing.About(p.ID, p.ID, c, classClause(class)), Overdue: true})
		case u <= at+dueSoon:
			out = append(out, &recordv1.DueView{Kind: "training", Subject: p.ID, Due: TrainingDue.About(p.ID, p.ID, c, u, classClause(class)), DueUnixMs: u, Overdue: u <= at})
		}
	}
	return out
}

// proceduresDue lists the zones without a procedure, and the procedures that must be
// inspected and reviewed.
func (s *State) proceduresDue(at int64) []*recordv1.DueView {
	var out []*recordv1.DueView
	for _, z := range s.Graph().Zones() {
		if s.approved(z) == nil {
			out = append(out, &recordv1.DueView{Kind: "procedure", Subject: z, Due: NoProcedure.About(z, z), Overdue: true})
		}
	}
	for _, z := range sorted(s.Procs) {
		p := s.Procs[z]
		if p.Current.Number == 0 {
			continue
		}
		d := p.dueAt()
		if d <= at+dueSoon {
			out = append(out, &recordv1.DueView{Kind: "inspection", Subject: z, Due: InspectionDue.About(z, z, p.Current.Number, d), DueUnixMs: d, Overdue: at > d})
		}
		for _, id := range s.toReview(p, at) {
			out = append(out, &recordv1.DueView{Kind: "review", Subject: id, Due: ReviewDue.About(id, id, z, d), DueUnixMs: d, Overdue: at > d})
		}
	}
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

// YardView shows one yard.
func (s *State) YardView(id string) *recordv1.YardView {
	y := s.Yards[id]
	v := &recordv1.YardView{Id: id, Name: y.Name, Address: y.Address, Fingerprint: seal.Fingerprint(y.Key), ReplicaKey: y.Key}
	if d := s.Drawings[id]; d != nil {
		v.DrawingRevision, v.DrawingWalkedBy = d.Revision, d.Walked.By
	}
	return v
}
