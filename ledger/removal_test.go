package ledger_test

import (
	"testing"

	"yardhasp/ledger"
)

// TestUnacknowledgedOutlivesTheHold: the state forgets an ended hold, never that its
// holder was not told.
func TestUnacknowledgedOutlivesTheHold(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	w.must(w.together("nia", actRemoval(holds["lena "+feeder], "oskar")))
	again, err := ledger.Restore(w.s.AppendCanonical(nil))
	if err != nil {
		t.Fatal(err)
	}
	delete(again.Holds, holds["lena "+feeder])
	w.s = again
	if o := w.must(w.journal("millrow", "lena", actSignOn("boot-1"))); !flagged(o, ledger.NotAcknowledged) {
		t.Error("the removal that she was not told of did not come back with the state")
	}
	w.must(w.direct("lena", actAcknowledge(holds["lena "+feeder])))
}
