package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestClearWrittenBeforeEntry: a clear-area record that a cut-off yard wrote
// before somebody went in, arriving after, clears nothing (decisions.md 18).
func TestClearWrittenBeforeEntry(t *testing.T) {
	w, holds := ready(t)
	seen := w.s.Size()
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	w.must(w.behind("millrow", "mara", seen, actClear("boot-1")))
	for k, h := range holds {
		w.must(w.journal("stonebend", k[:4], actRelease(h)))
	}
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "NOT_CLEAR")
}

// TestToldBeforeLastLockOff: the same for the notice, 1910.147(e)(2)(ii).
func TestToldBeforeLastLockOff(t *testing.T) {
	w, holds := ready(t)
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	seen := w.s.Size()
	for k, h := range holds {
		w.must(w.journal("stonebend", k[:4], actRelease(h)))
	}
	w.must(w.behind("eastfork", "mara", seen, actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), ledger.NotToldAfter)
}

// TestGroundsForgotten: a hurried second look can't count away grounds that an
// earlier one counted, 1910.333(b)(2)(v).
func TestGroundsForgotten(t *testing.T) {
	w := released(t)
	w.must(w.journal("stonebend", "ravi", actGrounds("boot-1", 3, 2)))
	w.must(w.journal("stonebend", "mara", actGrounds("boot-1", 0, 0)))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "GROUNDS")
	w.must(w.journal("stonebend", "ravi", actGrounds("boot-1", 3, 3)))
	w.must(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)))
}

// TestLateClearOverNotClear: a yard that had not heard of "tools still in" can't
// overrule it.
func TestLateClearOverNotClear(t *testing.T) {
	w := released(t)
	seen := w.s.Size()
	w.must(w.journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: "boot-1", GuardsOn: true, PeopleClear: true}}}))
	w.must(w.behind("eastfork", "mara", seen, actClear("boot-1")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "NOT_CLEAR")
}

// TestCloseToDodge: a job whose area was never cleared, or with grounds on, can't
// be closed to ask for the start under a fresh one.
func TestCloseToDodge(t *testing.T) {
	w, holds := ready(t)
	for k, h := range holds {
		w.must(w.journal("stonebend", k[:4], actRelease(h)))
	}
	w.refusedWith(w.journal("stonebend", "ravi", actClose("boot-1")), "NOT_CLEAR")
	w.must(w.journal("stonebend", "ravi", actGrounds("boot-1", 2, 1)))
	w.refusedWith(w.journal("stonebend", "ravi", actClose("boot-1")), "GROUNDS")
	w.must(w.journal("stonebend", "ravi", actGrounds("boot-1", 2, 2)))
	w.must(w.journal("stonebend", "ravi", actClose("boot-1")))
}

// TestLockAfterClear: a lock on the plan that names no open job went on after the
// area was looked over: it is looked over again.
func TestLockAfterClear(t *testing.T) {
	w := released(t)
	h := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "typo-1"))).GetRef()
	w.must(w.journal("stonebend", "tomas", actRelease(h)))
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "NOT_CLEAR")
}

// TestOpenJobAfterTheFacts: a sign-on that came before the job it names is not
// forgotten when the job is opened.
func TestOpenJobAfterTheFacts(t *testing.T) {
	w := drawn(t)
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	on := w.must(w.journal("millrow", "lena", actSignOn("boot-1"))).GetRef()
	w.openJob()
	w.must(w.behind("millrow", "mara", 3, actClear("boot-1")))
	w.must(w.journal("millrow", "lena", actSignOff(on)))
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "NOT_CLEAR")
}
