package ledger

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Watch is one person standing watch: as observer outside a bin, or for fire.
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

// DutyWord says what somebody stands watch for.
func DutyWord(d recordv1.Duty) string {
	if d == recordv1.Duty_DUTY_FIRE_WATCH {
		return "fire watch"
	}
	return "observer"
}

// standWatch records that the signer stands watch. What is wrong with it is
// recorded too, and no permit rests on it.
func (x *step) standWatch(w *recordv1.StandWatch) {
	j := x.job(w.GetJob())
	if j == nil || !x.ok {
		return
	}
	left := Mark{}
	if early := x.s.Watches[x.out.Ref]; early != nil {
		left = early.Off
		x.flag("ENDED", x.out.Ref, "it was recorded before this arrived that this watch is left: to stand it, record it anew", "")
	}
	x.s.Watches[x.out.Ref] = &Watch{Ref: x.out.Ref, Person: x.who.ID, Job: j.ID, Duty: w.GetDuty(), Station: w.GetStation(), Contact: w.GetContact(),
		Equipped: w.GetEquipped(), RescueTrained: w.GetRescueTrained(), On: x.mark, Off: left}
	if left.Set() {
		return
	}
	x.change("%s stands watch as %s for %s: %s", x.who.ID, DutyWord(w.GetDuty()), j.ID, w.GetStation())
}

// leaveWatch: a watch is not stood any more, whoever saw it. The word may come
// before the watch that it names, from a yard that was cut off; and what one person
// stands is left as a whole, however often it was recorded.
func (x *step) leaveWatch(l *recordv1.LeaveWatch) {
	w := x.s.Watches[l.GetWatch()]
	switch {
	case w == nil && x.s.mayArrive(l.GetWatch()):
		x.s.Watches[l.GetWatch()] = &Watch{Ref: l.GetWatch(), Off: x.mark}
		x.s.end("watch", l.GetWatch())
		x.flag("UNKNOWN_WATCH", l.GetWatch(), "no such watch is known yet", "")
		x.change("the watch %s counts as left as soon as its record arrives", l.GetWatch())
	case w == nil:
		x.flag("UNKNOWN_WATCH", l.GetWatch(), "no such watch: the record is kept and changes nothing", "")
	case w.Off.Set():
		x.flag("ENDED", w.Ref, w.Person+" left this watch before", "")
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
	x.change("%s stands watch as %s for %s no more", w.Person, DutyWord(w.Duty), w.Job)
}

// mayArrive reports whether the journal place that a text names can still be taken:
// it is ahead of what the ledger has of that yard.
func (s *State) mayArrive(ref string) bool {
	yard, epoch, seq, ok := parseRef(ref)
	y := s.Yards[yard]
	return ok && y != nil && epoch == y.Epoch && seq > y.Drained
}

// watchesOf lists who stands a duty for a job, in order of reference. A watch that
// nobody left for longer than a shift is taken as left.
func (s *State) watchesOf(job string, d recordv1.Duty, at int64) []*Watch {
	var out []*Watch
	for _, ref := range sorted(s.Watches) {
		if w := s.Watches[ref]; w.Job == job && w.Duty == d && !w.Off.Set() && at <= w.On.Time+maxPermit {
			out = append(out, w)
		}
	}
	return out
}

// watchFaults says why a watch can't carry a permit; none when it can.
func (s *State) watchFaults(w *Watch, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(code, text, remedy, clause string) {
		cs = append(cs, cond(code, w.Person, text, remedy, w.Person, clause))
	}
	for _, ref := range sorted(s.inside) {
		if s.inside[ref].Person == w.Person && w.Duty == recordv1.Duty_DUTY_OBSERVER {
			add("OBSERVER_INSIDE", fmt.Sprintf("%s stands watch as %s and is signed on to the zone of %s", w.Person, DutyWord(w.Duty), s.inside[ref].Job), "somebody else stands watch, outside", "1910.272(g)(3)")
			break
		}
	}
	for _, ref := range sorted(s.Watches) {
		if o := s.Watches[ref]; o.Ref != w.Ref && o.Person == w.Person && !o.Off.Set() && (o.Job != w.Job || o.Duty != w.Duty) {
			add("OBSERVER_ELSEWHERE", fmt.Sprintf("%s stands watch as %s for %s too", w.Person, DutyWord(o.Duty), o.Job), "leave the other watch first", "1910.272(g)(3)")
			break
		}
	}
	if w.Duty == recordv1.Duty_DUTY_FIRE_WATCH {
		for _, ref := range sorted(s.inside) {
			if so := s.inside[ref]; so.Person == w.Person && so.Job != w.Job {
				add("OBSERVER_ELSEWHERE", fmt.Sprintf("%s stands watch as %s and is signed on to the zone of %s", w.Person, DutyWord(w.Duty), so.Job), "sign off there first, or somebody else stands watch", "NFPA 51B (unchecked)")
				break
			}
		}
		if !w.Equipped {
			add("NOT_EQUIPPED", w.Person+" has nothing at hand to put a fire out", "bring it, and stand watch again", "1910.252(a) (unchecked)")
		}
		return cs
	}
	if p := s.People[w.Person]; p == nil || !p.trained(at) || !w.RescueTrained || !s.TrainedIn(w.Person, recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE, at) {
		add("OBSERVER_NOT_TRAINED", w.Person+" is not recorded as trained in rescue, calling for help included", "train them and record it (class observer-rescue), and they say so when they stand watch; or somebody who is trained stands watch", "1910.272(g)(5)")
	}
	if w.Contact == 0 {
		add("NO_CONTACT", w.Person+" is not in touch with the people inside", "keep in touch by sight, voice or signal line, and stand watch again", "1910.272(g)(3)")
	}
	if !w.Equipped {
		add("NOT_EQUIPPED", w.Person+" has nothing at hand to help with", "bring it, and stand watch again", "1910.272(g)(3)")
	}
	return cs
}

// watchConditions lists what is missing of a watch that a permit names people for:
// one of them standing it without fault is enough.
func (s *State) watchConditions(job string, d recordv1.Duty, named []string, clause string, at int64) []*recordv1.Finding {
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
	code := map[recordv1.Duty]string{recordv1.Duty_DUTY_OBSERVER: "NO_OBSERVER", recordv1.Duty_DUTY_FIRE_WATCH: "NO_FIRE_WATCH"}[d]
	return []*recordv1.Finding{cond(code, job, "nobody whom the permit names stands watch as "+DutyWord(d), "they take their station and record it", namesOr(named, "supervisor or manager"), clause)}
}
