package ledger_test

import (
	"maps"
	"os"
	"slices"
	"strconv"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// manySeeds is how many random histories of each sort run at least; 0: as many as is
// usual. The tag long sets it.
var manySeeds int

// seeds is how many random histories run: a few with -short, and as many as
// YARDHASP_SEEDS asks for.
func seeds(t *testing.T, usual, short int) int {
	v := os.Getenv("YARDHASP_SEEDS")
	switch {
	case v == "" && testing.Short():
		return short
	case v == "":
		return max(usual, manySeeds)
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
	kinds, checks := map[string]int{}, map[string]int{}
	acts := newOracleActs()
	energised, starts, lacks := 0, 0, 0
	for seed := range int64(seeds(t, 24, 1)) {
		h := newHistory(t, 1_000_000+seed, dutySetup)
		switch seed % 4 {
		case 0: // before anybody coordinates, and before the employers met
			h.lacking(int(seed / 4 % 2))
		case 1:
			h.calmly(h.dutyDay)
		}
		h.run(72)
		for range 3 {
			h.lacking(lacks)
			lacks++
		}
		h.as("coda", h.coda)
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
	for _, k := range slices.Sorted(maps.Keys(kinds)) {
		t.Logf("%s: %d", k, kinds[k])
	}
	for _, k := range slices.Sorted(maps.Keys(checks)) {
		t.Logf("looked at: %s: %d", k, checks[k])
	}
	if testing.Short() { // what a few histories leave out proves nothing
		return
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
}
