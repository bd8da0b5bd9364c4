package yard

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func wantOut(t *testing.T, e *site, because ...code.Code) {
	t.Helper()
	ok, why := e.y.Serving()
	if ok || !code.Is(why, because...) {
		t.Errorf("serving %v, because %v, want out of service for %s", ok, why, because)
	}
	_, err := capture(e.y, e.w.sign("wanda", lockAct(onPoint(leg))), e.w.now, "")
	if _, is := err.(*NotServing); !is {
		t.Errorf("a lock out of service: %v", err)
	}
	if _, _, err := e.y.Receipt(1); err == nil {
		t.Error("a receipt out of service")
	}
}

func TestNotServingBeforeAState(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.restart("run1")
	wantOut(t, e, NoStateYet)
	e.see(ledger.New(), 0)
	wantOut(t, e, OwnJournalElsewhere)
	e.see(w.stateAt(1), 1)
	if ok, why := e.y.Serving(); !ok {
		t.Errorf("not serving: %v", why)
	}
	m := w.yards["millrow"]
	m.restart("run1")
	m.see(w.stateAt(1), 1)
	wantOut(t, m, YardNotKnownYet)
}

// C5, both halves of the guard.
func TestC5RestartWithAnOlderState(t *testing.T) {
	w := approved(t, "eastfork/tunnel", drag)
	e := w.yards["eastfork"]
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	w.settle()
	e.lock("wanda", onPoint(leg)) // a record that rests on the state with drag live
	e.restart("run1")
	for n := 1; n < len(w.entries); n++ {
		if got := e.see(w.stateAt(n), uint64(n)); len(got) > 0 {
			t.Fatalf("after %d entries: fences are written while catching up", n)
		}
		wantOut(t, e, NotCaughtUp, YardNotKnownYet)
	}
	e.catchUp()
	wantGrant(t, e.lock("wanda", onPoint(drag)), live)

	// The second half: with the drained Energise compacted away, and nothing after
	// it, a raft index alone would let an older state through: here one that is right
	// beside a state that is not.
	w = approved(t, "eastfork/tunnel", drag)
	e = w.yards["eastfork"]
	before := len(w.entries)
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	w.settle()
	last, _ := e.y.last()
	h, keep, ok := e.y.compaction(last)
	if !ok || len(keep) != 0 {
		t.Fatalf("not compacted: %v", ok)
	}
	e.h, e.disk = h, nil
	e.restart("run1")
	e.see(w.stateAt(before), uint64(before))
	wantOut(t, e, NotCaughtUp, YardNotKnownYet)
	e.see(w.stateAt(before), h.RaftIndex)
	wantOut(t, e, StateTooOld)
	e.catchUp()
	wantGrant(t, e.lock("wanda", onPoint(drag)), live)
	w.settle()
	if w.s.Yards["eastfork"].Cloned {
		t.Error("the chain broke at the compaction")
	}
}

func TestDecision7LedgerHasMoreThanTheJournal(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.lock("wanda", onPoint(leg))
	e.lock("wanda", onPoint(leg))
	w.settle()
	e.disk = e.disk[:1]
	e.restart("run1")
	e.catchUp()
	wantOut(t, e, JournalShort)
}

func TestDecision7LedgerHasAnotherRecord(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	twin := w.newSite("eastfork")
	twin.catchUp()
	twin.lock("walt", onPoint(leg))
	e.lock("wanda", onPoint(leg))
	e.drain()
	twin.catchUp()
	wantOut(t, twin, JournalDiffers)
	// Decision 1: two envelopes for one seq stop the yard.
	for _, r := range twin.disk {
		w.commit(ledger.JournalEntry(r.Sealed))
	}
	w.catchUp()
	wantOut(t, e, ledger.YardStopped)
}

func TestC9AnotherKeyOrEpochServesNothing(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	n := uint64(len(w.entries))
	e.lock("wanda", onPoint(leg))
	s := w.s.Clone()
	s.Yards["eastfork"].Key = public("new-machine")
	e.see(s, n)
	wantOut(t, e, OtherMachine)
	if len(e.y.Pending()) != 0 {
		t.Error("records are forwarded under another machine's name")
	}
	s = w.s.Clone()
	s.Yards["eastfork"].Epoch = 2
	e.see(s, n)
	wantOut(t, e, OtherEpoch)
	if len(e.y.Pending()) != 0 {
		t.Error("records of an old epoch are forwarded")
	}
	e.catchUp()
	if ok, why := e.y.Serving(); !ok {
		t.Errorf("not serving again: %s", why)
	}
	h := e.h
	h.Incarnation = seal.Fingerprint(public("new-machine"))
	if _, err := New(h, keyOf("eastfork"), nil, "run1"); err == nil {
		t.Error("a journal begun with another key was taken up")
	}
}

