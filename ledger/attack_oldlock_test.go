package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestKeyGivenWhileTheLockWasUnderWay: lena locks and signs on at a yard that is
// cut off; meanwhile a manager gives her a new key, or has one made that passes
// for hers. The lock and the sign-on come to the ledger after that key, and it
// ends neither: they went on with the old one (design.md, Security; found by
// TestExplore). A key that the old one signed for ends both.
func TestKeyGivenWhileTheLockWasUnderWay(t *testing.T) {
	for _, replaced := range []bool{false, true} {
		w, holds := ready(t)
		lock, on := w.sign("lena", actLock(feeder, "lena-1", "")), w.sign("lena", actSignOn("boot-1"))
		off := w.sign("lena", actRelease(holds["lena "+feeder]))
		change := actReissueKey("lena", "mallory")
		by := "nia"
		if replaced {
			change, by = actReplaceKey("mallory"), "lena"
		}
		w.must(w.together(by, change))
		late := func(signed []byte) *recordv1.Outcome {
			return w.envelope("stonebend", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: signed}})
		}
		hold := w.must(late(lock)).GetRef()
		inside := w.must(late(on)).GetRef()
		w.refusedWith(late(off), "KEY_REVOKED")
		w.keys["lena"] = key("mallory")
		for _, act := range []func() bool{
			func() bool { return w.journal("millrow", "lena", actSignOff(inside)).GetAccepted() },
			func() bool { return w.journal("millrow", "lena", actRelease(hold)).GetAccepted() },
		} {
			if got := act(); got != replaced {
				t.Errorf("replaced %v: ended %v", replaced, got)
			}
		}
		if w.s.Holds[hold].Active() == replaced {
			t.Errorf("replaced %v: the lock is on: %v", replaced, w.s.Holds[hold].Active())
		}
		back, err := ledger.Restore(w.s.AppendCanonical(nil))
		if err != nil || back.Holds[hold].Since != w.s.Holds[hold].Since {
			t.Errorf("what a key must not be younger than is lost in a snapshot: %v", err)
		}
	}
}

// TestOneHandClaimsAndRecoversNothing: a manager who gives somebody a new key could
// keep it. With it and the own one nobody claims a found lock, to take it off
// after, and nobody says what hangs at a yard that lost its journal (found by
// TestExplore).
func TestOneHandClaimsAndRecoversNothing(t *testing.T) {
	w, _ := ready(t)
	w.managed()
	hold := w.must(w.journal("eastfork", "ravi", actFoundLock(feeder))).GetRef()
	w.must(w.together("nia", actReissueKey("tomas", "mallory")))
	w.keys["tomas"] = key("mallory")
	w.refusedWith(w.together("tomas", actClaim(hold, "nia")), "ONE_HAND")
	w.must(w.together("tomas", actClaim(hold, "mara")))

	second := w.record("nia", actReissueKey("ines", "mallory's other"))
	w.must(w.signedBy(second, w.keys["nia"], key("mallory's other")))
	w.keys["ines"] = key("mallory's other")
	w.refusedWith(w.recoverWith(w.walkdown("second disk"), w.keys["nia"], w.keys["ines"], key("second disk")), "ONE_HAND")
}
