package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const inspectClause = "1910.147(c)(6)(i)"

var _ = declare(
	kind((*recordv1.Record).GetInspectProcedure, Kind{Name: "inspect_procedure", Called: "procedure inspect", Class: Lifts, May: whoHas(authorised), Clause: inspectClause + "(A)", By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(i *recordv1.InspectProcedure) About { return About{Zone: i.GetZone()} },
		func(f *fields, a *recordv1.InspectProcedure) {
			f.place("zone", a.GetZone())
			f.counted("version", uint64(a.GetVersion()))
			f.moment("date_unix_ms", a.GetDateUnixMs())
			f.text("machine", a.GetMachine())
			f.some("employees", len(a.GetEmployees()))
			f.names("employees", a.GetEmployees())
			f.optionalText("deviations", a.GetDeviations())
			f.optionalText("corrected", a.GetCorrected())
			f.names("retrain", a.GetRetrain())
		},
		(*step).inspectProcedure),
)

var (
	// InspectedBeforeUse: the inspection is dated before the version was approved.
	InspectedBeforeUse = code.New("INSPECTED_BEFORE_USE", code.Row{Args: "zone version:number", Clause: inspectClause, Who: "the-signer"})
	InspectedSince     = code.New("INSPECTED_SINCE", code.Row{Args: "zone date:time", Clause: inspectClause})
	// InspectsOwnWork: the inspector used the procedure in the inspected period.
	InspectsOwnWork = code.New("INSPECTS_OWN_WORK", code.Row{Args: "person zone", Clause: inspectClause + "(A)", Who: "authorised"})
	ReviewsOwnDuty  = code.New("REVIEWS_OWN_DUTIES", code.Row{Args: "person", Clause: inspectClause + "(C)", Who: "the-signer"})
	NotCorrected    = code.New("NOT_CORRECTED", code.Row{Args: "zone", Clause: inspectClause + "(B)", Who: "the-signer"})
	Inspected       = code.New("PROCEDURE_INSPECTED", code.Row{Args: "zone version:number person machine:text employees"})
	// ToReview: these people used the procedure, and nobody reviewed their duties with
	// them.
	ToReview = code.New("TO_REVIEW", code.Row{Args: "zone people", Clause: inspectClause + "(C)", Who: "authorised", Next: "yardhasp procedure inspect {zone} --machine MACHINE --date DAY --employee {people}"})
	// InspectionFound says why a person must be retrained.
	InspectionFound = code.New("INSPECTION_FOUND", code.Row{Args: "zone person"})
)

// Inspection is a yearly inspection as its certificate shows it: machine, date,
// employees included and inspector, 1910.147(c)(6)(ii).
type Inspection struct {
	Date      int64    `json:"date"`
	Machine   string   `json:"machine,omitempty"`
	Employees []string `json:"employees,omitempty"`
	By        Mark     `json:"by"`
}

// dueAt is when the next inspection is due, in Unix ms: one year after the last
// inspection. If there was none, it is one year after the first version was approved. An
// inspection at exactly that moment is still in time.
func (p *Procedure) dueAt() int64 {
	if p.Inspected.By.Set() {
		return yearLater(p.Inspected.Date)
	}
	return yearLater(p.First.Time)
}

// usedIn reports whether a person used a zone's procedure in the period that an
// inspection of that date covers. The period is the year before the date, or the time
// since the last inspection if that is longer. A person who has a lock on or is inside
// uses it now.
func (s *State) usedIn(p *Procedure, person string, date int64) bool {
	if m, ok := s.Used[p.Zone][person]; ok && (yearLater(m.Late) >= date || p.Inspected.By.Set() && m.Late > p.Inspected.Date) {
		return true
	}
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; j.Zone == p.Zone && !j.Closed.Set() && (j.Responsible == person || slices.Contains(namesOf(s.atWork(j, nil)), person)) {
			return true
		}
	}
	return false
}

// toReview lists, by name, the people who used the procedure within the year and whose
// duties nobody reviewed with them within the year.
func (s *State) toReview(p *Procedure, at int64) []string {
	var out []string
	for _, id := range sorted(s.Used[p.Zone]) {
		reviewed, ok := p.Reviewed[id]
		if s.usedIn(p, id, at) && (!ok || yearLater(reviewed) < at) {
			out = append(out, id)
		}
	}
	return out
}

func (x *step) inspectProcedure(i *recordv1.InspectProcedure) {
	s, zone, date := x.s, i.GetZone(), i.GetDateUnixMs()
	v, p := s.approved(zone), s.Procs[zone]
	if v == nil || v.Number != i.GetVersion() {
		x.deny(NotVersionInUse, zone, zone, i.GetVersion(), inspectClause)
		return
	}
	switch {
	case date > s.Time+clockAhead:
		x.deny(NotYet, zone, date, inspectClause)
	case date/dayMS < v.Approved.Time/dayMS: // a certificate names a day
		x.deny(InspectedBeforeUse, zone, zone, v.Number)
	case date < p.Inspected.Date:
		x.deny(InspectedSince, zone, zone, p.Inspected.Date)
	}
	if !x.who.trained(x.mark.Time) {
		x.deny(TrainingLapsed, x.who.ID, x.who.ID)
	}
	if s.usedIn(p, x.who.ID, date) {
		x.deny(InspectsOwnWork, x.who.ID, x.who.ID, zone)
	}
	for _, id := range x.keyGivers() {
		if s.usedIn(p, id, date) {
			x.notGivenBy(zone, inspectClause+"(A)", id)
		}
	}
	if slices.Contains(i.GetEmployees(), x.who.ID) {
		x.deny(ReviewsOwnDuty, x.who.ID, x.who.ID)
	}
	for _, id := range append(slices.Clone(i.GetEmployees()), i.GetRetrain()...) {
		if s.People[id] == nil {
			x.deny(UnknownPerson, id, id)
		}
	}
	if i.GetDeviations() != "" && i.GetCorrected() == "" {
		x.deny(NotCorrected, zone, zone)
	}
	if x.refused() {
		return
	}
	p.Inspected = Inspection{Date: date, Machine: i.GetMachine(), Employees: slices.Sorted(slices.Values(i.GetEmployees())), By: x.mark}
	for _, id := range i.GetEmployees() {
		p.Reviewed[id] = date
	}
	x.did(Inspected, zone, zone, v.Number, x.who.ID, i.GetMachine(), p.Inspected.Employees)
	if left := s.toReview(p, s.Time); len(left) > 0 {
		x.note(ToReview, zone, zone, left)
	}
	x.retrain(zone, InspectionFound.About(zone, zone, x.who.ID), slices.Clone(i.GetRetrain())...)
}
