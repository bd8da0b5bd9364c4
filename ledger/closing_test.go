package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestClosedWithoutGoAhead: a point that was opened and is reported closed with no
// energising since is live from then on, and everybody is told whose lock hangs on it
// (reality beats the ledger, protocol.md 3.2). A late word of an older closing is not.
func TestClosedWithoutGoAhead(t *testing.T) {
	closes := func(w *world, by int64) *recordv1.Outcome {
		m := w.s.Points[feeder].Moved
		r := w.record("dov", &recordv1.Record{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{Point: feeder, Moved: &recordv1.Moved{Epoch: m.Epoch, Seq: m.Seq}}}})
		r.CapturedUnixMs += by
		return w.must(w.envelope("stonebend", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: signed(t, seal.RecordDomain, marshal(t, r), w.keys["dov"])}}))
	}
	w, _ := ready(t)
	if o := closes(w, 0); !flagged(o, ledger.NoGoAhead) {
		t.Errorf("closed under locks, and not flagged: %v", o.GetFlags())
	}
	b := w.s.Board("", w.now)
	if !w.s.Points[feeder].Live || !has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.NotOpen, feeder) || !has(b.GetAlarms(), ledger.FoundClosed, feeder) {
		t.Errorf("live %v, alarms %v", w.s.Points[feeder].Live, b.GetAlarms())
	}
	w, _ = ready(t)
	if o := closes(w, -1e9); !flagged(o, ledger.StaleClosing) || w.s.Points[feeder].Live {
		t.Errorf("a late word of an older closing: %v", o.GetFlags())
	}
}
