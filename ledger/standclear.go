package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const testClause = "1910.147(f)(1)"

var _ = declare(
	kind((*recordv1.Record).GetStandClear, Kind{Name: "stand_clear", Called: "stand clear", Class: Lifts, May: ofTheirOwn(), Clause: testClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.StandClear) About {
			return About{Record: RefOf(c.GetHold()), Request: c.GetRequest()}
		},
		func(f *fields, c *recordv1.StandClear) {
			f.ref("hold", c.GetHold())
			f.name("request", c.GetRequest())
			f.counted("asked", c.GetAsked())
		},
		(*step).standClear),
)

var (
	// NoOpenTest: no open request of that name exists to stand clear for.
	NoOpenTest = code.New("NO_OPEN_TEST", code.Row{Args: "request", Clause: testClause, Who: "the-signer", Next: "yardhasp request list", Answer: code.Unknown})
	NotATest   = code.New("NOT_A_TEST", code.Row{Args: "request", Clause: testClause, Who: "the-signer"})
	// OtherRequest: the record means another request of the same name.
	OtherRequest = code.New("OTHER_REQUEST", code.Row{Args: "request", Clause: testClause, Who: "the-signer", Next: "yardhasp request list"})
	// StandsClearOfOther: the holder stood clear for another request that is still open.
	StandsClearOfOther = code.New("STANDS_CLEAR_OF_OTHER", code.Row{Args: "holder record request person", Clause: testClause, Who: "{person}", Next: "yardhasp withdraw {request}"})
	// NothingToDoWith: the lock covers no point of the test.
	NothingToDoWith = code.New("NOTHING_TO_DO_WITH_TEST", code.Row{Args: "target record request", Clause: testClause, Who: "the-signer"})
	StandsClear     = code.New("STANDS_CLEAR", code.Row{Args: "holder target record request", Next: "yardhasp release {record}"})
)

// Test reports whether the request is for a test, or for positioning, in the middle of
// the work. The holders then stand clear and do not sign off.
func (q *Request) Test() bool { return q.Kind != recordv1.RequestKind_REQUEST_KIND_UNSPECIFIED }

// StoodClear reports whether the holder stood clear, for any request. Such a hold
// protects nobody. It still stands against every start, and its holder must sign it off
// (protocol.md C13).
func (h *Hold) StoodClear() bool { return h.Stood != "" }

// StoodClearFor reports whether the holder stood clear for exactly this request. The id
// alone does not tell: a finished request leaves the state, and its id can be used again
// (decisions.md 24).
func (h *Hold) StoodClearFor(q *Request) bool {
	return q != nil && h.StoodClear() && h.Stood == q.ID && h.StoodFor == q.By.Index
}

// Guarding lists the holds that cover a point and protect somebody. It leaves out holds
// whose holder stood clear, equipment locks of a yard, and tags that lack what a tag
// without a lock needs.
func (s *State) Guarding(point string) []*Hold {
	return slices.DeleteFunc(s.HoldsOn(point), func(h *Hold) bool { return h.StoodClear() || h.Equipment || s.lacks(h, point) != nil })
}

// standClear takes away a holder's protection for one test or positioning. The holder
// must sign it, with a key that is not younger than the hold, as for a release. The
// protection never comes back: not when the request ends, and not by another record. To
// be protected again, the holder locks again.
func (x *step) standClear(c *recordv1.StandClear) {
	s, ref := x.s, RefOf(c.GetHold())
	h, q := s.Holds[ref], s.Reqs[c.GetRequest()]
	switch {
	case q == nil || !q.open():
		x.deny(NoOpenTest, c.GetRequest(), c.GetRequest())
	case !q.Test():
		x.deny(NotATest, q.ID, q.ID)
	case q.By.Index != c.GetAsked():
		x.deny(OtherRequest, q.ID, q.ID)
	}
	if !x.holdStands(h, ref) {
		return
	}
	switch {
	case !x.notPersonal(h):
	case h.Holder == "":
		x.deny(NotClaimed, ref, h.Target(), ref)
	case h.Holder != x.who.ID:
		x.deny(NotYourLock, ref, h.Holder, h.Target(), ref)
	case x.mayEnd(h, h.Holder) && q != nil:
		x.mayStandClearFor(h, q)
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
	x.did(StandsClear, h.Ref, h.Holder, h.Target(), h.Ref, q.ID)
}

// mayStandClearFor refuses a record that would mean nothing for the request. It also
// refuses one for a hold that another open request still needs.
func (x *step) mayStandClearFor(h *Hold, q *Request) {
	s := x.s
	if other := s.Reqs[h.Stood]; h.StoodClearFor(other) && other.open() {
		x.deny(StandsClearOfOther, h.Ref, h.Holder, h.Ref, other.ID, other.By.By)
	}
	j, own := s.Jobs[q.Job], s.Jobs[h.Job]
	concerned := overlap(s.Covers(h), q.Points) || h.Job == q.Job || j != nil && overlap(s.Covers(h), j.Plan)
	if !concerned && (own == nil || !s.CouldReach(own.Zone, q.Points, false)) {
		x.deny(NothingToDoWith, h.Ref, h.Target(), h.Ref, q.ID)
	}
}

// notClear lists the holds on a test's points whose holders have not stood clear for it,
// ordered by reference.
func (s *State) notClear(q *Request) []*Hold {
	var out []*Hold
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; !h.StoodClearFor(q) && overlap(s.Covers(h), q.Points) {
			out = append(out, h)
		}
	}
	return out
}

// holdConditions lists the holds that stand against a request for a point. For a test it
// lists only the holds that nobody can stand clear of.
func (s *State) holdConditions(p string, q *Request) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, h := range s.HoldsOn(p) {
		if q.Test() && !h.Equipment && h.Holder != "" {
			continue // its holder stands clear after the test is asked for
		}
		cs = append(cs, h.Stands(p))
	}
	return cs
}
