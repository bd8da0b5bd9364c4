package ledger

import (
	"fmt"
	"slices"

	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// WalkedSeq is the first number of what a walkdown found. A RecoverYard enters
// its locks, then its people, as "yard/new epoch/WalkedSeq+0", "+1" and so on: a
// form that every record which names a hold or a sign-on can carry, and that no
// journal reaches (at a record a millisecond it takes 30,000 years).
const WalkedSeq = 1_000_000_000_000_000

// recoverYard takes up a yard whose replica lost its disk or was stopped because
// two machines wrote its journal (protocol.md 3.3, C8-C12; decisions.md 3, 12).
// What the lost journal may have promised is not known, so everything that waits
// on the yard's word is void, and what hangs and who is inside is entered again
// beside whatever stands already.
func (x *step) recoverYard(r *recordv1.RecoverYard) {
	y := x.s.Yards[r.GetYard()]
	if y == nil {
		x.refuse("UNKNOWN_YARD", r.GetYard(), "no yard of this name has joined", "read the yard's name again", x.who.ID, "")
		return
	}
	x.recoverySigned(r)
	if r.GetEpoch() != y.Epoch+1 {
		x.refuse("EPOCH", y.ID, fmt.Sprintf("the record begins epoch %d, the yard is in epoch %d: the next is %d", r.GetEpoch(), y.Epoch, y.Epoch+1),
			"look whether the yard was recovered already; else walk it down again and sign a new record", "two managers", "")
	}
	if !r.GetOldMachineOff() {
		x.refuse("OLD_MACHINE", y.ID, "it is not said that the old machine is off: cut off, it would go on promising", "switch the old machine off, take its disk out, and say so in the record", "two managers", "")
	}
	if x.s.KeyOf(r.GetKey()) != nil {
		x.refuse("KEY_IN_USE", fingerprintShort(r.GetKey()), "this key was enrolled before: a recovered yard begins with a key nobody has used", "make a new key on the fresh disk", "", "")
	}
	x.notPostdated(y.ID, "two managers", "")
	if x.rec.GetCapturedUnixMs() < x.s.Time-walkdownKeeps {
		x.refuse("TOO_OLD", y.ID, fmt.Sprintf("the walkdown was signed more than %d hours ago: what hangs and who is inside may have changed", walkdownKeeps/3_600_000), "walk the yard down again, and write it anew", "two managers", "")
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

// recoverySigned checks who the second manager is; that they signed, and the new
// replica after them, is checked before (badSigners, cosign). As for a removal,
// one hand with two keys is no two managers.
func (x *step) recoverySigned(r *recordv1.RecoverYard) {
	if p := x.s.People[r.GetSecond()]; !p.Has(manager) {
		x.refuse("NOT_PERMITTED", p.ID, p.ID+" is not a manager", "have another manager walk the yard and sign", "another manager", "")
	}
	if x.oneHand(r.GetSecond()) {
		x.refuse("ONE_HAND", r.GetSecond(), x.oneHandText(r.GetSecond()), "have a third manager walk the yard and sign", "another manager", "")
	}
}

// walkedRight checks that what the walkdown names is known and of this yard.
func (x *step) walkedRight(y *Yard, r *recordv1.RecoverYard) {
	s := x.s
	for _, l := range r.GetLocks() {
		on := l.GetTarget().GetPoint() + l.GetTarget().GetBox()
		if _, home, known := s.TargetPoints(l.GetTarget()); !known {
			x.refuse("UNKNOWN_POINT", on, "no such point or box is registered", "read the label again, or register it first", x.who.ID, "")
		} else if home != y.ID {
			x.refuse("NOT_HOME", on, "this is of yard "+home+", not of "+y.ID, "record the lock there", x.who.ID, "")
		}
		if h := l.GetHolder(); h != "" && s.People[h] == nil {
			x.refuse("UNKNOWN_PERSON", h, "nobody of this name is enrolled", "leave the holder out: the lock then counts as found, owner unknown", x.who.ID, "")
		}
	}
	for _, p := range r.GetClosed() {
		if pt := s.Points[p]; pt == nil {
			x.refuse("UNKNOWN_POINT", p, "no such point is registered", "read the label again, or register it first", x.who.ID, "")
		} else if pt.Yard != y.ID {
			x.refuse("NOT_HOME", p, "this is of yard "+pt.Yard+", not of "+y.ID, "record it there", x.who.ID, "")
		}
	}
	for _, w := range r.GetInside() {
		// Only the person signs off: a name that has no key would block for ever.
		if s.People[w.GetPerson()] == nil {
			x.refuse("UNKNOWN_PERSON", w.GetPerson(), "nobody of this name is enrolled", "bring them out of the zone, or enrol them first", x.who.ID, "")
		}
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
	s.clearAlarm("CLONED_JOURNAL", y.ID)
	x.change("yard %s recovered by %s and %s: epoch %d, new replica %s", y.ID, x.who.ID, r.GetSecond(), y.Epoch, fingerprintShort(y.Key))
	for _, id := range sorted(s.Points) {
		if p := s.Points[id]; p.Yard == y.ID {
			p.Moved = Moved{Epoch: y.Epoch}
		}
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && slices.Contains(q.Involved, y.ID) {
			s.void(q, y.ID+" was recovered after it lost its journal", x)
		}
	}
	x.unsureAfterLoss(y, r)
}

// unsureAfterLoss flags what no walkdown of locks and handles settles.
func (x *step) unsureAfterLoss(y *Yard, r *recordv1.RecoverYard) {
	s := x.s
	for _, id := range sorted(s.Points) {
		if p := s.Points[id]; p.Yard == y.ID && p.Live && !slices.Contains(r.GetClosed(), id) {
			// The go-ahead may be in somebody's head still (protocol.md C11).
			x.flag("CLOSING_AUTHORITY", id, id+" is recorded as switched on and was not found closed: somebody may have been told to close it. Find them before anybody opens, locks or relies on it", "")
		}
	}
	for _, id := range sorted(s.Boxes) {
		if s.Boxes[id].Yard == y.ID {
			x.flag("BOX_CONTENTS", id, "the lost journal may have moved keys in or out of "+id+": look into it and record what is there before anybody relies on it", "1910.147(f)(3)")
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
			x.flag("OWNER_UNKNOWN", h.Target(), "a lock was seen hanging and its owner is not known", "1910.147(c)(5)(ii)")
		}
		x.putOn(h, l.GetTarget())
		h.Flags = slices.Clone(x.out.Flags[from:])
	}
	for _, w := range r.GetInside() {
		so := &SignOn{Ref: Ref(y.ID, y.Epoch, seq), Person: w.GetPerson(), Job: w.GetJob(), On: x.mark, Since: x.mark.Index}
		seq++
		s.SignOns[so.Ref], s.inside[so.Ref] = so, so
		x.change("%s found inside the zone of %s: counts as signed on (%s)", so.Person, so.Job, so.Ref)
		if j := s.Jobs[so.Job]; j != nil && !j.Closed.Set() {
			j.LastOn.add(so.On)
			s.use(j.Zone, so.Person, so.On)
		} else {
			x.flag("UNKNOWN_JOB", so.Job, "no open job of this name: "+so.Person+" may be anywhere", "")
		}
	}
}

// recoverShape says what is wrong with the shape of a RecoverYard, "" when
// nothing: at most MaxList locks, points and people, each point and person once.
func recoverShape(r *recordv1.RecoverYard) string {
	if !Name(r.GetYard()) || !Name(r.GetSecond()) || r.GetEpoch() == 0 || len(r.GetKey()) != 32 || !text(r.GetAddress()) {
		return "a recovery names the yard, the second manager, the new epoch, and the new replica's key and address"
	}
	if !list(r.GetClosed(), PointName) {
		return "a point found closed is named yard/panel/device, and each once"
	}
	if len(r.GetLocks()) > MaxList || len(r.GetInside()) > MaxList {
		return "a recovery lists too many locks or people"
	}
	for _, l := range r.GetLocks() {
		if !targetOK(l.GetTarget()) || !plain(l.GetSeen()) || l.GetHolder() != "" && !Name(l.GetHolder()) || l.GetJob() != "" && !Name(l.GetJob()) {
			return "a lock found hanging names a point yard/panel/device or a box yard/box, and a holder and a job if known"
		}
	}
	seen := map[string]bool{}
	for _, w := range r.GetInside() {
		if !Name(w.GetPerson()) || w.GetJob() != "" && !Name(w.GetJob()) || seen[w.GetPerson()+" "+w.GetJob()] {
			return "a person found inside is named by id, with the job if known, and each once"
		}
		seen[w.GetPerson()+" "+w.GetJob()] = true
	}
	return ""
}
