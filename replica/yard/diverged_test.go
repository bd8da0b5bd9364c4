package yard

import (
	"errors"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Design, "The replicated ledger": two roots at one index stop approvals. What
// follows is checked for the yard alone: facts are taken, no word is given.

// differ is what a replica says of two histories.
var differ = &recordv1.Finding{Code: "HISTORIES_DIFFER"}

func TestDivergedGivesNoWord(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg, drag)
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	e.y.Diverged(nil) // nothing is known against it
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	e.y.Diverged(differ)
	r := e.lock("walt", onPoint(leg))
	wantGrant(t, r, unconfirmed)
	if r.Because != differ {
		t.Errorf("because: %v", r.Because)
	}
	if ok, why := e.y.Serving(); !ok {
		t.Errorf("facts are not taken any more: %v", why)
	}
	w.settle()
	if hs := w.s.HoldsOn(leg); len(hs) != 3 {
		t.Errorf("%d locks reached the ledger, want 3", len(hs))
	}
	if r := e.note("wanda", says("shut-down j9")); r.Seq == 0 {
		t.Error("a note is not taken")
	}
}

// TestDivergedWithdrawsTheGoAhead: one that shows goes at once, and no other
// Energise is taken.
func TestDivergedWithdrawsTheGoAhead(t *testing.T) {
	w, e := goAhead(t)
	e.y.Diverged(differ)
	wantNoGo(t, e, "HISTORIES_DIFFER")
	w.settle()
	wantNoGo(t, e, "HISTORIES_DIFFER")

	w = approved(t, "eastfork/tunnel", drag)
	e = w.yards["eastfork"]
	run := e.y.Panel(drag).Run
	e.y.Diverged(differ)
	if e.y.Panel(drag).Run == run {
		t.Error("what the panel showed before still counts")
	}
	_, err := e.energise(drag, "r1")
	var no *Refused
	if !errors.As(err, &no) || !no.Has(Diverged) {
		t.Errorf("an energise is answered with %v", err)
	}
}

// TestDivergedGivesNoFence: a request waits for ever for a yard that gives no
// word, whatever the others say.
func TestDivergedGivesNoFence(t *testing.T) {
	for _, differs := range []bool{false, true} {
		w := newWorld(t)
		e := w.yards["eastfork"]
		e.job("j1", "eastfork/tunnel", drag)
		w.opened(drag)
		w.clear("j1")
		if differs {
			e.y.Diverged(differ)
		}
		w.request("r1", "j1", drag)
		w.settle()
		w.settle()
		want := recordv1.RequestState_REQUEST_STATE_APPROVED
		if differs {
			want = recordv1.RequestState_REQUEST_STATE_AWAITING
		}
		if got := w.s.Reqs["r1"].State; got != want {
			t.Errorf("told of a divergence: %v; the request is %v, want %v", differ, got, want)
		}
	}
}
