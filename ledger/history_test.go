package ledger_test

import (
	"bytes"
	"cmp"
	"maps"
	"math/rand"
	"slices"
	"strconv"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func decimal(n uint64) string { return strconv.FormatUint(n, 10) }

// history is a random run of three yards, some of them behind, by people who do
// things in any order, with now and then a whole round done properly.
type history struct {
	*world
	o   *oracle
	rng *rand.Rand
	b   *ledger.State // a second replica, saved and restored on the way
	n   int
	// duty mixes in what history_duties_test.go has.
	duty bool
}

const keyBox = "eastfork/box-1"

func newHistory(t *testing.T, seed int64, before ...func(h *history)) *history {
	w := drawnWithMain(t)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: keyBox, Holes: 6}}}))
	for _, m := range []string{"max", "ines"} {
		w.joinPerson(person(m, false, manager))
	}
	h := &history{world: w, o: newOracle(t), rng: rand.New(rand.NewSource(seed)), b: w.s.Clone()}
	for _, f := range before {
		f(h)
	}
	for _, id := range []string{"boot-1", "room-1", "both-1"} {
		j := oracleJobs[id]
		h.step("stonebend", "mara", actJob(id, j.responsible, j.zone, j.plan...))
	}
	return h
}

// follow lets the second replica take the last entry, and compares.
func (h *history) follow(out *recordv1.Outcome) {
	h.t.Helper()
	e, err := ledger.Decode(h.entries[len(h.entries)-1])
	if err != nil {
		h.t.Fatal(err)
	}
	if ob := h.b.Apply(e); !bytes.Equal(marshal(h.t, out), marshal(h.t, ob)) {
		h.t.Fatalf("two replicas differ:\n%v\n%v", out, ob)
	}
	if h.rng.Intn(25) == 0 {
		if h.b, err = ledger.Restore(h.b.AppendCanonical(nil)); err != nil {
			h.t.Fatal(err)
		}
		if !bytes.Equal(h.b.AppendCanonical(nil), h.s.AppendCanonical(nil)) {
			h.t.Fatal("a restored replica is another state")
		}
	}
}

// step journals one act; now and then the yard is behind, or the capture old.
func (h *history) step(yard, who string, act *recordv1.Record, wild ...bool) *recordv1.Outcome {
	h.t.Helper()
	r := h.record(who, act)
	based := h.s.Size()
	if len(wild) > 0 {
		if h.rng.Intn(4) == 0 {
			based -= uint64(h.rng.Intn(25))
		}
		if h.rng.Intn(8) == 0 {
			r.CapturedUnixMs -= int64(h.rng.Intn(100_000))
		}
	}
	f := fact{index: h.s.Size(), epoch: h.s.Yards[yard].Epoch, seq: h.s.Yards[yard].Drained + 1, based: based, yard: yard, by: who, captured: r.CapturedUnixMs, written: h.now}
	h.basedOn[yard] = based
	defer delete(h.basedOn, yard)
	out := h.envelope(yard, &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: signed(h.t, seal.RecordDomain, marshal(h.t, r), h.keys[who])}})
	h.o.note(f, r, out)
	h.o.check(h.world, out)
	h.follow(out)
	return out
}

// straight checks an entry that the oracle need not remember.
func (h *history) straight(out *recordv1.Outcome) {
	h.t.Helper()
	h.o.check(h.world, out)
	h.follow(out)
}

func (h *history) pick(l ...string) string { return l[h.rng.Intn(len(l))] }

func (h *history) anyJob() string { return h.pick("boot-1", "room-1", "both-1", "boot-1", "typo-1") }

// home is a point's home yard.
func home(p string) string { return ledger.YardOf(p) }

