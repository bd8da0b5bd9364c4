package ledger_test

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// legReady is uncabled with the drawing walked and everything proved for boot-1, by
// ravi, at the leg; it names his lock.
func legReady(t testing.TB) (w *world, hold string) {
	w = uncabled(t)
	w.must(w.walk("ravi", "stonebend"))
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	w.must(w.journal("stonebend", "ravi", actShutDown("boot-1")))
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	hold = w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1"))).GetRef()
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.proveLeg()
	if !w.mayStart() {
		t.Fatalf("work may not start: %v", w.s.StartConditions(w.s.Jobs["boot-1"]))
	}
	return w, hold
}

func (w *world) proveLeg() {
	w.t.Helper()
	proofs, err := w.s.Graph().Proofs(zone, feeder)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, p := range proofs {
		w.must(w.journal("stonebend", "ravi", actReading("boot-1", p.Part, p.Medium, p.Kind, 0)))
	}
}
