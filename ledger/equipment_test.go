package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestEquipmentLockIsNobodysLock: each authorised person at risk has a lock of
// their own, 1910.147(d)(4)(i): a yard's equipment lock, even one put on by the same
// person, never stands in for it.
func TestEquipmentLockIsNobodysLock(t *testing.T) {
	w, holds := ready(t)
	w.must(w.journal("stonebend", "ravi", actEquipment(feeder, "ravi-1", w.now+1e9)))
	w.must(w.journal("stonebend", "ravi", actRelease(holds["ravi "+feeder])))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NoLock, feeder) {
		t.Errorf("ravi's own lock is off, an equipment lock hangs, and work may start: %v", cs)
	}
	w.must(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder])))
	if v := w.s.PointView(feeder); v.GetPosition() != recordv1.Position_POSITION_OPEN {
		t.Errorf("with an equipment lock alone the point is %v", v.GetPosition())
	}
	for _, h := range w.board().GetHolds() {
		if h.GetEquipment() && h.GetGuards() {
			t.Error("the board says that an equipment lock guards")
		}
	}
}

// TestEquipmentLockBlocksStarts: it stays on between jobs, voids an open request,
// and stands against every start and test as a hold does.
func TestEquipmentLockBlocksStarts(t *testing.T) {
	w := released(t)
	w.must(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)))
	hold := w.must(w.journal("stonebend", "mara", actEquipment(feeder, "mara-1", w.now+1e9))).GetRef()
	if st := w.s.Reqs["start-1"].State; st != recordv1.RequestState_REQUEST_STATE_VOID {
		t.Fatalf("the open request is %v after an equipment lock", st)
	}
	w.refusedWith(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)), ledger.EquipmentLockStands)
	test := actRequest("jog-1", "boot-1", w.now+1e7, feeder, control)
	test.GetRequest().Kind = recordv1.RequestKind_REQUEST_KIND_TEST
	w.refusedWith(w.direct("mara", test), ledger.EquipmentLockStands)
	w.must(w.journal("stonebend", "ravi", actClose("boot-1")))
	if !w.s.Holds[hold].Active() {
		t.Fatal("the job closed and its machine's equipment lock went with it")
	}
	// The next job owes nothing for it and may be opened and closed under it.
	w.must(w.journal("stonebend", "mara", actJob("belt-1", "ravi", zone, feeder, control)))
	w.must(w.journal("stonebend", "mara", actClose("belt-1")))
}

// TestEquipmentLockComesOffByRole: a supervisor or manager, at its own yard, with a
// reason; not its holder as such, not by removal, hand-over or standing clear.
func TestEquipmentLockComesOffByRole(t *testing.T) {
	w, holds := ready(t)
	w.joinPerson(person("otto", false, manager))
	hold := w.must(w.journal("stonebend", "ravi", actEquipment(feeder, "", w.now+1e9))).GetRef()
	w.refusedWith(w.journal("stonebend", "ravi", actReleaseWhy(hold, "done")), ledger.EquipmentLockByRole)
	w.refusedWith(w.journal("stonebend", "mara", actRelease(hold)), ledger.NoReason)
	w.refusedWith(w.journal("millrow", "mara", actReleaseWhy(hold, "belt is back on")), ledger.EquipmentLockNotHome)
	w.refusedWith(w.together("nia", actRemoval(hold, "otto")), ledger.EquipmentLock)
	w.refusedWith(w.together("lena", actHandOver([]string{"ravi"}, holds["lena "+feeder], hold)), ledger.EquipmentLock)
	w.refusedWith(w.direct("ravi", w.actStandClear(hold, "none")), ledger.EquipmentLock)
	if !w.s.Holds[hold].Active() || !w.s.Holds[holds["lena "+feeder]].Active() {
		t.Fatal("a refused act ended a lock")
	}
	// The other way about: a role and a reason end no personal lock.
	for _, who := range []string{"mara", "nia", "otto"} {
		w.refusedWith(w.journal("stonebend", who, actReleaseWhy(holds["lena "+feeder], "the machine is back")), ledger.NotYourLock)
	}
	w.must(w.journal("stonebend", "mara", actReleaseWhy(hold, "belt is back on")))
	if h := w.s.Holds[hold]; h.Active() || !code.Is(h.How, ledger.EquipmentTakenOff) || !slices.ContainsFunc(h.How.GetArgs(), func(a *recordv1.Arg) bool { return a.GetText() == "belt is back on" }) {
		t.Errorf("taken off: active %v, %v", h.Active(), h.How)
	}
}

// TestEquipmentLockReview: reviewed by a date; overdue it is an alarm on the board,
// at the moment the screen is read (common practice, no source).
func TestEquipmentLockReview(t *testing.T) {
	w := drawn(t)
	if o := w.must(w.journal("stonebend", "mara", actEquipment(control, "", 0))); !flagged(o, ledger.NoReview) {
		t.Error("no review named, and not flagged")
	}
	due := w.now + 1_000_000
	hold := w.must(w.journal("stonebend", "mara", actEquipment(feeder, "", due))).GetRef()
	overdue := func(at int64) bool {
		return slices.ContainsFunc(w.s.Board("", at).GetAlarms(), func(f *recordv1.Finding) bool {
			return code.Is(f, ledger.ReviewOverdue) && slices.Contains(code.Names(f, "record"), hold)
		})
	}
	if overdue(due-1) || !overdue(due) {
		t.Errorf("overdue 1 ms before: %v, at it: %v", overdue(due-1), overdue(due))
	}
	w.refusedWith(w.direct("ravi", actReview(hold, due+1_000_000)), ledger.NotPermitted)
	w.refusedWith(w.direct("mara", actReview(hold, w.now-1)), ledger.ReviewTooSoon)
	w.must(w.direct("mara", actReview(hold, due+1_000_000)))
	if overdue(due) {
		t.Error("looked at, and overdue still")
	}
	personal := w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", ""))).GetRef()
	w.refusedWith(w.direct("mara", actReview(personal, due)), ledger.NotEquipment)
}

// TestEquipmentPadlock: an equipment lock of a person's padlock is flagged, of the
// yard's own not, and the job that it names is left out of it.
func TestEquipmentPadlock(t *testing.T) {
	w := drawn(t)
	w.openJob()
	w.padlock(&recordv1.RegisterPadlock{Serial: "yard-1", Owner: "mara", KeysCut: 1, Kind: recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT})
	if o := w.must(w.journal("stonebend", "mara", actEquipment(feeder, "mara-1", w.now+1e9))); !flagged(o, ledger.PersonalPadlock) {
		t.Error("a personal padlock as equipment lock is not flagged")
	}
	act := actEquipment(feeder, "yard-1", w.now+1e9)
	act.GetLock().Job = "boot-1"
	o := w.must(w.journal("stonebend", "nia", act))
	if !flagged(o, ledger.EquipmentLockNamesJob) || flagged(o, ledger.PersonalPadlock) || flagged(o, ledger.OthersPadlock) || w.s.Holds[o.GetRef()].Job != "" {
		t.Errorf("flags %v, job %q", o.GetFlags(), w.s.Holds[o.GetRef()].Job)
	}
}
