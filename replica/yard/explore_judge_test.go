package yard

import (
	"fmt"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The rules are judged from exported fields and from the replies alone, never by
// the functions that are being explored.

func covering(s *ledger.State, h *ledger.Hold, p string) bool {
	if h.Off.By != "" {
		return false
	}
	if b := s.Boxes[h.Box]; b != nil {
		if _, in := b.Points[p]; in {
			return true
		}
	}
	return h.Point == p
}

// reach says whether a sign-on speaks for a point: promised, or reaching the
// zone of its job by any drawing there was. A job nobody knows is anywhere.
func reach(s *ledger.State, job string, promised []string, p string) bool {
	if slices.Contains(promised, p) {
		return true
	}
	j := s.Jobs[job]
	if j != nil && j.Zone == "eastfork/sump" && slices.Contains(s.Reach["eastfork/pit"], p) {
		return true // it is the pit
	}
	return j == nil || slices.Contains(s.Reach[j.Zone], p)
}

// everReached: some drawing that the ledger took showed p reaching the zone where
// all sign on, and its yard has not taken that back.
func (x *explorer) everReached(n *sit, p string) bool {
	if x.b.own {
		return p == belt
	}
	return p == leg || x.b.shaft && !n.n.trimmed || n.n.widened
}

// given judges a promise as its reply goes out (I2).
func (x *explorer) given(n *sit, t *seat, c *claim) string {
	if n.twin != nil && t.id == n.twin.Envelope.GetYard() {
		return "" // no machine can know that it has a twin
	}
	if c.points != 0 && t.lost(t.view) {
		return "C11: " + t.id + " promises with a disk that the ledger, as it has it, does not know as its own"
	}
	for i, p := range x.points {
		m, home := uint8(1)<<i, x.home[i] == t.no
		if c.points&m == 0 {
			continue
		}
		if n.phys&m != 0 && (home || n.rogue&m == 0) {
			return "I2: HELD_LOCALLY was answered for " + p + " while its switch is closed"
		}
		if home && x.openedAhead(t, t.view, p) && x.openerRevoked(n, t, p) {
			continue // its opener's key was taken back, unknown here; arrived sees to the alarm
		}
		if n.tip.s.Points[p].Live && !(home && x.openedAhead(t, n.tip, p)) && (home || n.rogueLive&m == 0) {
			return "I2: HELD_LOCALLY was answered for " + p + ", which is live in the ledger"
		}
	}
	return ""
}

// openerRevoked: an opening of p that the yard counts on was signed with a key that
// has been taken back since, as the yard does not know.
func (x *explorer) openerRevoked(n *sit, t *seat, p string) bool {
	return slices.ContainsFunc(t.undrained(t.view), func(r Record) bool {
		if x.acts.of(r).GetIsolate().GetPoint() != p {
			return false
		}
		k := x.journaled(r).Keys()[0]
		was, is := t.view.s.KeyOf(k), n.tip.s.KeyOf(k)
		return was != nil && was.Revoked == 0 && is != nil && is.Revoked > 0
	})
}

func revoked(s *ledger.State) bool {
	for _, k := range s.Keys {
		if k.Revoked > 0 {
			return true
		}
	}
	return false
}

// openedAhead: the last undrained record of the yard that moves p opens it.
func (x *explorer) openedAhead(t *seat, l *link, p string) bool {
	ahead := false
	for _, r := range t.undrained(l) {
		switch a := x.acts.of(r).GetAct().(type) {
		case *recordv1.Record_Isolate:
			ahead = ahead || a.Isolate.GetPoint() == p
		case *recordv1.Record_FoundClosed:
			ahead = ahead && a.FoundClosed.GetPoint() != p
		case *recordv1.Record_FoundStarted:
			ahead = ahead && !slices.Contains(a.FoundStarted.GetPoints(), p)
		case *recordv1.Record_Closed:
			ahead = ahead && (x.b.bares == 0 || a.Closed.GetPoint() != p)
		}
	}
	return ahead
}

func (x *explorer) foundAhead(t *seat, l *link, p string) bool {
	return slices.ContainsFunc(t.undrained(l), func(r Record) bool { return x.saysClosed(x.acts.of(r), p) })
}

// saysClosed: somebody saw the switch closed, or closed it with no go-ahead.
func (x *explorer) saysClosed(rec *recordv1.Record, p string) bool {
	return rec.GetFoundClosed().GetPoint() == p || slices.Contains(rec.GetFoundStarted().GetPoints(), p) || x.b.bares > 0 && rec.GetClosed().GetPoint() == p
}

// kept judges what holds over any entry: the journals' places only grow, a yard is
// taken for two machines only if there are two, and nothing ends that the entry
// does not name.
func (x *explorer) kept(s, n *sit) string {
	for _, id := range x.yards {
		was, is := s.tip.s.Yards[id], n.tip.s.Yards[id]
		switch {
		case is.Epoch < was.Epoch || is.Epoch > was.Epoch+1:
			return fmt.Sprintf("the ledger took %s from epoch %d to %d", id, was.Epoch, is.Epoch)
		case is.Epoch > was.Epoch:
			if n.tip.e.Record().GetRecoverYard().GetYard() != id || is.Drained != 0 || is.Cloned {
				return "the ledger began a new journal of " + id + " without a recovery"
			}
			continue
		case is.Drained < was.Drained:
			return "the ledger forgot records of " + id
		case is.Drained > was.Drained+1:
			return "the ledger left out records of " + id
		case is.Cloned && n.twin == nil:
			return "the ledger takes " + id + " for two machines"
		case was.Cloned && (!is.Cloned || is.Drained != was.Drained):
			return "the ledger goes on with " + id + ", which two machines write"
		}
		if is.Cloned {
			if bad := x.stopped(n, id); bad != "" {
				return bad
			}
		}
	}
	if bad := x.raised(s, n); bad != "" {
		return bad
	}
	if bad := x.tested(s, n); bad != "" {
		return bad
	}
	return x.ended(s, n)
}

// stopped: two machines wrote a yard's journal. The alarm is up, and nothing that
// waits for its word goes on (decisions.md 1).
func (x *explorer) stopped(n *sit, id string) string {
	up := slices.ContainsFunc(n.tip.s.Alarms, func(a ledger.Alarm) bool { return a.Code == "CLONED_JOURNAL" && a.Subject == id })
	if !up {
		return "two machines write the journal of " + id + ", and no alarm is up"
	}
	for _, r := range sorted(n.tip.s.Reqs) {
		q := n.tip.s.Reqs[r]
		if slices.Contains(q.Involved, id) && (q.State == recordv1.RequestState_REQUEST_STATE_AWAITING || q.State == recordv1.RequestState_REQUEST_STATE_APPROVED) {
			return "request " + r + " goes on with the word of " + id + ", which two machines write"
		}
	}
	return ""
}

// raised: what was found started without the ledger is never an approval, and its
// alarm stays up; nobody corrects it in these worlds.
func (x *explorer) raised(s, n *sit) string {
	starts := func(l *link) (n int) {
		for _, a := range l.s.Alarms {
			if a.Code == "FOUND_STARTED" {
				n++
			}
		}
		return n
	}
	was, is := starts(s.tip), starts(n.tip)
	f := n.tip.e.Record().GetFoundStarted()
	if f == nil {
		if is != was {
			return "an alarm of a start without the ledger came or went by another record"
		}
		return ""
	}
	if n.tip.out.GetRef() != "" && n.tip.out.GetAccepted() && is != was+1 {
		return "a start without the ledger was recorded, and no alarm is up"
	}
	for _, id := range sorted(n.tip.s.Reqs) {
		q, before := n.tip.s.Reqs[id], s.tip.s.Reqs[id]
		if before == nil || q.State != before.State || len(q.Energised) != len(before.Energised) || len(q.Attested) != len(before.Attested) {
			return "a start found without the ledger moved request " + id
		}
	}
	for _, p := range f.GetPoints() {
		if n.tip.out.GetAccepted() && ledger.YardOf(p) == n.tip.e.Envelope().GetYard() && !n.tip.s.Points[p].Live {
			return p + " was found started and the ledger has it open"
		}
	}
	return ""
}

// taken judges a journal record that the ledger took, and keeps the books of
// what was promised.
func (x *explorer) taken(s, n *sit, r Record) string {
	rec, env, out := x.acts.of(r), r.Envelope, n.tip.out
	if bad := x.kept(s, n); bad != "" {
		return bad
	}
	for i, p := range x.points {
		m := uint8(1) << i
		was, is := s.tip.s.Points[p].Live, n.tip.s.Points[p].Live
		switch {
		case x.saysClosed(rec, p) && !was && is:
			n.rogueLive |= m
		case was && !is:
			n.rogueLive &^= m
		}
	}
	if !out.GetAccepted() {
		switch ledger.KindOf(rec) {
		case "lock", "found_lock", "sign_on":
			if n.twin != nil && env.GetYard() == n.twin.Envelope.GetYard() {
				return "" // another record has its place
			}
			return "decision 2: a lock or sign-on was refused by the ledger"
		case "found_started", "found_closed":
			return "what was found closed or started was refused by the ledger"
		case "release", "sign_off":
			return x.refusedOwner(s, n, rec)
		}
		return ""
	}
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_Energise:
		return x.energised(n, a.Energise.GetPoint(), a.Energise.GetRequest())
	case *recordv1.Record_Lock, *recordv1.Record_FoundLock, *recordv1.Record_SignOn:
		return x.arrived(n, env)
	case *recordv1.Record_NarrowZone:
		n.n.trimmed = true
		for _, ref := range sorted(s.tip.s.SignOns) {
			if s.tip.s.SignOns[ref].Off.By == "" {
				return "decision 9: a zone was narrowed over sign-on " + ref
			}
		}
		if ledger.YardOf(a.NarrowZone.GetZone()) != env.GetYard() {
			return "decision 9: a zone was narrowed by the journal of " + env.GetYard()
		}
	}
	return ""
}

