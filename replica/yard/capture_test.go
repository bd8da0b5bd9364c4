package yard

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func TestRefusals(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	good := w.rec("wanda", lockAct(onPoint(leg)))
	other := w.rec("wanda", lockAct(onPoint(leg)))
	other.Ledger = bytes.Repeat([]byte{1}, 32)
	flipped := signWith(t, seal.RecordDomain, marshal(t, good), "wanda")
	flipped[len(flipped)-1] ^= 1
	for _, c := range []struct {
		name   string
		code   code.Code
		signed []byte
	}{
		{"no record", "MALFORMED", []byte("\x07nonsense")},
		{"no act", ledger.Empty, w.sign("wanda", func(*recordv1.Record) {})},
		{"bad shape", ledger.BadField, w.sign("wanda", says(`lock {point="Leg 1"}`))},
		{"too long", ledger.EntryTooLarge, w.sign("wanda", func(r *recordv1.Record) {
			r.Act = &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: strings.Repeat("x", MaxSigned)}}
		})},
		{"bad signature", "BAD_SIGNATURE", flipped},
		{"another ledger", "OTHER_LEDGER", signWith(t, seal.RecordDomain, marshal(t, other), "wanda")},
		{"nobody's key", "NOT_THE_SIGNER", signWith(t, seal.RecordDomain, marshal(t, good), "stranger")},
		{"somebody else's key", "NOT_THE_SIGNER", signWith(t, seal.RecordDomain, marshal(t, good), "walt")},
		{"unknown point", "UNKNOWN_POINT", w.sign("wanda", lockAct(onPoint("eastfork/mcc/none")))},
		{"unknown box", ledger.UnknownBox, w.sign("wanda", lockAct(onBox("eastfork/none")))},
		{"a direct kind", "WRONG_WAY", w.sign("mia", says("withdraw r1"))},
		{"home only, elsewhere", ledger.PointNotHome, w.sign("wanda", movedAs("isolate", belt, e.y.Panel(belt)))},
		{"found closed, elsewhere", ledger.PointNotHome, w.sign("wanda", says("found-closed %s", belt))},
		{"a lifting act by one who may not", "NOT_PERMITTED", w.sign("abe", says("close-job j1"))},
	} {
		t.Run(c.name, func(t *testing.T) {
			eff, err := capture(e.y, c.signed, w.now, "")
			wantRefused(t, err, c.code)
			if len(eff.Append) > 0 || eff.Reply != nil {
				t.Error("something was written all the same")
			}
		})
	}
	if seq, _ := e.y.last(); seq != 0 {
		t.Errorf("the journal has %d records", seq)
	}
	newer := protowire.AppendVarint(protowire.AppendTag(marshal(t, good), 1000, protowire.VarintType), 1)
	if _, err := capture(e.y, signWith(t, seal.RecordDomain, newer, "wanda"), w.now, ""); !errors.Is(err, ledger.ErrNewer) {
		t.Errorf("a record of a newer release: %v", err)
	}
}

func TestRevokedKeyLiftsNothingButStillLocks(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg)
	hold := e.lock("wanda", onPoint(leg))
	w.settle()
	w.direct("mia", says("revoke-key wanda wanda"))
	w.catchUp()
	_, err := e.capture(w.sign("wanda", says("release eastfork/1/%d", hold.Seq)), "")
	wantRefused(t, err, "KEY_REVOKED")
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg) // decisions.md 2
	w.settle()
	if n := len(w.s.HoldsOn(leg)); n != 2 {
		t.Errorf("%d holds, want both", n)
	}
}

