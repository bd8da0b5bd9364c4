package ledger_test

import (
	"crypto/ed25519"
	"fmt"
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The rest of the oracle: acts of several people, tests in the middle of the work,
// keys, and starts made without the ledger.

type oracleReq struct {
	index uint64
	test  bool
}

type oracleActs struct {
	reqs    map[string]oracleReq
	debts   map[string]string // hold -> whom it was removed from
	started map[string][]string
	keyFrom map[string]uint64 // the entry from which a person's key may end things
	gaveKey map[string]string // person -> the manager who gave them their key

	tests, stood, removed, handed, claimed, keys, ran int
}

func newOracleActs() oracleActs {
	return oracleActs{reqs: map[string]oracleReq{}, debts: map[string]string{}, started: map[string][]string{}, keyFrom: map[string]uint64{}, gaveKey: map[string]string{}}
}

func (a *oracleActs) add(b *oracleActs) {
	a.tests += b.tests
	a.stood += b.stood
	a.removed += b.removed
	a.handed += b.handed
	a.claimed += b.claimed
	a.keys += b.keys
	a.ran += b.ran
}

func (a *oracleActs) all() bool {
	return min(a.tests, a.stood, a.removed, a.handed, a.claimed, a.keys, a.ran) >= 5
}

func (a *oracleActs) String() string {
	return fmt.Sprintf("%d energisings for a test, %d stood clear, %d removed, %d handed over, %d claimed, %d keys changed, %d starts found", a.tests, a.stood, a.removed, a.handed, a.claimed, a.keys, a.ran)
}

var oracleManagers = []string{"nia", "max", "ines"}

// mayEnd: a hold is ended by its holder alone, with a key from before it.
func (o *oracle) mayEnd(h *oracleHold, by, how string) {
	switch {
	case h == nil || h.off || h.by == "" || h.by != by || h.equipment || o.revoked[by]:
		o.t.Fatalf("%s %s the lock %v", by, how, h)
	case max(h.index, h.claimed) < o.keyFrom[by]:
		o.t.Fatalf("%s %s the lock %v with a key from entry %d", by, how, h, o.keyFrom[by])
	}
}

// noteFound takes what people find: locks of nobody known, and starts made without the
// ledger. Neither is ever refused.
func (o *oracle) noteFound(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	ok := out.GetAccepted()
	switch a := r.GetAct().(type) {
	case *recordv1.Record_FoundLock:
		if !ok {
			o.t.Fatalf("a lock found was refused: %v", out)
		}
		f.by = ""
		o.holds[out.GetRef()] = &oracleHold{fact: f, point: a.FoundLock.GetTarget().GetPoint(), box: a.FoundLock.GetTarget().GetBox(), job: a.FoundLock.GetJob(), flags: out.GetFlags()}
	case *recordv1.Record_FoundStarted:
		if !ok {
			o.t.Fatalf("a start found was refused: %v", out)
		}
		o.ran++
		o.started[out.GetRef()] = a.FoundStarted.GetPoints()
		for _, p := range a.FoundStarted.GetPoints() {
			if ledger.YardOf(p) == f.yard {
				o.nowLive(f, p)
			}
		}
	}
}

// noteRequest takes accepted requests, who stands clear for a test, and new keys.
func (o *oracle) noteRequest(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Request:
		o.reqs[a.Request.GetId()] = oracleReq{out.GetIndex(), a.Request.GetKind() != 0}
	case *recordv1.Record_StandClear:
		h := o.holds[text(a.StandClear.GetHold())]
		o.mayEnd(h, f.by, "stood clear of")
		q := o.reqs[a.StandClear.GetRequest()]
		if !q.test || q.index != a.StandClear.GetAsked() {
			o.t.Fatalf("%s stood clear for %v, which is no test", f.by, q)
		}
		h.stood = q.index
		o.stood++
	case *recordv1.Record_ReissueKey:
		o.keyFrom[a.ReissueKey.GetPerson()], o.gaveKey[a.ReissueKey.GetPerson()] = out.GetIndex(), f.by
		o.keys++
	case *recordv1.Record_ReplaceKey:
		o.keys++
	}
}

