package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const removalClause = "1910.147(e)(3)"

// Debt is a removal that its holder has not yet been told of: they are, before
// they work again, 1910.147(e)(3)(iii).
type Debt struct {
	Ref    string `json:"ref"` // the hold
	Person string `json:"person"`
	Target string `json:"target"`
	Second string `json:"second"`
	At     Mark   `json:"at"`
}

// removal takes the lock of an absent person off, under the direction of two
// managers, neither of them its holder (design.md rule 2). It ends that hold and
// nothing else: whoever is signed on stays signed on.
func (x *step) removal(r *recordv1.Removal) {
	s, ref := x.s, RefOf(r.GetHold())
	h := s.Holds[ref]
	x.holdStands(h, ref)
	x.notPersonal(h)
	if p := s.People[r.GetSecond()]; !p.Has(manager) {
		x.refuse("NOT_PERMITTED", p.ID, p.ID+" is not a manager", "two managers order a removal", "two managers", removalClause)
	}
	if x.oneHand(r.GetSecond()) {
		x.refuse("ONE_HAND", r.GetSecond(), x.oneHandText(r.GetSecond()), "a third manager signs", "another manager", removalClause)
	}
	x.notPostdated(ref, "two managers", removalClause)
	if x.rec.GetCapturedUnixMs() < s.Time-removalKeeps {
		x.refuse("TOO_OLD", ref, fmt.Sprintf("it was written more than %d hours ago: the person may be back", removalKeeps/3_600_000), "look for the person again, and write it anew", "two managers", removalClause)
	}
	if h != nil && h.Holder != "" && (h.Holder == x.who.ID || h.Holder == r.GetSecond()) {
		x.refuse("OWN_LOCK", h.Holder, h.Holder+" holds this lock: nobody removes their own as an absent person's", h.Holder+" takes it off and signs off; or two other managers sign", h.Holder, removalClause)
	}
	if x.refused() {
		return
	}
	covered := s.Covers(h)
	x.takeOff(h, OffByRemoval.About(ref, h.Holder, []string{x.who.ID, r.GetSecond()}))
	x.protectionEnded(h, covered)
	x.change("verified not here: %s", r.GetNotHere())
	x.change("tried to reach: %s", r.GetTriedToReach())
	x.noteExposed(covered, RemovedLockKeptOff.About(ref, ref))
	if h.Holder == "" {
		x.flag("OWNER_UNKNOWN", ref, "its owner is not known: nobody can be told before they work again", "1910.147(e)(3)(iii)")
		return
	}
	for _, on := range sorted(s.inside) {
		if so := s.inside[on]; so.Person == h.Holder {
			x.flag("SIGNED_ON", on, h.Holder+" is still signed on to the zone of "+so.Job+": make sure that they are not inside", "1910.147(e)(2)(i)")
		}
	}
	s.Debts[ref] = &Debt{Ref: ref, Person: h.Holder, Target: h.Target(), Second: r.GetSecond(), At: x.mark}
	s.alarm("REMOVAL_NOT_ACKNOWLEDGED", ref, s.Debts[ref].text(), x.mark)
}

// notPostdated refuses what says of itself that it was signed later than now: a time
// of capture ahead would keep it fresh for as long.
func (x *step) notPostdated(about, who, clause string) {
	if x.rec.GetCapturedUnixMs() > x.s.Time+clockAhead {
		x.refuse("CLOCK_DOUBT", about, "its time of signing is ahead of the ledger's time: how old it is can't be told", "put the clock right, look again and write it anew", who, clause)
	}
}

// text is the debt in words.
func (d *Debt) text() string {
	return fmt.Sprintf("the lock of %s on %s (%s) was removed by %s and %s: %s must be told before working again, and says so", d.Person, d.Target, d.Ref, d.At.By, d.Second, d.Person)
}

// acknowledgeRemoval: the absent person has been told, by their own word.
func (x *step) acknowledgeRemoval(a *recordv1.AcknowledgeRemoval) {
	ref := RefOf(a.GetHold())
	d := x.s.Debts[ref]
	switch {
	case d == nil:
		x.refuse("UNKNOWN_REMOVAL", ref, "no removal of this lock waits for its holder's word", "read the reference on the board again", x.who.ID, "")
	case d.Person != x.who.ID:
		x.refuse("NOT_YOUR_LOCK", ref, "only "+d.Person+", whose lock it was, says that they were told", "ask them", d.Person, "1910.147(e)(3)(iii)")
	case x.rec.GetCapturedUnixMs()+clockAhead < d.At.Late:
		x.refuse("NOT_SEEN", ref, "this was signed before the removal was ordered: nobody can have been told of it", "once you are told, sign it anew", d.Person, "1910.147(e)(3)(iii)")
	default:
		// Who ordered it could be the one who says that they were told.
		x.notGivenBy(ref, "1910.147(e)(3)(iii)", d.At.By, d.Second)
		if x.refused() {
			return
		}
		delete(x.s.Debts, ref)
		x.s.clearAlarm("REMOVAL_NOT_ACKNOWLEDGED", ref)
		x.change("%s knows that their lock on %s was removed", d.Person, d.Target)
	}
}

// owes lists the removals that a person has not acknowledged, by reference.
func (s *State) owes(person string) []*Debt {
	var out []*Debt
	for _, ref := range sorted(s.Debts) {
		if d := s.Debts[ref]; d.Person == person {
			out = append(out, d)
		}
	}
	return out
}

// flagDebt flags a lock or sign-on of somebody who works again without having
// been told that a lock of theirs was removed.
func (x *step) flagDebt(person string) {
	for _, d := range x.s.owes(person) {
		x.flag("REMOVAL_NOT_ACKNOWLEDGED", d.Ref, d.text(), "1910.147(e)(3)(iii)")
	}
}

// debtors lists the unacknowledged removals that stand against work on a job:
// those of its responsible employee, of whoever is signed on, and of whoever put
// a lock on for it since.
func (s *State) debtors(j *Job) []*Debt {
	var out []*Debt
	for _, ref := range sorted(s.Debts) {
		d := s.Debts[ref]
		works := d.Person == j.Responsible
		for _, so := range s.signedOn(j.ID) {
			works = works || so.Person == d.Person
		}
		for _, h := range s.active {
			works = works || h.Holder == d.Person && h.On.Index > d.At.Index && (h.Job == j.ID || s.unclaimed(h) && overlap(s.Covers(h), j.Plan))
		}
		if works {
			out = append(out, d)
		}
	}
	return out
}

// duties says what is missing of the two duties that come before a removal,
// (e)(3)(i) and (ii); "" when nothing.
func duties(r *recordv1.Removal) string {
	if !text(strings.TrimSpace(r.GetNotHere())) || !text(strings.TrimSpace(r.GetTriedToReach())) {
		return "say how it was verified that the person is at no yard, and what was done to reach them"
	}
	return ""
}

// owedOn reports whether the removal of a hold is still owed to somebody of a job:
// its responsible employee, its crew, or somebody whose work it stands against.
func (s *State) owedOn(j *Job, hold string) bool {
	d := s.Debts[hold]
	if d == nil {
		return false
	}
	return d.Person == j.Responsible || slices.Contains(j.Crew, d.Person) || slices.Contains(s.debtors(j), d)
}