func (x *explorer) over(n *sit, ref string) {
	for i := range n.claims {
		if n.claims[i].ref == ref {
			n.claim(i).over = true
		}
	}
}

// energised judges an Energise that was accepted (I1, I4, I7).
func (x *explorer) energised(n *sit, p, request string) string {
	i := slices.Index(x.points, p)
	m, s := uint8(1)<<i, n.tip.s
	if !x.foundAhead(n.seats[x.home[i]], n.tip, p) {
		n.rogue &^= m
		n.rogueLive &^= m
	}
	for j := range n.claims {
		c := &n.claims[j]
		if x.doubtful(n, c.at) {
			continue
		}
		switch {
		case c.standing()&m != 0 && c.signOn:
			return fmt.Sprintf("I7: %s was energised against the promise of sign-on %s", p, c.ref)
		case c.standing()&m != 0:
			return fmt.Sprintf("I1: %s was energised against the promise of lock %s", p, c.ref)
		case c.standing() != 0 && c.signOn && x.everReached(n, p):
			return fmt.Sprintf("I7: %s, which reaches the zone, was energised under the promise of sign-on %s", p, c.ref)
		}
	}
	if ref := x.inTheWay(n.tip, request, p); ref != "" {
		return fmt.Sprintf("I1, I4: %s was energised over lock %s", p, ref)
	}
	for _, ref := range sorted(s.SignOns) {
		if so := s.SignOns[ref]; so.Off.By == "" && (x.everReached(n, p) || slices.Contains(so.Promised, p)) {
			return fmt.Sprintf("I7: %s was energised while sign-on %s stands", p, ref)
		}
	}
	return ""
}

