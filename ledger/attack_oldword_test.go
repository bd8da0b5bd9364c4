package ledger_test

import (
	"testing"

	"yardhasp/ledger"
)

// TestRemovalPostdated: a time of capture far ahead does not keep a removal fresh.
func TestRemovalPostdated(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	r := w.record("nia", actRemoval(holds["lena "+feeder], "oskar"))
	r.CapturedUnixMs = w.now + 10*day
	w.now += 5 * 60 * minute
	w.refusedWith(w.signedBy(r, w.keys["nia"], w.keys["oskar"]), ledger.Postdated)
}

// TestAcknowledgedBeforehand: nobody can have been told of a removal before it was
// ordered, 1910.147(e)(3)(iii).
func TestAcknowledgedBeforehand(t *testing.T) {
	w, hold := absent(t)
	r := w.record("tomas", actAcknowledge(hold))
	w.now += 60 * minute
	w.must(w.together("nia", actRemoval(hold, "oskar")))
	w.refusedWith(w.signedBy(r, w.keys["tomas"]), ledger.RemovalNotSeen)
	w.must(w.direct("tomas", actAcknowledge(hold)))
}

// TestWalkdownLeftLying: a walkdown says who is inside and what hangs when it was
// walked, not weeks after; nor with a time of capture ahead of the ledger's.
func TestWalkdownLeftLying(t *testing.T) {
	for _, ahead := range []int64{0, 40 * day} {
		w, _ := ready(t)
		w.managed()
		r := w.record("nia", actRecover(w.walkdown("second disk")))
		r.CapturedUnixMs += ahead
		w.now += 20 * day
		want := ledger.WalkdownTooOld
		if ahead > 0 {
			want = ledger.Postdated
		}
		w.refusedWith(w.signedBy(r, w.keys["nia"], w.keys["ines"], key("second disk")), want)
		w.must(w.recoverWith(w.walkdown("second disk"), w.keys["nia"], w.keys["ines"], key("second disk")))
	}
}
