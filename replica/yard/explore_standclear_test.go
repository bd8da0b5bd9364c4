package yard

import (
	"fmt"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// kind of the request with a number: the first so many are for a test.
func (x *explorer) kind(i int) recordv1.RequestKind {
	if i < x.b.tests {
		return recordv1.RequestKind_REQUEST_KIND_TEST
	}
	return recordv1.RequestKind_REQUEST_KIND_UNSPECIFIED
}

// standClears: a holder stands clear of a lock for a request. The right word is
// tried, and wrong ones: by somebody else, with a key of another time, and for
// another request of that name.
func (x *explorer) standClears(s *sit, do emit) {
	if int(s.n.stands) >= x.b.stands {
		return
	}
	for i := range s.claims {
		c := &s.claims[i]
		h := s.tip.s.Holds[c.ref]
		if c.signOn || c.over || !c.sent || c.who == "" || h == nil || h.Off.By != "" {
			continue
		}
		for r := range int(s.n.reqs) {
			id := fmt.Sprintf("r%d", r)
			q := s.tip.s.Reqs[id]
			if q == nil || q.State != recordv1.RequestState_REQUEST_STATE_AWAITING && q.State != recordv1.RequestState_REQUEST_STATE_APPROVED {
				continue
			}
			try := func(by string, k signer, asked uint64, how string) {
				name := fmt.Sprint("clear ", s.n.stands, c.ref, id, asked, by, k.name)
				signed := x.sign(name, slot("clear", s.n.stands), by, says("stand-clear %s %s %d", c.ref, id, asked), k.name)
				x.put(s, do, fmt.Sprintf("%s stands clear of lock %s for %s%s", by, c.ref, id, how), signed, func(n *sit) { n.n.stands++ })
			}
			for j, k := range s.every(c.who) {
				how := ""
				if j > 0 {
					how = ", with the key " + k.name
				}
				try(c.who, k, q.By.Index, how)
			}
			try(c.who, s.present(c.who), q.By.Index-1, ", as if it were an earlier one")
			other := "walt"
			if c.who == other {
				other = "wanda"
			}
			try(other, s.present(other), q.By.Index, ", which is not theirs")
		}
	}
}

// stoodFor names the request that the holder of a lock stood clear for last, by the
// entries up to l, "" if they did not. Nothing else than the record is looked at.
func stoodFor(l *link, ref string) string {
	for ; l.up != nil; l = l.up {
		if c := l.e.Record().GetStandClear(); c != nil && l.out.GetAccepted() && ledger.RefOf(c.GetHold()) == ref {
			return c.GetRequest()
		}
	}
	return ""
}

// inTheWay names an active lock on p that stands against closing it under a
// request, by the ledger at l: all do but those whose holders stood clear for that
// very test (I4, 1910.147(f)(1)).
func (x *explorer) inTheWay(l *link, request, p string) string {
	q := l.s.Reqs[request]
	for _, ref := range sorted(l.s.Holds) {
		if !covering(l.s, l.s.Holds[ref], p) {
			continue
		}
		if x.b.tests == 0 || q == nil || q.Kind != recordv1.RequestKind_REQUEST_KIND_TEST || stoodFor(l, ref) != request {
			return ref
		}
	}
	return ""
}

// tested judges what an entry did to the rules of a test (I4, protocol.md C13).
func (x *explorer) tested(s, n *sit) string {
	if r := n.tip.e.Record().GetRequest(); r != nil && n.tip.out.GetAccepted() && r.GetKind() == recordv1.RequestKind_REQUEST_KIND_UNSPECIFIED {
		for _, p := range r.GetPoints() {
			for _, ref := range sorted(s.tip.s.Holds) {
				if covering(s.tip.s, s.tip.s.Holds[ref], p) {
					return "C13: a start was asked for over lock " + ref
				}
			}
		}
	}
	if x.b.stands == 0 {
		return ""
	}
	if c := n.tip.e.Record().GetStandClear(); c != nil && n.tip.out.GetAccepted() {
		if bad := x.stoodClear(s, n, c); bad != "" {
			return bad
		}
	}
	for _, id := range sorted(n.tip.s.Reqs) {
		q := n.tip.s.Reqs[id]
		if q.State != recordv1.RequestState_REQUEST_STATE_APPROVED {
			continue
		}
		for _, p := range q.Points {
			if ref := x.inTheWay(n.tip, id, p); ref != "" {
				return fmt.Sprintf("I4: request %s is approved and nobody stood clear of lock %s for it", id, ref)
			}
		}
	}
	return x.protectsNobody(n)
}

// stoodClear judges a word that was taken: its holder's own, with the key that the
// lock is under, for the open test that was meant. From here on nothing is promised
// by that lock.
func (x *explorer) stoodClear(s, n *sit, c *recordv1.StandClear) string {
	ref := ledger.RefOf(c.GetHold())
	h, q, by := s.tip.s.Holds[ref], s.tip.s.Reqs[c.GetRequest()], n.tip.e.Record().GetSigner()
	switch {
	case q == nil || q.State != recordv1.RequestState_REQUEST_STATE_AWAITING && q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:
		return "C13: somebody stood clear for a request that is not open"
	case q.Kind != recordv1.RequestKind_REQUEST_KIND_TEST:
		return "C13: somebody stood clear for a start"
	case q.By.Index != c.GetAsked():
		return "C13: a word for another request of that name was taken"
	case h == nil || h.Off.By != "":
		return "C13: somebody stood clear of a lock that is not on"
	case h.Holder != by:
		return fmt.Sprintf("C13: %s stood clear of the lock of %s", by, h.Holder)
	}
	for i := range n.claims {
		if n.claims[i].ref != ref {
			continue
		}
		k := s.present(by)
		if k.root != n.claims[i].root || !slices.Contains(x.keysOf(n.tip.e), k.name) {
			return fmt.Sprintf("C13: %s stood clear of %s with a key that may not end it", by, ref)
		}
		n.claim(i).stood = true
	}
	return ""
}

// protectsNobody: a lock whose holder stood clear shows nowhere as protection, and
// nothing brings that back (C13).
func (x *explorer) protectsNobody(n *sit) string {
	s := n.tip.s
	for i := range n.claims {
		if c := &n.claims[i]; c.stood && s.Holds[c.ref] != nil && s.HoldView(s.Holds[c.ref]).GetGuards() {
			return "C13: the ledger shows " + c.ref + " as protecting, and its holder stood clear of it"
		}
	}
	for _, p := range x.points {
		if s.PointView(p).GetPosition() == recordv1.Position_POSITION_OPEN_AND_HELD && !protects(n.tip, p) {
			return "C13: the ledger shows " + p + " as held, and nobody's lock protects"
		}
	}
	return ""
}

// protects: some lock on p, by the ledger at l, has a holder who did not stand clear.
func protects(l *link, p string) bool {
	return slices.ContainsFunc(sorted(l.s.Holds), func(ref string) bool { return covering(l.s, l.s.Holds[ref], p) && stoodFor(l, ref) == "" })
}

// heldHere: the same, as a yard knows it, with locks of its own that wait.
func (x *explorer) heldHere(t *seat, p string) bool {
	return protects(t.view, p) || slices.ContainsFunc(t.undrained(t.view), func(r Record) bool {
		rec := x.acts.of(r)
		at := rec.GetLock().GetTarget()
		if rec.GetFoundLock() != nil {
			at = rec.GetFoundLock().GetTarget()
		}
		return at.GetPoint() == p || at.GetBox() != "" && at.GetBox() == x.box
	})
}

// shown judges what a yard's panels show of a test: no go-ahead for one request on
// the word given for another, and nothing as held that nobody holds.
func (x *explorer) shown(t *seat, p string) string {
	if x.b.tests > 0 && x.heldAt(t)&x.bit(p) != 0 && !x.heldHere(t, p) {
		return "C13: " + t.id + " shows " + p + " as held, and nobody's lock protects"
	}
	return ""
}

// heldAt is the mask of the points that a yard's panels show as open and held.
func (x *explorer) heldAt(s *seat) uint8 {
	if s.held < 0 {
		s.held = 0
		for i, p := range x.points {
			if s.y.Panel(p).Position == recordv1.Position_POSITION_OPEN_AND_HELD {
				s.held |= 1 << i
			}
		}
	}
	return uint8(s.held)
}

// promisedInside judges a promise at sign-on: a point whose only locks were stood
// clear of is no barrier (C13).
func (x *explorer) promisedInside(n *sit, t *seat) string {
	for _, p := range x.points {
		v := t.view
		locked := slices.ContainsFunc(sorted(v.s.Holds), func(ref string) bool { return covering(v.s, v.s.Holds[ref], p) })
		if x.b.tests > 0 && x.everReached(n, p) && locked && !x.heldHere(t, p) {
			return "C13: a sign-on was promised what only a lock stops whose holder stood clear of it: " + p
		}
	}
	return ""
}
