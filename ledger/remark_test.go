package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func actRemark(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Remark{Remark: &recordv1.Remark{Job: job, Text: "a guard bolt is missing"}}}
}

// TestRemarkChangesNothing: free words stand in the history and nowhere else: who is
// protected, what is missing and what is shown stay as they are. The rule is our own.
func TestRemarkChangesNothing(t *testing.T) {
	w, _ := ready(t)
	before := w.s.Board("", w.now).String()
	o := w.must(w.journal("millrow", "dov", actRemark("boot-1")))
	if after := w.s.Board("", w.now).String(); after != before {
		t.Errorf("a remark changed the board from\n%s to\n%s", before, after)
	}
	if f := o.GetDid(); len(f) != 1 || !code.Is(f[0], ledger.Remarked) || f[0].GetArgs()[2].GetText() != "a guard bolt is missing" {
		t.Errorf("the history keeps %v", f)
	}
	// What can wait, waits where the disk is short (decisions.md 28).
	k := ledger.KindNamed("remark")
	if k.LowDisk != ledger.NotOnLowDisk || k.Outbox != ledger.MayWait {
		t.Errorf("a low disk takes it (%v), or an outbox does not (%v)", k.LowDisk, k.Outbox)
	}
}
