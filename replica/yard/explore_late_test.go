package yard

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestOpeningFromBeforeTheEnergisingIsNotTakenAfterIt: an opening is signed at the
// panel, its message stays under way; the ledger takes the energising that was
// asked for before, the go-ahead shows, somebody closes under it and records
// nothing yet. Then the opening arrives. Nothing it signed has changed, and the
// switch is closed (decisions.md 3; found by TestExplore).
func TestOpeningFromBeforeTheEnergisingIsNotTakenAfterIt(t *testing.T) {
	w := approved(t, "eastfork/tunnel", drag)
	e := w.yards["eastfork"]
	if _, err := e.energise(drag, "r1"); err != nil {
		t.Fatal(err)
	}
	v := e.y.Panel(drag)
	opening := w.sign("wanda", movedAs("isolate", drag, v))
	w.settle()
	if got := e.y.Panel(drag); !got.GoAhead || got.Moved != v.Moved {
		t.Fatalf("the panel shows %+v", got)
	}
	_, err := e.capture(opening, v.Run)
	wantRefused(t, err, "OTHER_RUN")
	if p := e.y.Panel(drag); p.Position != recordv1.Position_POSITION_LIVE {
		t.Errorf("the panel shows %v", p.Position)
	}
}

// TestSignOnCountsWhatAnOlderDrawingShows: a revision leaves the shaft out, by
// which the belt reaches the pit. It has not taken effect for people (decisions.md
// 9), so a request for the belt stands against a promise at sign-on, and the belt
// is in what is promised without one (found by TestExplore).
func TestSignOnCountsWhatAnOlderDrawingShows(t *testing.T) {
	for _, requested := range []bool{false, true} {
		b := &bounds{name: "narrowed", shaft: true, guarded: true}
		w := layOut(t, b)
		m := w.yards["millrow"]
		for ref, h := range w.s.Holds {
			if h.Point == belt {
				m.note("walt", offOf(&claim{ref: ref}))
			}
		}
		m.note("walt", noteOf("tell", "j1"))
		w.level()
		d := millrowDrawing()
		d.Revision, d.Links = 2, d.Links[:1]
		w.publish(d)
		if requested {
			w.request("r1", "j1", belt)
		}
		w.level()
		r := w.yards["eastfork"].signOn("wanda", "j2")
		if requested {
			wantGrant(t, r, contested)
		} else {
			wantGrant(t, r, held, leg, belt)
		}
	}
}

// TestSignOnWhileNarrowingWaits: the pit's yard has written down that the belt reaches
// it no longer. Until the ledger has that, nothing is promised at sign-on there; then
// the belt is out of what is promised (decisions.md 9).
func TestSignOnWhileNarrowingWaits(t *testing.T) {
	w := layOut(t, &bounds{name: "trimmed", shaft: true, guarded: true, trims: 1})
	e := w.yards["eastfork"]
	trim := says("narrow-zone eastfork/pit %s", belt)
	wantGrant(t, e.signOn("wanda", "j2"), held, leg, belt)
	w.level()
	e.note("wanda", offOf(&claim{ref: sorted(w.s.SignOns)[0], signOn: true}))
	w.level()
	e.note("mia", trim)
	wantGrant(t, e.signOn("wanda", "j2"), contested)
	w.level()
	wantGrant(t, e.signOn("wanda", "j2"), held, leg)
	_, err := w.yards["millrow"].capture(w.sign("mia", trim), "")
	wantRefused(t, err, ledger.ZoneNotHome)
}

// TestClosingAfterAnOpeningCounts: somebody saw the go-ahead, somebody else opened the
// point, and the first one closed it all the same and recorded that. The ledger takes
// it for found closed; here it is live from the moment it is written (decisions.md 4),
// whether or not the ledger has the opening.
func TestClosingAfterAnOpeningCounts(t *testing.T) {
	for _, drained := range []bool{false, true} {
		w := layOut(t, &bounds{name: "closed", live: []string{belt}})
		m := w.yards["millrow"]
		m.open(belt)
		if drained {
			w.level()
		}
		v := m.y.Panel(belt)
		if _, err := m.capture(w.sign("walt", movedAs("closed", belt, v)), v.Run); err != nil {
			t.Fatal(err)
		}
		if p := m.y.Panel(belt); p.Position != recordv1.Position_POSITION_LIVE {
			t.Errorf("the panel shows %v", p.Position)
		}
		wantGrant(t, m.note("wanda", lockOf(onPoint(belt))), live)
		w.level()
		if !w.s.Points[belt].Live {
			t.Error("the ledger has it open")
		}
		m.open(belt) // the same handle is opened again
		wantGrant(t, m.note("wanda", lockOf(onPoint(belt))), held, belt)
	}
}
