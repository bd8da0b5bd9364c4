package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// WalkedSeq is the first sequence number for what a walkdown found. A RecoverYard record
// enters the locks it found, then the people, as "yard/new epoch/WalkedSeq+0", "+1" and
// so on. Every record that names a hold or a sign-on can carry this form. No journal
// reaches these numbers: at one record per millisecond that takes 30,000 years.
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
	// EpochOutOfTurn: a recovery must begin the yard's next epoch.
	EpochOutOfTurn = code.New("EPOCH", code.Row{Args: "yard epoch:number now:number next:number", Who: "two-managers", Next: recoverCommand})
	// OldMachineOn: the record does not say that the old machine is off. While on and
	// cut off, that machine would go on making promises.
	OldMachineOn   = code.New("OLD_MACHINE", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	WalkdownTooOld = code.New("WALKDOWN_TOO_OLD", code.Row{Args: "yard signed:time hours:number", Who: "two-managers", Next: recoverCommand})
	// WalkedUnknown: the walkdown names a point or box that nobody registered.
	WalkedUnknown = code.New("WALKED_UNKNOWN", code.Row{Args: "target", Who: "supervisor-manager", Answer: code.Unknown})
	// WalkedElsewhere: the walkdown names a point or box of another yard.
	WalkedElsewhere = code.New("WALKED_ELSEWHERE", code.Row{Args: "target home yard", Who: "the-signer"})
	// WalkedHolderUnknown: the named owner of a lock that was seen is not enrolled.
	WalkedHolderUnknown = code.New("WALKED_HOLDER_UNKNOWN", code.Row{Args: "person target", Who: "the-signer", Answer: code.Unknown})
	// InsideUnknown: a person found inside is not enrolled. Only that person can sign
	// off, so a name without a key would block a start for ever.
	InsideUnknown  = code.New("INSIDE_UNKNOWN", code.Row{Args: "person job", Who: "a-manager", Next: "yardhasp invite person {person} --name NAME --role ROLE", Answer: code.Unknown})
	YardRecovered  = code.New("YARD_RECOVERED", code.Row{Args: "yard first second epoch:number key"})
	VoidByRecovery = code.New("VOID_BY_RECOVERY", code.Row{Args: "yard"})
	// MayBeTold: somebody may still remember a go-ahead that they were shown for this
	// point (protocol.md C11).
	MayBeTold = code.New("CLOSING_AUTHORITY", code.Row{Args: "point"})
	// BoxUnsure: the lost journal may have moved keys into or out of this box.
	BoxUnsure   = code.New("BOX_CONTENTS", code.Row{Args: "box", Clause: "1910.147(f)(3)"})
	FoundInside = code.New("FOUND_INSIDE", code.Row{Args: "person job record"})
	// InsideForNoJob: a person was found inside for a job that is not open. They may be
	// anywhere.
	InsideForNoJob = code.New("INSIDE_FOR_NO_JOB", code.Row{Args: "person job"})
)

// recoverYard takes up again a yard whose replica lost its disk, or was stopped because
// two machines wrote its journal (protocol.md 3.3, C8-C12; decisions.md 3, 12). Nobody
// knows what the lost journal promised. So every request that needs the yard's word
// becomes void. The locks found hanging and the people found inside are entered again,
// beside all that stands already.
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

// walkedRight checks that everything the walkdown names is known and belongs to this
// yard.
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

// walkedAt refuses a point or box that is not registered or belongs to another yard.
func (x *step) walkedAt(y *Yard, target, home string, known bool) {
	switch {
	case !known:
		x.deny(WalkedUnknown, target, target)
	case home != y.ID:
		x.deny(WalkedElsewhere, target, target, home, y.ID)
	}
}

// newEpoch ends the lost journal. Its later records do not count, and its key is revoked
// for ever. No opening written against it counts, and no request waits for its word.
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

// unsureAfterLoss flags what a walkdown of locks and handles cannot settle.
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

// foundAtYard enters what the walkdown saw. Handles come first, so that a lock on a
// closed handle is flagged. Each lock becomes a NEW hold. If it were merged into an
// earlier hold of the same person, a release signed before the walkdown would end it
// (protocol.md C8).
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

// recoverYard takes at most MaxList locks, points and people. Each point may occur once,
// and each person once per job.
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
