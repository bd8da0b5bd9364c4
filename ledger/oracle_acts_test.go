package ledger_test

import (
	"crypto/ed25519"
	"fmt"
	"maps"
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

func (o *oracle) noteAct(f fact, r *recordv1.Record, out *recordv1.Outcome) {
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
			if ledger.YardOf(p) != f.yard {
				continue
			}
			if !o.live[p] {
				o.closed[p] = f
			}
			o.live[p] = true
		}
	}
	if !ok {
		return
	}
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
	case *recordv1.Record_Removal:
		ref := text(a.Removal.GetHold())
		h := o.holds[ref]
		two := []string{f.by, a.Removal.GetSecond()}
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
	case *recordv1.Record_AcknowledgeRemoval:
		ref := text(a.AcknowledgeRemoval.GetHold())
		if o.debts[ref] != f.by {
			o.t.Fatalf("%s acknowledged the removal of %s, which waits for %q", f.by, ref, o.debts[ref])
		}
		delete(o.debts, ref)
	case *recordv1.Record_HandOver:
		signed := append([]string{f.by}, a.HandOver.GetOthers()...)
		for _, p := range a.HandOver.GetPairs() {
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
	case *recordv1.Record_ClaimLock:
		h := o.holds[text(a.ClaimLock.GetHold())]
		if w := a.ClaimLock.GetWitness(); h == nil || h.off || h.by != "" || w == f.by || o.gaveKey[w] == f.by {
			o.t.Fatalf("%s claimed the lock %v, witness %s", f.by, h, w)
		}
		h.by, h.claimed = f.by, out.GetIndex()
		o.claimed++
	case *recordv1.Record_ReissueKey:
		o.keyFrom[a.ReissueKey.GetPerson()], o.gaveKey[a.ReissueKey.GetPerson()] = out.GetIndex(), f.by
		o.keys++
	case *recordv1.Record_ReplaceKey:
		o.keys++
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
		if slices.ContainsFunc(points, func(p string) bool { return slices.Contains(j.plan, p) || o.reaches(j.zone, p) }) {
			fail("%s was started without the ledger (%s)", points, ref)
		}
	}
}

// together sends an act straight to the quorum with everybody's signature, and
// now and then without the last one's.
func (h *history) together(signer string, act *recordv1.Record, newKey ...ed25519.PrivateKey) *recordv1.Outcome {
	h.t.Helper()
	r := h.record(signer, act)
	keys := []ed25519.PrivateKey{h.keys[signer]}
	people, _ := ledger.Cosigners(r)
	for _, p := range people {
		if k := h.keys[p]; k != nil {
			keys = append(keys, k)
		}
	}
	keys = append(keys, newKey...)
	if len(keys) > 1 && h.rng.Intn(12) == 0 {
		keys = keys[:len(keys)-1]
	}
	f := fact{index: h.s.Size(), by: signer, captured: r.CapturedUnixMs, written: h.now}
	out := h.put(ledger.DirectEntry(signed(h.t, seal.RecordDomain, marshal(h.t, r), keys...)))
	h.o.note(f, r, out)
	h.straight(out)
	return out
}

