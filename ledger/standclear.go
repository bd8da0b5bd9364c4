package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const testClause = "1910.147(f)(1)"

// Test reports whether the request is for a test or for positioning in the middle
// of the work: then the holders stand clear instead of signing off.
func (q *Request) Test() bool { return q.Kind != recordv1.RequestKind_REQUEST_KIND_UNSPECIFIED }

// StoodClear reports whether the holder stood clear, for whichever request. Such a
// hold protects nobody. It still stands against every start, and its holder signs
// it off (protocol.md C13).
func (h *Hold) StoodClear() bool { return h.Stood != "" }

// StoodClearFor reports whether the holder stood clear for this very request: the
// id alone won't do, for an old request leaves the state (decisions.md 24).
func (h *Hold) StoodClearFor(q *Request) bool {
	return q != nil && h.StoodClear() && h.Stood == q.ID && h.StoodFor == q.By.Index
}

// Guarding lists the holds that cover a point and protect: without those whose
// holder stood clear, a yard's equipment locks, and tags that lack what a tag alone
// needs.
func (s *State) Guarding(point string) []*Hold {
	return slices.DeleteFunc(s.HoldsOn(point), func(h *Hold) bool { return h.StoodClear() || h.Equipment || s.lacks(h, point) != "" })
}

// standClear takes a holder's protection away for one test or positioning. By
// their own signature, with a key not younger than the hold, as a release. Nothing
// brings it back: neither the end of the request nor another record.
func (x *step) standClear(c *recordv1.StandClear) {
	s, ref := x.s, RefOf(c.GetHold())
	h, q := s.Holds[ref], s.Reqs[c.GetRequest()]
	switch {
	case q == nil || !q.open():
		x.refuse("UNKNOWN_REQUEST", c.GetRequest(), "there is no open request of this name", "keep your lock on; read the request on the board again", x.who.ID, testClause)
	case !q.Test():
		x.refuse("NOT_A_TEST", q.ID, "request "+q.ID+" is a start, not a test: nobody stands clear for it", "take the lock off and sign off, or ask for a test", x.who.ID, testClause)
	case q.By.Index != c.GetAsked():
		x.refuse("OTHER_REQUEST", q.ID, "another request of this name was meant", "read the request on the board again", x.who.ID, testClause)
	}
	if !x.holdStands(h, ref) {
		return
	}
	switch {
	case !x.notPersonal(h):
	case h.Holder != x.who.ID:
		x.refuse("NOT_YOUR_LOCK", ref, fmt.Sprintf("the lock on %s is held by %s; only its holder stands clear", h.Target(), holderName(h)), "ask them", holderName(h), testClause)
	case x.mayEnd(h, h.Holder) && q != nil:
		x.standsFor(h, q)
	}
	if x.refused() {
		return
	}
	h.Stood, h.StoodFor = q.ID, q.By.Index
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; !j.Closed.Set() && (h.Job == id || overlap(s.Covers(h), j.Plan)) {
			j.LastOff.add(x.mark)
		}
	}
	x.change("%s stands clear of %s for %s: NO protection from this lock; after it lock again, then sign this one off", h.Holder, h.Target(), q.ID)
}

// standsFor refuses a word that would mean nothing for the request, or that is
// still needed by another.
func (x *step) standsFor(h *Hold, q *Request) {
	s := x.s
	if other := s.Reqs[h.Stood]; h.StoodClearFor(other) && other.open() {
		x.refuse("STOOD_CLEAR", h.Ref, fmt.Sprintf("%s stood clear for %s, which is open", h.Holder, other.ID), "finish or withdraw that one first", other.By.By, testClause)
	}
	j, own := s.Jobs[q.Job], s.Jobs[h.Job]
	concerned := overlap(s.Covers(h), q.Points) || h.Job == q.Job || j != nil && overlap(s.Covers(h), j.Plan)
	if !concerned && (own == nil || !s.CouldReach(own.Zone, q.Points, false)) {
		x.refuse("NOT_REQUESTED", h.Ref, fmt.Sprintf("the lock on %s has nothing to do with %s", h.Target(), q.ID), "keep it on", x.who.ID, testClause)
	}
}

// notClear lists the holds on a test's points whose holders have not stood clear
// for it, by reference.
func (s *State) notClear(q *Request) []*Hold {
	var out []*Hold
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; !h.StoodClearFor(q) && overlap(s.Covers(h), q.Points) {
			out = append(out, h)
		}
	}
	return out
}

// approve lets a request through once every involved yard has confirmed it and,
// for a test, every holder on its points stood clear for it. It looks at the state,
// not at the record that changed it.
func (x *step) approve() {
	for _, id := range sorted(x.s.Reqs) {
		q := x.s.Reqs[id]
		if q.State != recordv1.RequestState_REQUEST_STATE_AWAITING || len(q.Attested) < len(q.Involved) || q.Test() && len(x.s.notClear(q)) > 0 {
			continue
		}
		q.State = recordv1.RequestState_REQUEST_STATE_APPROVED
		x.change("request %s approved: nobody involved objects so far; any new lock cancels this; not permission to close", q.ID)
	}
}

// holdConditions lists the holds that stand against a request for a point. For a
// test only those of which nobody can stand clear do.
func (s *State) holdConditions(p string, q *Request) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, h := range s.HoldsOn(p) {
		who := holderName(h)
		switch {
		case h.Equipment:
			cs = append(cs, cond("HOLD_STANDS", p, fmt.Sprintf("a yard's equipment lock hangs on %s (%s), put on by %s: the machine is out of service", h.Target(), h.Ref, who), "a supervisor or manager takes it off at its yard, with a reason", "supervisor or manager", ""))
		case q.Test() && h.Holder == "":
			cs = append(cs, cond("HOLD_STANDS", p, fmt.Sprintf("a lock whose owner is not known hangs on %s (%s): nobody can stand clear of it", h.Target(), h.Ref), "its owner claims it first", who, testClause))
		case q.Test():
		case h.StoodClear():
			cs = append(cs, cond("HOLD_STANDS", p, fmt.Sprintf("%s stood clear of %s for %s and has not signed off that lock (%s)", who, h.Target(), h.Stood, h.Ref), who+" locks again if they go back, and signs the old lock off", who, testClause))
		default:
			cs = append(cs, cond("HOLD_STANDS", p, fmt.Sprintf("%s still has a lock on %s (%s)", who, h.Target(), h.Ref), who+" takes it off and signs off", who, "1910.147(e)(3)"))
		}
	}
	return cs
}

// stoodClearText is what the holder of such a lock reads (protocol.md 4).
func (h *Hold) stoodClearText() string {
	return strings.TrimSpace("stood clear for " + h.Stood + ": NO protection; after the test lock again, or sign off")
}
