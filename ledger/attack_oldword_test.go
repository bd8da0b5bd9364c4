package ledger_test

import "testing"

// TestRemovalPostdated: a time of capture far ahead does not keep a removal fresh.
func TestRemovalPostdated(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	r := w.record("nia", actRemoval(holds["lena "+feeder], "oskar"))
	r.CapturedUnixMs = w.now + 10*day
	w.now += 5 * 60 * minute
	w.refusedWith(w.signedBy(r, w.keys["nia"], w.keys["oskar"]), "CLOCK_DOUBT")
}

// TestAcknowledgedBeforehand: nobody can have been told of a removal before it was
// ordered, 1910.147(e)(3)(iii).
func TestAcknowledgedBeforehand(t *testing.T) {
	w, hold := absent(t)
	r := w.record("tomas", actAcknowledge(hold))
	w.now += 60 * minute
	w.must(w.together("nia", actRemoval(hold, "oskar")))
	w.refusedWith(w.signedBy(r, w.keys["tomas"]), "NOT_SEEN")
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
		code := "TOO_OLD"
		if ahead > 0 {
			code = "CLOCK_DOUBT"
		}
		w.refusedWithText(w.signedBy(r, w.keys["nia"], w.keys["ines"], key("second disk")), code)
		w.must(w.recoverWith(w.walkdown("second disk"), w.keys["nia"], w.keys["ines"], key("second disk")))
	}
}
