package ledger

import (
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	countersigned("from", kind((*recordv1.Record).GetTakeOver, Kind{Name: "take_over", Called: "take-over", Class: Lifts, May: whoHas(authorised), Clause: handOverClause, By: ByPerson, With: responsibleUntilNow,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(t *recordv1.TakeOver) About { return About{Job: t.GetJob()} },
		func(f *fields, a *recordv1.TakeOver) { f.name("job", a.GetJob()) },
		(*step).takeOver)),
)

func responsibleUntilNow(r *recordv1.Record) ([]string, []byte) {
	return []string{r.GetTakeOver().GetFrom()}, nil
}

var (
	ResponsibleAlready = code.New("RESPONSIBLE_ALREADY", code.Row{Args: "person job", Clause: handOverClause, Answer: code.Taken})
	// NotTheirsToPass: the signer is not responsible for the job and is not a supervisor
	// or manager.
	NotTheirsToPass = code.New("NOT_THEIRS_TO_PASS", code.Row{Args: "person job responsible", Clause: handOverClause, Who: "{responsible}", Answer: code.Denied})
	// NotAllLocked: the person who takes a job over needs their own lock on every plan
	// point.
	NotAllLocked = code.New("NOT_ALL_LOCKED", code.Row{Args: "person job points", Clause: handOverClause, Who: "{person}", Next: "yardhasp lock POINT --padlock PADLOCK --job {job}"})
	TakenOver    = code.New("TAKEN_OVER", code.Row{Args: "person job before"})
)

// takeOver makes the signer the responsible employee of a job. At no moment is nobody
// responsible. The signer must be trained and have their own lock on every point of the
// plan. The employee responsible so far signs too, or a supervisor or manager in their
// place.
func (x *step) takeOver(t *recordv1.TakeOver) {
	s, from := x.s, t.GetFrom()
	j := s.Jobs[t.GetJob()]
	if j == nil || j.Closed.Set() {
		x.deny(UnknownJob, t.GetJob(), t.GetJob())
		return
	}
	switch {
	case j.Responsible == x.who.ID:
		x.deny(ResponsibleAlready, j.ID, x.who.ID, j.ID)
	case from != j.Responsible && !s.People[from].Has(supervisor, manager):
		x.deny(NotTheirsToPass, from, from, j.ID, j.Responsible)
	default:
		x.notOneHand(from, "supervisor-manager", handOverClause)
	}
	if !x.who.trained(s.Time) {
		x.deny(TrainingLapsed, x.who.ID, x.who.ID)
	}
	if open := s.unlocked(j, x.who.ID); len(open) > 0 {
		x.deny(NotAllLocked, j.ID, x.who.ID, j.ID, open)
	}
	if x.refused() {
		return
	}
	was := j.Responsible
	j.Responsible = x.who.ID
	s.use(j.Zone, was, x.mark)
	s.use(j.Zone, x.who.ID, x.mark)
	x.did(TakenOver, j.ID, x.who.ID, j.ID, was)
}
