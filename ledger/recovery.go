package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// WalkedSeq is the first number of what a walkdown found. A RecoverYard enters
// its locks, then its people, as "yard/new epoch/WalkedSeq+0", "+1" and so on: a
// form that every record which names a hold or a sign-on can carry, and that no
// journal reaches (at a record a millisecond it takes 30,000 years).
const WalkedSeq = 1_000_000_000_000_000

var _ = declare(
	countersigned("second", kind((*recordv1.Record).GetRecoverYard, Kind{Name: "recover_yard", Called: "recover-yard", Class: Lifts, May: whoHas(manager), Clause: noClause, By: ByPerson, With: secondManagerAndReplica,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.RecoverYard) About { return About{} }, (*fields).recoverYard, (*step).recoverYard)),
)

func secondManagerAndReplica(r *recordv1.Record) ([]string, []byte) {
	return []string{r.GetRecoverYard().GetSecond()}, r.GetRecoverYard().GetKey()
}

var (
	// EpochOutOfTurn: a recovery begins the yard's next epoch.
	EpochOutOfTurn = code.New("EPOCH", code.Row{Args: "yard epoch:number now:number next:number", Who: "two-managers", Next: recoverCommand})
	// OldMachineOn: it is not said that the old machine is off. Cut off, it would go on
	// promising.
	OldMachineOn   = code.New("OLD_MACHINE", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	WalkdownTooOld = code.New("WALKDOWN_TOO_OLD", code.Row{Args: "yard signed:time hours:number", Who: "two-managers", Next: recoverCommand})
	// WalkedUnknown: a lock or a closed handle at a point or box that nobody registered.
	WalkedUnknown = code.New("WALKED_UNKNOWN", code.Row{Args: "target", Who: "supervisor-manager", Answer: code.Unknown})
	// WalkedElsewhere: a point or box of another yard.
	WalkedElsewhere = code.New("WALKED_ELSEWHERE", code.Row{Args: "target home yard", Who: "the-signer"})
	// WalkedHolderUnknown: the owner of a lock that was seen is not enrolled.
	WalkedHolderUnknown = code.New("WALKED_HOLDER_UNKNOWN", code.Row{Args: "person target", Who: "the-signer", Answer: code.Unknown})
	// InsideUnknown: somebody found inside is not enrolled. Only the person signs off:
	// a name that has no key would block for ever.
	InsideUnknown  = code.New("INSIDE_UNKNOWN", code.Row{Args: "person job", Who: "a-manager", Next: "yardhasp invite person {person} --name NAME --role ROLE", Answer: code.Unknown})
	YardRecovered  = code.New("YARD_RECOVERED", code.Row{Args: "yard first second epoch:number key"})
	VoidByRecovery = code.New("VOID_BY_RECOVERY", code.Row{Args: "yard"})
	// MayBeTold: the go-ahead for a point may be in somebody's head still
	// (protocol.md C11).
	MayBeTold = code.New("CLOSING_AUTHORITY", code.Row{Args: "point"})
	// BoxUnsure: the lost journal may have moved keys in or out of it.
	BoxUnsure   = code.New("BOX_CONTENTS", code.Row{Args: "box", Clause: "1910.147(f)(3)"})
	FoundInside = code.New("FOUND_INSIDE", code.Row{Args: "person job record"})
	// InsideForNoJob: somebody was found inside for a job that is not open: they may be
	// anywhere.
	InsideForNoJob = code.New("INSIDE_FOR_NO_JOB", code.Row{Args: "person job"})
)

// recoverYard takes up a yard whose replica lost its disk or was stopped because
// two machines wrote its journal (protocol.md 3.3, C8-C12; decisions.md 3, 12).
// What the lost journal may have promised is not known, so everything that waits
// on the yard's word is void, and what hangs and who is inside is entered again
// beside whatever stands already.
func (x *step) recoverYard(r *recordv1.RecoverYard) {
	y := x.s.Yards[r.GetYard()]
	if y == nil {
		x.deny(UnknownYard, r.GetYard(), r.GetYard())
		return
	}
	x.secondIsManager(r.GetSecond(), "")
	x.notOneHand(r.GetSecond(), "another-manager", "")
	if r.GetEpoch() != y.Epoch+1 {
		x.deny(EpochOutOfTurn, y.ID, y.ID, r.GetEpoch(), y.Epoch, y.Epoch+1)
	}
	if !r.GetOldMachineOff() {
		x.deny(OldMachineOn, y.ID, y.ID)
	}
	x.freshKey(r.GetKey())
	x.notPostdated(y.ID, "two-managers", "")
	if signed := x.rec.GetCapturedUnixMs(); signed < x.s.Time-walkdownKeeps {
		x.deny(WalkdownTooOld, y.ID, y.ID, signed, walkdownKeeps/hourMS)
	}
	x.walkedRight(y, r)
	if x.refused() {
		return
	}
	x.newEpoch(y, r)
	x.foundAtYard(y, r)
	var live []string
	for _, id := range sorted(x.s.Points) {
		if p := x.s.Points[id]; p.Yard == y.ID && p.Live {
			live = append(live, id)
		}
	}
	x.noteExposed(live, PointsUnsureAfterLoss.About(y.ID, y.ID))
}

// walkedRight checks that what the walkdown names is known and of this yard.
func (x *step) walkedRight(y *Yard, r *recordv1.RecoverYard) {
	s := x.s
	for _, l := range r.GetLocks() {
		on := l.GetTarget().GetPoint() + l.GetTarget().GetBox()
		_, home, known := s.TargetPoints(l.GetTarget())
		x.walkedAt(y, on, home, known)
		if h := l.GetHolder(); h != "" && s.People[h] == nil {
			x.deny(WalkedHolderUnknown, h, h, on)
		}
	}
	for _, p := range r.GetClosed() {
		pt := s.Points[p]
		if pt == nil {
			x.walkedAt(y, p, "", false)
			continue
		}
		x.walkedAt(y, p, pt.Yard, true)
	}
	for _, w := range r.GetInside() {
		if s.People[w.GetPerson()] == nil {
			x.deny(InsideUnknown, w.GetPerson(), w.GetPerson(), w.GetJob())
		}
	}
}

// walkedAt refuses a point or box that is not registered, or of another yard.
func (x *step) walkedAt(y *Yard, target, home string, known bool) {
	switch {
	case !known:
		x.deny(WalkedUnknown, target, target)
	case home != y.ID:
		x.deny(WalkedElsewhere, target, target, home, y.ID)
	}
}

// newEpoch ends the lost journal: its records are dead, its key is revoked for
// ever, no opening written against it counts, and nothing waits for its word.
func (x *step) newEpoch(y *Yard, r *recordv1.RecoverYard) {
	s := x.s
	if old := s.KeyOf(y.Key); old != nil && old.Revoked == 0 {
		old.Revoked = max(x.mark.Index, 1)
	}
	y.Epoch, y.Drained, y.Hashes, y.Cloned = r.GetEpoch(), 0, nil, false
	y.Key, y.Address = r.GetKey(), r.GetAddress()
	s.Keys[seal.Fingerprint(y.Key)] = &Key{Public: y.Key, Yard: y.ID, Since: x.mark.Index}
	s.lower(ClonedJournal, y.ID)
	x.did(YardRecovered, y.ID, y.ID, x.who.ID, r.GetSecond(), y.Epoch, fingerprintShort(y.Key))
	for _, id := range sorted(s.Points) {
		if p := s.Points[id]; p.Yard == y.ID {
			p.Moved = Moved{Epoch: y.Epoch}
		}
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && slices.Contains(q.Involved, y.ID) {
			x.void(q, VoidByRecovery.About(id, y.ID))
		}
	}
	x.unsureAfterLoss(y, r)
}

// unsureAfterLoss flags what no walkdown of locks and handles settles.
func (x *step) unsureAfterLoss(y *Yard, r *recordv1.RecoverYard) {
	s := x.s
	for _, id := range sorted(s.Points) {
		if p := s.Points[id]; p.Yard == y.ID && p.Live && !slices.Contains(r.GetClosed(), id) {
			x.note(MayBeTold, id, id)
		}
	}
	for _, id := range sorted(s.Boxes) {
		if s.Boxes[id].Yard == y.ID {
			x.note(BoxUnsure, id, id)
		}
	}
}

// foundAtYard enters what the walkdown saw: handles first, so that a lock on a
// closed one is flagged. Each lock becomes a NEW hold: merged into an old one of
// the same person, a release signed earlier would end it (protocol.md C8).
func (x *step) foundAtYard(y *Yard, r *recordv1.RecoverYard) {
	s := x.s
	for _, id := range slices.Sorted(slices.Values(r.GetClosed())) {
		x.foundClosedBy(s.Points[id], x.who.ID, r.GetSecond())
	}
	seq := uint64(WalkedSeq)
	for _, l := range r.GetLocks() {
		h := &Hold{Ref: Ref(y.ID, y.Epoch, seq), Holder: l.GetHolder(), Point: l.GetTarget().GetPoint(), Box: l.GetTarget().GetBox(), Job: l.GetJob(), Seen: l.GetSeen(), On: x.mark, Since: x.mark.Index}
		seq++
		from := len(x.out.Flags)
		if h.Holder == "" {
			x.note(OwnerUnknown, h.Target(), h.Target(), h.Ref)
		}
		x.putOn(h, l.GetTarget())
		h.Flags = slices.Clone(x.out.Flags[from:])
	}
	for _, w := range r.GetInside() {
		so := &SignOn{Ref: Ref(y.ID, y.Epoch, seq), Person: w.GetPerson(), Job: w.GetJob(), On: x.mark, Since: x.mark.Index}
		seq++
		s.SignOns[so.Ref], s.inside[so.Ref] = so, so
		x.did(FoundInside, so.Ref, so.Person, so.Job, so.Ref)
		if j := s.Jobs[so.Job]; j != nil && !j.Closed.Set() {
			j.LastOn.add(so.On)
			s.use(j.Zone, so.Person, so.On)
		} else {
			x.note(InsideForNoJob, so.Person, so.Person, so.Job)
		}
	}
}

// recoverYard: at most MaxList locks, points and people, each point and each person
// of a job once.
func (f *fields) recoverYard(r *recordv1.RecoverYard) {
	f.name("yard", r.GetYard())
	f.counted("epoch", r.GetEpoch())
	f.bytes32("key", r.GetKey())
	f.text("address", r.GetAddress())
	f.points("closed", r.GetClosed())
	f.must(len(r.GetLocks()) <= MaxList, "locks", "form-at-most-500")
	f.must(len(r.GetInside()) <= MaxList, "inside", "form-at-most-500")
	for _, l := range r.GetLocks() {
		f.target("locks.target", l.GetTarget())
		f.optionalText("locks.seen", l.GetSeen())
		f.optionalName("locks.holder", l.GetHolder())
		f.optionalName("locks.job", l.GetJob())
	}
	seen := map[string]bool{}
	for _, w := range r.GetInside() {
		f.name("inside.person", w.GetPerson())
		f.optionalName("inside.job", w.GetJob())
		f.must(!seen[w.GetPerson()+" "+w.GetJob()], "inside", "form-once")
		seen[w.GetPerson()+" "+w.GetJob()] = true
	}
}
