package ledger_test

import (
	"bytes"
	"maps"
	"math/rand/v2"
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
	o       *oracle
	b       *ledger.State // a second replica, saved and restored on the way
	n       int
	draws   *draws
	rng     *rand.Rand // the numbers of what is being done now
	acts    *calendar  // single acts, by anybody
	rounds  *calendar  // whole rounds; single acts come in between
	passing bool
	calm    bool // everybody does what they should, and nothing comes in between
}

const keyBox = "eastfork/box-1"

func newHistory(t *testing.T, seed int64, before ...func(h *history)) *history {
	w := drawnWithMain(t)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: keyBox, Holes: 6}}}))
	for _, m := range []string{"max", "ines"} {
		w.joinPerson(person(m, false, manager))
	}
	d := newDraws(seed)
	h := &history{world: w, o: newOracle(t), b: w.s.Clone(), draws: d, rng: d.next("before"), acts: newCalendar(d, wildActs(1)...), rounds: newCalendar(d, plainRounds()...)}
	for _, f := range before {
		f(h)
	}
	for _, id := range []string{"boot-1", "room-1", "both-1"} {
		j := oracleJobs[id]
		h.step("stonebend", "mara", actJob(id, j.responsible, j.zone, j.plan...))
	}
	return h
}

// as does something with the random numbers of a purpose.
func (h *history) as(purpose string, do func()) {
	before := h.rng
	h.rng = h.draws.next(purpose)
	do()
	h.rng = before
}

// run lets time pass for the whole history: rounds, and single acts between them.
func (h *history) run(time float64) {
	for {
		from := h.rounds.clock
		o, is := h.rounds.next(time)
		h.pass(h.rounds.clock - from)
		if !is {
			return
		}
		h.as(o.name, func() { o.act(h) })
	}
}

// pass lets some time pass, in which others do what falls due.
func (h *history) pass(time float64) {
	if h.calm || h.passing {
		return
	}
	h.passing = true
	until := h.acts.clock + time
	for o, is := h.acts.next(until); is; o, is = h.acts.next(until) {
		h.as(o.name, func() { o.act(h) })
	}
	h.passing = false
}

// odd is true once in n times, and never while all is calm.
func (h *history) odd(n int) bool { return !h.calm && h.rng.IntN(n) == 0 }

// calmly plays rounds in which nothing goes wrong, so that what they show is shown
// whatever else the history holds.
func (h *history) calmly(rounds func()) {
	h.calm = true
	rounds()
	h.calm = false
}

func (h *history) pick(l ...string) string { return anyOf(h.rng, l...) }

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
	if h.draws.next("restore").IntN(25) == 0 {
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
		if h.rng.IntN(4) == 0 {
			based -= uint64(h.rng.IntN(25))
		}
		if h.rng.IntN(8) == 0 {
			r.CapturedUnixMs -= int64(h.rng.IntN(100_000))
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

func (h *history) anyJob() string { return h.pick("boot-1", "room-1", "both-1", "boot-1", "typo-1") }

// home is a point's home yard.
func home(p string) string { return ledger.YardOf(p) }

// refs are all holds that were ever on, in random order.
func (h *history) refs() []string {
	return inOrder(h.rng, slices.Sorted(maps.Keys(h.o.holds)))
}

// onRefs are all sign-ons that ever were.
func (h *history) onRefs() []string { return slices.Sorted(maps.Keys(h.o.ons)) }

// foundRefs are all finds that nobody has put right.
func (h *history) foundRefs() []string {
	out := append(slices.Collect(maps.Keys(h.o.found)), slices.Collect(maps.Keys(h.o.started))...)
	slices.Sort(out)
	return out
}

// maybe takes a step of a round, with something wild before it now and then.
func (h *history) maybe(yard, who string, act *recordv1.Record) {
	h.pass(1.0 / 14)
	if h.odd(12) {
		h.step(yard, who, act, true)
		return
	}
	h.step(yard, who, act)
}

// TestRandomHistories holds random runs against the oracle after every entry, and
// against a second replica that is saved and restored on the way.
func TestRandomHistories(t *testing.T) {
	energised, starts := 0, 0
	acts := newOracleActs()
	for seed := range int64(seeds(t, 40, 2)) {
		h := newHistory(t, seed)
		if seed%4 == 0 {
			h.calmly(h.plainDay)
		}
		h.run(38)
		energised += h.o.energise
		starts += h.o.starts
		acts.add(&h.o.oracleActs)
	}
	if !testing.Short() && (energised < 20 || starts < 50 || !acts.all()) {
		t.Errorf("one-sided histories: %d energisings, work might start at %d entries, %s", energised, starts, &acts)
	}
	t.Logf("%d energisings accepted, work might start at %d entries, %s", energised, starts, &acts)
}