// noteSeveral takes accepted acts of several people that end a hold or give it an owner,
// and the word to whoever lost one.
func (o *oracle) noteSeveral(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Removal:
		o.tookOff(f, a.Removal)
	case *recordv1.Record_AcknowledgeRemoval:
		ref := text(a.AcknowledgeRemoval.GetHold())
		if o.debts[ref] != f.by {
			o.t.Fatalf("%s acknowledged the removal of %s, which waits for %q", f.by, ref, o.debts[ref])
		}
		delete(o.debts, ref)
	case *recordv1.Record_HandOver:
		o.handedOver(f, a.HandOver)
	case *recordv1.Record_ClaimLock:
		h := o.holds[text(a.ClaimLock.GetHold())]
		if w := a.ClaimLock.GetWitness(); h == nil || h.off || h.by != "" || w == f.by || o.gaveKey[w] == f.by {
			o.t.Fatalf("%s claimed the lock %v, witness %s", f.by, h, w)
		}
		h.by, h.claimed = f.by, out.GetIndex()
		o.claimed++
	}
}

// tookOff: two managers remove a lock that is neither's, and neither gave the other
// their key, 1910.147(e)(3).
func (o *oracle) tookOff(f fact, r *recordv1.Removal) {
	ref := text(r.GetHold())
	h := o.holds[ref]
	two := []string{f.by, r.GetSecond()}
	switch {
	case h == nil || h.off || h.equipment || slices.Contains(two, h.by) || two[0] == two[1]:
		o.t.Fatalf("%v removed the lock %v", two, h)
	case !slices.Contains(oracleManagers, two[0]) || !slices.Contains(oracleManagers, two[1]):
		o.t.Fatalf("%v, not both managers, removed the lock %v", two, h)
	case o.gaveKey[two[0]] == two[1] || o.gaveKey[two[1]] == two[0]:
		o.t.Fatalf("%v removed the lock %v, and one gave the other their key", two, h)
	}
	h.off = true
	if h.by != "" {
		o.debts[ref] = h.by
	}
	o.removed++
}

// handedOver: each lock goes to another person's lock at the same place, and both sign.
func (o *oracle) handedOver(f fact, r *recordv1.HandOver) {
	signed := append([]string{f.by}, r.GetOthers()...)
	for _, p := range r.GetPairs() {
		off, on := o.holds[text(p.GetOff())], o.holds[text(p.GetOn())]
		o.mayEnd(off, off.by, "handed over")
		if on == nil || on.off || on.equipment || on.stood > 0 || off.stood > 0 || on.by == off.by || on.by == "" || on.point+on.box != off.point+off.box {
			o.t.Fatalf("the lock %v was handed over to %v", off, on)
		}
		if !slices.Contains(signed, off.by) || !slices.Contains(signed, on.by) {
			o.t.Fatalf("%v signed for the locks of %s and %s", signed, off.by, on.by)
		}
		off.off = true
		o.handed++
	}
}

// mayStartActs: nobody at work owes word of a removal, and no start made without
// the ledger concerns the job.
func (o *oracle) mayStartActs(j oracleJob, must []string, fail func(string, ...any)) {
	for ref, who := range o.debts {
		if slices.Contains(must, who) {
			fail("%s has not been told of the removal of %s", who, ref)
		}
	}
	for ref, points := range o.started {
		if o.concerns(points, j) {
			fail("%s was started without the ledger (%s)", points, ref)
		}
	}
}

// concerns: a start concerns the jobs that open one of its points or whose zone one of
// them reaches. What was found live has no points, and concerns every job.
func (o *oracle) concerns(points []string, j oracleJob) bool {
	return len(points) == 0 || slices.ContainsFunc(points, func(p string) bool { return slices.Contains(j.plan, p) || o.reaches(j.zone, p) })
}

// together sends an act straight to the quorum with everybody's signature, and
// now and then without the last one's.
func (h *history) together(signer string, act *recordv1.Record, newKey ...ed25519.PrivateKey) *recordv1.Outcome {
	h.t.Helper()
	r := h.record(signer, act)
	keys := []ed25519.PrivateKey{h.keys[signer]}
	people, _ := ledger.CountersignersOf(r)
	for _, p := range people {
		if k := h.keys[p]; k != nil {
			keys = append(keys, k)
		}
	}
	keys = append(keys, newKey...)
	if len(keys) > 1 && h.odd(12) {
		keys = keys[:len(keys)-1]
	}
	f := fact{index: h.s.Size(), by: signer, captured: r.CapturedUnixMs, written: h.now}
	out := h.put(ledger.DirectEntry(signed(h.t, seal.RecordDomain, marshal(h.t, r), keys...)))
	h.o.note(f, r, out)
	h.straight(out)
	return out
}