// The ledger's Apply is the judge of the chain: it stops a yard whose journal
// does not continue.
func TestSealedChain(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg)
	for range 5 {
		e.lock("wanda", onPoint(leg))
	}
	for i, r := range e.disk {
		if r.Envelope.GetSeq() != uint64(i+1) {
			t.Errorf("record %d has number %d", i+1, r.Envelope.GetSeq())
		}
		if r.RaftIndex == 0 || r.Envelope.GetBasedOn() == 0 {
			t.Errorf("record %d does not say what it rests on", i+1)
		}
	}
	w.settle()
	if y := w.s.Yards["eastfork"]; y.Drained != uint64(len(e.disk)) || y.Cloned {
		t.Errorf("the ledger took %d of %d records, stopped: %v", y.Drained, len(e.disk), y.Cloned)
	}
	if !w.last.GetAccepted() {
		t.Errorf("the last one was refused: %v", w.last.GetConditions())
	}
}

func TestDecision10RepeatGetsTheRecordedAnswer(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg)
	signed := w.sign("wanda", lockAct(onPoint(leg)))
	first, err := e.capture(signed, "")
	if err != nil {
		t.Fatal(err)
	}
	e.foundClosed(leg) // another lock would get another answer now
	for _, when := range []string{"at once", "after a restart"} {
		if when == "after a restart" {
			w.settle()
			e.restart("run1")
			e.catchUp()
		}
		eff, err := capture(e.y, signed, w.now, "")
		if err != nil || eff.Reply == nil || !eff.Reply.Repeated || eff.Reply.Seq != first.Seq {
			t.Fatalf("%s: %+v, %v", when, eff.Reply, err)
		}
		wantGrant(t, eff.Reply, held, leg)
		if len(eff.Append) != 0 {
			t.Errorf("%s: written again", when)
		}
		if eff.Reply.Drained != (when == "after a restart") {
			t.Errorf("%s: drained is %v", when, eff.Reply.Drained)
		}
	}
	if got, ok := e.y.FindTicket(public("wanda"), &recordv1.Ticket{Device: "test", Counter: w.ticket - 1}); !ok || got != first.Seq {
		t.Errorf("the ticket leads to record %d, %v", got, ok)
	}
}

// A reset counter must not give a new lock the answer of an old one.
func TestSameTicketForAnotherActIsNoRepeat(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg)
	first := e.lock("wanda", onPoint(leg))
	w.ticket--
	second := e.lock("wanda", onPoint(drag))
	if second.Repeated || second.Seq == first.Seq {
		t.Error("a lock on another point got the answer of the first")
	}
	wantGrant(t, second, live)
	w.ticket--
	_, err := e.capture(w.sign("wanda", says("shut-down j1")), "")
	wantRefused(t, err, "TICKET_REPEATED")
	w.settle()
	if w.s.Holds[second.Ref] == nil {
		t.Error("the second lock is not in the ledger")
	}
}

func TestTicketTakenElsewhere(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	signed := w.sign("wanda", lockAct(onPoint(leg)))
	for _, st := range []*site{e, m} {
		if _, err := st.capture(signed, ""); err != nil {
			t.Fatal(err)
		}
		w.settle()
	}
	if n := len(w.s.HoldsOn(leg)); n != 2 {
		t.Errorf("%d holds: the same lock at two yards is two", n)
	}
	// Another kind with a ticket that the ledger knows would be refused there.
	v := e.y.Panel(drag)
	m.lock("wanda", onPoint(drag))
	w.settle()
	w.ticket--
	_, err := e.capture(w.sign("wanda", movedAs("isolate", drag, v)), v.Run)
	wantRefused(t, err, "TICKET_REPEATED")
}

