package faults_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// standing is a lock or a sign-on as the walk below knows it.
type standing struct {
	who, what string
	points    []string // of a sign-on
	clear     string   // the test that its holder stood clear for
	off       bool
	removed   bool
}

// asked is a request as the walk below knows it.
type asked struct {
	index     int
	test      bool
	deadline  int64
	points    []string
	confirmed map[string]bool
	done      map[string]bool
}

// over reports that everything asked for was energised.
func (q *asked) over() bool { return len(q.done) == len(q.points) }

// lifts are the acts that end or pass protection: whose keys sign them counts.
var lifts = map[string]bool{"release": true, "stand_clear": true, "sign_off": true, "hand_over": true, "removal": true, "claim_lock": true, "acknowledge_removal": true, "energise": true, "request": true}

var managersAll = append([]string{manager}, managers...)

// walk checks protocol.md's safety statement over the entries alone: its own few
// rules, none of the ledger's code. It keeps which points are live, which holds
// and sign-ons stand, and what was asked for.
func walk(all []entry) (bad []string) {
	live, locked := map[string]bool{}, map[string]int{} // locked: where a lock last went on
	holds, inside := map[string]*standing{}, map[string]*standing{}
	reqs := map[string]*asked{}
	plan := map[string][]string{}
	boxes := map[string]map[string]bool{}
	owners := map[string]string{string(public(testKey(manager))): manager} // of keys
	covers := func(h *standing, p string) bool { return h.what == p || boxes[h.what][p] }
	fail := func(n *entry, format string, args ...any) {
		bad = append(bad, fmt.Sprintf("UNSAFE: entry %d (%s %s by %s): ", n.index, n.kind, n.ref, n.rec.GetSigner())+fmt.Sprintf(format, args...))
	}
	hung := func(h *standing, index int) {
		locked[h.what] = index
		for p := range boxes[h.what] {
			locked[p] = index
		}
	}
	seqs, epochs := map[string]uint64{}, map[string]uint64{}
	for i := range all {
		n := &all[i]
		if n.env != nil && !n.repeat() {
			if seqs[n.env.GetYard()]++; n.env.GetSeq() != seqs[n.env.GetYard()] {
				fail(n, "the journal goes on at %d", seqs[n.env.GetYard()])
			}
			if n.env.GetEpoch() != epochs[n.env.GetYard()]+1 {
				fail(n, "the journal is of epoch %d", n.env.GetEpoch())
			}
		}
		if f := n.env.GetFence(); f != nil && n.out.GetAccepted() && reqs[f.GetRequest()] != nil {
			reqs[f.GetRequest()].confirmed[n.env.GetYard()] = true
		}
		if !n.counted || n.rec == nil {
			continue
		}
		var signers []string
		for _, k := range n.keys {
			signers = append(signers, owners[string(k)])
		}
		distinct := slices.Clone(signers)
		slices.Sort(distinct)
		if lifts[n.kind] && (signers[0] != n.rec.GetSigner() || slices.Contains(signers, "") || len(slices.Compact(distinct)) != len(signers)) {
			fail(n, "it is signed by %q", signers)
		}
		promised := n.env.GetGrant() == recordv1.Grant_GRANT_HELD_LOCALLY
		switch a := n.rec.GetAct().(type) {
		case *recordv1.Record_Join:
			owners[string(a.Join.GetKey())] = strings.TrimPrefix(a.Join.GetInvitation(), "inv-")
		case *recordv1.Record_RegisterBox:
			boxes[a.RegisterBox.GetBox()] = map[string]bool{}
		case *recordv1.Record_BoxAdd:
			p := a.BoxAdd.GetPoint()
			if boxes[a.BoxAdd.GetBox()][p] = true; live[p] {
				fail(n, "%s is live", p)
			}
			for id, q := range reqs {
				ended := func(p string) bool { return locked[p] > q.index }
				if slices.Contains(q.points, p) && !q.over() && !slices.ContainsFunc(q.points, ended) {
					fail(n, "request %s asks for %s", id, p)
				}
			}
		case *recordv1.Record_BoxRemove:
			for ref, h := range holds {
				if !h.off && h.what == a.BoxRemove.GetBox() {
					fail(n, "%s still has lock %s on the box", h.who, ref)
				}
			}
			delete(boxes[a.BoxRemove.GetBox()], a.BoxRemove.GetPoint())
		case *recordv1.Record_RegisterPoint:
			live[a.RegisterPoint.GetPoint()] = true
		case *recordv1.Record_OpenJob:
			plan[a.OpenJob.GetId()] = a.OpenJob.GetPlan()
		case *recordv1.Record_Closed:
			if n.withoutGoAhead() {
				live[a.Closed.GetPoint()] = true
			}
		case *recordv1.Record_Isolate:
			live[a.Isolate.GetPoint()] = false
		case *recordv1.Record_Lock:
			t := a.Lock.GetTarget()
			h := &standing{who: n.rec.GetSigner(), what: t.GetPoint() + t.GetBox()}
			holds[n.ref] = h
			hung(h, n.index)
			for _, p := range n.env.GetPromised() {
				if promised && (live[p] || !covers(h, p)) {
					fail(n, "%s was promised %v, and %s is live or not under the lock", h.who, n.env.GetPromised(), p)
				}
			}
			if promised && len(n.env.GetPromised()) == 0 {
				fail(n, "a promise of nothing")
			}
		case *recordv1.Record_FoundLock:
			holds[n.ref] = &standing{what: a.FoundLock.GetTarget().GetPoint()}
			hung(holds[n.ref], n.index)
		case *recordv1.Record_ClaimLock:
			h := holds[ledger.RefOf(a.ClaimLock.GetHold())]
			if h == nil || h.off || h.who != "" {
				fail(n, "there is no lock of an unknown owner")
				continue
			}
			if h.who = signers[0]; len(signers) != 2 || !slices.Contains(managersAll, signers[1]) {
				fail(n, "it is witnessed by %q", signers[1:])
			}
		case *recordv1.Record_HandOver:
			for _, pair := range a.HandOver.GetPairs() {
				off, on := holds[ledger.RefOf(pair.GetOff())], holds[ledger.RefOf(pair.GetOn())]
				switch {
				case off == nil || on == nil || off.off || on.off:
					fail(n, "one of the locks is not on")
				case off.clear+on.clear != "":
					fail(n, "the holder of one of the locks stood clear of it")
				case off.what != on.what || off.who == on.who || !slices.Contains(signers, off.who) || !slices.Contains(signers, on.who):
					fail(n, "the lock of %s on %s passes to that of %s on %s, signed by %q", off.who, off.what, on.who, on.what, signers)
				default:
					off.off = true
				}
			}
		case *recordv1.Record_Removal:
			switch h := holds[ledger.RefOf(a.Removal.GetHold())]; {
			case h == nil || h.off:
				fail(n, "there is no such lock")
			case len(signers) != 2 || slices.Contains(signers, h.who) || slices.ContainsFunc(signers, func(s string) bool { return !slices.Contains(managersAll, s) }):
				fail(n, "the lock of %s was removed by %q", h.who, signers)
			default:
				h.off, h.removed = true, true
			}
		case *recordv1.Record_AcknowledgeRemoval:
			if h := holds[ledger.RefOf(a.AcknowledgeRemoval.GetHold())]; h == nil || !h.removed || h.who != signers[0] {
				fail(n, "no lock of %s was removed", signers[0])
			}
		case *recordv1.Record_Release:
			switch h := holds[ledger.RefOf(a.Release.GetHold())]; {
			case h == nil || h.off:
				fail(n, "there is no such lock")
			case h.who != n.rec.GetSigner():
				fail(n, "the lock is %s's", h.who)
			default:
				h.off = true
			}
		case *recordv1.Record_SignOn:
			inside[n.ref] = &standing{who: n.rec.GetSigner(), what: a.SignOn.GetJob(), points: plan[a.SignOn.GetJob()]}
			for _, p := range n.env.GetPromised() {
				if promised && live[p] {
					fail(n, "%s was promised %s, and it is live", n.rec.GetSigner(), p)
				}
			}
		case *recordv1.Record_SignOff:
			if so := inside[ledger.RefOf(a.SignOff.GetSignOn())]; so != nil {
				so.off = true
			}
		case *recordv1.Record_StandClear:
			h, q := holds[ledger.RefOf(a.StandClear.GetHold())], reqs[a.StandClear.GetRequest()]
			switch {
			case h == nil || h.off || h.who != signers[0]:
				fail(n, "there is no such lock of %s", signers[0])
			case q == nil || !q.test || uint64(q.index) != a.StandClear.GetAsked():
				fail(n, "there is no such test")
			default:
				h.clear = a.StandClear.GetRequest()
			}
		case *recordv1.Record_RecoverYard:
			y := a.RecoverYard.GetYard()
			seqs[y], epochs[y] = 0, epochs[y]+1
			for i, l := range a.RecoverYard.GetLocks() {
				h := &standing{who: l.GetHolder(), what: l.GetTarget().GetPoint() + l.GetTarget().GetBox()}
				holds[ledger.Ref(y, a.RecoverYard.GetEpoch(), ledger.WalkedSeq+uint64(i))] = h
				hung(h, n.index)
			}
			for id, q := range reqs {
				if slices.ContainsFunc(q.points, func(p string) bool { return ledger.YardOf(p) == y }) {
					delete(reqs, id) // what the lost machine confirmed does not count
				}
			}
			if len(signers) != 3 || signers[0] == signers[1] || !slices.Contains(managersAll, signers[0]) || !slices.Contains(managersAll, signers[1]) || !bytes.Equal(n.keys[2], a.RecoverYard.GetKey()) {
				fail(n, "it is signed by %q", signers)
			}
		case *recordv1.Record_Request:
			test := a.Request.GetKind() == recordv1.RequestKind_REQUEST_KIND_TEST
			for ref, h := range holds {
				if !test && !h.off && slices.ContainsFunc(a.Request.GetPoints(), func(p string) bool { return covers(h, p) }) {
					fail(n, "%s still has lock %s on it", h.who, ref)
				}
			}
			reqs[a.Request.GetId()] = &asked{index: n.index, test: test, deadline: a.Request.GetDeadlineUnixMs(), points: a.Request.GetPoints(), confirmed: map[string]bool{}, done: map[string]bool{}}
		case *recordv1.Record_Withdraw:
			delete(reqs, a.Withdraw.GetRequest())
		case *recordv1.Record_Expire:
			delete(reqs, a.Expire.GetRequest())
		case *recordv1.Record_Energise:
			p := a.Energise.GetPoint()
			home, _, _ := strings.Cut(p, "/")
			for ref, h := range holds {
				q := reqs[a.Energise.GetRequest()]
				clear := q != nil && q.test && h.clear == a.Energise.GetRequest()
				if !h.off && covers(h, p) && !clear {
					fail(n, "%s still has lock %s on it", h.who, ref)
				}
			}
			for ref, so := range inside {
				if !so.off && slices.Contains(so.points, p) {
					fail(n, "%s is still signed on to %s (%s)", so.who, so.what, ref)
				}
			}
			switch q := reqs[a.Energise.GetRequest()]; {
			case q == nil:
				fail(n, "nobody asked, or the request ended")
			case !slices.Contains(q.points, p) || q.done[p] || live[p]:
				fail(n, "%s was not to be energised under it", p)
			case !q.confirmed[home]:
				fail(n, "%s did not confirm the request", home)
			case n.out.GetTimeUnixMs() >= q.deadline:
				fail(n, "the deadline had passed")
			case locked[p] > q.index:
				fail(n, "a lock (entry %d) went on after the request (entry %d): that ends it", locked[p], q.index)
			default:
				q.done[p] = true
			}
			if n.env.GetYard() != home {
				fail(n, "it came through %s, not through the point's own yard", n.env.GetYard())
			}
			live[p] = true
		}
	}
	return bad
}
