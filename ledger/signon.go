package ledger

import (
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetSignOn, Kind{Name: "sign_on", Called: "sign on", Class: Protects, May: whoHas(authorised, contractor), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtJob, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: TrainingNeeded},
		func(o *recordv1.SignOn) About { return About{Job: o.GetJob()} },
		func(f *fields, a *recordv1.SignOn) { f.name("job", a.GetJob()) },
		(*step).signOn),
	kind((*recordv1.Record).GetSignOff, Kind{Name: "sign_off", Called: "sign off", Class: Lifts, May: ofTheirOwn(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtRecord, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(o *recordv1.SignOff) About { return About{Record: RefOf(o.GetSignOn())} },
		func(f *fields, a *recordv1.SignOff) { f.ref("sign_on", a.GetSignOn()) },
		(*step).signOff),
)

const leaveClause = "1910.147(e)(2)(i)"

var (
	// SignedOn: a person is in the zone, as far as the records tell.
	SignedOn = code.New("SIGNED_ON", code.Row{Args: "person zone record", Clause: leaveClause, Who: "{person}", Next: "yardhasp sign-off {record}"})
	// SignedOnTwice: the argument record is the earlier sign-on.
	SignedOnTwice = code.New("SIGNED_ON_TWICE", code.Row{Args: "person job record"})
	NotOnCrew     = code.New("NOT_ON_CREW", code.Row{Args: "person job", Clause: "1910.147(f)(3)"})
	// EnteredUnlocked: the person went in without a lock of their own on points of the
	// plan.
	EnteredUnlocked   = code.New("ENTERED_WITHOUT_LOCK", code.Row{Args: "person points", Clause: groupClause + "(D)", Who: "{person}"})
	WorkMayNotStart   = code.New("WORK_MAY_NOT_START", code.Row{Args: "person job", Clause: "1910.147(d)(6)", Next: "yardhasp job show {job}"})
	UnknownSignOn     = code.New("UNKNOWN_SIGN_ON", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp board", Answer: code.Unknown})
	NotYourSignOn     = code.New("NOT_YOUR_SIGN_ON", code.Row{Args: "record person", Clause: leaveClause, Who: "{person}", Answer: code.Denied})
	SignedOffBefore   = code.New("SIGNED_OFF_BEFORE", code.Row{Args: "record person", Answer: code.Taken})
	KeyNewerThanEntry = code.New("KEY_NEWER_THAN_SIGN_ON", code.Row{Args: "record person", Who: "{person}"})
	WentIn            = code.New("WENT_IN", code.Row{Args: "person job"})
	CameOut           = code.New("CAME_OUT", code.Row{Args: "person job"})
)

// SignOn is one person inside the zone of a job.
type SignOn struct {
	Ref    string `json:"ref"`
	Person string `json:"person"`
	Job    string `json:"job"`
	On     Mark   `json:"on"`
	Off    Mark   `json:"off"`
	// Since is an entry index. A key younger than that entry cannot end the sign-on.
	Since uint64 `json:"since"`
	// Promised lists the points that the zone's yard promised to keep off.
	Promised []string `json:"promised,omitempty"`
}

// signOn is never refused: it is always safer to know that a person is inside. What is
// wrong with it is flagged.
func (x *step) signOn(o *recordv1.SignOn) {
	s := x.s
	so := &SignOn{Ref: x.out.Ref, Person: x.who.ID, Job: o.GetJob(), On: x.mark, Since: x.oldestEndingKey()}
	j := x.job(o.GetJob())
	if x.env.GetGrant() == recordv1.Grant_GRANT_HELD_LOCALLY {
		so.Promised = slices.Clone(x.env.GetPromised())
	}
	for _, ref := range sorted(s.inside) {
		if o := s.inside[ref]; o.Person == so.Person && o.Job == so.Job {
			x.note(SignedOnTwice, so.Job, so.Person, so.Job, ref)
			break
		}
	}
	s.SignOns[so.Ref], s.inside[so.Ref] = so, so
	x.promiseKept(o.GetJob())
	x.noteUnacknowledged(x.who.ID)
	x.did(WentIn, x.who.ID, x.who.ID, o.GetJob())
	if j == nil {
		return
	}
	j.LastOn.add(x.mark)
	s.use(j.Zone, x.who.ID, x.mark)
	x.flagRetrain(x.who.ID, j.Zone)
	x.flagExchange(x.who.ID, j.workYards()...)
	if !j.member(x.who.ID) {
		x.note(NotOnCrew, x.who.ID, x.who.ID, j.ID)
	}
	if missing := s.unlocked(j, x.who.ID); len(missing) > 0 {
		x.note(EnteredUnlocked, x.who.ID, x.who.ID, missing)
	}
	if !j.Met.Set() {
		x.note(WorkMayNotStart, j.ID, x.who.ID, j.ID)
	}
	x.out.Flags = append(x.out.Flags, s.permitMissing(j, s.Time)...)
}

// signOff ends a sign-on. Only the person may sign it: a person of unknown whereabouts
// counts as inside.
func (x *step) signOff(o *recordv1.SignOff) {
	ref := RefOf(o.GetSignOn())
	so := x.s.SignOns[ref]
	switch {
	case so == nil:
		x.deny(UnknownSignOn, ref, ref)
	case so.Person != x.who.ID:
		x.deny(NotYourSignOn, ref, ref, so.Person)
	case so.Off.Set():
		x.deny(SignedOffBefore, ref, ref, so.Person)
	case x.signingKey(x.who.ID).Since > so.Since:
		x.deny(KeyNewerThanEntry, ref, ref, so.Person)
	default:
		so.Off = x.mark
		delete(x.s.inside, ref)
		if j := x.s.Jobs[so.Job]; j != nil {
			x.s.use(j.Zone, so.Person, x.mark)
		}
		x.s.end("sign_on", ref)
		x.s.lower(PromiseBroken, ref)
		x.did(CameOut, so.Person, so.Person, so.Job)
	}
}

// signedOn lists who is signed on to a job, ordered by reference.
func (s *State) signedOn(job string) []*SignOn {
	var out []*SignOn
	for _, so := range s.inside {
		if so.Job == job {
			out = append(out, so)
		}
	}
	slices.SortFunc(out, func(a, b *SignOn) int { return strings.Compare(a.Ref, b.Ref) })
	return out
}

// signedOnPeople names them, each once.
func (s *State) signedOnPeople(job string) []string {
	var out []string
	for _, so := range s.signedOn(job) {
		out = append(out, so.Person)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// signedOnConditions checks that everybody is out before the machine may start.
func (s *State) signedOnConditions(j *Job) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, so := range s.signedOn(j.ID) {
		cs = append(cs, SignedOn.About(so.Person, so.Person, j.Zone, so.Ref))
	}
	return cs
}

// unlocked lists the plan points where a person has no lock, directly or through a box.
func (s *State) unlocked(j *Job, person string) []string {
	var out []string
	for _, p := range j.Plan {
		if !slices.ContainsFunc(s.Guarding(p), func(h *Hold) bool { return h.Holder == person }) {
			out = append(out, p)
		}
	}
	return out
}
