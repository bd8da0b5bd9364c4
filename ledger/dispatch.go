package ledger

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// dispatch hands a record that passed what every record must meet to the rule of its
// kind.
func (x *step) dispatch() {
	switch a := x.rec.GetAct().(type) {
	case *recordv1.Record_Invite:
		x.invite(a.Invite)
	case *recordv1.Record_RegisterPadlock:
		x.registerPadlock(a.RegisterPadlock)
	case *recordv1.Record_RegisterPoint:
		x.registerPoint(a.RegisterPoint)
	case *recordv1.Record_RegisterBox:
		x.registerBox(a.RegisterBox)
	case *recordv1.Record_PublishDrawing:
		x.publishDrawing(a.PublishDrawing)
	case *recordv1.Record_WalkDrawing:
		x.walkDrawing(a.WalkDrawing)
	case *recordv1.Record_NarrowZone:
		x.narrowZone(a.NarrowZone)
	case *recordv1.Record_RevokeKey:
		x.revokeKey(a.RevokeKey)
	case *recordv1.Record_RecordTraining:
		x.recordTraining(a.RecordTraining)
	case *recordv1.Record_Request:
		x.request(a.Request)
	case *recordv1.Record_Withdraw:
		x.withdraw(a.Withdraw)
	case *recordv1.Record_RecoverYard:
		x.recoverYard(a.RecoverYard)
	case *recordv1.Record_Removal:
		x.removal(a.Removal)
	case *recordv1.Record_TakeOver:
		x.takeOver(a.TakeOver)
	case *recordv1.Record_StandClear:
		x.standClear(a.StandClear)
	case *recordv1.Record_AcknowledgeRemoval:
		x.acknowledgeRemoval(a.AcknowledgeRemoval)
	case *recordv1.Record_HandOver:
		x.handOver(a.HandOver)
	case *recordv1.Record_ReplaceKey:
		x.replaceKey(a.ReplaceKey)
	case *recordv1.Record_ReissueKey:
		x.reissueKey(a.ReissueKey)
	case *recordv1.Record_ClaimLock:
		x.claimLock(a.ClaimLock)
	case *recordv1.Record_Lock:
		x.lock(a.Lock)
	case *recordv1.Record_FoundLock:
		x.foundLock(a.FoundLock)
	case *recordv1.Record_Release:
		x.release(a.Release)
	case *recordv1.Record_Isolate:
		x.isolate(a.Isolate)
	case *recordv1.Record_Closed:
		x.closedNote(a.Closed)
	case *recordv1.Record_FoundClosed:
		x.foundClosed(a.FoundClosed)
	case *recordv1.Record_FoundStarted:
		x.foundStarted(a.FoundStarted)
	case *recordv1.Record_Energise:
		x.energise(a.Energise)
	case *recordv1.Record_BoxAdd:
		x.boxAdd(a.BoxAdd)
	case *recordv1.Record_BoxRemove:
		x.boxRemove(a.BoxRemove)
	case *recordv1.Record_OpenJob:
		x.openJob(a.OpenJob)
	case *recordv1.Record_SignOn:
		x.signOn(a.SignOn)
	case *recordv1.Record_SignOff:
		x.signOff(a.SignOff)
	case *recordv1.Record_ShutDown:
		x.shutDown(a.ShutDown)
	case *recordv1.Record_Reading:
		x.reading(a.Reading)
	case *recordv1.Record_FoundLive:
		x.foundLive(a.FoundLive)
	case *recordv1.Record_CorrectFoundLive:
		x.correctFoundLive(a.CorrectFoundLive)
	case *recordv1.Record_StoredReleased:
		x.storedReleased(a.StoredReleased)
	case *recordv1.Record_Notice:
		x.notice(a.Notice)
	case *recordv1.Record_ClearArea:
		x.clearArea(a.ClearArea)
	case *recordv1.Record_TriedHandle:
		x.triedHandle(a.TriedHandle)
	case *recordv1.Record_CloseJob:
		x.closeJob(a.CloseJob)
	case *recordv1.Record_MoveKey:
		x.moveKey(a.MoveKey)
	case *recordv1.Record_IssuePadlock:
		x.issuePadlock(a.IssuePadlock)
	case *recordv1.Record_ReportPadlock:
		x.reportPadlock(a.ReportPadlock)
	case *recordv1.Record_ClearPadlock:
		x.clearPadlock(a.ClearPadlock)
	case *recordv1.Record_ReviewLock:
		x.reviewLock(a.ReviewLock)
	case *recordv1.Record_DescribePoint:
		x.describePoint(a.DescribePoint)
	case *recordv1.Record_FoundChoked:
		x.foundChoked(a.FoundChoked)
	case *recordv1.Record_ClearChoke:
		x.clearChoke(a.ClearChoke)
	default:
		if !x.permitAct() {
			x.dispatchPeople()
		}
	}
}