// wildStep does something, by anybody, at any yard.
func (h *history) wildStep() {
	who := h.pick("ravi", "tomas", "lena", "mara", "dov", "nia")
	yard := h.pick("stonebend", "millrow", "eastfork")
	p := oraclePoints[h.rng.Intn(len(oraclePoints))]
	if h.duty && h.rng.Intn(2) == 0 {
		h.dutyAct()
		return
	}
	do := func(y, by string, act *recordv1.Record) { h.step(y, by, act, true) }
	switch h.rng.Intn(28) {
	case 18, 19, 20, 21, 22, 23, 24, 25, 26, 27:
		h.wildAct(who, yard, p)
	case 0, 1:
		do(yard, who, actLock(p, "", h.pick("", h.anyJob())))
	case 2:
		do(yard, who, actLockBox(keyBox, "", h.anyJob()))
	case 3, 4, 5:
		for _, ref := range h.refs() {
			if x := h.o.holds[ref]; !x.off {
				do(yard, h.pick(who, cmp.Or(x.by, who)), actRelease(ref))
				return
			}
		}
	case 6:
		do(home(p), who, h.actIsolate(p))
	case 7:
		if h.rng.Intn(4) == 0 {
			do(home(p), who, actFoundClosed(p))
		}
	case 8:
		act := &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: keyBox, Point: p}}}
		if h.rng.Intn(2) == 0 {
			act = &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: keyBox, Point: p}}}
		}
		do("eastfork", who, act)
	case 9, 10:
		if h.rng.Intn(3) == 0 {
			do(yard, who, actSignOn(h.anyJob()))
		}
	case 11, 12:
		for _, ref := range h.onRefs() {
			if x := h.o.ons[ref]; !x.off {
				do(yard, h.pick(who, x.by), actSignOff(ref))
				return
			}
		}
	case 13:
		do(yard, who, actReading(h.anyJob(), h.pick(motor, coil, "stonebend/bus"), recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, float64(h.rng.Intn(55))))
	case 14:
		if refs := h.refs(); len(refs) > 0 {
			do(yard, who, actTried(refs[h.rng.Intn(len(refs))]))
		}
	case 15:
		do(yard, who, h.pickAct(actClear(h.anyJob()), actNotice(h.anyJob(), recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"), actStored(h.anyJob(), bucket), actFoundLive(h.anyJob(), motor)))
	case 16:
		for _, id := range slices.Sorted(maps.Keys(h.s.Reqs)) {
			if h.s.Reqs[id].Open() {
				do(home(p), who, actEnergise(id, p))
				return
			}
		}
	case 17:
		h.n++
		id := "wild-" + decimal(uint64(h.n))
		h.together(who, actRequest(id, h.anyJob(), h.now+1e7, p))
	}
}

func (h *history) pickAct(l ...*recordv1.Record) *recordv1.Record { return l[h.rng.Intn(len(l))] }

func (h *history) refs() []string {
	var out []string
	for ref := range h.o.holds {
		out = append(out, ref)
	}
	slices.Sort(out)
	h.rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

func (h *history) onRefs() []string {
	var out []string
	for ref := range h.o.ons {
		out = append(out, ref)
	}
	slices.Sort(out)
	return out
}

// maybe runs a proper step, with something wild before it now and then.
func (h *history) maybe(yard, who string, act *recordv1.Record) {
	if h.rng.Intn(14) == 0 {
		h.wildStep()
	}
	if h.rng.Intn(12) == 0 {
		h.step(yard, who, act, true)
		return
	}
	h.step(yard, who, act)
}

// workUp takes a job to where work may start, if nothing wild gets in between.
func (h *history) workUp(id string) {
	j := oracleJobs[id]
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	for _, ref := range slices.Sorted(maps.Keys(h.o.debts)) {
		if h.rng.Intn(6) > 0 {
			h.together(h.o.debts[ref], actAcknowledge(ref))
		}
	}
	h.maybe("stonebend", "mara", actNotice(id, recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov"))
	h.maybe("stonebend", "mara", actShutDown(id))
	for _, p := range j.plan {
		h.maybe(home(p), "mara", h.actIsolate(p))
	}
	if h.rng.Intn(3) == 0 {
		p := j.plan[h.rng.Intn(len(j.plan))]
		h.maybe("eastfork", "mara", &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: keyBox, Point: p}}})
	}
	crew := []string{h.o.jobs[id].responsible}
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off && s.job == id {
			crew = append(crew, s.by)
		}
	}
	for _, c := range crew {
		for _, p := range j.plan {
			h.maybe(home(p), c, actLock(p, "", id))
		}
	}
	h.now += 70_000
	h.maybe("stonebend", "mara", actStored(id, bucket))
	proofs, err := h.s.Graph().Proofs(j.zone, j.plan...)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, p := range proofs {
		h.maybe("stonebend", "ravi", actReading(id, p.Part, p.Medium, p.Kind, 0))
	}
	if h.rng.Intn(4) == 0 { // another crew finds something, and it is put right
		f := h.step("millrow", "dov", actFoundLive(h.anyJob(), motor)).GetRef()
		h.maybe("stonebend", "ravi", actCorrect(f))
	}
}

