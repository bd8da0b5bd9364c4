package ledger

import (
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetLock, Kind{Name: "lock", Called: "lock", Class: Protects, May: whoHas(authorised, contractor), Clause: "1910.147(c)(8)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtTarget, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: TrainingNeeded},
		func(l *recordv1.Lock) About {
			return About{Point: l.GetTarget().GetPoint(), Box: l.GetTarget().GetBox()}
		},
		func(f *fields, l *recordv1.Lock) {
			f.target("target", l.GetTarget())
			f.optionalText("padlock", l.GetPadlock())
			f.optionalName("job", l.GetJob())
			f.tag("tag", l.GetTag())
		},
		(*step).lock),
	kind((*recordv1.Record).GetFoundLock, Kind{Name: "found_lock", Called: "found lock", Class: Protects, May: whoHas(authorised, supervisor, manager), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtTarget, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(l *recordv1.FoundLock) About {
			return About{Point: l.GetTarget().GetPoint(), Box: l.GetTarget().GetBox()}
		},
		func(f *fields, l *recordv1.FoundLock) {
			f.target("target", l.GetTarget())
			f.optionalText("seen", l.GetSeen())
			f.optionalName("job", l.GetJob())
		},
		(*step).foundLock),
	kind((*recordv1.Record).GetRelease, Kind{Name: "release", Called: "release", Class: Lifts, May: ofTheirOwn(), Clause: removalClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtRecord, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(r *recordv1.Release) About { return About{Record: RefOf(r.GetHold())} },
		func(f *fields, r *recordv1.Release) {
			f.ref("hold", r.GetHold())
			f.optionalText("why", r.GetWhy())
		},
		(*step).release),
	kind((*recordv1.Record).GetTriedHandle, Kind{Name: "tried_handle", Called: "tried", Class: Asserts, May: ofTheirOwn(), Clause: "1910.147(d)(6)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtRecord, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(t *recordv1.TriedHandle) About { return About{Record: RefOf(t.GetHold())} },
		func(f *fields, t *recordv1.TriedHandle) { f.ref("hold", t.GetHold()) },
		(*step).triedHandle),
)

var (
	// LockOn and LockOff say that a lock went on or came off.
	LockOn  = code.New("LOCK_ON", code.Row{Args: "holder target record"})
	LockOff = code.New("LOCK_OFF", code.Row{Args: "holder target record how:why"})
	// These say how a lock came off. An equipment lock comes off by EquipmentTakenOff.
	OffByRelease  = code.New("OFF_BY_RELEASE", code.Row{Args: "holder"})
	OffByHandOver = code.New("OFF_BY_HAND_OVER", code.Row{Args: "holder to"})
	OffByRemoval  = code.New("OFF_BY_REMOVAL", code.Row{Args: "holder managers"})

	// OwnerUnknown: somebody saw a lock hanging whose owner the ledger does not know.
	OwnerUnknown = code.New("OWNER_UNKNOWN", code.Row{Args: "target record", Clause: padlockClause, Who: "its-owner", Next: "yardhasp claim draft {record} --witness WITNESS"})
	// NotClaimed: somebody tried to end or hand over a found lock that nobody claimed.
	NotClaimed  = code.New("NOT_CLAIMED", code.Row{Args: "target record", Clause: padlockClause, Who: "its-owner", Next: "yardhasp claim draft {record} --witness WITNESS", Answer: code.Denied})
	NotYourLock = code.New("NOT_YOUR_LOCK", code.Row{Args: "holder target record", Clause: removalClause, Who: "{holder}", Answer: code.Denied})

	HaspFull = code.New("HASP_FULL", code.Row{Args: "target locks:number holes:number", Clause: "common practice, no source"})
	// LockOnLivePoint: the lock was hung while the point was on.
	LockOnLivePoint = code.New("LOCK_ON_LIVE_POINT", code.Row{Args: "point", Clause: "1910.147(d)(3)", Who: "authorised-supervisor", Next: "yardhasp isolate {point}"})
	PromiseBroken   = code.New("PROMISE_BROKEN", code.Row{Args: "yard person points place"})
	VoidByLock      = code.New("VOID_BY_LOCK", code.Row{Args: "holder target"})

	NoJob = code.New("NO_JOB", code.Row{Args: "target"})
	// LockJobNotOpen: the lock counts for every open job whose plan it touches.
	LockJobNotOpen = code.New("LOCK_JOB_NOT_OPEN", code.Row{Args: "job target"})
	DoesNotIsolate = code.New("DOES_NOT_ISOLATE", code.Row{Args: "target job", Clause: "1910.147(d)(3)"})

	NoPadlock = code.New("NO_PADLOCK", code.Row{Args: "target", Clause: padlockClause})
	// UnknownPadlock: the lock was hung with a padlock that nobody registered.
	UnknownPadlock = code.New("UNKNOWN_PADLOCK", code.Row{Args: "padlock target", Clause: padlockClause, Who: "supervisor-manager", Next: "yardhasp padlock add {padlock} --owner OWNER"})
	OthersPadlock  = code.New("OTHERS_PADLOCK", code.Row{Args: "padlock owner", Clause: padlockClause})
	// ReturnedPadlock: the padlock had been given back before it was hung.
	ReturnedPadlock = code.New("RETURNED_PADLOCK", code.Row{Args: "padlock holder", Clause: padlockClause, Who: "supervisor-manager", Next: "yardhasp padlock issue {padlock} {holder}"})
	TwoPlaces       = code.New("TWO_PLACES", code.Row{Args: "padlock target record", Clause: padlockClause})

	// StillSignedOn: a lock came off while its holder is still inside. The argument
	// record is the sign-on.
	StillSignedOn = code.New("STILL_SIGNED_ON", code.Row{Args: "person job record clause", Who: "{person}", Next: "yardhasp sign-off {record}"})

	HandleTried     = code.New("HANDLE_TRIED", code.Row{Args: "person target record"})
	TryDoesNotCount = code.New("TRY_DOES_NOT_COUNT", code.Row{Args: "person record", Clause: "1910.147(d)(6)"})
)

// lock is never refused when its target and signer are known (decisions.md 2). A refused
// lock would leave a worker believing in a protection that the ledger ignores.
func (x *step) lock(l *recordv1.Lock) {
	h := &Hold{Ref: x.out.Ref, Holder: x.who.ID, Point: l.GetTarget().GetPoint(), Box: l.GetTarget().GetBox(), Padlock: l.GetPadlock(), Job: l.GetJob(), On: x.mark, Since: x.oldestEndingKey(), Tag: tagOf(l.GetTag())}
	if l.GetEquipment() {
		x.equipmentLock(h, l)
	} else {
		x.jobFlags(h)
		x.noteUnacknowledged(h.Holder)
	}
	x.padlockOn(h)
	x.tagFlags(h)
	x.putOn(h, l.GetTarget())
}

// foundLock records a lock that somebody saw hanging. It is a hold like any other.
func (x *step) foundLock(l *recordv1.FoundLock) {
	h := &Hold{Ref: x.out.Ref, Point: l.GetTarget().GetPoint(), Box: l.GetTarget().GetBox(), Job: l.GetJob(), Seen: l.GetSeen(), On: x.mark, Since: x.mark.Index}
	x.note(OwnerUnknown, h.Target(), h.Target(), h.Ref)
	x.putOn(h, l.GetTarget())
}

// putOn enters a lock, whatever record brought it. It voids every open request that the
// lock stands against.
func (x *step) putOn(h *Hold, t *recordv1.Target) {
	s := x.s
	pts, _, known := s.TargetPoints(t)
	if !known {
		unknown := UnknownPoint
		if h.Box != "" {
			unknown = UnknownBox
		}
		x.deny(unknown, h.Target(), h.Target())
		return
	}
	holes := s.holes(h)
	if n := s.locksAt(h.Target()); n >= holes && !h.TagOnly() {
		x.note(HaspFull, h.Target(), h.Target(), n+1, holes)
	}
	for _, p := range pts {
		if s.Points[p].Live {
			x.note(LockOnLivePoint, p, p)
		}
	}
	x.promiseKept(h.Target())
	h.Flags = x.out.Flags
	s.Holds[h.Ref], s.active[h.Ref] = h, h
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; h.Job == id || s.unclaimed(h) && overlap(pts, j.Plan) {
			j.LastHold.add(h.On)
			if !j.Closed.Set() {
				s.use(j.Zone, h.Holder, h.On)
			}
		}
	}
	x.did(LockOn, h.Target(), h.Holder, h.Target(), h.Ref)
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && overlap(q.Points, pts) {
			x.void(q, VoidByLock.About(q.ID, h.Holder, h.Target()))
		}
	}
}

// promiseKept raises the loudest alarm if a yard broke its promise. The yard promised to
// keep points off, and one of them is live when the record arrives: its opening did not
// count (protocol.md 5). place is the point, box or job that the promise was for.
func (x *step) promiseKept(place string) {
	if x.env.GetGrant() != recordv1.Grant_GRANT_HELD_LOCALLY {
		return
	}
	var broken []string
	for _, p := range x.env.GetPromised() {
		if pt := x.s.Points[p]; pt == nil || pt.Live {
			broken = append(broken, p)
		}
	}
	if len(broken) == 0 {
		return
	}
	f := PromiseBroken.About(place, x.env.GetYard(), x.rec.GetSigner(), broken, place)
	x.out.Flags = append(x.out.Flags, f)
	x.s.raise(x.out.Ref, f, x.mark)
}

// jobFlags flags every rule about the job that a personal lock breaks. No flag stops the
// lock.
func (x *step) jobFlags(h *Hold) {
	s := x.s
	j := s.Jobs[h.Job]
	if j != nil && !j.Closed.Set() {
		x.flagRetrain(h.Holder, j.Zone)
	} else {
		x.flagRetrain(h.Holder, "")
	}
	x.flagExchange(h.Holder, YardOf(h.Target()))
	switch {
	case h.Job == "":
		x.note(NoJob, h.Target(), h.Target())
	case j == nil || j.Closed.Set():
		x.note(LockJobNotOpen, h.Job, h.Job, h.Target())
	default:
		if !overlap(s.Covers(h), j.Plan) {
			x.note(DoesNotIsolate, h.Target(), h.Target(), j.ID)
		}
		if !j.member(h.Holder) {
			x.note(NotOnCrew, h.Holder, h.Holder, j.ID)
		}
	}
}

// padlockOn flags every rule that the padlock breaks. A tag without a padlock breaks
// none.
func (x *step) padlockOn(h *Hold) {
	s := x.s
	if h.Padlock == "" && h.TagOnly() {
		return
	}
	if h.Padlock == "" {
		x.note(NoPadlock, h.Target(), h.Target())
		return
	}
	p := s.Padlocks[h.Padlock]
	switch {
	case p == nil:
		x.note(UnknownPadlock, h.Padlock, h.Padlock, h.Target())
	case h.Equipment:
	case p.Owner == "":
		x.note(ReturnedPadlock, h.Padlock, h.Padlock, h.Holder)
	case p.Owner != h.Holder:
		x.note(OthersPadlock, h.Padlock, h.Padlock, p.Owner)
	}
	x.out.Flags = append(x.out.Flags, s.padlockFlags(h.Padlock, h.Equipment)...)
	for _, ref := range sorted(s.active) {
		if o := s.active[ref]; o.Padlock == h.Padlock && !o.StoodClear() {
			x.note(TwoPlaces, h.Padlock, h.Padlock, o.Target(), o.Ref)
		}
	}
}

// release ends a hold. Only its holder may, with a key that is not younger than the hold
// (design.md, Security; 1910.147(e)(3)).
func (x *step) release(r *recordv1.Release) {
	ref := RefOf(r.GetHold())
	h := x.s.Holds[ref]
	switch {
	case !x.holdStands(h, ref):
	case h.Equipment:
		x.releaseEquipment(h, r)
	case h.Holder == "":
		x.deny(NotClaimed, ref, h.Target(), ref)
	case h.Holder != x.who.ID:
		x.deny(NotYourLock, ref, h.Holder, h.Target(), ref)
	case x.mayEnd(h, h.Holder):
		x.flagStillInside(h)
		covered := x.s.Covers(h)
		x.takeOff(h, OffByRelease.About(ref, h.Holder))
		x.protectionEnded(h, covered)
	}
}

// flagStillInside flags each zone that the holder is still signed on to and that this
// lock protected them in.
func (x *step) flagStillInside(h *Hold) {
	for _, ref := range sorted(x.s.inside) {
		on := x.s.inside[ref]
		j := x.s.Jobs[on.Job]
		if on.Person == h.Holder && (j == nil || on.Job == h.Job || overlap(x.s.Covers(h), j.Plan)) {
			x.note(StillSignedOn, on.Job, on.Person, on.Job, ref, "1910.147(e)(2)(i)")
		}
	}
}

// takeOff ends a hold, whatever record takes it off.
func (x *step) takeOff(h *Hold, how *recordv1.Finding) {
	h.Off, h.How = x.mark, how
	delete(x.s.active, h.Ref)
	x.s.end("hold", h.Ref)
	x.s.lower(PromiseBroken, h.Ref)
	for _, id := range sorted(x.s.Jobs) {
		if j := x.s.Jobs[id]; !j.Closed.Set() && (h.Job == id || overlap(x.s.Covers(h), j.Plan)) {
			j.LastOff.add(x.mark)
		}
		if j := x.s.Jobs[id]; h.Job == id || !j.Closed.Set() && x.s.unclaimed(h) && overlap(x.s.Covers(h), j.Plan) {
			x.s.use(j.Zone, h.Holder, x.mark)
		}
	}
	x.did(LockOff, h.Target(), h.Holder, h.Target(), h.Ref, how)
}

// triedHandle records that the holder tried the handle against their own lock.
func (x *step) triedHandle(t *recordv1.TriedHandle) {
	ref := RefOf(t.GetHold())
	h := x.s.Holds[ref]
	if h == nil || !h.Active() || h.Holder != x.who.ID {
		x.note(TryDoesNotCount, ref, x.who.ID, ref)
		return
	}
	if x.ok {
		h.Tried = x.mark
		x.did(HandleTried, h.Target(), x.who.ID, h.Target(), ref)
	}
}
