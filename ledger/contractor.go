package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const outsideClause = "1910.147(f)(2)(i)"

// Exchange is what the co-op and an outside employer told each other for a yard.
type Exchange struct {
	Yard       string   `json:"yard"`
	Employer   string   `json:"employer"`
	Contractor string   `json:"contractor"`
	Host       string   `json:"host"`
	Outside    string   `json:"outside"`
	Date       int64    `json:"date"`
	Hazards    []string `json:"hazards"`
	Emergency  string   `json:"emergency"`
	At         Mark     `json:"at"`
}

func exchangeKey(yard, employer string) string { return yard + " " + employer }

// outsider reports whether a person is employed by another firm, in whatever role
// the co-op enrolled them. A contractor for whom no employer is recorded is one.
func (s *State) outsider(p *Person) bool {
	return p != nil && p.Employer != s.Coop && (p.Employer != "" || p.Has(contractor))
}

// Outsider reports whether a person was enrolled as a contractor and is of another
// employer than the co-op: what they may see is ContractorView. Of somebody in another
// role an employer's name written another way must not hide half the board.
func (s *State) Outsider(person string) bool {
	p := s.People[person]
	return p != nil && p.Has(contractor) && p.Employer != s.Coop
}

func (x *step) exchangeProcedures(e *recordv1.ExchangeProcedures) {
	s := x.s
	c := s.People[e.GetContractor()]
	switch {
	case s.Yards[e.GetYard()] == nil:
		x.refuse("UNKNOWN_YARD", e.GetYard(), "no yard of this name has joined", "read its name again", x.who.ID, "")
	case !s.outsider(c) || c.Employer != e.GetEmployer():
		x.refuse("OTHER_EMPLOYER", e.GetContractor(), e.GetContractor()+" is not a contractor's person of "+e.GetEmployer(), "name one who is", x.who.ID, outsideClause)
	case s.outsider(x.who):
		x.refuse("OTHER_EMPLOYER", x.who.ID, x.who.ID+" is not employed by the co-op", "a supervisor or manager of the co-op signs", "supervisor or manager", outsideClause)
	}
	if x.oneHand(e.GetContractor()) {
		x.refuse("ONE_HAND", e.GetContractor(), x.oneHandText(e.GetContractor()), "another supervisor or manager of the co-op signs", "another supervisor or manager", outsideClause)
	}
	if e.GetDateUnixMs() > s.Time+clockAhead {
		x.refuse("NOT_YET", e.GetYard(), "the day of the exchange has not come yet", "record it when it was done", x.who.ID, outsideClause)
	}
	if x.refused() {
		return
	}
	s.Exchanges[exchangeKey(e.GetYard(), e.GetEmployer())] = &Exchange{Yard: e.GetYard(), Employer: e.GetEmployer(), Contractor: c.ID, Host: e.GetHostProcedures(),
		Outside: e.GetOutsideProcedures(), Date: e.GetDateUnixMs(), Hazards: slices.Clone(e.GetHazards()), Emergency: e.GetEmergency(), At: x.mark}
	x.change("%s and %s have told each other their procedures for %s; %s acknowledges the hazards there", s.Coop, e.GetEmployer(), e.GetYard(), c.ID)
}

// unexchanged lists the yards for which nothing was exchanged with the employer of
// an outside person.
func (s *State) unexchanged(person string, yards ...string) []string {
	p := s.People[person]
	if !s.outsider(p) {
		return nil
	}
	slices.Sort(yards)
	return slices.DeleteFunc(slices.Compact(yards), func(y string) bool { return s.Exchanges[exchangeKey(y, p.Employer)] != nil })
}

func exchangeText(p *Person, yard string) string {
	firm := p.Employer
	if firm == "" {
		firm = "the employer of " + p.ID + ", which is not recorded,"
	}
	return "the co-op and " + firm + " have not told each other their procedures and hazards for " + yard
}

func (x *step) flagExchange(person string, yards ...string) {
	for _, y := range x.s.unexchanged(person, yards...) {
		x.flag("NO_EXCHANGE", person, exchangeText(x.s.People[person], y), outsideClause)
	}
}

// workYards are the zone's yard and those of the plan's points.
func (j *Job) workYards() []string {
	ys := []string{YardOf(j.Zone)}
	for _, p := range j.Plan {
		ys = append(ys, YardOf(p))
	}
	return ys
}

func (s *State) exchangeConditions(j *Job, person string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, y := range s.unexchanged(person, j.workYards()...) {
		cs = append(cs, cond("NO_EXCHANGE", person, exchangeText(s.People[person], y), "exchange them and sign it together", "supervisor or manager", outsideClause))
	}
	return cs
}
