package yard

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	held        = recordv1.Grant_GRANT_HELD_LOCALLY
	live        = recordv1.Grant_GRANT_LIVE
	unconfirmed = recordv1.Grant_GRANT_UNCONFIRMED
	contested   = recordv1.Grant_GRANT_CONTESTED
	none        = recordv1.Grant_GRANT_NONE
)

// Expected grants are those of decisions.md 5: the rule itself is the outside
// source here, and the ledger's own Apply judges what becomes of each.

func TestDecision5Grants(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	wantGrant(t, e.lock("wanda", onPoint(leg)), live)
	wantGrant(t, m.lock("wanda", onPoint(leg)), live)
	w.opened(leg)
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	wantGrant(t, m.lock("wanda", onPoint(leg)), unconfirmed)
	wantGrant(t, e.lock("wanda", onBox(box)), contested)
	wantGrant(t, m.lock("wanda", onBox(box)), unconfirmed)
	if r := e.note("wanda", says("shut-down j9")); r.Grant != none {
		t.Errorf("a note was granted %v", r.Grant)
	}
}

func TestFoundLockIsGrantedLikeALock(t *testing.T) {
	w := newWorld(t)
	w.opened(leg)
	r := w.yards["eastfork"].note("abe", says("found-lock %s \"red tag\"", leg))
	wantGrant(t, r, held, leg)
	w.settle()
	if hs := w.s.HoldsOn(leg); len(hs) != 1 || hs[0].Ref != r.Ref {
		t.Errorf("holds on %s: %v", leg, hs)
	}
}

func TestBoxCoversForeignPoints(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg, belt)
	for _, p := range []string{leg, belt} {
		if _, err := e.boxAct(true, box, p); err != nil {
			t.Fatal(err)
		}
		// C1: a key put in counts only once the ledger has it.
		if r := e.lock("wanda", onBox(box)); len(r.Promised) > 0 && r.Promised[len(r.Promised)-1] == p {
			t.Errorf("%s is promised before the ledger has its key in the box", p)
		}
		w.settle()
	}
	wantGrant(t, e.lock("wanda", onBox(box)), held, leg, belt)
	wantGrant(t, w.yards["millrow"].lock("wanda", onBox(box)), unconfirmed)
	w.yards["millrow"].foundClosed(belt)
	wantGrant(t, e.lock("walt", onBox(box)), held, leg, belt) // not heard of yet: the limit decisions.md names
	w.settle()
	wantGrant(t, e.lock("walt", onBox(box)), live)
}

func TestC1BoxRemoveCountsAtOnce(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg, drag)
	for _, p := range []string{leg, drag} {
		if _, err := e.boxAct(true, box, p); err != nil {
			t.Fatal(err)
		}
	}
	w.settle()
	if _, err := e.boxAct(false, box, leg); err != nil {
		t.Fatal(err)
	}
	r := e.lock("wanda", onBox(box))
	wantGrant(t, r, held, drag)
	w.settle()
	for _, p := range r.Promised {
		if len(w.s.HoldsOn(p)) == 0 {
			t.Errorf("%s was promised and no hold covers it", p)
		}
	}
}

func TestMembershipOnlyAtTheBoxHome(t *testing.T) {
	w := newWorld(t)
	w.opened(belt)
	_, err := w.yards["millrow"].boxAct(true, box, belt)
	wantRefused(t, err, ledger.BoxNotHome)
	_, err = w.yards["eastfork"].boxAct(true, "eastfork/none", leg)
	wantRefused(t, err, ledger.UnknownBox)
}

func TestDecision4OwnUndrainedRecordsDecide(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.open(leg)
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	e.foundClosed(leg)
	wantGrant(t, e.lock("wanda", onPoint(leg)), live)
	e.open(leg)
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	w.settle()
	if w.s.Points[leg].Live {
		t.Error("the ledger has the point as live")
	}
}

func TestDecision4OpeningThatWillNotCountIsNone(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	v := e.y.Panel(leg)
	// abe is an affected employee: the opening is recorded and does not count.
	if _, err := e.capture(w.sign("abe", movedAs("isolate", leg, v)), v.Run); err != nil {
		t.Fatal(err)
	}
	wantGrant(t, e.lock("wanda", onPoint(leg)), live)
	w.settle()
	if !w.s.Points[leg].Live {
		t.Error("the ledger counted the opening: the yard should have too")
	}
}

func TestDecision4RevokedKeyOpensNothing(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.open(leg)
	w.direct("mia", says("revoke-key wanda wanda"))
	e.catchUp()
	wantGrant(t, e.lock("walt", onPoint(leg)), live)
	w.settle()
	if !w.s.Points[leg].Live {
		t.Error("the ledger counted the opening: the yard should have too")
	}
}

// Decision 3, as a journal from before might hold it: an Isolate that signed an
// older place than the FoundClosed before it.
func TestDecision3StaleOpeningInTheJournalIsNone(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	stale := e.y.Panel(leg)
	e.foundClosed(leg)
	e.force(w.sign("wanda", movedAs("isolate", leg, stale)))
	if r := e.lock("wanda", onPoint(leg)); r.Grant != live {
		t.Errorf("granted %v on a stale opening", r.Grant)
	}
	w.settle()
	if !w.s.Points[leg].Live {
		t.Error("the ledger counted the stale opening")
	}
}