// wildAct does something that takes several people, or that few may do.
func (h *history) wildAct(who, yard, p string) {
	anyOf := func(refs []string) string {
		if len(refs) == 0 {
			return "stonebend/1/1"
		}
		return refs[h.rng.Intn(len(refs))]
	}
	on := func(found bool) (out []string) {
		for _, ref := range h.refs() {
			if x := h.o.holds[ref]; !x.off && (x.by == "") == found {
				out = append(out, ref)
			}
		}
		return out
	}
	holder := func(ref string) string {
		if x := h.o.holds[ref]; x != nil && x.by != "" {
			return x.by
		}
		return who
	}
	switch h.rng.Intn(9) {
	case 0:
		h.together(h.pick(who, "nia", "max"), actRemoval(anyOf(on(h.rng.Intn(2) == 0)), h.pick("ines", "max", "nia", who)))
	case 1:
		off := anyOf(on(false))
		b := anyOf(on(false))
		for _, ref := range on(false) { // rather one that fits
			if x, y := h.o.holds[ref], h.o.holds[off]; y != nil && ref != off && x.point+x.box == y.point+y.box && x.by != y.by {
				b = ref
			}
		}
		if a := holder(off); a != holder(b) && off != b {
			h.together(a, actHandOver([]string{holder(b)}, off, b))
		}
	case 2:
		h.step(yard, who, &recordv1.Record{Act: &recordv1.Record_FoundLock{FoundLock: &recordv1.FoundLock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: p}}, Seen: "no tag"}}}, true)
	case 3:
		if w := h.pick("mara", "nia", "dov"); w != who {
			h.together(who, actClaim(anyOf(on(true)), w))
		}
	case 4:
		if h.rng.Intn(3) > 0 {
			return
		}
		k := key(fmt.Sprint("replaced ", who, h.s.Size()))
		if h.together(who, &recordv1.Record{Act: &recordv1.Record_ReplaceKey{ReplaceKey: &recordv1.ReplaceKey{Key: pub(k)}}}, k).GetAccepted() {
			h.keys[who] = k
		}
	case 5:
		if h.rng.Intn(3) > 0 {
			return
		}
		m := h.pick("nia", "max", "dov")
		k := key(fmt.Sprint("reissued ", who, h.s.Size()))
		if h.together(m, &recordv1.Record{Act: &recordv1.Record_ReissueKey{ReissueKey: &recordv1.ReissueKey{Person: who, Key: pub(k)}}}, k).GetAccepted() {
			h.keys[who] = k
		}
	case 6:
		if h.rng.Intn(3) == 0 {
			h.step(yard, who, actFoundStarted("it ran", p), true)
		}
	case 7:
		for _, ref := range slices.Sorted(maps.Keys(h.o.debts)) {
			h.together(h.pick(who, h.o.debts[ref]), actAcknowledge(ref))
			return
		}
	case 8:
		for _, id := range slices.Sorted(maps.Keys(h.s.Reqs)) {
			if q := h.s.Reqs[id]; q.Open() {
				ref := anyOf(on(false))
				h.together(h.pick(who, holder(ref)), h.actStandClear(ref, id))
				return
			}
		}
	}
}

// endHold takes a lock off as it should be: by its owner, who is found first; and
// if their key is too young, by two managers.
func (h *history) endHold(ref string) {
	x := h.o.holds[ref]
	if x.by == "" {
		h.together("tomas", actClaim(ref, "nia"))
	}
	if x.by != "" {
		h.maybe("stonebend", x.by, actRelease(ref))
	}
	if !x.off {
		h.together("max", actRemoval(ref, "ines"))
	}
}

// testRound asks for a test over whatever of a job's points is open, has the
// holders stand clear, one of them late now and then, and energises.
func (h *history) testRound(id string) {
	j := oracleJobs[id]
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off {
			h.maybe("stonebend", s.by, actSignOff(ref))
		}
	}
	for _, o := range []string{"boot-1", "room-1", "both-1"} {
		h.maybe("stonebend", "mara", actClear(o))
		h.maybe("stonebend", "mara", actNotice(o, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	}
	var pts []string
	for _, p := range j.plan {
		if !h.o.live[p] {
			pts = append(pts, p)
		}
	}
	if len(pts) == 0 {
		return
	}
	h.n++
	rq := "test-" + decimal(uint64(h.n))
	h.together("mara", actTest(rq, id, h.now+1e7, pts...))
	q := h.s.Reqs[rq]
	if q == nil {
		return
	}
	hurried := h.rng.Intn(3) == 0
	for _, ref := range h.refs() {
		x := h.o.holds[ref]
		if x.by == "" && !x.off {
			h.endHold(ref)
		}
		if x.off || hurried && h.rng.Intn(3) == 0 {
			continue
		}
		h.together(h.pick(x.by, x.by, x.by, "tomas"), h.actStandClear(ref, rq))
	}
	for _, y := range q.Involved {
		h.straight(h.fence(y, rq))
	}
	for _, o := range []string{"boot-1", "room-1", "both-1"} {
		h.maybe("stonebend", "mara", actNotice(o, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	}
	for _, p := range pts {
		switch h.rng.Intn(8) {
		case 0:
			h.step("millrow", "lena", actLockBox(keyBox, "", h.anyJob()), true)
		case 1:
			h.step("eastfork", "lena", actSignOn(h.anyJob()), true)
		}
		h.maybe(home(p), "mara", actEnergise(rq, p))
	}
}
