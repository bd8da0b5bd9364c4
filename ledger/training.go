package ledger

import (
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	retrainClause = "1910.147(c)(7)(iii) (unchecked)"
	// yearlyClause asks for grain-handling training at least once a year.
	yearlyClause = "1910.272(e)(1)"
)

// Course is one training of a person, by class: what its certificate says,
// 1910.147(c)(7)(iv).
type Course struct {
	Done        int64  `json:"done"`
	Until       int64  `json:"until"`
	Certificate string `json:"certificate,omitempty"`
	Recorded    Mark   `json:"recorded"`
}

// Retrain says that what isolates a zone, or its procedure, changed since a person
// last used it, or that an inspection asked for it: they are retrained before a
// lock of theirs counts for work there, 1910.147(c)(7)(iii).
type Retrain struct {
	Why   string `json:"why"`
	Since Mark   `json:"since"`
}

var classNames = map[recordv1.TrainingClass]string{
	recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED: "authorised", recordv1.TrainingClass_TRAINING_CLASS_AFFECTED: "affected",
	recordv1.TrainingClass_TRAINING_CLASS_OTHER: "other", recordv1.TrainingClass_TRAINING_CLASS_TAG_LIMITS: "tag-limits",
	recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY: "bin-entry", recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE: "observer-rescue",
	recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING: "grain-handling",
}

// ClassName is a training class in words, "" for none.
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
		x.refuse("UNKNOWN_PERSON", t.GetPerson(), "nobody of this name is enrolled", "invite them first", "a manager", "")
		return
	}
	if p.ID == x.who.ID {
		x.refuse("OWN_TRAINING", p.ID, "nobody certifies their own training", "ask another supervisor or manager", "supervisor or manager", "1910.147(c)(7)(iv) (unchecked)")
		return
	}
	x.notGivenBy(p.ID, "1910.147(c)(7)(iv) (unchecked)", p.ID)
	class, done := t.GetTraining(), t.GetDoneUnixMs()
	if class == recordv1.TrainingClass_TRAINING_CLASS_UNSPECIFIED {
		class = recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED
	}
	if done == 0 {
		done = x.mark.Time
	}
	if done > x.s.Time+clockAhead {
		x.refuse("NOT_YET", p.ID, "the day of the training has not come yet", "record it when it was given", x.who.ID, "1910.147(c)(7)(iv) (unchecked)")
	}
	if class == recordv1.TrainingClass_TRAINING_CLASS_GRAIN_HANDLING && t.GetUntilUnixMs() > yearLater(done) {
		x.refuse("TOO_LONG", p.ID, "grain-handling training is given at least every year: it can't be current for longer than a year", "give a day at most one year after it", x.who.ID, yearlyClause)
	}
	for _, z := range t.GetCovers() {
		if r := p.Retrain[z]; r != nil && done < r.Since.Late {
			x.refuse("BEFORE_THE_CHANGE", z, "this training was given before the change: "+r.Why, "train "+p.ID+" on it now, and record when", x.who.ID, retrainClause)
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
	x.change("training of %s recorded: %s%s", p.ID, ClassName(class), covering(t.GetCovers()))
}

func covering(zones []string) string {
	if len(zones) == 0 {
		return ""
	}
	return ", on what changed at " + strings.Join(zones, ", ")
}

// use notes that a person used what isolates a zone: by a lock, by going in, or as
// the responsible employee of a job.
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
func (x *step) retrain(zone, why string, people ...string) {
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
		p.Retrain[zone] = &Retrain{Why: why, Since: x.mark}
		marked = append(marked, id)
	}
	if len(marked) > 0 {
		x.change("to be retrained on %s: %s (%s)", zone, strings.Join(marked, ", "), why)
	}
}

// isolations writes down what isolates each zone that anybody used or that has a
// procedure, so that a change of it shows.
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

// isolationChanged compares with what isolated each zone before a revision: users
// are to be retrained, and a procedure made on the old drawing may not be used.
func (x *step) isolationChanged(before map[string]string, yard string, revision uint32) {
	s := x.s
	for _, z := range sorted(before) {
		if s.isolation(z) == before[z] {
			continue
		}
		why := fmt.Sprintf("revision %d of the drawing of %s changes what isolates %s", revision, yard, z)
		x.retrain(z, why, sorted(s.Used[z])...)
		if p := s.Procs[z]; p != nil {
			for _, v := range []*Version{&p.Current, &p.Waiting} {
				if v.Number > 0 {
					v.Stale = why
				}
			}
			x.change("the procedure of %s may no longer be used: %s", z, why)
		}
	}
}

// renamed carries over to a new zone who used, or is to be retrained on, one that left
// the drawings and shared a machine with it: it may be the same by another name.
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
			x.retrain(id, fmt.Sprintf("revision %d of the drawing of %s has it in place of %s", revision, YardOf(id), was), who...)
		}
	}
}

// flagRetrain flags a lock or sign-on of somebody who is to be retrained.
func (x *step) flagRetrain(person, zone string) {
	p := x.s.People[person]
	if p == nil {
		return
	}
	for _, z := range sorted(p.Retrain) {
		if zone == "" || z == zone {
			x.flag("RETRAIN", person, person+" is to be retrained on "+z+": "+p.Retrain[z].Why, retrainClause)
		}
	}
}