func TestStateThatMovedUnseen(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	shared := w.s.Clone()
	e.see(shared, uint64(len(w.entries)))
	env, err := ledger.Decode(ledger.DirectEntry([]byte("x")))
	if err != nil {
		t.Fatal(err)
	}
	shared.Apply(env)
	wantOut(t, e, StateNotShown)
}

func TestC12ReplyAndForwardOnlyWhatIsDurable(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	eff, err := capture(e.y, w.sign("wanda", lockAct(onPoint(leg))), w.now, "")
	if err != nil || len(eff.Append) != 1 || eff.Reply.Seq != 1 {
		t.Fatalf("%+v, %v", eff, err)
	}
	if len(e.y.Pending()) != 0 {
		t.Error("forwarded before it is durable")
	}
	if _, durable, err := e.y.Receipt(1); durable || err != nil {
		t.Errorf("durable %v, %v", durable, err)
	}
	e.y.Broken("the disk is full")
	e.y.Appended(0)
	if len(e.y.Pending()) != 0 {
		t.Error("forwarded after a failed append")
	}
	wantOut(t, e, JournalNotWritable)
	e.restart("run1") // the disk never got it
	e.catchUp()
	if r := e.lock("walt", onPoint(leg)); r.Seq != 1 {
		t.Errorf("number %d, want the unused 1", r.Seq)
	}
	if rs := e.y.Pending(); len(rs) != 1 {
		t.Errorf("%d records to forward, want 1", len(rs))
	}
	if r, durable, err := e.y.Receipt(1); !durable || err != nil || r.Drained {
		t.Errorf("%+v %v %v", r, durable, err)
	}
}

func TestNewRefusesAForeignJournal(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	for range 3 {
		e.lock("wanda", onPoint(leg))
	}
	resealed := e.disk[2]
	raw, _, err := sealEnvelope(keyOf("millrow"), resealed.Envelope)
	if err != nil {
		t.Fatal(err)
	}
	resealed.Sealed = raw
	h2 := e.h
	h2.Epoch = 2
	for name, c := range map[string]struct {
		h Header
		j []Record
	}{
		"a gap":          {e.h, []Record{e.disk[0], e.disk[2]}},
		"a missing head": {e.h, e.disk[1:]},
		"a twin":         {e.h, []Record{e.disk[0], e.disk[0]}},
		"another sealer": {e.h, []Record{e.disk[0], e.disk[1], resealed}},
		"another epoch":  {h2, e.disk},
		"not read":       {e.h, []Record{{Sealed: e.disk[0].Sealed}}},
	} {
		if _, err := New(c.h, keyOf("eastfork"), c.j, "run1"); err == nil {
			t.Errorf("%s was taken up", name)
		}
	}
	if _, err := New(e.h, keyOf("eastfork"), e.disk, "run1"); err != nil {
		t.Error(err)
	}
}

func TestC1C2FenceAfterLockVoids(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.job("j1", "eastfork/pit", leg, belt)
	w.opened(leg, belt)
	w.clear("j1")
	w.request("r1", "j1", leg, belt)
	w.yards["millrow"].catchUp()
	w.yards["millrow"].drain()
	// eastfork has not heard of the request: it promises, and attests after.
	r := e.lock("wanda", onPoint(leg))
	wantGrant(t, r, held, leg)
	fences := e.see(w.s.Clone(), uint64(len(w.entries)))
	if len(fences) != 1 || fences[0].Envelope.GetFence().GetRequest() != "r1" || fences[0].Envelope.GetSeq() != r.Seq+1 {
		t.Fatalf("fences: %v", fences)
	}
	w.settle()
	if st := w.s.Reqs["r1"].State; st != recordv1.RequestState_REQUEST_STATE_VOID {
		t.Errorf("the request is %v under a promise", st)
	}
}

