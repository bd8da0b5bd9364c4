package client

import (
	"context"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// home is the yard whose journal a record belongs in first, "" where none does.
// jobYard tells the yard of a job's zone.
func home(rec *recordv1.Record, jobYard func(job string) string) string {
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_Lock:
		return targetYard(a.Lock.GetTarget())
	case *recordv1.Record_FoundLock:
		return targetYard(a.FoundLock.GetTarget())
	case *recordv1.Record_Release:
		return a.Release.GetHold().GetYard()
	case *recordv1.Record_TriedHandle:
		return a.TriedHandle.GetHold().GetYard()
	case *recordv1.Record_SignOff:
		return a.SignOff.GetSignOn().GetYard()
	case *recordv1.Record_SignOn:
		return jobYard(a.SignOn.GetJob())
	case *recordv1.Record_StandWatch:
		return jobYard(a.StandWatch.GetJob())
	case *recordv1.Record_AirReading:
		return ledger.YardOf(a.AirReading.GetZone())
	case *recordv1.Record_LeaveWatch:
		return ledger.YardOf(a.LeaveWatch.GetWatch())
	case *recordv1.Record_FumigationRecorded:
		return ledger.YardOf(a.FumigationRecorded.GetPlace())
	case *recordv1.Record_FumigationCleared:
		return ledger.YardOf(a.FumigationCleared.GetFumigation())
	case *recordv1.Record_AnswerVerification:
		return jobYard(a.AnswerVerification.GetJob())
	case *recordv1.Record_OpenJob:
		return ledger.YardOf(a.OpenJob.GetZone())
	case *recordv1.Record_NarrowZone:
		return ledger.YardOf(a.NarrowZone.GetZone())
	case *recordv1.Record_FoundChoked:
		return ledger.YardOf(a.FoundChoked.GetWhere())
	case *recordv1.Record_ClearChoke:
		return ledger.YardOf(a.ClearChoke.GetChoke())
	case *recordv1.Record_Isolate:
		return ledger.YardOf(a.Isolate.GetPoint())
	case *recordv1.Record_Closed:
		return ledger.YardOf(a.Closed.GetPoint())
	case *recordv1.Record_FoundClosed:
		return ledger.YardOf(a.FoundClosed.GetPoint())
	case *recordv1.Record_FoundStarted:
		// At their home yard the points count as live; at any other it is an alarm.
		if ps := a.FoundStarted.GetPoints(); len(ps) > 0 {
			return ledger.YardOf(ps[0])
		}
	case *recordv1.Record_Energise:
		return ledger.YardOf(a.Energise.GetPoint())
	case *recordv1.Record_BoxAdd:
		return ledger.YardOf(a.BoxAdd.GetBox())
	case *recordv1.Record_BoxRemove:
		return ledger.YardOf(a.BoxRemove.GetBox())
	}
	return ""
}

func targetYard(t *recordv1.Target) string { return ledger.YardOf(t.GetPoint() + t.GetBox()) }

// panelPoint is the point of an act that is good only in the run of the replica
// in which it was prepared (decisions.md 3), "" for any other act.
func panelPoint(rec *recordv1.Record) string {
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_Isolate:
		return a.Isolate.GetPoint()
	case *recordv1.Record_Closed:
		return a.Closed.GetPoint()
	case *recordv1.Record_Energise:
		return a.Energise.GetPoint()
	case *recordv1.Record_BoxAdd:
		return a.BoxAdd.GetPoint()
	case *recordv1.Record_BoxRemove:
		return a.BoxRemove.GetPoint()
	}
	return ""
}

// prepare asks the panel's yard what an act there must carry, and fills it in.
func (c *Client) prepare(ctx context.Context, rec *recordv1.Record, yard string) (run string, err error) {
	p, err := c.panelAt(ctx, panelPoint(rec), yard)
	if err != nil {
		return "", err
	}
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_Isolate:
		a.Isolate.Moved = p.GetMoved()
	case *recordv1.Record_Closed:
		a.Closed.Moved = p.GetMoved()
	}
	return p.GetRun(), nil
}

// jobYard is the home yard of a job's zone, as far as it can be told.
func (c *Client) jobYard(ctx context.Context) func(string) string {
	return func(job string) string {
		v, err := c.Job(ctx, job, servicev1.Consistency_CONSISTENCY_LOCAL)
		if err == nil {
			return ledger.YardOf(v.GetZone())
		}
		if b, _, err := c.LastBoard(); err == nil {
			for _, j := range b.GetJobs() {
				if j.GetId() == job {
					return ledger.YardOf(j.GetZone())
				}
			}
		}
		return ""
	}
}

// Keepable reports whether records of a kind may wait in the outbox
// (decisions.md 15). A test of the air is a reading, and leaving a watch a sign-off.
func Keepable(kind string) bool {
	switch kind {
	case "lock", "found_lock", "release", "sign_on", "sign_off", "reading", "notice", "air_reading", "leave_watch":
		return true
	}
	return false
}