func TestDecision3OnlyInTheRunThatHandedOut(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	before := e.y.Panel(leg)
	signed := w.sign("wanda", movedAs("isolate", leg, before))
	for name, run := range map[string]string{"none": "", "another": "run9.0.0"} {
		if _, err := e.capture(signed, run); err == nil {
			t.Errorf("run %s: taken", name)
		} else {
			wantRefused(t, err, "OTHER_RUN")
		}
	}
	e.restart("run1")
	e.catchUp()
	_, err := e.capture(signed, before.Run)
	wantRefused(t, err, "OTHER_RUN")
	// Out of service and back, in one process.
	before = e.y.Panel(leg)
	cloned := w.s.Clone()
	cloned.Yards["eastfork"].Cloned = true
	e.see(cloned, uint64(len(w.entries)))
	e.catchUp()
	_, err = e.capture(w.sign("wanda", movedAs("isolate", leg, before)), before.Run)
	wantRefused(t, err, "OTHER_RUN")
	for _, act := range []func() (*Reply, error){
		func() (*Reply, error) { return e.boxActIn(before.Run, true) },
		func() (*Reply, error) { return e.boxActIn(before.Run, false) },
	} {
		_, err = act()
		wantRefused(t, err, "OTHER_RUN")
	}
	if r := e.foundClosed(leg); r.Grant != none { // says live: may come late
		t.Errorf("found closed: %v", r.Grant)
	}
}

func (st *site) boxActIn(run string, add bool) (*Reply, error) {
	return st.capture(st.w.sign("wanda", boxed(add, box, leg)), run)
}

func TestDecision3SignsThePresentPlace(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	old := e.y.Panel(leg)
	e.foundClosed(leg)
	now := e.y.Panel(leg)
	if now.Moved.Seq != 1 || now.Moved.Epoch != 1 {
		t.Errorf("moved is %v, want the undrained record 1/1", now.Moved)
	}
	_, err := e.capture(w.sign("wanda", movedAs("isolate", leg, old)), now.Run)
	wantRefused(t, err, "STALE_READING")
	_, err = e.capture(w.sign("wanda", says("closed %s", leg)), now.Run)
	wantRefused(t, err, "STALE_READING")
}

func TestClockDoubt(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	doubt := func() bool { return e.disk[len(e.disk)-1].Envelope.GetClockDoubt() }
	e.lock("wanda", onPoint(leg))
	if doubt() {
		t.Error("a clock that runs on is in doubt")
	}
	start := w.now
	w.now -= 60_000
	for range 3 {
		e.lock("wanda", onPoint(leg))
		if !doubt() {
			t.Error("a clock that went back is not in doubt")
		}
	}
	w.now = start
	w.settle()
	w.now = start - 3*60_000
	e.lock("wanda", onPoint(leg))
	if !doubt() {
		t.Error("a clock behind the ledger is not in doubt")
	}
	w.now = start + 20*60_000
	w.direct("mia", says("register-box eastfork/box9"))
	e.catchUp()
	w.now = start + 10*60_000
	e.lock("wanda", onPoint(leg))
	if !doubt() {
		t.Error("a clock that ran on slower than the ledger is not in doubt")
	}
	w.now = start + 30*60_000
	e.lock("wanda", onPoint(leg))
	if doubt() {
		t.Error("a clock that was set right is in doubt")
	}
}

// Another's lock or sign-on is refused at once where the yard knows whose it is,
// drained or not, so that nobody reads "your sign-off is written" about it; a lock
// whose owner is not known is the ledger's to judge (1910.147(e)(3)).
func TestCaptureRefusesAnothersSignOff(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.job("j1", "eastfork/tunnel", drag)
	w.settle()
	hold := e.lock("wanda", onPoint(drag)).Seq
	on := e.signOn("wanda", "j1").Seq
	try := func(when string) {
		t.Helper()
		for code, r := range map[code.Code]func(*recordv1.Record){
			"NOT_YOUR_LOCK":    says("release eastfork/1/%d", hold),
			"NOT_YOUR_SIGN_ON": says("sign-off eastfork/1/%d", on),
		} {
			if _, err := e.capture(w.sign("walt", r), ""); err == nil {
				t.Errorf("%s: walt's word about wanda's is taken", when)
			} else {
				wantRefused(t, err, code)
			}
		}
	}
	try("not drained")
	w.settle()
	try("drained")
	found := e.note("walt", says("found-lock %s", drag)).Seq
	w.settle()
	e.release("walt", found)
	e.release("wanda", hold)
}
