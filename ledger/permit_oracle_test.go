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
	if testing.Short() {
		t.Skip("a long run of entries: left out with -short")
	}
	levels := []recordv1.AirLevel{top, middle, bottom}
	agents := []recordv1.AirAgent{oxygen, burns, co, co2}
	force, suspended, issued, refused := 0, 0, 0, 0
	for seed := range uint64(seeds(t, 30, 3)) {
		rnd := rand.New(rand.NewPCG(seed, 272))
		w, holds, _ := readyBin(t)
		type test struct {
			at   int64
			good bool
		}
		air := map[string]test{}
		key := func(l recordv1.AirLevel, a recordv1.AirAgent) string { return l.String() + a.String() }
		measure := func(l recordv1.AirLevel, vs []*recordv1.AirValue, good bool) {
			at := w.now // the yard's clock is the earliest of the three
			w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, l, vs...)))
			for _, v := range vs {
				air[key(l, v.GetAgent())] = test{at, good}
			}
		}
		for _, l := range levels {
			measure(l, clean(), true)
		}
		watch := map[string]string{}
		for ref, x := range w.s.Watches {
			watch[x.Person] = ref
		}
		ons := map[string]string{}
		fumigated, id, n := "", "", 0
		var named []string
		relock := func() {
			for _, p := range binPlan {
				for _, h := range []string{"lena", "tomas"} {
					if holds[h+" "+p] == "" {
						holds[h+" "+p] = w.must(w.journal("eastfork", h, actLock(p, "", binJob))).GetRef()
					}
				}
			}
		}
		stand := func(o string) {
			if watch[o] == "" && ons[o] == "" {
				watch[o] = w.must(w.journal("eastfork", o, actStand(binJob, recordv1.Duty_DUTY_OBSERVER))).GetRef()
			}
		}
		for range 120 {
			who := []string{"lena", "tomas"}[rnd.IntN(2)]
			lock := who + " " + binPlan[rnd.IntN(len(binPlan))]
			switch rnd.IntN(15) {
			case 0, 1, 2:
				for _, l := range levels {
					measure(l, clean(), true)
				}
			case 3:
				measure(levels[rnd.IntN(3)], values(co2, 5_000_001), false)
			case 4:
				w.now += int64(rnd.IntN(20)) * minute
			case 5:
				stand([]string{"mara", "olga"}[rnd.IntN(2)])
			case 6:
				o := []string{"mara", "olga"}[rnd.IntN(2)]
				if watch[o] != "" {
					w.must(w.journal("eastfork", "dov", actLeave(watch[o])))
					delete(watch, o)
				}
			case 7:
				if holds[lock] != "" && rnd.IntN(3) == 0 {
					w.must(w.journal("eastfork", who, actRelease(holds[lock])))
					delete(holds, lock)
				}
			case 8:
				relock()
			case 9:
				if ons[who] == "" {
					ons[who] = w.must(w.journal("eastfork", who, actSignOn(binJob))).GetRef()
				}
			case 10:
				if ons[who] != "" {
					w.must(w.journal("eastfork", who, actSignOff(ons[who])))
					delete(ons, who)
				}
			case 11:
				if fumigated == "" && rnd.IntN(4) == 0 {
					fumigated = w.must(w.journal("eastfork", "dov", actFumigated("eastfork/bin-4"))).GetRef()
				} else if fumigated != "" {
					w.must(w.journal("eastfork", "mara", actFumigantCleared(fumigated, 0)))
					fumigated = ""
				}
			case 12:
				if id != "" {
					if o := w.direct("nia", actClosePermit(id)); o.GetAccepted() {
						if len(ons) > 0 {
							t.Fatalf("seed %d: %s was closed with %v inside", seed, id, ons)
						}
						id = ""
					}
				}
			case 13, 14:
				if rnd.IntN(3) > 0 { // somebody puts everything right first
					for _, in := range slices.Sorted(maps.Keys(ons)) {
						w.must(w.journal("eastfork", in, actSignOff(ons[in])))
						delete(ons, in)
					}
					if id != "" {
						w.must(w.direct("nia", actClosePermit(id)))
						id = ""
					}
					w.now += minute
					if fumigated != "" {
						w.must(w.journal("eastfork", "mara", actFumigantCleared(fumigated, 0)))
						fumigated = ""
					}
					relock()
					stand("mara")
					for _, l := range levels {
						measure(l, clean(), true)
					}
				}
				n++
				b := bin()
				b.Ventilation = recordv1.Ventilation_VENTILATION_FORCED
				if rnd.IntN(3) == 0 {
					b.Entrants = []string{"lena"}
				}
				next := "in-" + string(rune('a'+n/26)) + string(rune('a'+n%26))
				if o := w.issueBin(next, b); o.GetAccepted() {
					if len(ons) > 0 || id != "" {
						t.Fatalf("seed %d: %s was issued with %v inside and %q not closed", seed, next, ons, id)
					}
					id, named = next, b.Entrants
					issued++
				} else {
					refused++
				}
			}
			if id == "" {
				continue
			}
			at := w.s.Time
			if w.s.PermitView(id, at).GetState() != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
				suspended++
				if len(ons) > 0 && w.outAlarm() == nil {
					t.Fatalf("seed %d: %v are inside, the permit does not hold, and there is no alarm", seed, ons)
				}
				continue
			}
			force++
			for _, l := range levels {
				for _, a := range agents {
					if m := air[key(l, a)]; !m.good || at-m.at > 30*minute {
						t.Fatalf("seed %d: in force with %v at %v good %v, %d min old", seed, a, l, m.good, (at-m.at)/minute)
					}
				}
			}
			if len(watch) == 0 {
				t.Fatalf("seed %d: in force with nobody watching", seed)
			}
			if fumigated != "" {
				t.Fatalf("seed %d: in force beside a fumigated bin", seed)
			}
			for in := range ons {
				if !slices.Contains(named, in) {
					t.Fatalf("seed %d: in force with %s inside, who is not named", seed, in)
				}
				for _, p := range binPlan {
					if holds[in+" "+p] == "" {
						t.Fatalf("seed %d: in force with %s inside and no lock of theirs on %s", seed, in, p)
					}
				}
			}
		}
	}
	// Histories in which nothing happens would pass as well.
	if !testing.Short() && (force < 500 || suspended < 100 || issued < 100 || refused < 50) {
		t.Errorf("in force %d times, not in force %d, issued %d, refused %d: the histories are too tame", force, suspended, issued, refused)
	}
	t.Logf("in force %d times, not in force %d, issued %d, refused %d", force, suspended, issued, refused)
}
