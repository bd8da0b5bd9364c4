package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestPersonalPadlock: a lock is singularly identified and opened by its holder
// alone, 1910.147(c)(5)(ii). What breaks that is flagged on the lock's own record
// and where it hangs, and the lock counts all the same (design.md rule 1).
func TestPersonalPadlock(t *testing.T) {
	const alike, numbers, equipment = recordv1.PadlockKind_PADLOCK_KIND_KEYED_ALIKE, recordv1.PadlockKind_PADLOCK_KIND_COMBINATION, recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT
	for _, c := range []struct {
		name string
		p    *recordv1.RegisterPadlock
		code code.Code
	}{
		{"keyed alike", &recordv1.RegisterPadlock{KeysCut: 1, Kind: alike}, ledger.KeyedAlike},
		{"combination", &recordv1.RegisterPadlock{Kind: numbers}, ledger.Combination},
		{"equipment", &recordv1.RegisterPadlock{KeysCut: 1, Kind: equipment}, ledger.EquipmentPadlock},
		{"spare not said", &recordv1.RegisterPadlock{KeysCut: 2}, ledger.SpareKey},
		{"spare elsewhere", &recordv1.RegisterPadlock{KeysCut: 2, Spare: recordv1.SpareKey_SPARE_KEY_ELSEWHERE, SpareHolder: "tomas"}, ledger.SpareKey},
		{"spare with no manager", &recordv1.RegisterPadlock{KeysCut: 2, Spare: recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY, SpareHolder: "tomas"}, ledger.SpareKeyNoManager},
		{"spare with a manager", &recordv1.RegisterPadlock{KeysCut: 2, Spare: recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY, SpareHolder: "nia"}, ""},
		{"spare destroyed", &recordv1.RegisterPadlock{KeysCut: 2, Spare: recordv1.SpareKey_SPARE_KEY_DESTROYED}, ""},
		{"one key", &recordv1.RegisterPadlock{KeysCut: 1, Kind: recordv1.PadlockKind_PADLOCK_KIND_SINGLE_KEY}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := drawn(t)
			w.openJob()
			w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
			c.p.Serial, c.p.Owner = "p-9", "ravi"
			o := w.padlock(c.p)
			on := w.must(w.journal("stonebend", "ravi", actLock(feeder, "p-9", "boot-1")))
			record, shown := w.s.PadlockView("p-9").GetFlags(), w.onBoard(on.GetRef())
			if c.code == "" {
				if len(o.GetFlags())+len(on.GetFlags())+len(shown.GetStanding()) > 0 {
					t.Fatalf("flagged: %v, %v, %v", o.GetFlags(), on.GetFlags(), shown.GetStanding())
				}
				return
			}
			// A yard's equipment lock is in order until somebody takes it for their own.
			if yards := c.p.GetKind() == equipment; flagIn(record, c.code) == yards || flagged(o, c.code) == yards {
				t.Errorf("%s on the lock's own record: %v, at its registration: %v", c.code, record, o.GetFlags())
			}
			if !flagged(on, c.code) || !flagIn(shown.GetStanding(), c.code) {
				t.Errorf("not flagged %s at the lock %v and on the board %v", c.code, on.GetFlags(), shown.GetStanding())
			}
			if !w.s.Holds[on.GetRef()].Active() || !shown.GetGuards() {
				t.Error("the flagged lock does not count")
			}
		})
	}
}

