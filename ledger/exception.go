package ledger

import (
	"yardhasp/ledger/code"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetAttestException, Kind{Name: "attest_exception", Called: "attest", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: procedureClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(a *recordv1.AttestException) About { return About{Job: a.GetJob()} },
		func(f *fields, a *recordv1.AttestException) {
			f.name("job", a.GetJob())
			f.text("how_known", a.GetHowKnown())
		},
		(*step).attestException),
)

// 1910.147(c)(4)(i) needs no written procedure under eight conditions. These are about
// them.
var (
	// NotAttested: one of the four conditions that no drawing shows. The argument what
	// is that condition in words.
	NotAttested = code.New("NOT_ATTESTED", code.Row{Args: "job condition:number what:word", Clause: procedureClause, Who: "supervisor-manager"})
	// ConditionFails: one of the four computed conditions. The argument why comes from
	// the energy engine.
	ConditionFails = code.New("CONDITION_FAILS", code.Row{Args: "condition:number why:text", Clause: procedureClause, Who: "supervisor-manager"})
	// NotComputed: none of the four can be computed.
	NotComputed = code.New("CONDITIONS_NOT_COMPUTED", code.Row{Args: "why:text", Clause: procedureClause, Who: "supervisor-manager"})
	// OthersAtRisk and LockedByBox end the exclusive control by one person.
	OthersAtRisk = code.New("OTHERS_AT_RISK", code.Row{Args: "person", Clause: procedureClause})
	LockedByBox  = code.New("LOCKED_BY_BOX", code.Row{Args: "box", Clause: procedureClause})

	// ExceptionFails: a person attested that a job needs no procedure, but one of the
	// conditions does not hold now.
	ExceptionFails    = code.New("EXCEPTION_FAILS", code.Row{Args: "zone job person because:why", Clause: procedureClause, Who: "supervisor-manager", Next: "yardhasp procedure publish {zone} --machine MACHINE"})
	ExceptionAttested = code.New("EXCEPTION_ATTESTED", code.Row{Args: "job person how:text", Clause: procedureClause})
)

// Exception is the attestation that a job needs no written procedure.
type Exception struct {
	By  Mark   `json:"by"`
	How string `json:"how,omitempty"`
}

// exceptionFinding says who attested the exception and how they know.
func (j *Job) exceptionFinding() *recordv1.Finding {
	return ExceptionAttested.About(j.ID, j.ID, j.Exception.By.By, j.Exception.How)
}

// attestException takes a named person's word for the four conditions that no drawing
// shows. It refuses when a computed condition fails.
func (x *step) attestException(a *recordv1.AttestException) {
	s := x.s
	j := x.openJobFor(a.GetJob())
	if j == nil {
		return
	}
	for _, c := range []struct {
		number int
		said   bool
		what   string
	}{
		{4, a.GetLockedDuringWork(), "locked-during-work"}, {6, a.GetExclusiveControl(), "exclusive-control"},
		{7, a.GetNoHazardForOthers(), "no-hazard-for-others"}, {8, a.GetNoAccident(), "no-accident"},
	} {
		if !c.said {
			x.deny(NotAttested, j.ID, j.ID, c.number, c.what)
		}
	}
	x.out.Conditions = append(x.out.Conditions, s.failingConditions(j)...)
	if x.refused() {
		return
	}
	j.Exception = Exception{By: x.mark, How: a.GetHowKnown()}
	s.redrawJob(j)
	x.out.Did = append(x.out.Did, j.exceptionFinding())
}

// failingConditions lists the computed conditions that fail for a job's plan.
func (s *State) failingConditions(j *Job) []*recordv1.Finding {
	plan, err := s.Graph().Describe(j.Zone, j.Plan, recordv1.Isolation_ISOLATION_UNSPECIFIED)
	var cs []energy.EightCondition
	if err == nil {
		cs, err = s.Graph().WithoutProcedure(j.Zone, plan)
	}
	if err != nil {
		return []*recordv1.Finding{NotComputed.About(j.ID, line(err.Error()))}
	}
	var out []*recordv1.Finding
	for _, c := range cs {
		if c.Holds == energy.HoldsNo {
			out = append(out, ConditionFails.About(j.ID, c.Number, c.Why))
		}
	}
	return out
}

// exceptionConditions checks that every condition of an attested exception still holds.
// One device must be under the exclusive control of one person, so anybody else ends it.
func (s *State) exceptionConditions(j *Job) []*recordv1.Finding {
	why := append([]*recordv1.Finding{}, s.exceptions[j.ID]...)
	for _, id := range namesOf(s.atWork(j, nil)) {
		if id != j.Responsible {
			why = append(why, OthersAtRisk.About(id, id))
		}
	}
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; h.Box != "" && overlap(s.Covers(h), j.Plan) {
			why = append(why, LockedByBox.About(h.Box, h.Box))
		}
	}
	if len(why) == 0 {
		return nil
	}
	return []*recordv1.Finding{ExceptionFails.About(j.Zone, j.Zone, j.ID, j.Exception.By.By, why)}
}
