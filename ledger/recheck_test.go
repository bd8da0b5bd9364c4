package ledger_test

import "testing"

// TestRecheck: a store that can build up again is looked at until work ends
// (1910.147(d)(5)(ii)). At the interval it still counts, past it work stops.
func TestRecheck(t *testing.T) {
	w := coop(t)
	stone, mill := drawings()
	for _, n := range stone.Nodes {
		if n.GetStore() != nil {
			n.Store.BuildsUp, n.Store.RecheckSeconds = true, 900
		}
	}
	w.must(w.publish("nia", mill))
	w.must(w.publish("nia", stone))
	w.must(w.walk("ravi", "millrow"))
	w.must(w.walk("ravi", "stonebend"))
	w.isolate()
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	looked := w.s.Jobs["boot-1"].Released[bucket].Time
	w.prove()
	j := w.s.Jobs["boot-1"]
	if cs := w.s.MissingForWorkAt(j, looked+900_000); len(cs) > 0 {
		t.Fatalf("at the interval: %v", cs)
	}
	if cs := w.s.MissingForWorkAt(j, looked+900_001); !has(cs, "RECHECK", bucket) {
		t.Fatalf("past the interval and nothing is missing: %v", cs)
	}
	// Everybody hears of it with the next record, whatever that is about.
	w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
	w.now = looked + 1_000_000
	w.must(w.direct("nia", actPoint("eastfork/panel/spare")))
	if j.Stopped == nil || len(w.s.Alarms) == 0 {
		t.Error("a missed look stops nobody")
	}
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	if j.Stopped != nil {
		t.Errorf("looked at again, and still stopped: %v", j.Stopped)
	}
}
