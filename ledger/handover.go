package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const handOverClause = "1910.147(f)(4)"

// handOver passes protection from people going off to people coming on, without
// a gap: the lock that stays is on before the other comes off. All pairs or none.
// A yard that is cut off can't take it; there the one coming on locks, then the
// one going off releases (decisions.md 21).
func (x *step) handOver(o *recordv1.HandOver) {
	s := x.s
	var concerned []string
	for _, p := range o.GetPairs() {
		offRef, onRef := RefOf(p.GetOff()), RefOf(p.GetOn())
		off, on := s.Holds[offRef], s.Holds[onRef]
		if !x.holdStands(off, offRef) || !x.holdStands(on, onRef) {
			continue
		}
		if !x.notPersonal(off) || !x.notPersonal(on) {
			continue // an equipment lock protects nobody: nothing passes to it or from it
		}
		concerned = append(concerned, off.Holder, on.Holder)
		for _, h := range []*Hold{off, on} {
			if h.StoodClear() {
				x.refuse("STOOD_CLEAR", h.Ref, fmt.Sprintf("%s %s", holderName(h), h.stoodClearText()), holderName(h)+" locks again first", holderName(h), handOverClause)
			}
		}
		switch {
		case off.Holder == "" || on.Holder == "":
			x.refuse("OWNER_UNKNOWN", offRef, "the owner of one of the two locks is not known", "its owner claims it first", "its owner", handOverClause)
		case off.Holder == on.Holder:
			x.refuse("SAME_HOLDER", offRef, "both locks are of "+off.Holder+": nothing passes to anybody", off.Holder+" takes one off and signs off", off.Holder, handOverClause)
		case off.Target() != on.Target():
			x.refuse("OTHER_TARGET", onRef, fmt.Sprintf("%s has a lock on %s, not on %s: protection would have a gap", on.Holder, on.Target(), off.Target()), on.Holder+" locks "+off.Target()+" first", on.Holder, handOverClause)
		default:
			x.mayEnd(off, off.Holder)
		}
	}
	slices.Sort(concerned)
	concerned = slices.Compact(concerned)
	signed := append([]string{x.who.ID}, o.GetOthers()...)
	for _, id := range concerned {
		if id != "" && !slices.Contains(signed, id) {
			x.refuse("NOT_SIGNED", id, id+" has one of these locks and did not sign", "write it anew, naming "+id, id, handOverClause)
		}
	}
	for _, id := range signed {
		if !slices.Contains(concerned, id) {
			x.refuse("NO_LOCK", id, id+" signs and has none of these locks", "write it anew without "+id, x.who.ID, handOverClause)
		}
	}
	if x.refused() {
		return
	}
	for _, p := range o.GetPairs() {
		off, on := s.Holds[RefOf(p.GetOff())], s.Holds[RefOf(p.GetOn())]
		if off.Job != on.Job {
			x.flag("OTHER_JOB", on.Ref, fmt.Sprintf("the lock of %s is for job %q, that of %s for %q", off.Holder, off.Job, on.Holder, on.Job), handOverClause)
		}
		if slices.ContainsFunc(s.signedOn(off.Job), func(so *SignOn) bool { return so.Person == off.Holder }) {
			x.flag("STILL_SIGNED_ON", off.Ref, off.Holder+" is still signed on to "+off.Job+": they come out and sign off, or hang a lock of their own again", handOverClause)
		}
		x.takeOff(off, OffByHandOver.About(off.Ref, off.Holder, on.Holder))
	}
}

// mayEnd refuses what would end a hold with a key that is younger than it.
func (x *step) mayEnd(h *Hold, person string) bool {
	if k := x.signingKey(person); k != nil && k.Since <= h.Since {
		return true
	}
	x.refuse("KEY_NEWER_THAN_LOCK", h.Ref, fmt.Sprintf("the key of %s was enrolled after this lock went on", person), "sign with the key that put it on, or two managers order its removal", "two managers", removalClause)
	return false
}

// bornUnder is the entry that a key must not be younger than to end what this
// record begins. A record can come here long after it was written down: when its
// key was taken back meanwhile, a key that a manager gave before it came is still
// the younger one (design.md, Security).
func (x *step) bornUnder() uint64 {
	if k := x.signingKey(x.who.ID); k != nil && k.Revoked > 0 {
		return k.Since
	}
	return x.mark.Index
}

// claimLock: the owner of a found lock is identified. From then on it is theirs
// like any other; what their key must not be younger than is the claim, for
// nobody's key put it on.
func (x *step) claimLock(c *recordv1.ClaimLock) {
	s, ref := x.s, RefOf(c.GetHold())
	h := s.Holds[ref]
	const clause = "1910.147(c)(5)(ii)"
	if w := s.People[c.GetWitness()]; !w.Has(supervisor, manager) {
		x.refuse("NOT_PERMITTED", w.ID, w.ID+" is not a supervisor or manager", "one of them sees the lock, the tag and its owner, and signs", "supervisor or manager", clause)
	}
	if x.oneHand(c.GetWitness()) {
		x.refuse("ONE_HAND", c.GetWitness(), x.oneHandText(c.GetWitness()), "another supervisor or manager sees the lock, the tag and its owner, and signs", "another supervisor or manager", clause)
	}
	if x.holdStands(h, ref) && h.Holder != "" {
		x.refuse("NOT_YOUR_LOCK", ref, "this lock is held by "+h.Holder+": only a lock whose owner is not known can be claimed", "", h.Holder, clause)
	}
	if x.refused() {
		return
	}
	h.Holder, h.Claimed, h.Since = x.who.ID, x.mark, x.mark.Index
	var flags []*recordv1.Finding
	for _, f := range h.Flags {
		if f.GetCode() != "OWNER_UNKNOWN" {
			flags = append(flags, f)
		}
	}
	h.Flags = flags
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; !j.Closed.Set() && (h.Job == id || s.unclaimed(h) && overlap(s.Covers(h), j.Plan)) {
			s.use(j.Zone, h.Holder, x.mark)
		}
	}
	x.flagDebt(h.Holder)
	x.change("the lock found on %s is %s's, as %s witnesses", h.Target(), h.Holder, c.GetWitness())
}

func pairsOK(o *recordv1.HandOver) string {
	if n := len(o.GetPairs()); n == 0 || n > MaxList {
		return "a hand-over needs at least one pair of locks"
	}
	offs := map[string]bool{}
	for _, p := range o.GetPairs() {
		if !refOK(p.GetOff()) || !refOK(p.GetOn()) {
			return "name the lock that comes off and the one that stays as yard/epoch/number, as the board shows them"
		}
		if offs[RefOf(p.GetOff())] {
			return "each lock comes off once"
		}
		offs[RefOf(p.GetOff())] = true
	}
	for _, p := range o.GetPairs() {
		if offs[RefOf(p.GetOn())] {
			return strings.TrimSpace("the lock " + RefOf(p.GetOn()) + " can't stay and come off")
		}
	}
	return ""
}