// doubtful: two machines write the yard's journal and the ledger does not know it
// yet; nothing can keep what either promised.
func (x *explorer) doubtful(n *sit, at int8) bool {
	return n.twin != nil && n.twin.Envelope.GetYard() == x.yards[at] && !n.tip.s.Yards[x.yards[at]].Cloned
}

// arrived judges a lock or sign-on that reaches the ledger (I8): it is there, and
// what its yard promised is off. Only an opening whose signer lost the key
// meanwhile, or a switch found closed at another yard, may break that, and then
// the alarm is up.
func (x *explorer) arrived(n *sit, env *recordv1.Envelope) string {
	s, ref := n.tip.s, ledger.Ref(env.GetYard(), env.GetEpoch(), env.GetSeq())
	if h, so := s.Holds[ref], s.SignOns[ref]; (h == nil || h.Off.By != "") && (so == nil || so.Off.By != "") {
		return "decision 2: " + ref + " reached the ledger and does not stand there"
	}
	if env.GetGrant() != recordv1.Grant_GRANT_HELD_LOCALLY {
		return ""
	}
	for i, p := range x.points {
		m := uint8(1) << i
		if x.mask(env.GetPromised())&m == 0 || !s.Points[p].Live {
			continue
		}
		raised := slices.ContainsFunc(s.Alarms, func(a ledger.Alarm) bool { return a.Code == "PROMISE_BROKEN" && a.Subject == ref })
		switch {
		case !raised:
			return fmt.Sprintf("I8: %s reached the ledger with %s live, and no alarm is up", ref, p)
		case !n.n.revoked && n.n.reissues+n.n.replaces == 0 && !(x.yards[x.home[i]] != env.GetYard() && n.rogueLive&m != 0):
			return fmt.Sprintf("I8: %s, promised, reached the ledger with %s live", ref, p)
		}
	}
	return ""
}

