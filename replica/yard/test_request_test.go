package yard

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// C13 and 1910.147(f)(1): a test of drag, with wanda's lock on it. The panel asks
// and shows a go-ahead only for the test that she stood clear for, and a lock hung
// again withdraws it.
func TestC13GoAheadOfATest(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.job("j1", "eastfork/tunnel", drag)
	w.opened(drag)
	hold := &recordv1.JournalRef{Yard: "eastfork", Epoch: 1, Seq: e.lock("wanda", onPoint(drag)).Seq}
	w.settle()
	w.clear("j1")
	test := func(id string) {
		w.direct("mia", says("test %s j1 %s %d", id, drag, w.now+1_000_000_000))
		w.catchUp()
		w.settle()
	}
	clear := func(id string) {
		w.direct("wanda", says("stand-clear %s %s %d", hold, id, w.s.Reqs[id].By.Index))
		w.catchUp()
		w.clear("j1")
		w.settle()
	}
	test("t1")
	_, err := e.energise(drag, "t1")
	wantRefused(t, err, ledger.NotApproved)
	wantRefused(t, err, ledger.HoldStands)
	clear("t1")
	if _, err := e.energise(drag, "t1"); err != nil {
		t.Fatal(err)
	}
	w.settle()
	if v := e.y.Panel(drag); !v.GoAhead {
		t.Fatalf("everybody stood clear and there is no go-ahead: %v", v.Against)
	}
	// She locks again at once: nothing at this panel may close on the old word.
	wantGrant(t, e.lock("wanda", onPoint(drag)), recordv1.Grant_GRANT_LIVE)
	wantNoGo(t, e, LockWrittenHere)
	w.settle()
	wantNoGo(t, e, ledger.HoldStands)

	// Open again: her new lock stands, the old one protects nobody here either.
	e.open(drag)
	w.settle()
	if e.y.Panel(drag).Position != recordv1.Position_POSITION_OPEN_AND_HELD {
		t.Error("her new lock does not show at the panel")
	}
}

// A hold that its holder stood clear of is no barrier, and does not show as held.
func TestC13NoBarrier(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.job("j1", "eastfork/tunnel", drag)
	w.opened(drag)
	hold := &recordv1.JournalRef{Yard: "eastfork", Epoch: 1, Seq: e.lock("wanda", onPoint(drag)).Seq}
	w.settle()
	w.clear("j1")
	w.direct("mia", says("test %s j1 %s %d", "t1", drag, w.now+1_000_000_000))
	w.direct("wanda", says("stand-clear %s %s %d", hold, "t1", w.s.Reqs["t1"].By.Index))
	w.catchUp()
	if got := e.y.Panel(drag).Position; got != recordv1.Position_POSITION_OPEN {
		t.Errorf("the panel shows %v with nobody's lock on it", got)
	}
	// A word for another test is no word for this one.
	q := *w.s.Reqs["t1"]
	q.ID = "t2"
	if against := e.y.scene().standing(drag, &q); !code.Has(against, ledger.StoodClearLockStands) {
		t.Errorf("against the test t2 stands: %v, want wanda's lock", against)
	}
}
