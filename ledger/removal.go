package ledger

import (
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	removalClause = "1910.147(e)(3)"
	// toldClause: the employee must be told before they resume work.
	toldClause = "1910.147(e)(3)(iii)"
)

var _ = declare(
	countersigned("second", kind((*recordv1.Record).GetRemoval, Kind{Name: "removal", Called: "removal", Class: Lifts, May: whoHas(manager), Clause: removalClause, By: ByPerson, With: secondManager,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(r *recordv1.Removal) About { return About{Record: RefOf(r.GetHold())} }, (*fields).removal, (*step).removal)),
	kind((*recordv1.Record).GetAcknowledgeRemoval, Kind{Name: "acknowledge_removal", Called: "removal acknowledge", Class: Lifts, May: ofTheirOwn(), Clause: removalClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(a *recordv1.AcknowledgeRemoval) About { return About{Record: RefOf(a.GetHold())} },
		func(f *fields, a *recordv1.AcknowledgeRemoval) { f.ref("hold", a.GetHold()) },
		(*step).acknowledgeRemoval),
)

func secondManager(r *recordv1.Record) ([]string, []byte) {
	return []string{r.GetRemoval().GetSecond()}, nil
}

var (
	// SecondNotManager: two managers must sign, and the second signer is not a manager.
	SecondNotManager = code.New("SECOND_NOT_MANAGER", code.Row{Args: "person clause", Who: "another-manager", Answer: code.Denied})
	// Postdated: the record claims a time of signing that is later than now.
	Postdated     = code.New("POSTDATED", code.Row{Args: "signed:time now:time who:word clause", Who: "{who}"})
	RemovalTooOld = code.New("REMOVAL_TOO_OLD", code.Row{Args: "record signed:time hours:number", Clause: removalClause, Who: "two-managers"})
	// OwnLock: nobody may remove their own lock as if it were an absent person's.
	OwnLock = code.New("OWN_LOCK", code.Row{Args: "holder record", Clause: removalClause, Who: "{holder}", Next: "yardhasp release {record}", Answer: code.Denied})
	Removed = code.New("REMOVED", code.Row{Args: "record first second not_here:text tried:text"})
	// NobodyToTell: the owner of the removed lock is not known.
	NobodyToTell = code.New("NOBODY_TO_TELL", code.Row{Args: "record target", Clause: toldClause})
	// AbsentSignedOn: the absent person is still signed on.
	AbsentSignedOn = code.New("ABSENT_SIGNED_ON", code.Row{Args: "person job record", Clause: "1910.147(e)(2)(i)", Who: "two-managers"})
	// NotAcknowledged stands until the holder confirms that they were told.
	NotAcknowledged = code.New("REMOVAL_NOT_ACKNOWLEDGED", code.Row{Args: "holder target record first second", Clause: toldClause, Who: "{holder}", Next: "yardhasp removal acknowledge {record}"})
	UnknownRemoval  = code.New("UNKNOWN_REMOVAL", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp board", Answer: code.Unknown})
	NotYourRemoval  = code.New("NOT_YOUR_REMOVAL", code.Row{Args: "holder record", Clause: toldClause, Who: "{holder}", Next: "yardhasp removal acknowledge {record}", Answer: code.Denied})
	// RemovalNotSeen: the acknowledgement was signed before the removal was ordered.
	RemovalNotSeen = code.New("REMOVAL_NOT_SEEN", code.Row{Args: "holder record", Clause: toldClause, Who: "{holder}", Next: "yardhasp removal acknowledge {record}"})
	Acknowledged   = code.New("REMOVAL_ACKNOWLEDGED", code.Row{Args: "holder target record"})
)

// UnacknowledgedRemoval is a removal that the holder of the lock has not yet been told
// of. They must be told before they work again, 1910.147(e)(3)(iii).
type UnacknowledgedRemoval struct {
	Ref    string `json:"ref"` // the hold
	Person string `json:"person"`
	Target string `json:"target"`
	Second string `json:"second"`
	At     Mark   `json:"at"`
}

func (u *UnacknowledgedRemoval) finding() *recordv1.Finding {
	return NotAcknowledged.About(u.Person, u.Person, u.Target, u.Ref, u.At.By, u.Second)
}

// removal takes off the lock of an absent person. Two managers direct it, and neither
// may be the holder (design.md rule 2). It ends only that hold: a person who is signed
// on stays signed on.
func (x *step) removal(r *recordv1.Removal) {
	s, ref := x.s, RefOf(r.GetHold())
	h := s.Holds[ref]
	x.holdStands(h, ref)
	x.notPersonal(h)
	x.secondIsManager(r.GetSecond(), removalClause)
	x.notOneHand(r.GetSecond(), "another-manager", removalClause)
	x.notPostdated(ref, "two-managers", removalClause)
	if signed := x.rec.GetCapturedUnixMs(); signed < s.Time-removalKeeps {
		x.deny(RemovalTooOld, ref, ref, signed, removalKeeps/hourMS)
	}
	if h != nil && h.Holder != "" && (h.Holder == x.who.ID || h.Holder == r.GetSecond()) {
		x.deny(OwnLock, h.Holder, h.Holder, ref)
	}
	if x.refused() {
		return
	}
	covered := s.Covers(h)
	x.takeOff(h, OffByRemoval.About(ref, h.Holder, []string{x.who.ID, r.GetSecond()}))
	x.protectionEnded(h, covered)
	x.noteExposed(covered, RemovedLockKeptOff.About(ref, ref))
	x.did(Removed, ref, ref, x.who.ID, r.GetSecond(), r.GetNotHere(), r.GetTriedToReach())
	if h.Holder == "" {
		x.note(NobodyToTell, ref, ref, h.Target())
		return
	}
	for _, on := range sorted(s.inside) {
		if so := s.inside[on]; so.Person == h.Holder {
			x.note(AbsentSignedOn, on, h.Holder, so.Job, on)
		}
	}
	u := &UnacknowledgedRemoval{Ref: ref, Person: h.Holder, Target: h.Target(), Second: r.GetSecond(), At: x.mark}
	s.UnacknowledgedRemovals[ref] = u
	s.raise(ref, u.finding(), x.mark)
}

// secondIsManager refuses a record of two managers when the second signer is not one.
// The signatures themselves are checked earlier.
func (x *step) secondIsManager(second, clause string) {
	if !x.s.People[second].Has(manager) {
		x.deny(SecondNotManager, second, second, clause)
	}
}

// notPostdated refuses a record that claims to be signed later than now. Otherwise a
// capture time in the future would keep the record fresh for too long. who is a
// catalogue word for the person who must do it again.
func (x *step) notPostdated(about, who, clause string) {
	if signed := x.rec.GetCapturedUnixMs(); signed > x.s.Time+clockAhead {
		x.deny(Postdated, about, signed, x.s.Time, who, clause)
	}
}

// acknowledgeRemoval records the absent person's own word that they were told.
func (x *step) acknowledgeRemoval(a *recordv1.AcknowledgeRemoval) {
	ref := RefOf(a.GetHold())
	u := x.s.UnacknowledgedRemovals[ref]
	switch {
	case u == nil:
		x.deny(UnknownRemoval, ref, ref)
	case u.Person != x.who.ID:
		x.deny(NotYourRemoval, ref, u.Person, ref)
	case x.rec.GetCapturedUnixMs()+clockAhead < u.At.Late:
		x.deny(RemovalNotSeen, ref, u.Person, ref)
	default:
		// A manager who ordered the removal could sign with a key that they gave the
		// holder. They would then confirm their own removal.
		x.notGivenBy(ref, toldClause, u.At.By, u.Second)
		if x.refused() {
			return
		}
		delete(x.s.UnacknowledgedRemovals, ref)
		x.s.lower(NotAcknowledged, ref)
		x.did(Acknowledged, ref, u.Person, u.Target, ref)
	}
}

// noteUnacknowledged flags a lock or sign-on of a person who works again before they
// were told that a lock of theirs was removed.
func (x *step) noteUnacknowledged(person string) {
	for _, ref := range sorted(x.s.UnacknowledgedRemovals) {
		if u := x.s.UnacknowledgedRemovals[ref]; u.Person == person {
			x.out.Flags = append(x.out.Flags, u.finding())
		}
	}
}

// unacknowledgedFor lists the unacknowledged removals that stand against work on a job.
// The locks belonged to its responsible employee, to people signed on, or to people who
// have hung a lock for it since the removal.
func (s *State) unacknowledgedFor(j *Job) []*UnacknowledgedRemoval {
	var out []*UnacknowledgedRemoval
	for _, ref := range sorted(s.UnacknowledgedRemovals) {
		u := s.UnacknowledgedRemovals[ref]
		works := u.Person == j.Responsible
		for _, so := range s.signedOn(j.ID) {
			works = works || so.Person == u.Person
		}
		for _, h := range s.active {
			works = works || h.Holder == u.Person && h.On.Index > u.At.Index && (h.Job == j.ID || s.unclaimed(h) && overlap(s.Covers(h), j.Plan))
		}
		if works {
			out = append(out, u)
		}
	}
	return out
}

// unacknowledgedOn reports whether a person of a job was not yet told that this hold was
// removed. That person is its responsible employee, one of its crew, or somebody listed
// by unacknowledgedFor.
func (s *State) unacknowledgedOn(j *Job, hold string) bool {
	u := s.UnacknowledgedRemovals[hold]
	if u == nil {
		return false
	}
	return u.Person == j.Responsible || slices.Contains(j.Crew, u.Person) || slices.Contains(s.unacknowledgedFor(j), u)
}

// removal must say how the two duties before a removal were done, 1910.147(e)(3)(i) and
// (ii).
func (f *fields) removal(r *recordv1.Removal) {
	f.ref("hold", r.GetHold())
	f.text("not_here", strings.TrimSpace(r.GetNotHere()))
	f.text("tried_to_reach", strings.TrimSpace(r.GetTriedToReach()))
}