func TestOpenRequestContests(t *testing.T) {
	w := newWorld(t)
	w.yards["eastfork"].job("j1", "eastfork/pit", leg, belt)
	w.opened(leg, belt)
	w.clear("j1")
	w.request("r1", "j1", leg, belt)
	w.catchUp()
	// C14: neither the own attestation, drained or not, nor time lifts it.
	wantGrant(t, w.yards["eastfork"].lock("wanda", onPoint(leg)), contested)
	w.now += 10 * 3_600_000
	wantGrant(t, w.yards["millrow"].lock("wanda", onPoint(belt)), contested)
	w.settle()
	if st := w.s.Reqs["r1"].State; st != recordv1.RequestState_REQUEST_STATE_VOID {
		t.Errorf("the request is %v after a lock on its points", st)
	}
	wantGrant(t, w.yards["eastfork"].lock("wanda", onPoint(leg)), held, leg)
}

func TestSignOnPromise(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	e.job("j1", "eastfork/pit", leg, belt)
	wantGrant(t, e.signOn("wanda", "j1"), live)
	w.opened(leg, belt)
	wantGrant(t, e.signOn("wanda", "j1"), live) // open and not held stops nothing
	e.lock("wanda", onPoint(leg))
	wantGrant(t, e.signOn("wanda", "j1"), live)
	m.lock("wanda", onPoint(belt))
	w.settle()
	e.release("wanda", 5) // the lock on leg: written here, so it no longer stops
	wantGrant(t, e.signOn("wanda", "j1"), live)
	e.lock("walt", onPoint(leg)) // an own undrained lock stops it again
	r := e.signOn("wanda", "j1")
	wantGrant(t, r, held, leg, belt)
	wantGrant(t, m.signOn("wanda", "j1"), unconfirmed)
	w.settle()
	if so := w.s.SignOns[r.Ref]; so == nil || len(so.Promised) != 2 {
		t.Errorf("the ledger has the sign-on as %v", so)
	}
	// Decision 9: any committed sign-on stands against a request.
	if cs := w.s.AgainstRequest("j1", 0, []string{leg}); len(cs) == 0 {
		t.Error("the ledger would let a request pass")
	}
}

func TestSignOnIsContestedByAnOpenRequest(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.job("j1", "eastfork/tunnel", drag)
	e.job("j2", "eastfork/tunnel", drag)
	w.opened(drag)
	w.clear("j1")
	w.clear("j2")
	w.request("r1", "j1", drag)
	e.catchUp()
	lock := e.lock("walt", onPoint(drag)) // so that energy is stopped
	wantGrant(t, lock, contested)
	wantGrant(t, e.signOn("walt", "j2"), contested)
}

func TestSignOnToAJobNotInTheLedgerGetsNoPromise(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(drag)
	e.lock("wanda", onPoint(drag))
	e.note("wanda", says("open-job j1 eastfork/tunnel %s crew=none", drag))
	wantGrant(t, e.signOn("wanda", "j1"), unconfirmed)
	w.settle()
	wantGrant(t, e.signOn("wanda", "j1"), held, drag)
}

// C4, as a journal from before might hold it: an opening of another yard's point
// is none.
func TestC4OpeningOfAForeignPointIsNone(t *testing.T) {
	w := newWorld(t)
	m := w.yards["millrow"]
	m.force(w.sign("wanda", movedAs("isolate", leg, m.y.Panel(leg))))
	wantGrant(t, m.lock("wanda", onPoint(leg)), live)
	w.settle()
	if !w.s.Points[leg].Live {
		t.Error("the ledger counted the opening")
	}
}

// The place that an opening signs counts an own Energise before it, drained or
// not: the yard and the ledger must agree.
func TestDecision3OpeningAfterAnEnergise(t *testing.T) {
	w := approved(t, "eastfork/tunnel", drag)
	e := w.yards["eastfork"]
	e.foundClosed(drag)
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	e.open(drag)
	here := e.y.Panel(drag).Position
	w.settle()
	if w.s.Points[drag].Live || here != recordv1.Position_POSITION_OPEN {
		t.Errorf("%v here, live %v in the ledger, want open in both", here, w.s.Points[drag].Live)
	}
}

// The ledger refuses an opening whose ticket another yard used first.
func TestDecision4OpeningWithAUsedTicketIsNone(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	e.open(leg)
	w.ticket--
	m.lock("wanda", onPoint(drag))
	m.drain()
	e.catchUp()
	wantGrant(t, e.lock("walt", onPoint(leg)), live)
	w.settle()
	if !w.s.Points[leg].Live {
		t.Error("the ledger counted the opening: the yard should have too")
	}
}

// C14: the own attestation, taken by the ledger, does not lift the fence.
func TestC14AttestedRequestStillContests(t *testing.T) {
	w := approved(t, "eastfork/tunnel", drag)
	wantGrant(t, w.yards["eastfork"].lock("wanda", onPoint(drag)), contested)
}
