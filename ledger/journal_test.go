package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestReplayUnderSecondSignature: a cheat puts their own signature in front of
// somebody's old record, so that its ticket would be counted as theirs.
func TestReplayUnderSecondSignature(t *testing.T) {
	w := released(t)
	old := w.record("mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	body := marshal(t, old)
	w.must(w.envelope("stonebend", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: signed(t, seal.RecordDomain, body, w.keys["mara"])}}))
	again := signed(t, seal.RecordDomain, body, w.keys["tomas"], w.keys["mara"])
	if o := w.envelope("eastfork", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: again}}); o.GetAccepted() {
		t.Error("mara's notice counts a second time under another's signature")
	}
	// The yard refuses it at once: its reader asks Decode.
	e, err := ledger.Decode(ledger.DirectEntry(again))
	if err != nil || e.Fault() == nil {
		t.Errorf("a record of one person with two signatures is no fault: %v", err)
	}
}

// TestReencodedEnvelope: whoever forwards a journal can write the same signed
// envelope with its fields in another order. It is the same record: the yard goes
// on and is not taken for a cloned machine.
func TestReencodedEnvelope(t *testing.T) {
	w, _ := ready(t)
	env := &recordv1.Envelope{Ledger: w.id, Yard: "stonebend", Epoch: 1, Seq: w.s.Yards["stonebend"].Drained + 1, Previous: w.last["stonebend"],
		BasedOn: w.s.Size(), Body: &recordv1.Envelope_Signed{Signed: w.sign("tomas", actLock(feeder, "tomas-1", ""))}}
	raw := w.seal("stonebend", env)
	var m recordv1.Sealed
	if err := proto.Unmarshal(raw, &m); err != nil {
		t.Fatal(err)
	}
	other := append(marshal(t, &recordv1.Sealed{Key: m.Key, Signature: m.Signature}), marshal(t, &recordv1.Sealed{Envelope: m.Envelope})...)
	w.must(w.put(ledger.JournalEntry(other)))
	h := ledger.EnvelopeHash(raw)
	w.last["stonebend"] = h[:]
	w.refusedWith(w.put(ledger.JournalEntry(raw)), ledger.InLedger)
	w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1")))
	if w.s.Yards["stonebend"].Cloned {
		t.Error("the yard is stopped as a clone")
	}
}

// TestDrawingOfNewerRelease: a replica that can't read all of a drawing stops; one
// that refused it would differ from one that reads it.
func TestDrawingOfNewerRelease(t *testing.T) {
	w := coop(t)
	_, mill := drawings()
	raw := append(marshal(t, mill), 0xb8, 0x3e, 0x01) // field 999, varint 1
	act := &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: raw}}}
	if _, err := ledger.Decode(ledger.DirectEntry(w.sign("nia", act))); err != ledger.ErrNewer {
		t.Errorf("got %v, want ErrNewer", err)
	}
}

// TestRefusedEnergiseMoves: moved[p] is set whenever an Energise is consumed,
// refused by key or role too: the yard counts it (decisions.md 3).
func TestRefusedEnergiseMoves(t *testing.T) {
	w := released(t)
	seq := w.s.Yards["stonebend"].Drained + 1
	w.refusedWith(w.journal("stonebend", "dov", actEnergise("start-1", feeder)), ledger.NotPermitted)
	if m := w.s.Points[feeder].Moved; m.Seq != seq {
		t.Errorf("moved is %v, want seq %d", m, seq)
	}
}

// TestCloneVoids: a yard found to be two machines may have promised locks that
// will never arrive: what waits on its word is void (as for its recovery,
// protocol.md 3.3).
func TestCloneVoids(t *testing.T) {
	w := released(t)
	w.approve("start-1", "boot-1", feeder, control)
	env := &recordv1.Envelope{Ledger: w.id, Yard: "millrow", Epoch: 1, Seq: w.s.Yards["millrow"].Drained, BasedOn: 1,
		Body: &recordv1.Envelope_Signed{Signed: w.sign("lena", actLock(control, "lena-2", "boot-1"))}}
	w.refusedWith(w.put(ledger.JournalEntry(w.seal("millrow", env))), ledger.ClonedJournal)
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), ledger.NotApproved)
}
