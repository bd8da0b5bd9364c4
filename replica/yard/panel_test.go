package yard

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// goAhead brings drag to a shown go-ahead.
func goAhead(t *testing.T) (*world, *site) {
	t.Helper()
	w := approved(t, "eastfork/tunnel", drag)
	e := w.yards["eastfork"]
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	if v := e.y.Panel(drag); v.GoAhead {
		t.Fatal("go-ahead before the ledger has the energising")
	}
	e.drain()
	if v := e.y.Panel(drag); v.GoAhead {
		t.Fatal("go-ahead before the yard has applied it")
	}
	e.catchUp()
	if v := e.y.Panel(drag); !v.GoAhead || v.Request != "r1" {
		t.Fatalf("no go-ahead: %v", v.Against)
	}
	return w, e
}

func wantNoGo(t *testing.T, e *site, because code.Code) {
	t.Helper()
	v := e.y.Panel(drag)
	if v.GoAhead {
		t.Fatal("the go-ahead is still shown")
	}
	if !code.Has(v.Against, because) {
		t.Errorf("against it stands: %v, want %s", v.Against, because)
	}
}

// Decision 6 and protocol.md 3.4: each of these withdraws a go-ahead at once,
// before the ledger hears of it.
func TestDecision6GoAheadIsWithdrawn(t *testing.T) {
	for _, c := range []struct {
		name string
		why  code.Code
		do   func(w *world, e *site)
	}{
		{"C3: by an opening", NotAskedHere, func(w *world, e *site) { e.open(drag) }},
		{"by found closed", NotAskedHere, func(w *world, e *site) { e.foundClosed(drag) }},
		{"by a start found", NotAskedHere, func(w *world, e *site) { e.foundStarted(leg, drag) }},
		{"by the closing reported", NotAskedHere, func(w *world, e *site) {
			v := e.y.Panel(drag)
			if _, err := e.capture(w.sign("walt", movedAs("closed", drag, v)), v.Run); err != nil {
				w.t.Fatal(err)
			}
		}},
		{"by an own lock", LockWrittenHere, func(w *world, e *site) { e.lock("wanda", onPoint(drag)) }},
		{"by an own found lock", FoundLockWrittenHere, func(w *world, e *site) {
			e.note("wanda", says("found-lock %s", drag))
		}},
		{"by a lock of another yard", ledger.HoldStands, func(w *world, e *site) {
			w.yards["millrow"].lock("wanda", onPoint(drag))
			w.yards["millrow"].drain()
			e.catchUp()
		}},
		{"by a sign-on here", SignOnWrittenHere, func(w *world, e *site) { e.signOn("wanda", "j1") }},
		{"by a sign-on to a job nobody knows", SignOnWrittenHere, func(w *world, e *site) { e.signOn("wanda", "j9") }},
		{"by a sign-on elsewhere", ledger.InZone, func(w *world, e *site) {
			w.yards["millrow"].signOn("wanda", "j1")
			w.yards["millrow"].drain()
			e.catchUp()
		}},
		{"1910.272(q)(1): by a choke found here", ChokeWrittenHere, func(w *world, e *site) { e.choked("eastfork/tunnel") }},
		{"1910.272(q)(1): by a choke found elsewhere", ledger.Choked, func(w *world, e *site) {
			w.yards["millrow"].choked("eastfork/tunnel")
			w.yards["millrow"].drain()
			e.catchUp()
		}},
		{"by leaving service", OutOfService, func(w *world, e *site) { e.y.Broken("no space") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, e := goAhead(t)
			c.do(w, e)
			wantNoGo(t, e, c.why)
			w.settle()
			if e.y.Panel(drag).GoAhead {
				t.Error("it came back once drained")
			}
		})
	}
}

