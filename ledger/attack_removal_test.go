package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func alarmed(s *ledger.State, code, subject string) string {
	for _, a := range s.Alarms {
		if a.Code == code && (subject == "" || a.Subject == subject) {
			if a.Finding != nil {
				return a.Finding.String()
			}
			return a.Text
		}
	}
	return ""
}

// raised is the alarm of a code, nil when there is none.
func raised(alarms []*recordv1.Finding, c code.Code) *recordv1.Finding {
	if i := slices.IndexFunc(alarms, func(f *recordv1.Finding) bool { return code.Is(f, c) }); i >= 0 {
		return alarms[i]
	}
	return nil
}

// saysNames reports whether each of these arguments of a finding is the one name.
func saysNames(f *recordv1.Finding, want map[string]string) bool {
	for arg, name := range want {
		if !slices.Equal(code.Names(f, arg), []string{name}) {
			return false
		}
	}
	return true
}

// TestRemoval: two managers take an absent person's lock off, and that person is
// told before they work again, at any yard, 1910.147(e)(3)(i) to (iii).
func TestRemoval(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	hold := holds["lena "+feeder]
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	o := w.must(w.together("nia", actRemoval(hold, "oskar")))
	h := w.s.Holds[hold]
	if h.Active() || !code.Is(h.How, ledger.OffByRemoval) || h.Off.By != "nia" {
		t.Fatalf("the hold after its removal: %+v", h)
	}
	if w.s.SignOns[on].Off.Set() || !flagged(o, ledger.AbsentSignedOn) {
		t.Error("the removal of a lock ended a sign-on, or says nothing of it")
	}
	if !w.s.Holds[holds["lena "+control]].Active() || !w.s.Holds[holds["ravi "+feeder]].Active() {
		t.Error("the removal of one lock ended another")
	}
	if told := raised(w.s.Board("", w.s.Time).GetRaised(), ledger.NotAcknowledged); told == nil || !saysNames(told, map[string]string{"holder": "lena", "first": "nia", "second": "oskar", "record": hold, "target": feeder}) {
		t.Errorf("the alarm says %v", told)
	}
	w.refusedWith(w.journal("stonebend", "lena", actRelease(hold)), "ENDED")
	w.refusedWith(w.together("nia", actRemoval(hold, "oskar")), "ENDED")
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	if !w.mayStart() {
		t.Fatalf("lena does not work here any more, and yet: %v", w.s.MissingForWork(w.s.Jobs["boot-1"]))
	}
	// She comes back, at another yard.
	again := w.must(w.journal("millrow", "lena", actLock(feeder, "lena-1", "boot-1")))
	if !flagged(again, ledger.NotAcknowledged) || !w.s.Holds[again.GetRef()].Active() {
		t.Error("her lock is not flagged, or not taken")
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotAcknowledged, "lena") {
		t.Errorf("work may start with her lock on, and she was not told: %v", cs)
	}
	on = w.must(w.journal("eastfork", "lena", actSignOn("boot-1"))).GetRef()
	if w.s.SignOns[on] == nil || w.mayStart() {
		t.Error("her sign-on is not taken, or work may go on")
	}
	view := w.s.JobView("boot-1", w.s.Time)
	if told := raised(view.GetRaised(), ledger.NotAcknowledged); told == nil || !saysNames(told, map[string]string{"holder": "lena"}) {
		t.Errorf("the job does not show it: %v", view.GetRaised())
	}
	for _, other := range []string{"ravi", "nia", "oskar"} {
		w.refusedWith(w.direct(other, actAcknowledge(hold)), ledger.NotYourRemoval)
	}
	w.must(w.direct("lena", actAcknowledge(hold)))
	if !w.mayStart() || alarmed(w.s, "REMOVAL_NOT_ACKNOWLEDGED", "") != "" || len(w.s.UnacknowledgedRemovals) != 0 {
		t.Errorf("she was told, and yet: %v", w.s.MissingForWork(w.s.Jobs["boot-1"]))
	}
	w.refusedWith(w.direct("lena", actAcknowledge(hold)), ledger.UnknownRemoval)
}

// TestRemovedResponsible: the one responsible for a job is told too.
func TestRemovedResponsible(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	w.must(w.together("nia", actRemoval(holds["ravi "+feeder], "oskar")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotAcknowledged, "ravi") {
		t.Errorf("ravi is responsible and was not told: %v", cs)
	}
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotAcknowledged, "ravi") {
		t.Errorf("ravi locked again untold, and work may start: %v", cs)
	}
}

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

// TestManagersOwnLock: a manager whose lock it is signs no removal of it, first or
// second; two others may.
func TestManagersOwnLock(t *testing.T) {
	w, _ := ready(t)
	w.crew()
	hold := w.must(w.journal("stonebend", "petra", actLock(feeder, "petra-1", "boot-1"))).GetRef()
	w.refusedWith(w.together("petra", actRemoval(hold, "oskar")), ledger.OwnLock)
	w.refusedWith(w.together("oskar", actRemoval(hold, "petra")), ledger.OwnLock)
	w.must(w.together("oskar", actRemoval(hold, "nia")))
}

// TestFoundLockRemoved: a lock whose owner nobody knows leaves nobody to tell.
func TestFoundLockRemoved(t *testing.T) {
	w, _ := ready(t)
	w.crew()
	hold := w.must(w.journal("stonebend", "ravi", actFoundLock(feeder))).GetRef()
	o := w.must(w.together("nia", actRemoval(hold, "oskar")))
	if !flagged(o, ledger.NobodyToTell) || len(w.s.UnacknowledgedRemovals) != 0 || w.s.Holds[hold].Active() {
		t.Errorf("flags %v, not acknowledged %v", o.GetFlags(), w.s.UnacknowledgedRemovals)
	}
}

// TestRemovalLeftLying: a removal signed yesterday says nothing of where the person
// is today.
func TestRemovalLeftLying(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	r := w.record("nia", actRemoval(holds["lena "+feeder], "oskar"))
	w.now += 5 * 60 * 60 * 1000
	w.refusedWith(w.signedBy(r, w.keys["nia"], w.keys["oskar"]), ledger.RemovalTooOld)
}

// TestOneHandWithTwoKeys: a manager who gives another manager a new key could keep
// it: the two of them remove nothing together.
func TestOneHandWithTwoKeys(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	w.must(w.together("nia", actReissueKey("oskar", "mallory")))
	w.keys["oskar"] = key("mallory")
	hold := holds["lena "+feeder]
	w.refusedWith(w.together("nia", actRemoval(hold, "oskar")), ledger.OneHand)
	w.refusedWith(w.together("oskar", actRemoval(hold, "nia")), ledger.OneHand)
	// Nor once that key was replaced by a third one.
	r := w.record("oskar", actReplaceKey("mallory's other"))
	w.must(w.signedBy(r, w.keys["oskar"], key("mallory's other")))
	w.keys["oskar"] = key("mallory's other")
	w.refusedWith(w.together("nia", actRemoval(hold, "oskar")), ledger.OneHand)
	w.must(w.together("petra", actRemoval(hold, "oskar")))
}

// TestRemovalAsksForTheRestAgain: after a removal the affected people are told
// anew, as after any lock that came off, 1910.147(e)(2)(ii).
func TestRemovalAsksForTheRestAgain(t *testing.T) {
	w := released(t)
	w.crew()
	hold := w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1"))).GetRef()
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "HOLD_STANDS")
	w.must(w.together("nia", actRemoval(hold, "oskar")))
	w.refusedWith(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)), ledger.NotToldAfter)
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.direct("mara", actRequest("start-3", "boot-1", w.now+1e7, feeder, control)))
}