// TestSpareKeyCustody: each time the spare key leaves custody the record names the
// removal that it was taken for (common practice, no source). That it is out counts
// by anybody's word; that it is back, by a manager's alone.
func TestSpareKeyCustody(t *testing.T) {
	const out, back, gone = recordv1.KeyMove_KEY_MOVE_TAKEN_OUT, recordv1.KeyMove_KEY_MOVE_PUT_BACK, recordv1.KeyMove_KEY_MOVE_DESTROYED
	w := drawn(t)
	w.joinPerson(person("otto", false, manager))
	w.padlock(&recordv1.RegisterPadlock{Serial: "p-9", Owner: "lena", KeysCut: 2, Spare: recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY, SpareHolder: "nia"})
	hold := w.must(w.journal("stonebend", "lena", actLock(feeder, "p-9", ""))).GetRef()
	o := w.must(w.direct("dov", actMoveKey("p-9", out, "dov", hold)))
	if !flagged(o, ledger.SpareKeyTaken) || !flagIn(w.onBoard(hold).GetStanding(), ledger.SpareKeyTaken) || w.s.PadlockView("p-9").GetSpareHolder() != "dov" {
		t.Fatalf("the lock stands, so no removal was its reason: %v", o.GetFlags())
	}
	if o := w.must(w.direct("mara", actMoveKey("p-9", back, "nia", ""))); !flagged(o, ledger.NotPermitted) || !flagIn(w.s.PadlockView("p-9").GetFlags(), ledger.SpareKey) {
		t.Error("a supervisor's word put the key back into custody")
	}
	if o := w.must(w.direct("nia", actMoveKey("p-9", back, "mara", ""))); !flagged(o, ledger.SpareKeyNoManager) {
		t.Error("custody of somebody who is no manager passes")
	}
	w.must(w.direct("nia", actMoveKey("p-9", back, "nia", "")))
	if fs := w.s.PadlockView("p-9").GetFlags(); len(fs) > 0 {
		t.Fatalf("back in custody and flagged still: %v", fs)
	}
	w.must(w.together("nia", &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: ref(hold), Second: "otto", NotHere: "walked both yards", TriedToReach: "called twice"}}}))
	if o := w.must(w.direct("nia", actMoveKey("p-9", out, "nia", hold))); flagged(o, ledger.SpareKeyTaken) {
		t.Error("taken out for a recorded removal of this padlock, and flagged")
	}
	if !flagIn(w.s.PadlockView("p-9").GetFlags(), ledger.SpareKey) {
		t.Error("the spare key is out, and its lock's record does not say so")
	}
	if o := w.must(w.direct("nia", actMoveKey("lena-1", out, "nia", hold))); !flagged(o, ledger.SpareKeyTaken) {
		t.Error("the removal of another padlock passes as the reason")
	}
	w.must(w.direct("nia", actMoveKey("p-9", gone, "", "")))
	if fs := w.s.PadlockView("p-9").GetFlags(); len(fs) > 0 {
		t.Errorf("destroyed and flagged still: %v", fs)
	}
}

// TestIssueAndReturn: a padlock shows who has it, 1910.147(c)(5)(ii)(D); handing it
// over on paper changes no hold.
func TestIssueAndReturn(t *testing.T) {
	w := drawn(t)
	hold := w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", ""))).GetRef()
	if o := w.must(w.direct("mara", actIssue("ravi-1", "tomas"))); !flagged(o, ledger.StillHanging) {
		t.Error("issued to another while it hangs, and not flagged")
	}
	w.refusedWith(w.journal("stonebend", "tomas", actRelease(hold)), ledger.NotYourLock)
	if h := w.s.Holds[hold]; !h.Active() || h.Holder != "ravi" {
		t.Fatal("a padlock changed hands and its hold with it")
	}
	w.must(w.direct("mara", actIssue("tomas-1", "")))
	if o := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", ""))); !flagged(o, ledger.ReturnedPadlock) {
		t.Error("a returned padlock is hung and not flagged")
	}
	if o := w.must(w.direct("ravi", actIssue("lena-1", "ravi"))); !flagged(o, ledger.NotPermitted) || w.s.PadlockView("lena-1").GetOwner() != "lena" {
		t.Error("ravi took lena's padlock by his own word")
	}
	w.must(w.direct("mara", actIssue("tomas-1", "lena")))
	if got := w.s.PadlockView("tomas-1").GetOwner(); got != "lena" {
		t.Errorf("issued to lena, shown with %q", got)
	}
}

// TestPadlockTrouble: a lost key or lock, and one used for anything else than
// energy control, 1910.147(c)(5)(ii), shows where it hangs until a supervisor or
// manager clears it.
func TestPadlockTrouble(t *testing.T) {
	for trouble, c := range map[recordv1.PadlockTrouble]code.Code{
		recordv1.PadlockTrouble_PADLOCK_TROUBLE_KEY_LOST:  ledger.KeyLost,
		recordv1.PadlockTrouble_PADLOCK_TROUBLE_LOCK_LOST: ledger.LockLost,
		recordv1.PadlockTrouble_PADLOCK_TROUBLE_OTHER_USE: ledger.OtherUse,
	} {
		w := drawn(t)
		for _, serial := range []string{"ravi-1", "p-nobody-registered"} {
			hold := w.must(w.journal("stonebend", "ravi", actLock(feeder, serial, ""))).GetRef()
			w.must(w.direct("dov", actReport(serial, trouble)))
			if v := w.onBoard(hold); !flagIn(v.GetStanding(), c) || !w.s.Holds[hold].Active() {
				t.Errorf("%s of %s does not show where it hangs: %v", c, serial, v.GetStanding())
			}
		}
		if !flagIn(w.s.PadlockView("ravi-1").GetFlags(), c) {
			t.Errorf("%s is not on the lock's record", c)
		}
		clear := &recordv1.Record{Act: &recordv1.Record_ClearPadlock{ClearPadlock: &recordv1.ClearPadlock{Serial: "ravi-1", Trouble: trouble, Why: "found, no copy can have been cut"}}}
		w.refusedWith(w.direct("ravi", clear), ledger.NotPermitted)
		w.must(w.direct("mara", clear))
		if flagIn(w.s.PadlockView("ravi-1").GetFlags(), c) {
			t.Errorf("%s was cleared and is shown still", c)
		}
		w.refusedWith(w.direct("mara", clear), ledger.UnknownReport)
	}
}

