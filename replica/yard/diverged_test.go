package yard

import (
	"errors"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Design, "The replicated ledger": two roots at one index stop approvals. What
// follows is checked for the yard alone: facts are taken, no word is given.

func TestDivergedGivesNoWord(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg, drag)
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	e.y.Diverged("") // nothing is known against it
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	e.y.Diverged("different histories")
	r := e.lock("walt", onPoint(leg))
	wantGrant(t, r, unconfirmed)
	if !strings.Contains(r.Why, "different histories") {
		t.Errorf("why: %q", r.Why)
	}
	if ok, why := e.y.Serving(); !ok {
		t.Errorf("facts are not taken any more: %s", why)
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
	e.y.Diverged("different histories")
	wantNoGo(t, e, "different histories")
	w.settle()
	wantNoGo(t, e, "different histories")

	w = approved(t, "eastfork/tunnel", drag)
	e = w.yards["eastfork"]
	run := e.y.Panel(drag).Run
	e.y.Diverged("different histories")
	if e.y.Panel(drag).Run == run {
		t.Error("what the panel showed before still counts")
	}
	_, err := e.energise(drag, "r1")
	var no *Refused
	if !errors.As(err, &no) || !no.Has("DIVERGED") {
		t.Errorf("an energise is answered with %v", err)
	}
}

// TestDivergedGivesNoFence: a request waits for ever for a yard that gives no
// word, whatever the others say.
func TestDivergedGivesNoFence(t *testing.T) {
	for _, apart := range []bool{false, true} {
		w := newWorld(t)
		e := w.yards["eastfork"]
		e.job("j1", "eastfork/tunnel", drag)
		w.opened(drag)
		w.clear("j1")
		if apart {
			e.y.Diverged("different histories")
		}
		w.request("r1", "j1", drag)
		w.settle()
		w.settle()
		want := recordv1.RequestState_REQUEST_STATE_APPROVED
		if apart {
			want = recordv1.RequestState_REQUEST_STATE_AWAITING
		}
		if got := w.s.Reqs["r1"].State; got != want {
			t.Errorf("told of a divergence: %v; the request is %v, want %v", apart, got, want)
		}
	}
}
