package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestWhichLockStands: each lock that stands against a start says how it comes off. A
// found one is claimed by its owner first, 1910.147(c)(5)(ii) and (e)(3): a release of
// it is refused whoever signs, so it is never the way that is named.
func TestWhichLockStands(t *testing.T) {
	w := released(t)
	own := w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1"))).GetRef()
	found := w.must(w.journal("stonebend", "ravi", actFoundLock(feeder))).GetRef()
	yards := w.must(w.journal("stonebend", "mara", actEquipment(feeder, "", w.now+1e9))).GetRef()
	o := w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control))
	for c, ref := range map[code.Code]string{ledger.HoldStands: own, ledger.FoundLockStands: found, ledger.EquipmentLockStands: yards} {
		if !slices.ContainsFunc(o.GetConditions(), func(f *recordv1.Finding) bool {
			return code.Is(f, c) && f.GetSubject() == feeder && slices.Equal(code.Names(f, "record"), []string{ref})
		}) {
			t.Errorf("%s does not name %s: %v", c, ref, o.GetConditions())
		}
	}
	if r, _ := ledger.FoundLockStands.Row(); r.Next != "yardhasp claim draft {record} --witness WITNESS" {
		t.Errorf("the way off for a found lock is %q", r.Next)
	}
	for _, who := range []string{"lena", "ravi", "mara", "nia"} {
		w.refusedWith(w.journal("stonebend", who, actRelease(found)), ledger.NotClaimed)
	}
	w.must(w.together("tomas", actClaim(found, "mara")))
	o = w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control))
	if code.Has(o.GetConditions(), ledger.FoundLockStands) || !slices.ContainsFunc(o.GetConditions(), func(f *recordv1.Finding) bool {
		return code.Is(f, ledger.HoldStands) && slices.Equal(code.Names(f, "holder"), []string{"tomas"})
	}) {
		t.Errorf("claimed, and it stands as %v", o.GetConditions())
	}
	w.must(w.journal("stonebend", "tomas", actRelease(found)))
}

// TestUnknownTargets: a refusal names what is not known, the point or the box.
func TestUnknownTargets(t *testing.T) {
	w := drawn(t)
	w.keyBox()
	const noBox, noPoint = "stonebend/no-box", "stonebend/mcc-1/none"
	put := func(box, point string) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: box, Point: point}}}
	}
	for _, c := range []struct {
		act     *recordv1.Record
		code    code.Code
		subject string
	}{
		{actLock(noPoint, "", ""), ledger.UnknownPoint, noPoint},
		{actLockBox(noBox, "", ""), ledger.UnknownBox, noBox},
		{put(noBox, feeder), ledger.UnknownBox, noBox},
		{put(groupBox, noPoint), ledger.UnknownPoint, noPoint},
		{actTake(feeder), ledger.KeyNotInBox, feeder},
	} {
		if o := w.journal("stonebend", "mara", c.act); o.GetAccepted() || !has(o.GetConditions(), c.code, c.subject) {
			t.Errorf("%v: %v, want %s about %s", c.act, o.GetConditions(), c.code, c.subject)
		}
	}
}

// TestBrokenPromisesTogether: a yard that promised two points and has both on names
// both in its alarm (protocol.md 5): whoever reads it goes to both panels.
func TestBrokenPromisesTogether(t *testing.T) {
	w := drawn(t)
	w.keyBox()
	o := w.must(w.envelope("stonebend", &recordv1.Envelope{Grant: recordv1.Grant_GRANT_HELD_LOCALLY, Promised: []string{feeder, control},
		Body: &recordv1.Envelope_Signed{Signed: w.sign("ravi", actLockBox(groupBox, "ravi-1", ""))}}))
	for what, f := range map[string]*recordv1.Finding{"alarm": w.raised(ledger.PromiseBroken, o.GetRef()), "flag": firstOf(o.GetFlags(), ledger.PromiseBroken)} {
		if got := code.Names(f, "points"); !slices.Equal(got, []string{feeder, control}) {
			t.Errorf("the %s names %v", what, got)
		}
	}
	w.must(w.journal("stonebend", "ravi", actRelease(o.GetRef())))
	if w.raised(ledger.PromiseBroken, o.GetRef()) != nil {
		t.Error("the lock is off, and the alarm stands")
	}
}

func firstOf(fs []*recordv1.Finding, c code.Code) *recordv1.Finding {
	for _, f := range fs {
		if code.Is(f, c) {
			return f
		}
	}
	return nil
}
