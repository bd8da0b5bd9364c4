package faults_test

import (
	"bytes"
	"slices"
	"strings"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// What the walk demands of each act.

// boxAdd: the point is isolated, and no request asks for it that is still open.
func (x *walker) boxAdd(a *recordv1.BoxAdd) {
	p := a.GetPoint()
	if x.boxes[a.GetBox()][p] = true; x.live[p] {
		x.fail("%s is live", p)
	}
	for id, q := range x.reqs {
		ended := func(p string) bool { return x.locked[p] > q.index }
		if slices.Contains(q.points, p) && !q.over() && !slices.ContainsFunc(q.points, ended) {
			x.fail("request %s asks for %s", id, p)
		}
	}
}

// boxRemove: no key leaves a box that carries a lock.
func (x *walker) boxRemove(a *recordv1.BoxRemove) {
	for ref, h := range x.holds {
		if !h.off && h.what == a.GetBox() {
			x.fail("%s still has lock %s on the box", h.who, ref)
		}
	}
	delete(x.boxes[a.GetBox()], a.GetPoint())
}

// lock: a promise names points that are under the lock and isolated.
func (x *walker) lock(a *recordv1.Lock) {
	promised := x.n.env.GetGrant() == recordv1.Grant_GRANT_HELD_LOCALLY
	t := a.GetTarget()
	h := &standing{who: x.n.rec.GetSigner(), what: t.GetPoint() + t.GetBox()}
	x.holds[x.n.ref] = h
	x.hung(h)
	for _, p := range x.n.env.GetPromised() {
		if promised && (x.live[p] || !x.covers(h, p)) {
			x.fail("%s was promised %v, and %s is live or not under the lock", h.who, x.n.env.GetPromised(), p)
		}
	}
	if promised && len(x.n.env.GetPromised()) == 0 {
		x.fail("a promise of nothing")
	}
}

// claim: a lock whose owner nobody knew is claimed before a witness who is a manager.
func (x *walker) claim(a *recordv1.ClaimLock) {
	h := x.holds[ledger.RefOf(a.GetHold())]
	if h == nil || h.off || h.who != "" {
		x.fail("there is no lock of an unknown owner")
		return
	}
	if h.who = x.signers[0]; len(x.signers) != 2 || !slices.Contains(managersAll, x.signers[1]) {
		x.fail("it is witnessed by %q", x.signers[1:])
	}
}

// handOver: each lock passes to another person's on the same point or box, signed by both.
func (x *walker) handOver(a *recordv1.HandOver) {
	for _, pair := range a.GetPairs() {
		off, on := x.holds[ledger.RefOf(pair.GetOff())], x.holds[ledger.RefOf(pair.GetOn())]
		switch {
		case off == nil || on == nil || off.off || on.off:
			x.fail("one of the locks is not on")
		case off.clear+on.clear != "":
			x.fail("the holder of one of the locks stood clear of it")
		case off.what != on.what || off.who == on.who || !slices.Contains(x.signers, off.who) || !slices.Contains(x.signers, on.who):
			x.fail("the lock of %s on %s passes to that of %s on %s, signed by %q", off.who, off.what, on.who, on.what, x.signers)
		default:
			off.off = true
		}
	}
}

// removal: two managers, neither of them the holder, remove a lock.
func (x *walker) removal(a *recordv1.Removal) {
	switch h := x.holds[ledger.RefOf(a.GetHold())]; {
	case h == nil || h.off:
		x.fail("there is no such lock")
	case len(x.signers) != 2 || slices.Contains(x.signers, h.who) || slices.ContainsFunc(x.signers, func(s string) bool { return !slices.Contains(managersAll, s) }):
		x.fail("the lock of %s was removed by %q", h.who, x.signers)
	default:
		h.off, h.removed = true, true
	}
}

func (x *walker) acknowledged(a *recordv1.AcknowledgeRemoval) {
	if h := x.holds[ledger.RefOf(a.GetHold())]; h == nil || !h.removed || h.who != x.signers[0] {
		x.fail("no lock of %s was removed", x.signers[0])
	}
}

// release: by the holder alone.
func (x *walker) release(a *recordv1.Release) {
	switch h := x.holds[ledger.RefOf(a.GetHold())]; {
	case h == nil || h.off:
		x.fail("there is no such lock")
	case h.who != x.n.rec.GetSigner():
		x.fail("the lock is %s's", h.who)
	default:
		h.off = true
	}
}

func (x *walker) signOn(a *recordv1.SignOn) {
	promised := x.n.env.GetGrant() == recordv1.Grant_GRANT_HELD_LOCALLY
	x.inside[x.n.ref] = &standing{who: x.n.rec.GetSigner(), what: a.GetJob(), points: x.plan[a.GetJob()]}
	for _, p := range x.n.env.GetPromised() {
		if promised && x.live[p] {
			x.fail("%s was promised %s, and it is live", x.n.rec.GetSigner(), p)
		}
	}
}

func (x *walker) signOff(a *recordv1.SignOff) {
	if so := x.inside[ledger.RefOf(a.GetSignOn())]; so != nil {
		so.off = true
	}
}

// standClear: by the holder, for the very test that was asked for.
func (x *walker) standClear(a *recordv1.StandClear) {
	h, q := x.holds[ledger.RefOf(a.GetHold())], x.reqs[a.GetRequest()]
	switch {
	case h == nil || h.off || h.who != x.signers[0]:
		x.fail("there is no such lock of %s", x.signers[0])
	case q == nil || !q.test || uint64(q.index) != a.GetAsked():
		x.fail("there is no such test")
	default:
		h.clear = a.GetRequest()
	}
}

// recovered: two managers and the new machine's key sign. What the lost machine confirmed
// does not count.
func (x *walker) recovered(a *recordv1.RecoverYard) {
	y := a.GetYard()
	x.seqs[y], x.epochs[y] = 0, x.epochs[y]+1
	for i, l := range a.GetLocks() {
		h := &standing{who: l.GetHolder(), what: l.GetTarget().GetPoint() + l.GetTarget().GetBox()}
		x.holds[ledger.Ref(y, a.GetEpoch(), ledger.WalkedSeq+uint64(i))] = h
		x.hung(h)
	}
	for id, q := range x.reqs {
		if slices.ContainsFunc(q.points, func(p string) bool { return ledger.YardOf(p) == y }) {
			delete(x.reqs, id) // what the lost machine confirmed does not count
		}
	}
	if len(x.signers) != 3 || x.signers[0] == x.signers[1] || !slices.Contains(managersAll, x.signers[0]) || !slices.Contains(managersAll, x.signers[1]) || !bytes.Equal(x.n.keys[2], a.GetKey()) {
		x.fail("it is signed by %q", x.signers)
	}
}

// request: nobody has a lock on what is to start, unless it is a test.
func (x *walker) request(a *recordv1.Request) {
	test := a.GetKind() == recordv1.RequestKind_REQUEST_KIND_TEST
	for ref, h := range x.holds {
		if !test && !h.off && slices.ContainsFunc(a.GetPoints(), func(p string) bool { return x.covers(h, p) }) {
			x.fail("%s still has lock %s on it", h.who, ref)
		}
	}
	x.reqs[a.GetId()] = &asked{index: x.n.index, test: test, deadline: a.GetDeadlineUnixMs(), points: a.GetPoints(), confirmed: map[string]bool{}, done: map[string]bool{}}
}

// energise: nobody has a lock on the point, but one who stood clear for this test, and
// nobody is signed on; it was asked for and confirmed, in time, and through its own yard.
func (x *walker) energise(a *recordv1.Energise) {
	p := a.GetPoint()
	home, _, _ := strings.Cut(p, "/")
	for ref, h := range x.holds {
		q := x.reqs[a.GetRequest()]
		clear := q != nil && q.test && h.clear == a.GetRequest()
		if !h.off && x.covers(h, p) && !clear {
			x.fail("%s still has lock %s on it", h.who, ref)
		}
	}
	for ref, so := range x.inside {
		if !so.off && slices.Contains(so.points, p) {
			x.fail("%s is still signed on to %s (%s)", so.who, so.what, ref)
		}
	}
	x.asked(a, home)
	if x.n.env.GetYard() != home {
		x.fail("it came through %s, not through the point's own yard", x.n.env.GetYard())
	}
	x.live[p] = true
}

// asked: the request stands, in time, and no lock went on after it.
func (x *walker) asked(a *recordv1.Energise, home string) {
	p := a.GetPoint()
	switch q := x.reqs[a.GetRequest()]; {
	case q == nil:
		x.fail("nobody asked, or the request ended")
	case !slices.Contains(q.points, p) || q.done[p] || x.live[p]:
		x.fail("%s was not to be energised under it", p)
	case !q.confirmed[home]:
		x.fail("%s did not confirm the request", home)
	case x.n.out.GetTimeUnixMs() >= q.deadline:
		x.fail("the deadline had passed")
	case x.locked[p] > q.index:
		x.fail("a lock (entry %d) went on after the request (entry %d): that ends it", x.locked[p], q.index)
	default:
		q.done[p] = true
	}
}