// C15 and C16: one fence for each request, whether the yard saw the entry or only
// a state beyond it, whatever was captured in between.
func TestC16FencesFollowTheState(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	e.job("j1", "eastfork/pit", leg, belt)
	e.job("j2", "eastfork/tunnel", drag)
	w.opened(leg, belt, drag)
	w.clear("j1")
	w.clear("j2")
	w.request("r1", "j1", leg, belt)
	w.request("r2", "j2", drag)
	got := e.catchUp()
	if len(got) != 2 || got[0].Envelope.GetFence().GetRequest() != "r1" || got[1].Envelope.GetFence().GetRequest() != "r2" {
		t.Fatalf("fences at eastfork: %v", got)
	}
	if got := m.catchUp(); len(got) != 1 || got[0].Envelope.GetFence().GetRequest() != "r1" {
		t.Fatalf("fences at millrow: %v", got)
	}
	e.note("wanda", says("shut-down j1"))
	if got := e.catchUp(); len(got) != 0 {
		t.Errorf("written again: %v", got)
	}
	e.restart("run1")
	if got := e.catchUp(); len(got) != 0 {
		t.Errorf("written again after a restart: %v", got)
	}
	e.drain()
	if got := e.catchUp(); len(got) != 0 {
		t.Errorf("written again once the ledger has it: %v", got)
	}
	w.settle()
	for _, id := range []string{"r1", "r2"} {
		if st := w.s.Reqs[id].State; st != recordv1.RequestState_REQUEST_STATE_APPROVED {
			t.Errorf("%s is %v", id, st)
		}
	}
}

func TestFenceOnlyWhileServing(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.job("j1", "eastfork/tunnel", drag)
	w.opened(drag)
	w.clear("j1")
	w.request("r1", "j1", drag)
	e.y.Broken("no space")
	if got := e.catchUp(); len(got) != 0 {
		t.Errorf("attested out of service: %v", got)
	}
}

func TestCloneIsIndependent(t *testing.T) {
	w, e := goAhead(t)
	key := string(e.y.AppendCanonical(nil))
	c := e.y.Clone()
	if string(c.AppendCanonical(nil)) != key {
		t.Fatal("a clone has another key")
	}
	signed := w.sign("wanda", movedAs("isolate", drag, c.Panel(drag)))
	if _, err := capture(c, signed, w.now, c.Panel(drag).Run); err != nil {
		t.Fatal(err)
	}
	if string(e.y.AppendCanonical(nil)) != key || !e.y.Panel(drag).GoAhead {
		t.Error("a step of the clone reached the original")
	}
	if string(c.AppendCanonical(nil)) == key {
		t.Error("a step left the key as it was")
	}
	if r, err := e.capture(signed, e.y.Panel(drag).Run); err != nil || r.Repeated {
		t.Errorf("the original took the clone's record as its own: %v", err)
	}
}

func TestCompactionKeepsWhatIsNotDrained(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg)
	first := w.sign("wanda", lockAct(onPoint(leg)))
	if _, err := e.capture(first, ""); err != nil {
		t.Fatal(err)
	}
	for range keepDrained + 5 {
		e.lock("wanda", onPoint(leg))
	}
	if h, _, _ := e.y.Compaction(1 << 40); h.Compacted != 1 {
		t.Fatalf("%d records would go, the ledger has only the opening", h.Compacted)
	}
	w.settle()
	tailFrom, _ := e.y.last()
	for range 3 {
		e.lock("walt", onPoint(leg))
	}
	h, keep, ok := e.y.Compaction(1 << 40)
	last, _ := e.y.last()
	if !ok || h.Compacted != last-keepDrained || len(keep) != keepDrained || h.Compacted > tailFrom {
		t.Fatalf("%v: compacted to %d of %d, %d kept", ok, h.Compacted, last, len(keep))
	}
	e.y.Compacted(h)
	e.h, e.disk = h, keep
	for range 2 {
		if got := e.y.Pending(); len(got) != 3 {
			t.Errorf("%d records to forward, want 3", len(got))
		}
		if r := e.lock("walt", onPoint(leg)); r.Seq != last+1 {
			t.Errorf("number %d after compaction, want %d", r.Seq, last+1)
		}
		e.disk = e.disk[:len(keep)]
		e.restart("run1")
		e.catchUp()
	}
	// The recorded answer is gone; a lock sent again is a second hold, never none.
	r, err := e.capture(first, "")
	if err != nil || r.Repeated {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestNoFenceForARequestThatIsOver(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.job("j1", "eastfork/tunnel", drag)
	w.opened(drag)
	w.clear("j1")
	w.request("r1", "j1", drag)
	w.direct("mia", says("withdraw r1"))
	if got := e.catchUp(); len(got) != 0 {
		t.Errorf("fences: %v", got)
	}
}
