package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const handOverClause = "1910.147(f)(4)"

var _ = declare(
	countersigned("others", kind((*recordv1.Record).GetHandOver, Kind{Name: "hand_over", Called: "hand-over", Class: Lifts, May: ofTheirOwn(), Clause: handOverClause, By: ByPerson, With: otherHolders,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.HandOver) About { return About{} }, (*fields).handOver, (*step).handOver)),
	countersigned("witness", kind((*recordv1.Record).GetClaimLock, Kind{Name: "claim_lock", Called: "claim", Class: Lifts, May: ofTheirOwn(), Clause: padlockClause, By: ByPerson, With: witness,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.ClaimLock) About { return About{Record: RefOf(c.GetHold())} },
		func(f *fields, a *recordv1.ClaimLock) { f.ref("hold", a.GetHold()) },
		(*step).claimLock)),
)

func otherHolders(r *recordv1.Record) ([]string, []byte) { return r.GetHandOver().GetOthers(), nil }

func witness(r *recordv1.Record) ([]string, []byte) {
	return []string{r.GetClaimLock().GetWitness()}, nil
}

var (
	// LockStoodClear: the holder gave up the protection of this lock for a test, so
	// there is nothing to pass on.
	LockStoodClear = code.New("LOCK_STOOD_CLEAR", code.Row{Args: "holder target request", Clause: handOverClause, Who: "{holder}", Next: "yardhasp lock {target}"})
	// SameHolder: both locks belong to one person, so nothing passes to another.
	SameHolder = code.New("SAME_HOLDER", code.Row{Args: "holder off on", Clause: handOverClause, Who: "{holder}", Next: "yardhasp release {off}"})
	// OtherTarget: the lock that stays hangs in another place, so protection would have
	// a gap.
	OtherTarget = code.New("OTHER_TARGET", code.Row{Args: "holder hangs target", Clause: handOverClause, Who: "{holder}", Next: "yardhasp lock {target}"})
	// HolderNotNamed: a person who holds one of these locks does not sign.
	HolderNotNamed = code.New("NOT_SIGNED", code.Row{Args: "holder", Clause: handOverClause, Who: "{holder}"})
	// SignsWithoutLock: a person who signs holds none of these locks.
	SignsWithoutLock = code.New("SIGNS_WITHOUT_LOCK", code.Row{Args: "person", Clause: handOverClause, Who: "the-signer"})
	OtherJob         = code.New("OTHER_JOB", code.Row{Args: "off_holder off_job on_holder on_job", Clause: handOverClause})
	HandedOver       = code.New("HANDED_OVER", code.Row{Args: "from to target off on"})

	WitnessMayNot = code.New("WITNESS_MAY_NOT", code.Row{Args: "person", Clause: padlockClause, Who: "supervisor-manager", Answer: code.Denied})
	// LockHasOwner: the owner is known. Only a lock with an unknown owner can be
	// claimed.
	LockHasOwner = code.New("LOCK_HAS_OWNER", code.Row{Args: "holder record", Clause: padlockClause, Who: "{holder}", Answer: code.Denied})
	Claimed      = code.New("LOCK_CLAIMED", code.Row{Args: "holder target record witness"})
)

// handOver passes protection from people who leave to people who take over, without a
// gap. The lock that stays is on before the other lock comes off. Either all pairs pass
// or none. A yard that is cut off cannot take this record. There the person taking over
// locks first, then the person leaving releases (decisions.md 21).
func (x *step) handOver(o *recordv1.HandOver) {
	var concerned []string
	for _, p := range o.GetPairs() {
		concerned = append(concerned, x.handOverPair(p)...)
	}
	slices.Sort(concerned)
	concerned = slices.Compact(concerned)
	signed := append([]string{x.who.ID}, o.GetOthers()...)
	for _, id := range concerned {
		if id != "" && !slices.Contains(signed, id) {
			x.deny(HolderNotNamed, id, id)
		}
	}
	for _, id := range signed {
		if !slices.Contains(concerned, id) {
			x.deny(SignsWithoutLock, id, id)
		}
	}
	if x.refused() {
		return
	}
	for _, p := range o.GetPairs() {
		x.passOn(x.s.Holds[RefOf(p.GetOff())], x.s.Holds[RefOf(p.GetOn())])
	}
}

