package ledger

import (
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Name reports whether a word may be an id: 1 to 64 lower-case letters, digits
// and hyphens, starting with a letter or digit.
func Name(w string) bool {
	if w == "" || len(w) > MaxName || w[0] == '-' {
		return false
	}
	for _, c := range []byte(w) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// Names reports whether a path is n names joined by slashes.
func Names(path string, n int) bool {
	parts := strings.Split(path, "/")
	if len(parts) != n {
		return false
	}
	for _, p := range parts {
		if !Name(p) {
			return false
		}
	}
	return true
}

// PointName reports whether an id is "yard/panel/device".
func PointName(id string) bool { return Names(id, 3) }

// YardOf is the first part of a point, box, zone or node name.
func YardOf(id string) string {
	y, _, _ := strings.Cut(id, "/")
	return y
}

func text(t string) bool { return t != "" && plain(t) }

// plain: a text goes to screens beside words of permission, so it can't hold what
// moves a cursor, breaks a line or turns the writing round.
func plain(t string) bool {
	return len(t) <= MaxText && utf8.ValidString(t) && !strings.ContainsFunc(t, func(r rune) bool {
		return unicode.IsControl(r) || r >= 0x2028 && r <= 0x202e || r >= 0x2066 && r <= 0x2069
	})
}

func list(l []string, ok func(string) bool) bool {
	if len(l) > MaxList {
		return false
	}
	seen := map[string]bool{}
	for _, v := range l {
		if seen[v] || !ok(v) {
			return false
		}
		seen[v] = true
	}
	return true
}

func refOK(r *recordv1.JournalRef) bool {
	return Name(r.GetYard()) && r.GetEpoch() > 0 && r.GetSeq() > 0
}

func targetOK(t *recordv1.Target) bool {
	switch o := t.GetOn().(type) {
	case *recordv1.Target_Point:
		return PointName(o.Point)
	case *recordv1.Target_Box:
		return Names(o.Box, 2)
	}
	return false
}

func checkPerson(p *recordv1.Person) string {
	switch {
	case !Name(p.GetId()):
		return "a person's id is lower-case letters, digits and hyphens"
	case !text(p.GetName()) || !plain(p.GetEmployer()):
		return "a person needs a name"
	case len(p.GetRoles()) == 0:
		return "a person needs a role"
	}
	for _, r := range p.GetRoles() {
		if RoleName(r) == "" {
			return "no such role"
		}
	}
	return ""
}

// others checks the people who sign beside the signer: named, each once, somebody
// else.
func others(signer string, people ...string) string {
	if len(people) == 0 || len(people) >= MaxSignatures || !list(append([]string{signer}, people...), Name) {
		return "name who else signs by id, each once and not yourself"
	}
	return ""
}

// Check says what is wrong with the shape of a record, "" when nothing. It does
// not look at any state.
func Check(r *recordv1.Record) string { return checkRecord(r) }

func checkRecord(r *recordv1.Record) string {
	if !Name(r.GetSigner()) {
		return "the signer's id is lower-case letters, digits and hyphens"
	}
	if k := r.GetTicket(); !Name(k.GetDevice()) || k.GetCounter() == 0 {
		return "the ticket needs a device name and a counter from 1"
	}
	if r.GetCapturedUnixMs() <= 0 {
		return "the time of capture is missing"
	}
	opt := func(ok bool, what string) string {
		if ok {
			return ""
		}
		return what
	}
	const pointForm = "a point is named yard/panel/device, in lower-case letters, digits and hyphens"
	const jobForm = "a job's id is lower-case letters, digits and hyphens"
	const refForm = "name the record as yard/epoch/number, as its receipt shows it"
	if bad, mine := permitShape(r); mine {
		return bad
	}
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Invite:
		if !Name(a.Invite.GetId()) || len(a.Invite.GetOnceKey()) != 32 || a.Invite.GetExpiresUnixMs() <= 0 {
			return "an invitation needs an id, a one-time key and an end"
		}
		if p := a.Invite.GetPerson(); p != nil {
			return checkPerson(p)
		}
		return opt(Name(a.Invite.GetYard().GetId()) && text(a.Invite.GetYard().GetName()), "an invitation is for a person or a yard")
	case *recordv1.Record_Join:
		return opt(Name(a.Join.GetInvitation()) && len(a.Join.GetKey()) == 32 && plain(a.Join.GetAddress()), "joining needs the invitation's id and a key")
	case *recordv1.Record_RegisterPadlock:
		_, known := recordv1.PadlockKind_name[int32(a.RegisterPadlock.GetKind())]
		return opt(known && Name(a.RegisterPadlock.GetSerial()) && Name(a.RegisterPadlock.GetOwner()) && optional(a.RegisterPadlock.GetSpareHolder()), "a padlock needs a serial and an owner, and a kind that is known")
	case *recordv1.Record_RegisterPoint:
		return opt(PointName(a.RegisterPoint.GetPoint()) && plain(a.RegisterPoint.GetLabel()), pointForm)
	case *recordv1.Record_RegisterBox:
		return opt(Names(a.RegisterBox.GetBox(), 2) && plain(a.RegisterBox.GetLabel()), "a box is named yard/box")
	case *recordv1.Record_PublishDrawing:
		return opt(len(a.PublishDrawing.GetDrawing()) > 0, "the drawing is empty")
	case *recordv1.Record_WalkDrawing:
		return opt(Name(a.WalkDrawing.GetYard()) && len(a.WalkDrawing.GetDrawingHash()) == 32, "name the yard, the revision and its hash")
	case *recordv1.Record_RevokeKey:
		return opt(Name(a.RevokeKey.GetPerson()) && len(a.RevokeKey.GetKey()) == 32 && plain(a.RevokeKey.GetWhy()), "name the person and the key")
	case *recordv1.Record_RecordTraining:
		return trainingShape(a.RecordTraining)
	case *recordv1.Record_Request:
		q := a.Request
		if _, known := recordv1.RequestKind_name[int32(q.GetKind())]; !known {
			return "no such kind of request"
		}
		if !Name(q.GetId()) || !Name(q.GetJob()) || q.GetDeadlineUnixMs() <= 0 || len(q.GetPoints()) == 0 {
			return "a request needs an id, a job, at least one point and a deadline"
		}
		return opt(list(q.GetPoints(), PointName), pointForm+", and each once")
	case *recordv1.Record_Withdraw:
		return opt(Name(a.Withdraw.GetRequest()) && plain(a.Withdraw.GetWhy()), "name the request")
	case *recordv1.Record_Expire:
		return opt(Name(a.Expire.GetRequest()), "name the request")
	case *recordv1.Record_RecoverYard:
		if bad := recoverShape(a.RecoverYard); bad != "" {
			return bad
		}
		return others(r.GetSigner(), a.RecoverYard.GetSecond())
	case *recordv1.Record_Removal:
		if !refOK(a.Removal.GetHold()) {
			return refForm
		}
		if bad := others(r.GetSigner(), a.Removal.GetSecond()); bad != "" {
			return bad
		}
		return duties(a.Removal)
	case *recordv1.Record_TakeOver:
		if !Name(a.TakeOver.GetJob()) {
			return jobForm
		}
		return others(r.GetSigner(), a.TakeOver.GetFrom())
	case *recordv1.Record_StandClear:
		return opt(refOK(a.StandClear.GetHold()) && Name(a.StandClear.GetRequest()) && a.StandClear.GetAsked() > 0, refForm+", the test's request, and its index")
	case *recordv1.Record_AcknowledgeRemoval:
		return opt(refOK(a.AcknowledgeRemoval.GetHold()), refForm)
	case *recordv1.Record_HandOver:
		if bad := others(r.GetSigner(), a.HandOver.GetOthers()...); bad != "" {
			return bad
		}
		return pairsOK(a.HandOver)
	case *recordv1.Record_ReplaceKey:
		return opt(len(a.ReplaceKey.GetKey()) == 32, "give the new key, 32 bytes")
	case *recordv1.Record_ReissueKey:
		return opt(Name(a.ReissueKey.GetPerson()) && len(a.ReissueKey.GetKey()) == 32, "name the person and give the new key, 32 bytes")
	case *recordv1.Record_ClaimLock:
		if !refOK(a.ClaimLock.GetHold()) {
			return refForm
		}
		return others(r.GetSigner(), a.ClaimLock.GetWitness())
	case *recordv1.Record_Lock:
		if !tagOK(a.Lock.GetTag()) {
			return "a tag has a legend and extra means that are known, and names a demonstration by id"
		}
		return opt(targetOK(a.Lock.GetTarget()) && plain(a.Lock.GetPadlock()) && optional(a.Lock.GetJob()), pointForm+"; a box yard/box")
	case *recordv1.Record_FoundLock:
		return opt(targetOK(a.FoundLock.GetTarget()) && plain(a.FoundLock.GetSeen()) && (a.FoundLock.GetJob() == "" || Name(a.FoundLock.GetJob())), pointForm+"; a box yard/box")
	case *recordv1.Record_Release:
		return opt(refOK(a.Release.GetHold()) && plain(a.Release.GetWhy()), refForm)
	case *recordv1.Record_Isolate:
		return opt(PointName(a.Isolate.GetPoint()), pointForm)
	case *recordv1.Record_Closed:
		return opt(PointName(a.Closed.GetPoint()), pointForm)
	case *recordv1.Record_FoundClosed:
		return opt(PointName(a.FoundClosed.GetPoint()) && plain(a.FoundClosed.GetSeen()), pointForm)
	case *recordv1.Record_FoundStarted:
		return opt(list(a.FoundStarted.GetPoints(), PointName) && text(a.FoundStarted.GetWhat()), "say what was started; "+pointForm+", and each once")
	case *recordv1.Record_Energise:
		return opt(PointName(a.Energise.GetPoint()) && Name(a.Energise.GetRequest()), pointForm)
	case *recordv1.Record_BoxAdd:
		return opt(PointName(a.BoxAdd.GetPoint()) && Names(a.BoxAdd.GetBox(), 2), pointForm)
	case *recordv1.Record_BoxRemove:
		return opt(PointName(a.BoxRemove.GetPoint()) && Names(a.BoxRemove.GetBox(), 2), pointForm)
	case *recordv1.Record_OpenJob:
		j := a.OpenJob
		if !Name(j.GetId()) || !Names(j.GetZone(), 2) || !Name(j.GetResponsible()) || !text(j.GetPurpose()) || len(j.GetPlan()) == 0 {
			return "a job needs an id, a zone, a plan, a responsible person and a purpose"
		}
		if !list(j.GetPlan(), PointName) {
			return pointForm + ", and each once"
		}
		return opt(list(j.GetCrew(), Name) && list(j.GetAffected(), Name), "the crew and the affected people are named by id, each once")
	case *recordv1.Record_SignOn:
		return opt(Name(a.SignOn.GetJob()), jobForm)
	case *recordv1.Record_SignOff:
		return opt(refOK(a.SignOff.GetSignOn()), refForm)
	case *recordv1.Record_ShutDown:
		return opt(Name(a.ShutDown.GetJob()), jobForm)
	case *recordv1.Record_Reading:
		d := a.Reading
		if math.IsNaN(d.GetValue()) || math.IsInf(d.GetValue(), 0) {
			return "the value read is not a number"
		}
		return opt(Name(d.GetJob()) && Names(d.GetPart(), 2) && d.GetKind() != 0 && plain(d.GetInstrument()), "a reading needs a job, a part and how it was taken")
	case *recordv1.Record_FoundLive:
		return opt(Name(a.FoundLive.GetJob()) && plain(a.FoundLive.GetPart()) && text(a.FoundLive.GetWhat()), "say which job, which part and what was live")
	case *recordv1.Record_CorrectFoundLive:
		return opt(refOK(a.CorrectFoundLive.GetFound()) && text(a.CorrectFoundLive.GetCause()), "name the record and say what the cause was")
	case *recordv1.Record_StoredReleased:
		return opt(Name(a.StoredReleased.GetJob()) && Names(a.StoredReleased.GetStore(), 2) && text(a.StoredReleased.GetHow()), "name the job and the store, and say how")
	case *recordv1.Record_Notice:
		n := a.Notice
		return opt(Name(n.GetJob()) && n.GetWhen() != 0 && len(n.GetPeople()) > 0 && list(n.GetPeople(), Name) && plain(n.GetMeans()), "a notice names the job, whether before or after, and who was told")
	case *recordv1.Record_ClearArea:
		return opt(Name(a.ClearArea.GetJob()), jobForm)
	case *recordv1.Record_TriedHandle:
		return opt(refOK(a.TriedHandle.GetHold()), refForm)
	case *recordv1.Record_CloseJob:
		return opt(Name(a.CloseJob.GetJob()), jobForm)
	case *recordv1.Record_NarrowZone:
		n := a.NarrowZone
		return opt(Names(n.GetZone(), 2) && len(n.GetPoints()) > 0 && list(n.GetPoints(), PointName) && text(n.GetWhy()), "name the zone and at least one point, each once, and say how it was found; "+pointForm)
	case *recordv1.Record_PublishProcedure, *recordv1.Record_ApproveProcedure, *recordv1.Record_RequireProcedures, *recordv1.Record_AttestException, *recordv1.Record_InspectProcedure,
		*recordv1.Record_SetCoordinator, *recordv1.Record_AddCrew, *recordv1.Record_AnswerVerification, *recordv1.Record_ExchangeProcedures:
		return checkPeople(r)
	}
	return checkPadlockActs(r)
}