func (h *history) foundRefs() []string {
	var out []string
	for ref := range h.o.found {
		out = append(out, ref)
	}
	for ref := range h.o.started {
		out = append(out, ref)
	}
	slices.Sort(out)
	return out
}

// windDown has everybody leave and asks for the start.
func (h *history) windDown(id string) {
	j := oracleJobs[id]
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	hurried := h.rng.Intn(3) == 0 // forgets whoever is signed on elsewhere
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off && !(hurried && s.job != id) {
			h.maybe("stonebend", s.by, actSignOff(ref))
		}
	}
	for _, ref := range h.refs() {
		mine := slices.ContainsFunc(j.plan, func(p string) bool { return h.o.covers(h.o.holds[ref], p) })
		if x := h.o.holds[ref]; !x.off && !(hurried && !mine) {
			h.endHold(ref)
		}
	}
	for _, o := range []string{"boot-1", "room-1", "both-1"} {
		h.maybe("stonebend", "mara", actClear(o))
		h.maybe("stonebend", "mara", actNotice(o, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	}
	rq, pts := h.ask("start-", id, j.plan)
	for _, p := range pts {
		switch h.rng.Intn(8) {
		case 0: // somebody comes back between the approval and the start
			h.step("millrow", "lena", actLockBox(keyBox, "", h.anyJob()), true)
		case 1:
			h.step("eastfork", "lena", actSignOn(h.anyJob()), true)
		case 2:
			h.step("eastfork", "tomas", actLock(p, "", ""), true)
		}
		h.maybe(home(p), "mara", actEnergise(rq, p))
	}
}

// TestRandomHistories holds random runs against the oracle after every entry, and
// against a second replica that is saved and restored on the way.
func TestRandomHistories(t *testing.T) {
	if testing.Short() {
		t.Skip("a long run of entries: left out with -short")
	}
	energised, starts := 0, 0
	acts := newOracleActs()
	for seed := range int64(60) {
		h := newHistory(t, seed)
		for range 12 {
			switch h.rng.Intn(5) {
			case 4:
				h.testRound(h.pick("boot-1", "room-1", "both-1"))
			case 0:
				h.workUp(h.pick("boot-1", "room-1", "both-1"))
			case 1:
				h.windDown(h.pick("boot-1", "room-1", "both-1"))
			default:
				for range 8 {
					h.wildStep()
				}
			}
		}
		energised += h.o.energise
		starts += h.o.starts
		acts.add(&h.o.oracleActs)
	}
	if energised < 20 || starts < 50 || !acts.all() {
		t.Errorf("one-sided histories: %d energisings, work might start at %d entries, %s", energised, starts, &acts)
	}
	t.Logf("%d energisings accepted, work might start at %d entries, %s", energised, starts, &acts)
}

// ask requests the points of a plan that are open, and has every yard concerned
// confirm; it names no points when nothing is open or the request is refused.
func (h *history) ask(prefix, job string, plan []string) (request string, points []string) {
	h.n++
	request = prefix + decimal(uint64(h.n))
	for _, p := range plan {
		if !h.o.live[p] {
			points = append(points, p)
		}
	}
	if len(points) == 0 {
		return request, nil
	}
	h.together("mara", actRequest(request, job, h.now+1e7, points...))
	q := h.s.Reqs[request]
	if q == nil {
		return request, nil
	}
	for _, y := range q.Involved {
		h.straight(h.fence(y, request))
	}
	return request, points
}