// handOverPair checks one pair and lists the holders of its two locks.
func (x *step) handOverPair(p *recordv1.HandOver_Pair) []string {
	offRef, onRef := RefOf(p.GetOff()), RefOf(p.GetOn())
	off, on := x.s.Holds[offRef], x.s.Holds[onRef]
	if !x.holdStands(off, offRef) || !x.holdStands(on, onRef) {
		return nil
	}
	if !x.notPersonal(off) || !x.notPersonal(on) {
		return nil // an equipment lock protects nobody, so no protection passes to or from it
	}
	for _, h := range []*Hold{off, on} {
		if h.StoodClear() {
			x.deny(LockStoodClear, h.Ref, h.Holder, h.Target(), h.Stood)
		}
		if h.Holder == "" {
			x.deny(NotClaimed, h.Ref, h.Target(), h.Ref)
		}
	}
	switch {
	case off.Holder == "" || on.Holder == "":
	case off.Holder == on.Holder:
		x.deny(SameHolder, offRef, off.Holder, offRef, onRef)
	case off.Target() != on.Target():
		x.deny(OtherTarget, onRef, on.Holder, on.Target(), off.Target())
	default:
		x.mayEnd(off, off.Holder)
	}
	return []string{off.Holder, on.Holder}
}

// passOn takes off the lock of the person who leaves. on is the lock that stays in its
// place.
func (x *step) passOn(off, on *Hold) {
	if off.Job != on.Job {
		x.note(OtherJob, on.Ref, off.Holder, off.Job, on.Holder, on.Job)
	}
	if slices.ContainsFunc(x.s.signedOn(off.Job), func(so *SignOn) bool { return so.Person == off.Holder }) {
		for _, so := range x.s.signedOn(off.Job) {
			if so.Person == off.Holder {
				x.note(StillSignedOn, off.Ref, off.Holder, off.Job, so.Ref, handOverClause)
			}
		}
	}
	x.takeOff(off, OffByHandOver.About(off.Ref, off.Holder, on.Holder))
	x.did(HandedOver, off.Ref, off.Holder, on.Holder, off.Target(), off.Ref, on.Ref)
}

// claimLock records who owns a found lock. From then on the lock is theirs like any
// other. No key put this lock on, so the owner's key must not be younger than the claim
// if it is to end the lock.
func (x *step) claimLock(c *recordv1.ClaimLock) {
	s, ref := x.s, RefOf(c.GetHold())
	h := s.Holds[ref]
	if w := s.People[c.GetWitness()]; !w.Has(supervisor, manager) {
		x.deny(WitnessMayNot, w.ID, w.ID)
	}
	x.notOneHand(c.GetWitness(), "another-supervisor-manager", padlockClause)
	if x.holdStands(h, ref) && h.Holder != "" {
		x.deny(LockHasOwner, ref, h.Holder, ref)
	}
	if x.refused() {
		return
	}
	h.Holder, h.Claimed, h.Since = x.who.ID, x.mark, x.mark.Index
	var flags []*recordv1.Finding
	for _, f := range h.Flags {
		if !code.Is(f, OwnerUnknown) {
			flags = append(flags, f)
		}
	}
	h.Flags = flags
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; !j.Closed.Set() && (h.Job == id || s.unclaimed(h) && overlap(s.Covers(h), j.Plan)) {
			s.use(j.Zone, h.Holder, x.mark)
		}
	}
	x.noteUnacknowledged(h.Holder)
	x.did(Claimed, ref, h.Holder, h.Target(), ref, c.GetWitness())
}

// handOver needs at least one pair of locks. Each lock may come off only once, and a
// lock that stays on may not also come off.
func (f *fields) handOver(o *recordv1.HandOver) {
	n := len(o.GetPairs())
	f.some("pairs", n)
	f.must(n <= MaxList, "pairs", "form-at-most-500")
	offs := map[string]bool{}
	for _, p := range o.GetPairs() {
		f.ref("pairs.off", p.GetOff())
		f.ref("pairs.on", p.GetOn())
		f.must(!offs[RefOf(p.GetOff())], "pairs.off", "form-once")
		offs[RefOf(p.GetOff())] = true
	}
	for _, p := range o.GetPairs() {
		f.must(!offs[RefOf(p.GetOn())], "pairs.on", "form-stays-on")
	}
}
