package ledger

import (
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// optional reports whether a word is left out or a name.
func optional(w string) bool { return w == "" || Name(w) }

// checkPadlockActs says what is wrong with the shape of an act about padlocks, tags
// or chokes, "" when nothing.
func checkPadlockActs(r *recordv1.Record) string {
	const refForm = "name the record as yard/epoch/number, as its receipt shows it"
	serial := func(s string) string {
		if Name(s) {
			return ""
		}
		return "a padlock's serial is lower-case letters, digits and hyphens"
	}
	or := func(bad string, ok bool, what string) string {
		if bad == "" && !ok {
			return what
		}
		return bad
	}
	trouble := func(t recordv1.PadlockTrouble) bool {
		_, known := recordv1.PadlockTrouble_name[int32(t)]
		return known && t != 0
	}
	switch a := r.GetAct().(type) {
	case *recordv1.Record_MoveKey:
		m := a.MoveKey
		_, known := recordv1.KeyMove_name[int32(m.GetMove())]
		destroyed := m.GetMove() == recordv1.KeyMove_KEY_MOVE_DESTROYED
		return or(serial(m.GetSerial()), known && m.GetMove() != 0 && (m.GetHolder() == "") == destroyed && optional(m.GetHolder()) && (m.GetRemoval() == "" || refText(m.GetRemoval())),
			"say what was done with the key and who has it now; "+refForm)
	case *recordv1.Record_IssuePadlock:
		return or(serial(a.IssuePadlock.GetSerial()), optional(a.IssuePadlock.GetPerson()), "name the person by id")
	case *recordv1.Record_ReportPadlock:
		return or(serial(a.ReportPadlock.GetSerial()), trouble(a.ReportPadlock.GetTrouble()) && plain(a.ReportPadlock.GetWhat()), "say what is wrong with the padlock")
	case *recordv1.Record_ClearPadlock:
		return or(serial(a.ClearPadlock.GetSerial()), trouble(a.ClearPadlock.GetTrouble()) && text(a.ClearPadlock.GetWhy()), "say what is cleared, and why")
	case *recordv1.Record_ReviewLock:
		return or("", refText(a.ReviewLock.GetHold()) && text(a.ReviewLock.GetSeen()) && a.ReviewLock.GetNextUnixMs() > 0, refForm+", what was seen, and the next day")
	case *recordv1.Record_DescribePoint:
		d := a.DescribePoint
		return or("", PointName(d.GetPoint()) && optional(d.GetDemonstration()) && text(d.GetWhy()) && !(d.GetNotLockable() && d.GetDemonstration() != ""), "name the point and say why; a demonstration only where a lock goes on")
	case *recordv1.Record_FoundChoked:
		return or("", Names(a.FoundChoked.GetWhere(), 2) && plain(a.FoundChoked.GetSeen()), "name the zone or machine as yard/name")
	case *recordv1.Record_ClearChoke:
		return or("", refText(a.ClearChoke.GetChoke()) && text(a.ClearChoke.GetHow()), refForm+", and how it was dug out")
	}
	return "the record has no act"
}
