package ledger_test

import (
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestPermitOracle plays random histories on bin 3 and keeps the plain facts by
// itself, from the records alone. Whenever the ledger shows a permit in force, the
// facts must bear it out, in a second wording of 1910.272(g): every agent good at
// every level within 30 min, an observer outside with no other watch, every lock
// of whoever is inside on, nobody inside unnamed, no fumigant near.
func TestPermitOracle(t *testing.T) {
	var seen permitsSeen
	for seed := range uint64(seeds(t, 30, 20)) {
		h := newPermitHistory(t, seed, &seen)
		for range 120 {
			h.act()
			h.look()
		}
	}
	// Histories in which nothing happens would pass as well.
	if seen.inForce < 500 || seen.notInForce < 100 || seen.issued < 100 || seen.refused < 50 {
		t.Errorf("%+v: the histories are too tame", seen)
	}
	t.Logf("%+v", seen)
}

// permitsSeen counts what the histories came across.
type permitsSeen struct{ inForce, notInForce, issued, refused int }

// permitHistory is a random history of bin 3, and its facts.
type permitHistory struct {
	*world
	seed      uint64
	seen      *permitsSeen
	rnd       *rand.Rand
	holds     map[string]string  // person and point -> lock
	air       map[string]dutyAir // level and agent -> the last test
	watch     map[string]string  // person -> watch
	ons       map[string]string  // person -> sign-on
	fumigated string
	permit    string // the one that is not closed
	named     []string
	asked     int // for permits, so far
}

var (
	binLevels = []recordv1.AirLevel{top, middle, bottom}
	binAgents = []recordv1.AirAgent{oxygen, burns, co, co2}
)

func newPermitHistory(t *testing.T, seed uint64, seen *permitsSeen) *permitHistory {
	w, holds, _ := readyBin(t)
	h := &permitHistory{world: w, seed: seed, seen: seen, rnd: rand.New(rand.NewPCG(seed, 272)), holds: holds, air: map[string]dutyAir{}, watch: map[string]string{}, ons: map[string]string{}}
	h.measureAll()
	for ref, x := range w.s.Watches {
		h.watch[x.Person] = ref
	}
	return h
}

func (h *permitHistory) fail(format string, a ...any) {
	h.t.Helper()
	h.t.Fatalf("seed %d: "+format, append([]any{h.seed}, a...)...)
}

// one is one of two people, at random.
func (h *permitHistory) one(a, b string) string { return []string{a, b}[h.rnd.IntN(2)] }

// act does one thing at random.
func (h *permitHistory) act() {
	who := h.one("lena", "tomas")
	lock := who + " " + binPlan[h.rnd.IntN(len(binPlan))]
	switch h.rnd.IntN(15) {
	case 0, 1, 2:
		h.measureAll()
	case 3:
		h.measure(binLevels[h.rnd.IntN(3)], values(co2, 5_000_001), false)
	case 4:
		h.now += int64(h.rnd.IntN(20)) * minute
	case 5:
		h.stand(h.one("mara", "olga"))
	case 6:
		h.leave(h.one("mara", "olga"))
	case 7:
		if h.holds[lock] != "" && h.rnd.IntN(3) == 0 {
			h.must(h.journal("eastfork", who, actRelease(h.holds[lock])))
			delete(h.holds, lock)
		}
	case 8:
		h.lockAll()
	case 9:
		if h.ons[who] == "" {
			h.ons[who] = h.must(h.journal("eastfork", who, actSignOn(binJob))).GetRef()
		}
	case 10:
		h.signOff(who)
	case 11:
		if h.fumigated == "" && h.rnd.IntN(4) == 0 {
			h.fumigated = h.must(h.journal("eastfork", "dov", actFumigated("eastfork/bin-4"))).GetRef()
		} else {
			h.clearFumigant()
		}
	case 12:
		h.tryToClose()
	case 13, 14:
		if h.rnd.IntN(3) > 0 {
			h.putRight()
		}
		h.issue()
	}
}

// measure tests the air at a level. The yard's clock is the earliest of the three that
// a reading has.
func (h *permitHistory) measure(l recordv1.AirLevel, vs []*recordv1.AirValue, good bool) {
	at := h.now
	h.must(h.journal("eastfork", "ravi", actAir(binJob, binZone, l, vs...)))
	for _, v := range vs {
		h.air[l.String()+v.GetAgent().String()] = dutyAir{at, good}
	}
}

func (h *permitHistory) measureAll() {
	for _, l := range binLevels {
		h.measure(l, clean(), true)
	}
}

func (h *permitHistory) stand(who string) {
	if h.watch[who] == "" && h.ons[who] == "" {
		h.watch[who] = h.must(h.journal("eastfork", who, actStand(binJob, recordv1.Duty_DUTY_OBSERVER))).GetRef()
	}
}

func (h *permitHistory) leave(who string) {
	if h.watch[who] != "" {
		h.must(h.journal("eastfork", "dov", actLeave(h.watch[who])))
		delete(h.watch, who)
	}
}

func (h *permitHistory) lockAll() {
	for _, p := range binPlan {
		for _, who := range []string{"lena", "tomas"} {
			if h.holds[who+" "+p] == "" {
				h.holds[who+" "+p] = h.must(h.journal("eastfork", who, actLock(p, "", binJob))).GetRef()
			}
		}
	}
}

func (h *permitHistory) signOff(who string) {
	if h.ons[who] != "" {
		h.must(h.journal("eastfork", who, actSignOff(h.ons[who])))
		delete(h.ons, who)
	}
}

func (h *permitHistory) clearFumigant() {
	if h.fumigated != "" {
		h.must(h.journal("eastfork", "mara", actFumigantCleared(h.fumigated, 0)))
		h.fumigated = ""
	}
}

// tryToClose closes the permit, which must not go while somebody is inside.
func (h *permitHistory) tryToClose() {
	if h.permit == "" || !h.direct("nia", actClosePermit(h.permit)).GetAccepted() {
		return
	}
	if len(h.ons) > 0 {
		h.fail("%s was closed with %v inside", h.permit, h.ons)
	}
	h.permit = ""
}

// putRight does whatever a permit needs.
func (h *permitHistory) putRight() {
	for _, in := range slices.Sorted(maps.Keys(h.ons)) {
		h.signOff(in)
	}
	if h.permit != "" {
		h.must(h.direct("nia", actClosePermit(h.permit)))
		h.permit = ""
	}
	h.now += minute
	h.clearFumigant()
	h.lockAll()
	h.stand("mara")
	h.measureAll()
}

// issue asks for a permit, which must not be had while somebody is inside or another
// permit is not closed.
func (h *permitHistory) issue() {
	h.asked++
	b := bin()
	b.Ventilation = recordv1.Ventilation_VENTILATION_FORCED
	if h.rnd.IntN(3) == 0 {
		b.Entrants = []string{"lena"}
	}
	next := "in-" + decimal(uint64(h.asked))
	if !h.issueBin(next, b).GetAccepted() {
		h.seen.refused++
		return
	}
	if len(h.ons) > 0 || h.permit != "" {
		h.fail("%s was issued with %v inside and %q not closed", next, h.ons, h.permit)
	}
	h.permit, h.named = next, b.Entrants
	h.seen.issued++
}

// look holds what is shown of the permit against the facts.
func (h *permitHistory) look() {
	if h.permit == "" {
		return
	}
	if h.s.PermitView(h.permit, h.s.Time).GetState() == recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		h.seen.inForce++
		h.borneOut()
		return
	}
	h.seen.notInForce++
	if len(h.ons) > 0 && h.outAlarm() == nil {
		h.fail("%v are inside, the permit does not hold, and there is no alarm", h.ons)
	}
}

// borneOut: the facts allow people to be inside.
func (h *permitHistory) borneOut() {
	for _, l := range binLevels {
		for _, a := range binAgents {
			if m := h.air[l.String()+a.String()]; !m.good || h.s.Time-m.at > 30*minute {
				h.fail("in force with %v at %v good %v, %d min old", a, l, m.good, (h.s.Time-m.at)/minute)
			}
		}
	}
	if len(h.watch) == 0 {
		h.fail("in force with nobody watching")
	}
	if h.fumigated != "" {
		h.fail("in force beside a fumigated bin")
	}
	for in := range h.ons {
		if !slices.Contains(h.named, in) {
			h.fail("in force with %s inside, who is not named", in)
		}
		for _, p := range binPlan {
			if h.holds[in+" "+p] == "" {
				h.fail("in force with %s inside and no lock of theirs on %s", in, p)
			}
		}
	}
}
