package ledger_test

import (
	"maps"
	"os"
	"slices"
	"strconv"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// seeds is how many random histories of all kinds run; YARDHASP_SEEDS asks for more.
func seeds(t *testing.T, usual int) int {
	v := os.Getenv("YARDHASP_SEEDS")
	if v == "" {
		return usual
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < usual {
		t.Fatalf("YARDHASP_SEEDS is %q: give a number of at least %d", v, usual)
	}
	return n
}

// TestHistoriesOfAllKinds holds random runs of acts of every kind of the contract
// against the oracle after every entry, and against a second replica. A kind that
// was accepted in none of them fails it, so a new kind does until it is in.
func TestHistoriesOfAllKinds(t *testing.T) {
	if testing.Short() {
		t.Skip("a long run of entries: left out with -short")
	}
	kinds, checks := map[string]int{}, map[string]int{}
	acts := newOracleActs()
	energised, starts, lacks := 0, 0, 0
	for seed := range int64(seeds(t, 40)) {
		h := newHistory(t, 1_000_000+seed, dutySetup)
		if seed%4 == 0 { // before anybody coordinates, and before the employers met
			h.lacking(int(seed / 4 % 2))
		}
		for range 12 {
			for range 6 {
				h.dutyAct()
			}
			if h.rng.Intn(3) > 0 {
				h.settle()
			}
			switch h.rng.Intn(13) {
			case 0, 1:
				h.workUp(h.pick("boot-1", "boot-1", "room-1", "both-1"))
				if h.rng.Intn(2) == 0 {
					h.hotWork("nia")
				}
			case 2:
				h.quiet()
				h.windDown(h.pick("boot-1", "room-1", "both-1"))
			case 3, 11:
				h.quiet()
				h.testRound(h.pick("boot-1", "room-1", "both-1"))
			case 4:
				h.binUp()
			case 5:
				h.binDown()
			case 6:
				h.do("mara", "", actAttest("desk-1"))
				h.isolateFor("desk-1", h.o.jobs["desk-1"].responsible)
			case 7:
				h.changeOver(h.pick("boot-1", "room-1", "both-1", "desk-1", binJob))
			case 8:
				h.hotWork("nia")
				h.hotWork("lena")
				h.hotWork("nia")
			case 9:
				h.givenUp(h.pick("boot-1", "room-1", "both-1"))
			default:
				for range 12 {
					h.wildStep()
				}
			}
		}
		for range 3 {
			h.lacking(lacks)
			lacks++
		}
		h.coda()
		for k, n := range h.o.kinds {
			kinds[k] += n
		}
		for k, n := range h.o.checks {
			checks[k] += n
		}
		energised += h.o.energise
		starts += h.o.starts
		acts.add(&h.o.oracleActs)
	}
	fields := (&recordv1.Record{}).ProtoReflect().Descriptor().Oneofs().ByName("act").Fields()
	for i := range fields.Len() {
		if k := string(fields.Get(i).Name()); kinds[k] == 0 {
			t.Errorf("no %s was accepted with an effect in any history", k)
		}
	}
	for _, c := range []string{"work may start", "work by several", "work of crews", "work by procedure", "work on desk-1", "work on " + binJob, "permit issued", "permit lapsed", "bin energised",
		"procedure approved", "inspected", "job closed", "yard recovered", "zone narrowed", "one demand lacking", "equipment lock off", "request",
		"padlock shown KEYED_ALIKE", "padlock shown COMBINATION", "padlock shown EQUIPMENT_PADLOCK", "padlock shown SPARE_KEY", "padlock shown KEY_LOST", "padlock shown LOCK_LOST",
		"padlock shown OTHER_USE", "padlock shown TWO_PLACES"} {
		if checks[c] < 3 {
			t.Errorf("one-sided histories: %s looked at %d times", c, checks[c])
		}
	}
	if energised < 10 || starts < 30 || min(acts.tests, acts.stood, acts.removed, acts.handed, acts.claimed, acts.keys, acts.ran) == 0 {
		t.Errorf("one-sided histories: %d energisings, work might start at %d entries, %s", energised, starts, &acts)
	}
	t.Logf("%d energisings accepted, work might start at %d entries, %s", energised, starts, &acts)
	for _, k := range slices.Sorted(maps.Keys(kinds)) {
		t.Logf("%s: %d", k, kinds[k])
	}
	for _, k := range slices.Sorted(maps.Keys(checks)) {
		t.Logf("looked at: %s: %d", k, checks[k])
	}
}