func TestDecision6GoAheadLivesInMemory(t *testing.T) {
	_, e := goAhead(t)
	e.restart("run1")
	e.catchUp()
	wantNoGo(t, e, NotAskedHere)
	// An Energise in flight while serving ends, too: isolate and request again.
	w := approved(t, "eastfork/tunnel", drag)
	e = w.yards["eastfork"]
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	away := w.s.Clone()
	away.Yards["eastfork"].Epoch = 2
	e.see(away, uint64(len(w.entries)))
	w.settle()
	if !w.s.Points[drag].Live {
		t.Fatal("the energising was not accepted")
	}
	wantNoGo(t, e, NotAskedHere)
}

func TestStateGoingBackEndsTheRun(t *testing.T) {
	w, e := goAhead(t)
	run := e.y.Panel(drag).Run
	n := len(w.entries)
	w.direct("mia", says("register-box eastfork/box9"))
	e.catchUp()
	if !e.y.Panel(drag).GoAhead || e.y.Panel(drag).Run != run {
		t.Fatal("an entry that has nothing to do with it ended the go-ahead")
	}
	e.see(w.stateAt(n), uint64(n))
	if v := e.y.Panel(drag); v.GoAhead || v.Run == run {
		t.Errorf("the state went back and the run goes on: %+v", v)
	}
}

func TestVoidRequestGivesNoGoAhead(t *testing.T) {
	// Of two points of a request one is energised, then the request is withdrawn.
	w := approved(t, "eastfork/pit", leg, drag)
	e := w.yards["eastfork"]
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	e.drain()
	e.catchUp()
	if !e.y.Panel(drag).GoAhead {
		t.Fatalf("no go-ahead: %v", e.y.Panel(drag).Against)
	}
	w.direct("mia", says("withdraw r1"))
	e.catchUp()
	wantNoGo(t, e, ledger.NotApproved)
}

func TestRefusedEnergiseGivesNoGoAhead(t *testing.T) {
	w := approved(t, "eastfork/tunnel", drag)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	m.lock("wanda", onPoint(drag)) // drains first and voids the request
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	m.drain()
	e.drain()
	e.catchUp()
	if w.s.Points[drag].Live {
		t.Fatal("energised over a lock")
	}
	wantNoGo(t, e, EnergiseNotAccepted)
	// The word comes from the ledger's acceptance, not from the switch being live.
	e.foundClosed(drag)
	w.settle()
	wantNoGo(t, e, NotAskedHere)
}

func TestEnergiseIsRefusedAtThePanel(t *testing.T) {
	for _, c := range []struct {
		name string
		code code.Code
		do   func(w *world, e *site)
	}{
		{"no such request", ledger.NotApproved, func(w *world, e *site) {
			w.direct("mia", says("withdraw r1"))
			e.catchUp()
		}},
		{"asked already", EnergiseUnderWay, func(w *world, e *site) {
			if _, err := e.energise(drag, "r1"); err != nil {
				w.t.Fatal(err)
			}
		}},
		{"energised already", ledger.NotRequested, func(w *world, e *site) {
			if _, err := e.energise(drag, "r1"); err != nil {
				w.t.Fatal(err)
			}
			w.settle()
		}},
		{"an own lock on a box that the key went into", LockWrittenHere, func(w *world, e *site) {
			if _, err := e.boxAct(true, box, drag); err != nil {
				w.t.Fatal(err)
			}
			e.lock("wanda", onBox(box))
		}},
		{"an own lock not drained", LockWrittenHere, func(w *world, e *site) { e.lock("wanda", onPoint(drag)) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := approved(t, "eastfork/tunnel", drag)
			e := w.yards["eastfork"]
			c.do(w, e)
			_, err := e.energise(drag, "r1")
			wantRefused(t, err, c.code)
		})
	}
	w := approved(t, "eastfork/tunnel", drag)
	_, err := w.yards["eastfork"].capture(w.sign("walt", says("energise r1 %s", drag)), "")
	wantRefused(t, err, "OTHER_RUN")
}