// judge looks at a situation as it stands (I3, I6).
func (x *explorer) judge(n *sit) string {
	for i, p := range x.points {
		m := uint8(1) << i
		t := n.seats[x.home[i]]
		if x.goAheads(t)&m != 0 {
			if k := x.knows(t, p); k != "" {
				return "I6: " + t.id + " shows the go-ahead for " + p + " and knows of " + k
			}
		}
		if bad := x.shown(t, p); bad != "" {
			return bad
		}
		if n.phys&m == 0 {
			continue
		}
		live := n.tip.s.Points[p].Live
		if !live && n.rogue&m == 0 {
			return "I3: " + p + " is closed and the ledger has it open"
		}
		if !live && !x.b.torn && !x.foundAhead(t, n.tip, p) && !t.lost(n.tip) {
			return "I3: " + p + " was found closed and the ledger has it open"
		}
		if n.rogue&m != 0 {
			continue
		}
		for j := range n.claims {
			if c := &n.claims[j]; c.standing()&m != 0 && (n.twin == nil || x.yards[c.at] != n.twin.Envelope.GetYard()) {
				return fmt.Sprintf("I3: %s is closed against the promise of %s", p, c.ref)
			}
		}
	}
	return ""
}

// knows names what a replica has, in its view or its own journal, against
// closing p.
func (x *explorer) knows(t *seat, p string) string {
	v := t.view.s
	if ref := x.inTheWay(t.view, t.y.Panel(p).Request, p); ref != "" {
		return "lock " + ref
	}
	for _, ref := range sorted(v.SignOns) {
		if so := v.SignOns[ref]; so.Off.By == "" && reach(v, so.Job, so.Promised, p) {
			return "sign-on " + ref
		}
	}
	for _, r := range t.undrained(t.view) {
		rec := x.acts.of(r)
		if x.saysClosed(rec, p) || rec.GetIsolate().GetPoint() == p {
			return "its own record " + refOfRecord(r) + ", by which the handle was moved"
		}
		at := rec.GetLock().GetTarget()
		if rec.GetFoundLock() != nil {
			at = rec.GetFoundLock().GetTarget()
		}
		in := at.GetPoint() == p
		if b := v.Boxes[at.GetBox()]; b != nil {
			_, has := b.Points[p]
			in = in || has
		}
		if in || rec.GetSignOn() != nil && reach(v, rec.GetSignOn().GetJob(), r.Envelope.GetPromised(), p) {
			return "its own record " + refOfRecord(r)
		}
	}
	return ""
}
