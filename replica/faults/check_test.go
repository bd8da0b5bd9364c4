package faults_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// entry is one leaf with what it did.
type entry struct {
	index   int
	kind    string
	rec     *recordv1.Record
	env     *recordv1.Envelope
	ref     string
	out     *recordv1.Outcome
	counted bool // accepted, and not a note without effect
}

// repeats are refusals of a copy: what the first one did counts.
var repeats = []string{"ALREADY_IN_LEDGER", "TICKET_REPEATED"}

// withoutEffect are the flags of a record that was kept and changed nothing.
var withoutEffect = []string{"STALE_OPENING", "STALE_CLOSING"}

// same checks that every yard has the same entries, the root that RFC 6962 gives
// them, and gave the same outcomes, and reads the entries.
func (e *ending) same() (all []entry, bad []string) {
	first := yards[0]
	for _, y := range yards {
		if !slices.EqualFunc(e.leaves[y], e.leaves[first], bytes.Equal) {
			bad = append(bad, fmt.Sprintf("the histories of %s and %s differ", first, y))
		}
		var tree seal.Edge
		for _, raw := range e.leaves[y] {
			tree.Append(raw)
		}
		if root := tree.Root(); !bytes.Equal(root[:], e.roots[y]) {
			bad = append(bad, fmt.Sprintf("the root %s gives is not that of its %d entries", y, len(e.leaves[y])))
		}
		for _, h := range e.health[y] {
			bad = append(bad, y+" is not well: "+h)
		}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	for i, raw := range e.leaves[first] {
		d, err := ledger.Decode(raw)
		if err != nil {
			return nil, append(bad, fmt.Sprintf("entry %d: %v", i, err))
		}
		n := entry{index: i, rec: d.Record(), env: d.Envelope(), kind: ledger.KindOf(d.Record())}
		for _, y := range yards {
			// What a snapshot skipped comes without its outcome.
			switch o := e.outs[y][i]; {
			case o.GetTimeUnixMs() == 0:
			case n.out == nil:
				n.out = o
			case !proto.Equal(n.out, o):
				bad = append(bad, fmt.Sprintf("entry %d has other outcomes at other yards: %v and %v", i, n.out, o))
			}
		}
		if n.env != nil {
			n.ref = fmt.Sprintf("%s/%d/%d", n.env.GetYard(), n.env.GetEpoch(), n.env.GetSeq())
		}
		stale := slices.ContainsFunc(n.out.GetFlags(), func(f *recordv1.Flag) bool { return slices.Contains(withoutEffect, f.GetCode()) })
		n.counted = n.out.GetAccepted() && !stale
		all = append(all, n)
	}
	return all, bad
}

func (n *entry) repeat() bool {
	return slices.ContainsFunc(n.out.GetConditions(), func(c *recordv1.Condition) bool { return slices.Contains(repeats, c.GetCode()) })
}

// byTicket finds each act by its ticket, at the entry that took it.
func byTicket(all []entry) map[string]*entry {
	out := map[string]*entry{}
	for i := range all {
		n := &all[i]
		if n.rec == nil || n.repeat() {
			continue
		}
		out[ticketName(n.rec.GetTicket())] = n
	}
	return out
}

// kept checks that what anybody was told is what the ledger has.
func kept(ops []*op, all []entry) (bad []string) {
	found := byTicket(all)
	for _, o := range ops {
		if o.rec == nil {
			continue
		}
		n := found[o.ticket()]
		who := o.who + " " + o.what
		switch r := o.receipt; {
		case r != nil && n == nil:
			bad = append(bad, fmt.Sprintf("LOST: %s was told %v %s, and the ledger has no such record", who, r.GetStatus(), r.GetRef()))
		case r != nil && r.GetRef() != n.ref:
			bad = append(bad, fmt.Sprintf("LOST: %s was told that it is %s, and the ledger has it as %s", who, r.GetRef(), n.ref))
		case r.GetOutcome() != nil && !proto.Equal(r.GetOutcome(), n.out):
			bad = append(bad, fmt.Sprintf("CHANGED: %s was told %v, and the ledger has %v", who, r.GetOutcome(), n.out))
		case r.GetStatus() == servicev1.Status_STATUS_HELD_LOCALLY && !n.out.GetAccepted():
			bad = append(bad, fmt.Sprintf("LOST: %s was told that it is held, and the ledger refused it: %v", who, n.out))
		case o.refused != nil && o.refused.Outcome.GetTimeUnixMs() > 0 && n != nil && n.out.GetAccepted():
			bad = append(bad, fmt.Sprintf("CHANGED: %s was told that the ledger refused it, and it has %v", who, n.out))
		}
	}
	return bad
}

// hold is a lock or a sign-on as the walk below knows it.
type standing struct {
	who, what string
	points    []string
	off       bool
}

// asked is a request as the walk below knows it.
type asked struct {
	index     int
	deadline  int64
	points    []string
	confirmed map[string]bool
	done      map[string]bool
}

// walk checks protocol.md's safety statement over the entries alone: its own few
// rules, none of the ledger's code. It keeps which points are live, which holds
// and sign-ons stand, and what was asked for.
func walk(all []entry) (bad []string) {
	live, locked := map[string]bool{}, map[string]int{} // locked: where a lock last went on
	holds, inside := map[string]*standing{}, map[string]*standing{}
	reqs := map[string]*asked{}
	plan := map[string][]string{}
	fail := func(n *entry, format string, args ...any) {
		bad = append(bad, fmt.Sprintf("UNSAFE: entry %d (%s %s by %s): ", n.index, n.kind, n.ref, n.rec.GetSigner())+fmt.Sprintf(format, args...))
	}
	seqs := map[string]uint64{}
	for i := range all {
		n := &all[i]
		if n.env != nil && !n.repeat() {
			if seqs[n.env.GetYard()]++; n.env.GetSeq() != seqs[n.env.GetYard()] {
				fail(n, "the journal goes on at %d", seqs[n.env.GetYard()])
			}
		}
		if f := n.env.GetFence(); f != nil && n.out.GetAccepted() && reqs[f.GetRequest()] != nil {
			reqs[f.GetRequest()].confirmed[n.env.GetYard()] = true
		}
		if !n.counted || n.rec == nil {
			continue
		}
		promised := n.env.GetGrant() == recordv1.Grant_GRANT_HELD_LOCALLY
		switch a := n.rec.GetAct().(type) {
		case *recordv1.Record_RegisterPoint:
			live[a.RegisterPoint.GetPoint()] = true
		case *recordv1.Record_OpenJob:
			plan[a.OpenJob.GetId()] = a.OpenJob.GetPlan()
		case *recordv1.Record_Isolate:
			live[a.Isolate.GetPoint()] = false
		case *recordv1.Record_Lock:
			p := a.Lock.GetTarget().GetPoint()
			holds[n.ref] = &standing{who: n.rec.GetSigner(), what: p, points: []string{p}}
			locked[p] = n.index
			if promised && (live[p] || !slices.Contains(n.env.GetPromised(), p)) {
				fail(n, "%s was promised %v, and %s is live", n.rec.GetSigner(), n.env.GetPromised(), p)
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
		case *recordv1.Record_Request:
			reqs[a.Request.GetId()] = &asked{index: n.index, deadline: a.Request.GetDeadlineUnixMs(), points: a.Request.GetPoints(), confirmed: map[string]bool{}, done: map[string]bool{}}
		case *recordv1.Record_Withdraw:
			delete(reqs, a.Withdraw.GetRequest())
		case *recordv1.Record_Expire:
			delete(reqs, a.Expire.GetRequest())
		case *recordv1.Record_Energise:
			p := a.Energise.GetPoint()
			home, _, _ := strings.Cut(p, "/")
			for ref, h := range holds {
				if !h.off && slices.Contains(h.points, p) {
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
