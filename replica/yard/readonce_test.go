package yard

import (
	"errors"
	"testing"

	"yardhasp/ledger"
)

// TestReadOnce: from the server through the journal into the ledger one replica reads a
// record once and checks each signature once; another yard's replica does the same
// (decisions.md 13: one rule of verification on every path).
func TestReadOnce(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	var here, there ledger.Verified
	came, err := here.Decode(ledger.DirectEntry(w.sign("wanda", lockAct(onPoint(leg)))))
	if err != nil {
		t.Fatal(err)
	}
	eff, err := e.y.Capture(came, w.now, "")
	if err != nil {
		t.Fatal(err)
	}
	journaled := ledger.JournalEntry(eff.Append[0].Sealed)
	for name, v := range map[string]*ledger.Verified{"here": &here, "there": &there} {
		applied, err := v.Decode(journaled)
		if err != nil || applied.Fault() != nil {
			t.Fatalf("%s: %v, %v", name, err, applied.Fault())
		}
		if checks, reads := v.Counts(); checks != 2 || reads != 1 {
			t.Errorf("%s: %d signatures were checked and %d records read, want 2 (the record's and the envelope's) and 1", name, checks, reads)
		}
		if name == "here" && applied.Record() != came.Record() {
			t.Error("what the ledger gets is not the value that the server read")
		}
	}
}

// BenchmarkWayIn is the work on one lock from the server through the journal into the
// ledger of its yard: with what was read handed on, and with each step reading for
// itself, as it was before.
func BenchmarkWayIn(b *testing.B) {
	for _, c := range []struct {
		name string
		once bool
	}{{"handed-on", true}, {"each-step", false}} {
		b.Run(c.name, func(b *testing.B) {
			w := newWorld(b)
			y := w.yards["eastfork"].y
			var checks, reads uint64
			for b.Loop() {
				b.StopTimer()
				signed := w.sign("wanda", lockAct(onPoint(leg)))
				b.StartTimer()
				replica, journal := &ledger.Verified{}, &ledger.Verified{}
				came, err := replica.Decode(ledger.DirectEntry(signed))
				if err != nil {
					b.Fatal(err)
				}
				if !c.once {
					if came, err = journal.Decode(ledger.DirectEntry(signed)); err != nil {
						b.Fatal(err)
					}
				}
				eff, err := y.Capture(came, w.now, "")
				if err != nil {
					b.Fatal(err)
				}
				sealed := ledger.JournalEntry(eff.Append[0].Sealed)
				if c.once {
					_, err = replica.Decode(sealed)
				} else { // one check too many in the time: signatures were remembered
					_, err = newItem(eff.Append[0])
					_, again := newItem(eff.Append[0])
					_, folded := (&ledger.Verified{}).Decode(sealed)
					reads, checks = reads+3, checks+1
					err = errors.Join(err, again, folded)
				}
				if err != nil {
					b.Fatal(err)
				}
				for _, v := range []*ledger.Verified{replica, journal} {
					s, r := v.Counts()
					checks, reads = checks+s, reads+r
				}
				y.Appended(eff.Reply.Seq)
			}
			b.ReportMetric(float64(checks)/float64(b.N), "checks/op")
			b.ReportMetric(float64(reads)/float64(b.N), "reads/op")
		})
	}
}