// TestTwoPlaces: one device id in two live places shows on both holds,
// 1910.147(c)(5)(ii), until one of them ends.
func TestTwoPlaces(t *testing.T) {
	w := drawn(t)
	a := w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", ""))).GetRef()
	if flagIn(w.onBoard(a).GetStanding(), ledger.TwoPlaces) {
		t.Fatal("in one place and flagged as in two")
	}
	b := w.must(w.journal("millrow", "ravi", actLock(control, "ravi-1", ""))).GetRef()
	for _, ref := range []string{a, b} {
		if !flagIn(w.onBoard(ref).GetStanding(), ledger.TwoPlaces) {
			t.Errorf("%s does not show that its padlock is in two places", ref)
		}
	}
	if v := w.s.PadlockView("ravi-1"); len(v.GetOn()) != 2 {
		t.Errorf("the lock's record shows it on %v", v.GetOn())
	}
	w.must(w.journal("millrow", "ravi", actRelease(b)))
	if flagIn(w.onBoard(a).GetStanding(), ledger.TwoPlaces) {
		t.Error("the other came off and it is still shown in two places")
	}
}

// TestHolesLeft: the bound of a hasp is its holes (common practice, no source): at
// the bound none is left and nothing is flagged, one above it is.
func TestHolesLeft(t *testing.T) {
	w := drawn(t)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "stonebend/box-1", Holes: 2}}}))
	w.must(w.direct("nia", actPoint("stonebend/mcc-1/fan"))) // two holes
	left := func(box bool) int32 {
		b := w.board()
		if box {
			return b.GetBoxes()[0].GetHolesLeft()
		}
		for _, p := range b.GetPoints() {
			if p.GetPoint() == "stonebend/mcc-1/fan" {
				return p.GetHolesLeft()
			}
		}
		return 99
	}
	for _, box := range []bool{false, true} {
		for i, who := range []string{"ravi", "lena", "tomas"} {
			act := actLock("stonebend/mcc-1/fan", who+"-1", "")
			if box {
				act = actLockBox("stonebend/box-1", who+"-2", "")
			}
			o := w.must(w.journal("stonebend", who, act))
			if got, want := left(box), int32(1-i); got != want {
				t.Errorf("box %v, %d locks: %d holes left, want %d", box, i+1, got, want)
			}
			if got, want := flagged(o, ledger.HaspFull), i == 2; got != want {
				t.Errorf("box %v, %d locks in two holes: flagged %v", box, i+1, got)
			}
		}
	}
}

// TestPadlockShapes: junk in an act about padlocks, tags or chokes never reaches
// the rules.
func TestPadlockShapes(t *testing.T) {
	w := found(t)
	for name, act := range map[string]*recordv1.Record{
		"a key that is put back with nobody":  actMoveKey("p-1", recordv1.KeyMove_KEY_MOVE_PUT_BACK, "", ""),
		"a destroyed key in somebody's hand":  actMoveKey("p-1", recordv1.KeyMove_KEY_MOVE_DESTROYED, "nia", ""),
		"a removal that is no reference":      actMoveKey("p-1", recordv1.KeyMove_KEY_MOVE_TAKEN_OUT, "nia", "stonebend/01/2"),
		"a move that is none":                 actMoveKey("p-1", 9, "nia", ""),
		"a trouble that is none":              actReport("p-1", 9),
		"a serial with capitals":              actIssue("P-1", "nia"),
		"a legend that is none":               actTag(feeder, "", &recordv1.Tag{Legend: 9}),
		"a means that is none":                actTag(feeder, "", &recordv1.Tag{Means: []recordv1.ExtraMeans{0}}),
		"a demonstration where no lock goes":  actDescribe(&recordv1.DescribePoint{Point: feeder, NotLockable: true, Demonstration: "d-1", Why: "x"}),
		"a choke at a point":                  actChoked(feeder),
		"a choke cleared under no reference":  actClearChoke("yesterday", true),
		"an equipment review of no reference": actReview("all", w.now+1e9),
	} {
		if len(ledger.Check(w.record("nia", act))) == 0 {
			t.Errorf("%s passes", name)
		}
	}
}
