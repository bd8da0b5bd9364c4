package ledger_test

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Short ways to say an act about padlocks, tags and chokes.

func actMoveKey(serial string, m recordv1.KeyMove, holder, removal string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_MoveKey{MoveKey: &recordv1.MoveKey{Serial: serial, Move: m, Holder: holder, Removal: removal}}}
}

func actIssue(serial, person string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_IssuePadlock{IssuePadlock: &recordv1.IssuePadlock{Serial: serial, Person: person}}}
}

func actReport(serial string, t recordv1.PadlockTrouble) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ReportPadlock{ReportPadlock: &recordv1.ReportPadlock{Serial: serial, Trouble: t}}}
}

func actReview(hold string, next int64) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ReviewLock{ReviewLock: &recordv1.ReviewLock{Hold: hold, NextUnixMs: next, Seen: "boot still open"}}}
}

func actDescribe(d *recordv1.DescribePoint) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_DescribePoint{DescribePoint: d}}
}

func actChoked(where string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FoundChoked{FoundChoked: &recordv1.FoundChoked{Where: where, Seen: "boot full to the inspection door"}}}
}

func actClearChoke(choke string, dugOut bool) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClearChoke{ClearChoke: &recordv1.ClearChoke{Choke: choke, DugOut: dugOut, How: "dug out with shovels, boot swept"}}}
}

func actReleaseWhy(hold, why string) *recordv1.Record {
	r := actRelease(hold)
	r.GetRelease().Why = why
	return r
}

func actEquipment(point, padlock string, review int64) *recordv1.Record {
	r := actLock(point, padlock, "")
	r.GetLock().Equipment, r.GetLock().ReviewUnixMs = true, review
	return r
}

func actTag(point, job string, t *recordv1.Tag) *recordv1.Record {
	r := actLock(point, "", job)
	r.GetLock().Tag = t
	return r
}

// padlock registers one with all its particulars.
func (w *world) padlock(p *recordv1.RegisterPadlock) *recordv1.Outcome {
	w.t.Helper()
	return w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: p}}))
}

func (w *world) board() *recordv1.Board { return w.s.Board("", w.now) }

// onBoard is a hold as the board shows it.
func (w *world) onBoard(ref string) *recordv1.HoldView {
	w.t.Helper()
	hs := w.board().GetHolds()
	i := slices.IndexFunc(hs, func(h *recordv1.HoldView) bool { return h.GetRef() == ref })
	if i < 0 {
		w.t.Fatalf("%s is not on the board", ref)
	}
	return hs[i]
}

func flagIn[C ~string](fs []*recordv1.Finding, c C) bool {
	return code.Has(fs, code.Code(c))
}
