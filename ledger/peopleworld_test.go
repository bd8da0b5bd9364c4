package ledger_test

import (
	"crypto/sha256"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	verified = recordv1.VerificationAnswer_VERIFICATION_ANSWER_VERIFIED_MYSELF
	declined = recordv1.VerificationAnswer_VERIFICATION_ANSWER_OFFERED_DECLINED
	day      = int64(86_400_000)
)

var procedureText = []byte("1. open the feeder; 2. lock it")

func actProcedure(version uint32) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_PublishProcedure{PublishProcedure: &recordv1.PublishProcedure{Zone: zone, Version: version, Text: procedureText,
		Machines: []string{"leg 2, work house"}, Points: []string{feeder, control}}}}
}

func actApprove(version uint32) *recordv1.Record {
	h := sha256.Sum256(procedureText)
	return &recordv1.Record{Act: &recordv1.Record_ApproveProcedure{ApproveProcedure: &recordv1.ApproveProcedure{Zone: zone, Version: version, TextHash: h[:]}}}
}

func actRequire(yard string, from int64) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_RequireProcedures{RequireProcedures: &recordv1.RequireProcedures{Yard: yard, FromUnixMs: from}}}
}

func actAttest(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_AttestException{AttestException: &recordv1.AttestException{Job: job, LockedDuringWork: true, ExclusiveControl: true,
		NoHazardForOthers: true, NoAccident: true, HowKnown: "accident list looked through"}}}
}

func actInspect(version uint32, date int64, employees ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_InspectProcedure{InspectProcedure: &recordv1.InspectProcedure{Zone: zone, Version: version, DateUnixMs: date, Machine: "leg 2", Employees: employees}}}
}

func actCoordinator(job, person, insteadOf string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_SetCoordinator{SetCoordinator: &recordv1.SetCoordinator{Job: job, Person: person, InsteadOf: insteadOf}}}
}

func actCrew(job, crew, responsible string, people ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_AddCrew{AddCrew: &recordv1.AddCrew{Job: job, Crew: crew, Responsible: responsible, People: people}}}
}

func actAnswer(job string, said recordv1.VerificationAnswer) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_AnswerVerification{AnswerVerification: &recordv1.AnswerVerification{Job: job, Answer: said}}}
}

func actExchange(yard, employer, person string, date int64) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ExchangeProcedures{ExchangeProcedures: &recordv1.ExchangeProcedures{Yard: yard, Employer: employer, Contractor: person,
		HostProcedures: "co-op rules, version 4", OutsideProcedures: "Harrow rules, version 2", DateUnixMs: date, Hazards: []string{"grain dust in the leg casing"}, Emergency: "gate 2, call the scale house"}}}
}

func actTraining(person string, class recordv1.TrainingClass, done, until int64, covers ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: person, Training: class, DoneUnixMs: done, UntilUnixMs: until, Certificate: "roll of the day", Covers: covers}}}
}