// protocol.md 2b, "energise in flight, capture journaled".
func TestEnergiseThenLockIsContested(t *testing.T) {
	w := approved(t, "eastfork/tunnel", drag)
	e := w.yards["eastfork"]
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	wantGrant(t, e.lock("wanda", onPoint(drag)), contested)
	// The request ends elsewhere before the Energise drains: the lock behind it is
	// still no promise.
	w.direct("mia", says("withdraw r1"))
	e.catchUp()
	wantGrant(t, e.lock("wanda", onPoint(drag)), contested)
	w.settle()
	wantGrant(t, e.lock("wanda", onPoint(drag)), held, drag)
}

func TestLockOnALivePointIsNoPromise(t *testing.T) {
	_, e := goAhead(t)
	wantGrant(t, e.lock("wanda", onPoint(drag)), live)
}

// A closing under a go-ahead does not change what an Isolate signs: an opening
// handed out before it must still not be taken after it.
func TestOpeningFromBeforeAClosingIsNotTaken(t *testing.T) {
	w, e := goAhead(t)
	v := e.y.Panel(drag)
	late := w.sign("wanda", movedAs("isolate", drag, v))
	if _, err := e.capture(w.sign("walt", movedAs("closed", drag, v)), v.Run); err != nil {
		t.Fatal(err)
	}
	_, err := e.capture(late, v.Run)
	wantRefused(t, err, "OTHER_RUN")
	wantGrant(t, e.lock("wanda", onPoint(drag)), live)
}

func TestPanelPositions(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	want := func(p string, pos recordv1.Position) {
		t.Helper()
		if v := e.y.Panel(p); v.Position != pos || v.GoAhead {
			t.Errorf("%s: %v, want %v; go-ahead %v", p, v.Position, pos, v.GoAhead)
		}
	}
	want(leg, recordv1.Position_POSITION_LIVE)
	e.open(leg)
	want(leg, recordv1.Position_POSITION_OPEN)
	r := e.lock("wanda", onPoint(leg))
	want(leg, recordv1.Position_POSITION_OPEN_AND_HELD)
	e.release("wanda", r.Seq)
	want(leg, recordv1.Position_POSITION_OPEN)
	want("eastfork/mcc/none", recordv1.Position_POSITION_UNSPECIFIED)
	if v := e.y.Panel(belt); v.GoAhead || v.Position != recordv1.Position_POSITION_LIVE {
		t.Errorf("another yard's point: %+v", v)
	}
	e.y.Broken("no space")
	want(leg, recordv1.Position_POSITION_UNSPECIFIED)
}

// I7 of the protocol's model: a sign-on that was promised stands against the
// start even when its job was closed elsewhere before the ledger heard of it.
func TestPromisedSignOnToAJobClosedElsewhere(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	e.job("j1", "eastfork/tunnel", drag)
	e.job("j2", "eastfork/tunnel", drag)
	w.opened(drag)
	hold := e.note("walt", says("lock %s job=j2", drag))
	w.settle()
	r := e.signOn("walt", "j1")
	wantGrant(t, r, held, drag)
	m.note("wanda", says("close-job j1"))
	m.drain()
	e.release("walt", hold.Seq)
	w.settle()
	if !w.s.Jobs["j1"].Closed.Set() {
		t.Fatal("the job is still open")
	}
	against := e.y.Panel(drag).Against
	if !slices.ContainsFunc(against, func(f *recordv1.Finding) bool { return slices.Contains(code.Names(f, "record"), r.Ref) }) {
		t.Errorf("the sign-on is not among what stands against a start: %v", against)
	}
}

func TestOwnLockOnABoxStandsAgainstItsPoints(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	e.open(drag)
	if _, err := e.boxAct(true, box, drag); err != nil {
		t.Fatal(err)
	}
	w.settle()
	e.lock("wanda", onBox(box))
	if got := e.y.scene().ownLock(drag); !code.Is(got, LockWrittenHere) || !slices.Equal(code.Names(got, "holder"), []string{"wanda"}) {
		t.Errorf("own lock on %s: %v", drag, got)
	}
	if got := e.y.scene().ownLock(leg); got != nil {
		t.Errorf("own lock on %s: %v", leg, got)
	}
}
