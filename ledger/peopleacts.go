package ledger

import (
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// dispatchPeople takes the acts about procedures, inspections, crews and outside
// employers.
func (x *step) dispatchPeople() {
	switch a := x.rec.GetAct().(type) {
	case *recordv1.Record_PublishProcedure:
		x.publishProcedure(a.PublishProcedure)
	case *recordv1.Record_ApproveProcedure:
		x.approveProcedure(a.ApproveProcedure)
	case *recordv1.Record_RequireProcedures:
		x.requireProcedures(a.RequireProcedures)
	case *recordv1.Record_AttestException:
		x.attestException(a.AttestException)
	case *recordv1.Record_InspectProcedure:
		x.inspectProcedure(a.InspectProcedure)
	case *recordv1.Record_SetCoordinator:
		x.setCoordinator(a.SetCoordinator)
	case *recordv1.Record_AddCrew:
		x.addCrew(a.AddCrew)
	case *recordv1.Record_AnswerVerification:
		x.answerVerification(a.AnswerVerification)
	case *recordv1.Record_ExchangeProcedures:
		x.exchangeProcedures(a.ExchangeProcedures)
	default:
		x.refuse("MALFORMED", x.out.Kind, "no such act", "", "", "")
	}
}

func zoneName(z string) bool { return Names(z, 2) }

func trainingShape(t *recordv1.RecordTraining) string {
	_, known := recordv1.TrainingClass_name[int32(t.GetTraining())]
	authorisedClass := t.GetTraining() <= recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED
	switch {
	case !Name(t.GetPerson()):
		return "name the person"
	case !known:
		return "no such class of training"
	case t.GetDoneUnixMs() < 0 || !plain(t.GetCertificate()) || !list(t.GetCovers(), zoneName):
		return "a training has a day, and zones named yard/zone, each once"
	case len(t.GetCovers()) > 0 && !authorisedClass:
		return "retraining on a zone is training as an authorised employee"
	case t.GetQualified() && !authorisedClass:
		return "who may test electrical parts is said with training as an authorised employee"
	}
	return ""
}

// checkPeople says what is wrong with the shape of those acts.
func checkPeople(r *recordv1.Record) string {
	opt := func(ok bool, what string) string {
		if ok {
			return ""
		}
		return what
	}
	switch a := r.GetAct().(type) {
	case *recordv1.Record_PublishProcedure:
		p := a.PublishProcedure
		return opt(zoneName(p.GetZone()) && p.GetVersion() > 0 && len(p.GetText()) > 0 && len(p.GetText()) <= MaxProcedureBytes &&
			len(p.GetMachines()) > 0 && list(p.GetMachines(), text) && len(p.GetPoints()) > 0 && list(p.GetPoints(), PointName),
			"a procedure has a zone, a version from 1, a text, every machine it covers, and its points, each once")
	case *recordv1.Record_ApproveProcedure:
		p := a.ApproveProcedure
		return opt(zoneName(p.GetZone()) && p.GetVersion() > 0 && len(p.GetTextHash()) == 32, "name the zone, the version and the hash of its text")
	case *recordv1.Record_RequireProcedures:
		return opt(Name(a.RequireProcedures.GetYard()) && a.RequireProcedures.GetFromUnixMs() > 0, "name the yard and the moment")
	case *recordv1.Record_AttestException:
		return opt(Name(a.AttestException.GetJob()) && text(a.AttestException.GetHowKnown()), "name the job, and say how the conditions are known")
	case *recordv1.Record_InspectProcedure:
		i := a.InspectProcedure
		return opt(zoneName(i.GetZone()) && i.GetVersion() > 0 && i.GetDateUnixMs() > 0 && text(i.GetMachine()) && len(i.GetEmployees()) > 0 && list(i.GetEmployees(), Name) &&
			plain(i.GetDeviations()) && plain(i.GetCorrected()) && list(i.GetRetrain(), Name),
			"a certificate shows the machine, the date and the employees included, each once")
	case *recordv1.Record_SetCoordinator:
		c := a.SetCoordinator
		return opt(Name(c.GetJob()) && Name(c.GetPerson()) && (c.GetInsteadOf() == "" || Name(c.GetInsteadOf())), "name the job and the person")
	case *recordv1.Record_AddCrew:
		c := a.AddCrew
		return opt(Name(c.GetJob()) && Name(c.GetCrew()) && Name(c.GetResponsible()) && list(c.GetPeople(), Name), "name the job, the crew, who is responsible, and the people, each once")
	case *recordv1.Record_AnswerVerification:
		_, known := recordv1.VerificationAnswer_name[int32(a.AnswerVerification.GetAnswer())]
		return opt(Name(a.AnswerVerification.GetJob()) && known && a.AnswerVerification.GetAnswer() != 0, "name the job, and say whether you verified or declined")
	case *recordv1.Record_ExchangeProcedures:
		e := a.ExchangeProcedures
		if bad := others(r.GetSigner(), e.GetContractor()); bad != "" {
			return bad
		}
		return opt(Name(e.GetYard()) && text(e.GetEmployer()) && text(e.GetHostProcedures()) && text(e.GetOutsideProcedures()) && e.GetDateUnixMs() > 0 &&
			len(e.GetHazards()) > 0 && list(e.GetHazards(), text) && text(e.GetEmergency()),
			"an exchange names the yard, the employer, both sides' procedures, the day, the hazards told and what to do in an emergency")
	}
	return "the record has no act"
}
