package yard

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (st *site) foundStarted(points ...string) *Reply {
	st.w.t.Helper()
	return st.note("walt", says("found-started %s \"the leg was jogged\"", points))
}

// A start found counts for this yard's own points like a point found closed, from
// the moment it is written (decisions.md 3 and 4), and not at all for another
// yard's (protocol.md C4).
func TestFoundStartedCountsAtOnce(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg, drag)
	stale := e.y.Panel(leg)
	e.foundStarted(leg)
	wantGrant(t, e.lock("wanda", onPoint(leg)), live)
	wantGrant(t, e.lock("wanda", onPoint(drag)), held, drag)
	if v := e.y.Panel(leg); v.Position != recordv1.Position_POSITION_LIVE || v.Moved == stale.Moved {
		t.Errorf("the panel shows %v", v)
	}
	if _, err := e.capture(w.sign("wanda", movedAs("isolate", leg, stale)), stale.Run); err == nil {
		t.Error("an opening from before the start was taken")
	}
	e.force(w.sign("wanda", movedAs("isolate", leg, stale)))
	wantGrant(t, e.lock("wanda", onPoint(leg)), live)
	w.settle()
	if !w.s.Points[leg].Live || w.s.Points[drag].Live {
		t.Error("the ledger says otherwise than the yard did")
	}
	e.open(leg)
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
}

func TestFoundStartedOfAForeignPoint(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	w.opened(leg)
	before := m.y.Panel(leg)
	m.foundStarted(leg, "eastfork/no/such")
	if v := m.y.Panel(leg); v.Position != before.Position || v.Moved != before.Moved {
		t.Errorf("another yard's journal moved it: %v", v)
	}
	wantGrant(t, e.lock("wanda", onPoint(leg)), held, leg)
	w.settle()
	if w.s.Points[leg].Live || len(w.s.Started) != 1 {
		t.Error("the ledger says otherwise than the yard did")
	}
}

// A hold that two managers ended, or that was handed over, ends a promise when the
// ledger ends it and not before; the lock that stays goes on protecting.
func TestEndedByOthers(t *testing.T) {
	for name, pairs := range map[string]bool{"removed": false, "handed over": true} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t)
			w.person("max", recordv1.Role_ROLE_MANAGER)
			e := w.yards["eastfork"]
			w.opened(leg)
			off, on := e.lock("wanda", onPoint(leg)), e.lock("walt", onPoint(leg))
			w.settle()
			if got := len(e.y.scene().standing(leg, nil)); got != 2 {
				t.Fatalf("%d stand against closing it, want 2", got)
			}
			hold := func(r *Reply) *recordv1.JournalRef {
				return &recordv1.JournalRef{Yard: "eastfork", Epoch: 1, Seq: r.Seq}
			}
			r := w.rec("mia", says("removal %s max", hold(off)))
			signers := []string{"mia", "max"}
			if pairs {
				r = w.rec("wanda", says("hand-over {%s %s} walt", hold(off), hold(on)))
				signers = []string{"wanda", "walt"}
			}
			w.must(w.commit(ledger.DirectEntry(signWith(t, seal.RecordDomain, marshal(t, r), signers...))))
			if got := len(e.y.scene().standing(leg, nil)); got != 2 {
				t.Errorf("%d stand against closing it before this yard has heard, want 2", got)
			}
			w.settle()
			if got := len(e.y.scene().standing(leg, nil)); got != 1 || e.y.Panel(leg).Position != recordv1.Position_POSITION_OPEN_AND_HELD {
				t.Errorf("%d stand against closing it, want 1", got)
			}
		})
	}
}
