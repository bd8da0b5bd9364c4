package ledger

import (
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/code"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	retrainClause = "1910.147(c)(7)(iii) (unchecked)"
	// yearlyClause asks for grain-handling training at least once a year.
	yearlyClause = "1910.272(e)(1)"
	// recordsClause covers the certificates of training.
	recordsClause = "1910.147(c)(7)(iv) (unchecked)"
)

var _ = declare(
	kind((*recordv1.Record).GetRecordTraining, Kind{Name: "record_training", Called: "training", Class: Lifts, May: whoHas(supervisor, manager), Clause: recordsClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(*recordv1.RecordTraining) About { return About{} },
		func(f *fields, a *recordv1.RecordTraining) {
			f.name("person", a.GetPerson())
			f.optionalOneOf("training", recordv1.TrainingClass_name, int32(a.GetTraining()))
			f.must(a.GetDoneUnixMs() >= 0, "done_unix_ms", "form-moment")
			f.optionalText("certificate", a.GetCertificate())
			f.places("covers", a.GetCovers())
			other := a.GetTraining() > recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED
			f.must(!other || len(a.GetCovers()) == 0, "covers", "form-authorised-training")
			f.must(!other || !a.GetQualified(), "qualified", "form-authorised-training")
		},
		(*step).recordTraining),
)

var (
	OwnTraining = code.New("OWN_TRAINING", code.Row{Args: "person", Clause: recordsClause, Who: "another-supervisor-manager"})
	// TrainingTooLong: grain-handling training is said to be current for more than a
	// year.
	TrainingTooLong = code.New("TRAINING_TOO_LONG", code.Row{Args: "person", Clause: yearlyClause, Who: "the-signer"})
	// BeforeTheChange: the retraining was given before the change that it should cover.
	BeforeTheChange  = code.New("BEFORE_THE_CHANGE", code.Row{Args: "zone person because:why", Clause: retrainClause, Who: "the-signer"})
	TrainingRecorded = code.New("TRAINING_RECORDED", code.Row{Args: "person class:word zones"})
	// RetrainOn: what isolates the zone, or its procedure, changed since the person last
	// used it. Or an inspection asked for retraining.
	RetrainOn     = code.New("RETRAIN", code.Row{Args: "person zone because:why", Clause: retrainClause, Who: "supervisor-manager", Next: "yardhasp person training {person} --covers {zone} --until DAY"})
	ToBeRetrained = code.New("TO_BE_RETRAINED", code.Row{Args: "zone people because:why"})
)

// These say why a person must be retrained, or why a procedure may no longer be used.
var (
	IsolationChanged = code.New("ISOLATION_CHANGED", code.Row{Args: "zone yard revision:number"})
	ZoneRenamed      = code.New("ZONE_RENAMED", code.Row{Args: "zone was yard revision:number"})
)

// Course is one training of a person, by class, as its certificate says,
// 1910.147(c)(7)(iv).
type Course struct {
	Done        int64  `json:"done"`
	Until       int64  `json:"until"`
	Certificate string `json:"certificate,omitempty"`
	Recorded    Mark   `json:"recorded"`
}

// Retrain says that what isolates a zone, or its procedure, changed since a person last
// used it, or that an inspection asked for it. The person must be retrained before a
// lock of theirs counts for work there, 1910.147(c)(7)(iii).
type Retrain struct {
	Because *recordv1.Finding `json:"because"`
	Since   Mark              `json:"since"`
}

// retrainFinding says what a person must be retrained on.
func (p *Person) retrainFinding(zone string) *recordv1.Finding {
	return RetrainOn.About(p.ID, p.ID, zone, p.Retrain[zone].Because)
}

var classNames = map[recordv1.TrainingClass]string{
	recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED: "authorised", recordv1.TrainingClass_TRAINING_CLASS_AFFECTED: "affected",
	recordv1.TrainingClass_TRAINING_CLASS_OTHER: "other", recordv1.TrainingClass_TRAINING_CLASS_TAG_LIMITS: "tag-limits",
	recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY: "bin-entry", recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE: "observer-rescue",
	recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING: "grain-handling",
}

// ClassName is a training class in words, or "" for none.
func ClassName(c recordv1.TrainingClass) string { return classNames[c] }

func classClause(c recordv1.TrainingClass) string {
	switch c {
	case recordv1.TrainingClass_TRAINING_CLASS_TAG_LIMITS:
		return "1910.147(c)(7)(ii) (unchecked)"
	case recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY:
		return "1910.272(e)(2)"
	case recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE:
		return "1910.272(g)(5)"
	case recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING:
		return yearlyClause
	}
	return "1910.147(c)(7)(i) (unchecked)"
}

// TrainedIn reports whether a person's training of a class is current at a moment,
// in Unix ms.
func (s *State) TrainedIn(person string, c recordv1.TrainingClass, at int64) bool {
	p := s.People[person]
	if p == nil {
		return false
	}
	if c == recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED {
		return p.trained(at)
	}
	k := p.Courses[ClassName(c)]
	return k != nil && k.Until > at
}

func (x *step) recordTraining(t *recordv1.RecordTraining) {
	p := x.s.People[t.GetPerson()]
	if p == nil {
		x.deny(UnknownPerson, t.GetPerson(), t.GetPerson())
		return
	}
	if p.ID == x.who.ID {
		x.deny(OwnTraining, p.ID, p.ID)
		return
	}
	x.notGivenBy(p.ID, recordsClause, p.ID)
	class, done := t.GetTraining(), t.GetDoneUnixMs()
	if class == recordv1.TrainingClass_TRAINING_CLASS_UNSPECIFIED {
		class = recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED
	}
	if done == 0 {
		done = x.mark.Time
	}
	if done > x.s.Time+clockAhead {
		x.deny(NotYet, p.ID, done, recordsClause)
	}
	if class == recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING && t.GetUntilUnixMs() > yearLater(done) {
		x.deny(TrainingTooLong, p.ID, p.ID)
	}
	for _, z := range t.GetCovers() {
		if r := p.Retrain[z]; r != nil && done < r.Since.Late {
			x.deny(BeforeTheChange, z, z, p.ID, r.Because)
		}
	}
	if x.refused() {
		return
	}
	if p.Courses == nil {
		p.Courses = map[string]*Course{}
	}
	p.Courses[ClassName(class)] = &Course{Done: done, Until: t.GetUntilUnixMs(), Certificate: t.GetCertificate(), Recorded: x.mark}
	if class == recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED {
		p.TrainedUntil, p.Qualified = t.GetUntilUnixMs(), t.GetQualified()
	}
	for _, z := range t.GetCovers() {
		delete(p.Retrain, z)
	}
	x.did(TrainingRecorded, p.ID, p.ID, ClassName(class), t.GetCovers())
}

// use notes that a person used what isolates a zone: by a lock, by going in, or as the
// responsible employee of a job.
func (s *State) use(zone, person string, at Mark) {
	if person == "" {
		return
	}
	m := s.Used[zone]
	if m == nil {
		m = map[string]Mark{}
		s.Used[zone] = m
	}
	if at.Late >= m[person].Late {
		m[person] = at
	}
}

// retrain marks people for retraining on a zone.
func (x *step) retrain(zone string, because *recordv1.Finding, people ...string) {
	slices.Sort(people)
	var marked []string
	for _, id := range slices.Compact(people) {
		p := x.s.People[id]
		if p == nil {
			continue
		}
		if p.Retrain == nil {
			p.Retrain = map[string]*Retrain{}
		}
		p.Retrain[zone] = &Retrain{Because: because, Since: x.mark}
		marked = append(marked, id)
	}
	if len(marked) > 0 {
		x.did(ToBeRetrained, zone, zone, marked, because)
	}
}

// isolations records what isolates each zone that anybody used or that has a procedure.
// A later comparison then shows a change.
func (s *State) isolations() map[string]string {
	out := map[string]string{}
	for _, z := range append(sorted(s.Used), sorted(s.Procs)...) {
		if _, done := out[z]; !done {
			out[z] = s.isolation(z)
		}
	}
	return out
}

func (s *State) isolation(zone string) string {
	z, ok := s.Graph().Zone(zone)
	if !ok {
		return ""
	}
	reach, _ := s.graph.Reach(zone)
	stores, _ := s.graph.Stores(zone, nil)
	plan, _ := s.graph.Plan(zone, recordv1.Isolation_ISOLATION_UNSPECIFIED)
	var b strings.Builder
	fmt.Fprint(&b, z.Isolation, z.WaivedBy, z.Entered, z.Parts, reach, plan.Points, plan.Isolates, " ")
	for _, st := range stores {
		fmt.Fprint(&b, st.ID, " ", st.Release, " ", st.WaitSeconds, " ")
	}
	return b.String()
}

// isolationChanged compares with what isolated each zone before a revision. Where that
// changed, the users must be retrained, and a procedure made on the previous drawing may
// not be used.
func (x *step) isolationChanged(before map[string]string, yard string, revision uint32) {
	s := x.s
	for _, z := range sorted(before) {
		if s.isolation(z) == before[z] {
			continue
		}
		why := IsolationChanged.About(z, z, yard, revision)
		x.retrain(z, why, sorted(s.Used[z])...)
		if p := s.Procs[z]; p != nil {
			for _, v := range []*Version{&p.Current, &p.Waiting} {
				if v.Number > 0 {
					v.Stale = why
				}
			}
			x.did(ProcedureEnded, z, z, why)
		}
	}
}

// renamed handles a new zone that shares a machine with a zone that left the drawings.
// It may be the same zone under another name. So the users of the zone that left count
// as users of the new one, and must be retrained on it.
func (x *step) renamed(before *energy.Graph, revision uint32) {
	s := x.s
	gone := slices.DeleteFunc(before.Zones(), func(z string) bool {
		_, stays := s.graph.Zone(z)
		return stays
	})
	if len(gone) == 0 {
		return
	}
	for _, id := range s.graph.Zones() {
		if _, old := before.Zone(id); old {
			continue
		}
		for _, was := range gone {
			z, _ := before.Zone(was)
			if places := s.placesOf(id); !slices.ContainsFunc(z.Parts, func(p energy.Part) bool { return slices.Contains(places, p.Node) }) {
				continue
			}
			var who []string
			for _, p := range sorted(s.People) {
				if m, used := s.Used[was][p]; used {
					s.use(id, p, m)
				}
				if _, used := s.Used[was][p]; used || s.People[p].Retrain[was] != nil {
					who = append(who, p)
				}
			}
			x.retrain(id, ZoneRenamed.About(id, id, was, YardOf(id), revision), who...)
		}
	}
}

// flagRetrain flags a lock or sign-on of a person who must be retrained.
func (x *step) flagRetrain(person, zone string) {
	p := x.s.People[person]
	if p == nil {
		return
	}
	for _, z := range sorted(p.Retrain) {
		if zone == "" || z == zone {
			x.out.Flags = append(x.out.Flags, p.retrainFinding(z))
		}
	}
}
