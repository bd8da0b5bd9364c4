package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// observerClause asks for an observer outside, equipped to help and in touch with those
// inside.
const observerClause = "1910.272(g)(3)"

var _ = declare(
	kind((*recordv1.Record).GetStandWatch, Kind{Name: "stand_watch", Called: "stand watch", Class: Asserts, May: whoHas(authorised, supervisor, manager, contractor), Clause: observerClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtJob, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(w *recordv1.StandWatch) About { return About{Job: w.GetJob()} },
		func(f *fields, a *recordv1.StandWatch) {
			f.name("job", a.GetJob())
			f.oneOf("duty", recordv1.Duty_name, int32(a.GetDuty()))
			f.text("station", a.GetStation())
			f.optionalOneOf("contact", recordv1.Contact_name, int32(a.GetContact()))
		},
		(*step).standWatch),
	kind((*recordv1.Record).GetLeaveWatch, Kind{Name: "leave_watch", Called: "leave watch", Class: Protects, May: anybody(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtRecord, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(l *recordv1.LeaveWatch) About { return About{Record: l.GetWatch()} },
		func(f *fields, a *recordv1.LeaveWatch) { f.refText("watch", a.GetWatch()) },
		(*step).leaveWatch),
)

// These are what the records about a watch say.
var (
	WatchStood = code.New("WATCH_STOOD", code.Row{Args: "person duty:word job station:text"})
	WatchLeft  = code.New("WATCH_LEFT", code.Row{Args: "person duty:word job"})
	// WatchLeftBefore: the record that the watch was left came before the watch itself.
	WatchLeftBefore = code.New("WATCH_LEFT_BEFORE", code.Row{Args: "record", Who: "the-signer"})
	// WatchNotArrived: the watch was left, and its own record has not arrived yet.
	WatchNotArrived = code.New("WATCH_NOT_ARRIVED", code.Row{Args: "record"})
	// WatchLeftOnArrival: when the record of that watch arrives, the watch counts as
	// left.
	WatchLeftOnArrival = code.New("WATCH_LEFT_ON_ARRIVAL", code.Row{Args: "record"})
	UnknownWatch       = code.New("UNKNOWN_WATCH", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp permit list", Answer: code.Unknown})
	// WatchEnded: the watch was left before.
	WatchEnded = code.New("WATCH_ENDED", code.Row{Args: "record person"})
)

// These say why a watch cannot support a permit.
var (
	NoObserver  = code.New("NO_OBSERVER", code.Row{Args: "job watchers", Clause: observerClause, Who: "{watchers}", Next: "yardhasp permit observe {job}"})
	NoFireWatch = code.New("NO_FIRE_WATCH", code.Row{Args: "job watchers", Clause: fireWatchClause, Who: "{watchers}", Next: "yardhasp permit fire-watch {job}"})
	// ObserverInside: the observer is signed on inside while watching from outside.
	ObserverInside = code.New("OBSERVER_INSIDE", code.Row{Args: "person job", Clause: observerClause, Who: "{person}"})
	// ObserverElsewhere: the person also stands another watch. The argument record is
	// that watch.
	ObserverElsewhere = code.New("OBSERVER_ELSEWHERE", code.Row{Args: "person duty:word job record", Clause: observerClause, Who: "{person}", Next: "yardhasp permit leave-watch {record}"})
	// FireWatchElsewhere: the person is signed on to the zone of another job. The
	// argument record is that sign-on.
	FireWatchElsewhere   = code.New("FIRE_WATCH_ELSEWHERE", code.Row{Args: "person job record", Clause: fireWatchClause, Who: "{person}", Next: "yardhasp sign-off {record}"})
	FireWatchNotEquipped = code.New("FIRE_WATCH_NOT_EQUIPPED", code.Row{Args: "person job", Clause: "1910.252(a) (unchecked)", Who: "{person}", Next: "yardhasp permit fire-watch {job} --equipped"})
	// ObserverNotTrained: the observer is not trained in rescue and in how to call for
	// help.
	ObserverNotTrained  = code.New("OBSERVER_NOT_TRAINED", code.Row{Args: "person", Clause: "1910.272(g)(5)", Who: "{person}", Next: "yardhasp person training {person} --class observer-rescue --until DAY"})
	NoContact           = code.New("NO_CONTACT", code.Row{Args: "person job", Clause: observerClause, Who: "{person}", Next: "yardhasp permit observe {job}"})
	ObserverNotEquipped = code.New("OBSERVER_NOT_EQUIPPED", code.Row{Args: "person job", Clause: observerClause, Who: "{person}", Next: "yardhasp permit observe {job} --equipped"})
)

// Watch is one person standing watch, as observer outside a bin or for fire.
type Watch struct {
	Ref           string           `json:"ref"`
	Person        string           `json:"person"`
	Job           string           `json:"job"`
	Duty          recordv1.Duty    `json:"duty"`
	Station       string           `json:"station"`
	Contact       recordv1.Contact `json:"contact"`
	Equipped      bool             `json:"equipped,omitempty"`
	RescueTrained bool             `json:"rescue_trained,omitempty"`
	On            Mark             `json:"on"`
	Off           Mark             `json:"off"`
}

// DutyWord is the catalogue word for what a person stands watch for, such as
// "fire-watch".
func DutyWord(d recordv1.Duty) string { return enumWord(d, "DUTY_") }

// standWatch records that the signer stands watch. A watch with faults is recorded too,
// but no permit can rest on it.
func (x *step) standWatch(w *recordv1.StandWatch) {
	j := x.job(w.GetJob())
	if j == nil || !x.ok {
		return
	}
	left := Mark{}
	if early := x.s.Watches[x.out.Ref]; early != nil {
		left = early.Off
		x.note(WatchLeftBefore, x.out.Ref, x.out.Ref)
	}
	x.s.Watches[x.out.Ref] = &Watch{Ref: x.out.Ref, Person: x.who.ID, Job: j.ID, Duty: w.GetDuty(), Station: w.GetStation(), Contact: w.GetContact(),
		Equipped: w.GetEquipped(), RescueTrained: w.GetRescueTrained(), On: x.mark, Off: left}
	if left.Set() {
		return
	}
	x.did(WatchStood, j.ID, x.who.ID, DutyWord(w.GetDuty()), j.ID, w.GetStation())
}

// leaveWatch records that nobody stands a watch any more, whoever saw that. The record
// may arrive before the watch that it names, if that comes from a yard that was cut off.
// A person may have recorded one watch several times: all of these are left together.
func (x *step) leaveWatch(l *recordv1.LeaveWatch) {
	w := x.s.Watches[l.GetWatch()]
	switch {
	case w == nil && x.s.mayArrive(l.GetWatch()):
		x.s.Watches[l.GetWatch()] = &Watch{Ref: l.GetWatch(), Off: x.mark}
		x.s.end("watch", l.GetWatch())
		x.note(WatchNotArrived, l.GetWatch(), l.GetWatch())
		x.did(WatchLeftOnArrival, l.GetWatch(), l.GetWatch())
	case w == nil:
		x.note(UnknownWatch, l.GetWatch(), l.GetWatch())
	case w.Off.Set():
		x.note(WatchEnded, w.Ref, w.Ref, w.Person)
	default:
		x.left(w)
		for _, ref := range sorted(x.s.Watches) {
			if o := x.s.Watches[ref]; o.Person == w.Person && o.Job == w.Job && o.Duty == w.Duty && !o.Off.Set() && (o.On.seenBy(x.mark) || o.On.Time <= x.mark.Late) {
				x.left(o)
			}
		}
	}
}

func (x *step) left(w *Watch) {
	w.Off = x.mark
	x.s.end("watch", w.Ref)
	x.did(WatchLeft, w.Job, w.Person, DutyWord(w.Duty), w.Job)
}

// watchesOf lists who stands a duty for a job, ordered by reference. A watch that was
// not left for longer than a shift counts as left.
func (s *State) watchesOf(job string, d recordv1.Duty, at int64) []*Watch {
	var out []*Watch
	for _, ref := range sorted(s.Watches) {
		if w := s.Watches[ref]; w.Job == job && w.Duty == d && !w.Off.Set() && at <= w.On.Time+maxPermit {
			out = append(out, w)
		}
	}
	return out
}

// watchFaults says why a watch cannot support a permit. It is empty when it can.
func (s *State) watchFaults(w *Watch, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(bad bool, f *recordv1.Finding) {
		if bad {
			cs = append(cs, f)
		}
	}
	observer := w.Duty == recordv1.Duty_DUTY_OBSERVER
	if in := s.insideFirst(func(so *SignOn) bool { return observer && so.Person == w.Person }); in != nil {
		cs = append(cs, ObserverInside.About(w.Person, w.Person, in.Job))
	}
	for _, ref := range sorted(s.Watches) {
		if o := s.Watches[ref]; o.Ref != w.Ref && o.Person == w.Person && !o.Off.Set() && (o.Job != w.Job || o.Duty != w.Duty) {
			cs = append(cs, ObserverElsewhere.About(w.Person, w.Person, DutyWord(o.Duty), o.Job, o.Ref))
			break
		}
	}
	if w.Duty == recordv1.Duty_DUTY_FIRE_WATCH {
		if in := s.insideFirst(func(so *SignOn) bool { return so.Person == w.Person && so.Job != w.Job }); in != nil {
			cs = append(cs, FireWatchElsewhere.About(w.Person, w.Person, in.Job, in.Ref))
		}
		add(!w.Equipped, FireWatchNotEquipped.About(w.Person, w.Person, w.Job))
		return cs
	}
	p := s.People[w.Person]
	add(p == nil || !p.trained(at) || !w.RescueTrained || !s.TrainedIn(w.Person, recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE, at), ObserverNotTrained.About(w.Person, w.Person))
	add(w.Contact == 0, NoContact.About(w.Person, w.Person, w.Job))
	add(!w.Equipped, ObserverNotEquipped.About(w.Person, w.Person, w.Job))
	return cs
}

// insideFirst is the first sign-on, by reference, of the people inside for which is
// holds. It is nil when there is none.
func (s *State) insideFirst(is func(*SignOn) bool) *SignOn {
	for _, ref := range sorted(s.inside) {
		if so := s.inside[ref]; is(so) {
			return so
		}
	}
	return nil
}

// watchConditions lists what is missing of a watch for which a permit names people. It
// is enough that one of them stands it without fault.
func (s *State) watchConditions(job string, d recordv1.Duty, named []string, at int64) []*recordv1.Finding {
	var faults []*recordv1.Finding
	for _, w := range s.watchesOf(job, d, at) {
		if !slices.Contains(named, w.Person) {
			continue
		}
		cs := s.watchFaults(w, at)
		if len(cs) == 0 {
			return nil
		}
		faults = append(faults, cs...)
	}
	if len(faults) > 0 {
		return faults
	}
	missing := NoObserver
	if d == recordv1.Duty_DUTY_FIRE_WATCH {
		missing = NoFireWatch
	}
	return []*recordv1.Finding{missing.About(job, job, named)}
}
