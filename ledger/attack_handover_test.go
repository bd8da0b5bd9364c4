package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestHandOver: protection passes without a gap, 1910.147(f)(4): the lock of the
// one coming on is on before that of the one going off comes off.
func TestHandOver(t *testing.T) {
	w, holds := ready(t)
	a := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "boot-1"))).GetRef()
	b := w.must(w.journal("millrow", "tomas", actLock(control, "tomas-2", "boot-1"))).GetRef()
	// All or none: one bad pair, and none passes.
	w.refusedWith(w.together("tomas", actHandOver([]string{"lena"}, holds["lena "+feeder], a, holds["lena "+control], "millrow/1/9999")), "UNKNOWN_HOLD")
	if !w.s.Holds[holds["lena "+feeder]].Active() {
		t.Fatal("half a hand-over was taken")
	}
	w.must(w.together("tomas", actHandOver([]string{"lena"}, holds["lena "+feeder], a, holds["lena "+control], b)))
	for _, p := range []string{feeder, control} {
		if h := w.s.Holds[holds["lena "+p]]; h.Active() || !code.Is(h.How, ledger.OffByHandOver) || !slices.Equal(code.Names(h.How, "to"), []string{"tomas"}) {
			t.Errorf("lena's lock on %s: %+v", p, h)
		}
	}
	if !w.s.Holds[a].Active() || !w.s.Holds[b].Active() || !w.mayStart() {
		t.Errorf("protection has a gap: %v", w.s.MissingForWork(w.s.Jobs["boot-1"]))
	}
	w.refusedWith(w.together("tomas", actHandOver([]string{"lena"}, holds["lena "+feeder], a)), "ENDED")
}

// TestHandOverOfACrew: several people, each signing once.
func TestHandOverOfACrew(t *testing.T) {
	w, holds := ready(t)
	a := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "boot-1"))).GetRef()
	b := w.must(w.journal("stonebend", "mara", actLock(feeder, "mara-1", "boot-1"))).GetRef()
	pairs := []string{holds["lena "+feeder], a, holds["ravi "+feeder], b}
	w.refusedWith(w.together("tomas", actHandOver([]string{"lena", "ravi"}, pairs...)), "NOT_SIGNED")
	w.must(w.together("tomas", actHandOver([]string{"ravi", "lena", "mara"}, pairs...)))
	if !slices.Equal(code.Names(w.s.Holds[holds["ravi "+feeder]].How, "to"), []string{"mara"}) {
		t.Errorf("ravi's lock: %+v", w.s.Holds[holds["ravi "+feeder]])
	}
}

// TestHandOverWithAYoungerKey: the same key rule as for a release (design.md,
// Security).
func TestHandOverWithAYoungerKey(t *testing.T) {
	w, holds := ready(t)
	a := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "boot-1"))).GetRef()
	w.must(w.together("nia", actReissueKey("lena", "mallory")))
	w.keys["lena"] = key("mallory")
	w.refusedWith(w.together("tomas", actHandOver([]string{"lena"}, holds["lena "+feeder], a)), "KEY_NEWER_THAN_LOCK")
}

// TestClaim: an owner who was not known is identified before a supervisor; the lock
// is theirs from then on and ends like any other.
func TestClaim(t *testing.T) {
	w, _ := ready(t)
	o := w.must(w.journal("eastfork", "ravi", actFoundLock(feeder)))
	hold := o.GetRef()
	w.refusedWith(w.journal("stonebend", "tomas", actRelease(hold)), ledger.NotClaimed)
	// A key from before the claim will do: nobody's key put the lock on.
	w.must(w.together("nia", actReissueKey("tomas", "mallory")))
	w.keys["tomas"] = key("mallory")
	w.must(w.together("tomas", actClaim(hold, "mara")))
	v := w.s.HoldView(w.s.Holds[hold])
	if v.GetHolder() != "tomas" || v.GetFound() || len(v.GetFlags()) != 0 {
		t.Errorf("the claimed lock shows as %v", v)
	}
	if len(o.GetFlags()) != 1 {
		t.Errorf("the claim changed the outcome of the finding: %v", o.GetFlags())
	}
	w.refusedWith(w.together("lena", actClaim(hold, "mara")), ledger.LockHasOwner)
	w.refusedWith(w.journal("stonebend", "lena", actRelease(hold)), "NOT_YOUR_LOCK")
	before := w.s.Clone()
	w.must(w.journal("stonebend", "tomas", actRelease(hold)))
	w.s, w.last["stonebend"] = before, nil
	if hs := before.Yards["stonebend"].Hashes; len(hs) > 0 {
		w.last["stonebend"] = unhex(t, hs[len(hs)-1])
	}
	// A key from after the claim ends nothing.
	r := w.record("nia", actReissueKey("tomas", "mallory's other"))
	w.must(w.signedBy(r, w.keys["nia"], key("mallory's other")))
	w.keys["tomas"] = key("mallory's other")
	w.refusedWith(w.journal("stonebend", "tomas", actRelease(hold)), "KEY_NEWER_THAN_LOCK")
}

// TestReplacedKey: the old key signed the change, so the new one ends what the old
// one began, through any number of changes; the old one ends nothing any more
// (design.md, Security).
func TestReplacedKey(t *testing.T) {
	w, holds := ready(t)
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	late := w.record("lena", actRelease(holds["lena "+control]))
	old := w.keys["lena"]
	for _, name := range []string{"lena's second", "lena's third"} {
		w.must(w.signedBy(w.record("lena", actReplaceKey(name)), w.keys["lena"], key(name)))
		w.keys["lena"] = key(name)
	}
	if k := w.s.KeyOf(pub(old)); k.Revoked == 0 || w.s.LiveKey("lena") != w.s.KeyOf(pub(key("lena's third"))) {
		t.Error("the old key lives on, or the new one does not")
	}
	// What the old key signed while it was good, and a yard delivers only now.
	w.refusedWith(w.envelope("stonebend", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{
		Signed: signed(t, seal.RecordDomain, marshal(t, late), old)}}), "KEY_REVOKED")
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	w.must(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder])))
	w.keys["lena"] = old
	w.refusedWith(w.journal("stonebend", "lena", actRelease(holds["lena "+control])), "KEY_REVOKED")
}

// TestReissuedKey: a manager's word gives a new key, and no way to the locks and
// sign-ons that were on before it.
func TestReissuedKey(t *testing.T) {
	w, holds := ready(t)
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	old := w.keys["lena"]
	w.must(w.together("nia", actReissueKey("lena", "mallory")))
	w.keys["lena"] = key("mallory")
	if w.s.KeyOf(pub(old)).Revoked == 0 || w.s.LiveKey("lena") != w.s.KeyOf(pub(key("mallory"))) {
		t.Error("the lost key lives on, or the new one does not")
	}
	w.refusedWith(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder])), "KEY_NEWER_THAN_LOCK")
	w.refusedWith(w.journal("stonebend", "lena", actSignOff(on)), ledger.KeyNewerThanEntry)
	// Nor by a replacement of the reissued key.
	w.must(w.signedBy(w.record("lena", actReplaceKey("mallory's other")), w.keys["lena"], key("mallory's other")))
	w.keys["lena"] = key("mallory's other")
	w.refusedWith(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder])), "KEY_NEWER_THAN_LOCK")
	hold := w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1"))).GetRef()
	w.must(w.journal("stonebend", "lena", actRelease(hold)))
}
