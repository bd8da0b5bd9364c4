package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const inspectClause = "1910.147(c)(6)(i)"

// Inspection is a yearly inspection as its certificate shows it: machine, date,
// employees included, inspector, 1910.147(c)(6)(ii).
type Inspection struct {
	Date      int64    `json:"date"`
	Machine   string   `json:"machine,omitempty"`
	Employees []string `json:"employees,omitempty"`
	By        Mark     `json:"by"`
}

// dueAt is when the next inspection is due: one year after the last or, where there
// was none, after the first version was approved. At that moment it is still in
// time.
func (p *Procedure) dueAt() int64 {
	if p.Inspected.By.Set() {
		return yearLater(p.Inspected.Date)
	}
	return yearLater(p.First.Time)
}

// usedIn reports whether a person used a zone's procedure in the period that an
// inspection of that date covers: the year before it or since the last one,
// whichever reaches further back. Who is locked or inside now uses it.
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

// toReview lists who used the procedure within the year and whose duties were not
// reviewed with them within the year, by name.
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
		x.refuse("UNKNOWN_PROCEDURE", zone, fmt.Sprintf("version %d is not the approved procedure of this zone", i.GetVersion()), "inspect the version in use", x.who.ID, inspectClause)
		return
	}
	switch {
	case date > s.Time+clockAhead:
		x.refuse("NOT_YET", zone, "the day of the inspection has not come yet", "record it when it was made", x.who.ID, inspectClause)
	case date/dayMS < v.Approved.Time/dayMS: // a certificate names a day
		x.refuse("TOO_OLD", zone, fmt.Sprintf("version %d was not in use yet on that day", v.Number), "inspect the version in use", x.who.ID, inspectClause)
	case date < p.Inspected.Date:
		x.refuse("TOO_OLD", zone, "an inspection after that day is recorded already", "", "", inspectClause)
	}
	if !x.who.trained(x.mark.Time) {
		x.refuse("TRAINING_LAPSED", x.who.ID, x.who.ID+" has no current training as an authorised employee", "an authorised employee inspects", "authorised employee", inspectClause)
	}
	if s.usedIn(p, x.who.ID, date) {
		x.refuse("INSPECTS_OWN_WORK", x.who.ID, x.who.ID+" used this procedure in the period that is inspected", "an authorised employee who did not use it inspects", "authorised employee", inspectClause+"(A)")
	}
	for _, id := range x.otherHands() {
		if s.usedIn(p, id, date) {
			x.notGivenBy(zone, inspectClause+"(A)", id)
		}
	}
	if slices.Contains(i.GetEmployees(), x.who.ID) {
		x.refuse("INSPECTS_OWN_WORK", x.who.ID, "nobody reviews their own duties", "leave yourself out", x.who.ID, inspectClause+"(C)")
	}
	for _, id := range append(slices.Clone(i.GetEmployees()), i.GetRetrain()...) {
		if s.People[id] == nil {
			x.refuse("UNKNOWN_PERSON", id, "nobody of this name is enrolled", "name them by their id", x.who.ID, "")
		}
	}
	if i.GetDeviations() != "" && i.GetCorrected() == "" {
		x.refuse("NOT_CORRECTED", zone, "deviations were found, and nothing says what was done about them", "correct them, and say how", x.who.ID, inspectClause+"(B)")
	}
	if x.refused() {
		return
	}
	p.Inspected = Inspection{Date: date, Machine: i.GetMachine(), Employees: slices.Sorted(slices.Values(i.GetEmployees())), By: x.mark}
	for _, id := range i.GetEmployees() {
		p.Reviewed[id] = date
	}
	x.change("procedure of %s version %d inspected by %s: %s; employees included: %s", zone, v.Number, x.who.ID, i.GetMachine(), strings.Join(p.Inspected.Employees, ", "))
	if left := s.toReview(p, s.Time); len(left) > 0 {
		x.flag("TO_REVIEW", zone, "still to be reviewed with: "+strings.Join(left, ", "), inspectClause+"(C)")
	}
	x.retrain(zone, "the inspection by "+x.who.ID+" found deviations or weak knowledge", slices.Clone(i.GetRetrain())...)
}
