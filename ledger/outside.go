package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const outsideClause = "1910.147(f)(2)(i)"

var _ = declare(
	kind((*recordv1.Record).GetExchangeProcedures, Kind{Name: "exchange_procedures", Called: "exchange", Class: Lifts, May: whoHas(supervisor, manager), Clause: outsideClause, By: ByPerson,
		With: func(r *recordv1.Record) ([]string, []byte) {
			return []string{r.GetExchangeProcedures().GetContractor()}, nil
		},
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining, Shape: exchangeShape},
		func(*recordv1.ExchangeProcedures) About { return About{} },
		nil,
		(*step).exchangeProcedures),
)

var (
	// OtherEmployer: the person who signs for an outside employer does not work for
	// them.
	OtherEmployer = code.New("OTHER_EMPLOYER", code.Row{Args: "person employer:text", Clause: outsideClause, Who: "the-signer"})
	// NotOfTheCoop: a person of the co-op must sign for the co-op.
	NotOfTheCoop = code.New("NOT_OF_THE_COOP", code.Row{Args: "person", Clause: outsideClause, Who: "supervisor-manager", Answer: code.Denied})
	// NotYet: the given day lies in the future.
	NotYet    = code.New("NOT_YET", code.Row{Args: "day:time clause", Who: "the-signer"})
	Exchanged = code.New("EXCHANGED", code.Row{Args: "yard coop:text employer:text person"})
	// NoExchange: no exchange is recorded with the person's employer. The argument
	// employer is "" where none is recorded for the person.
	NoExchange = code.New("NO_EXCHANGE", code.Row{Args: "yard person employer:text", Clause: outsideClause, Who: "supervisor-manager", Next: "yardhasp exchange draft {yard} --employer '{employer}' --contractor {person}"})
)

func exchangeShape(f *fields, r *recordv1.Record) {
	a := r.GetExchangeProcedures()
	f.name("yard", a.GetYard())
	f.text("employer", a.GetEmployer())
	f.others("contractor", r.GetSigner(), a.GetContractor())
	f.text("host_procedures", a.GetHostProcedures())
	f.text("outside_procedures", a.GetOutsideProcedures())
	f.moment("date_unix_ms", a.GetDateUnixMs())
	f.some("hazards", len(a.GetHazards()))
	f.texts("hazards", a.GetHazards())
	f.text("emergency", a.GetEmergency())
}

// texts checks a list of texts. Each may occur once, and the list may be empty.
func (f *fields) texts(field string, v []string) { f.must(list(v, text), field, "form-texts") }

// Exchange is what the co-op and an outside employer told each other about a yard.
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

// outsider reports whether a person works for another firm, in whatever role the co-op
// enrolled them. A contractor with no recorded employer is an outsider.
func (s *State) outsider(p *Person) bool {
	return p != nil && p.Employer != s.Coop && (p.Employer != "" || p.Has(contractor))
}

// Outsider reports whether a person is enrolled as a contractor and works for an
// employer other than the co-op. They may see only ContractorView. A person in another
// role always sees the whole board: a misspelt employer must not hide half of it from
// them.
func (s *State) Outsider(person string) bool {
	p := s.People[person]
	return p != nil && p.Has(contractor) && p.Employer != s.Coop
}

func (x *step) exchangeProcedures(e *recordv1.ExchangeProcedures) {
	s := x.s
	c := s.People[e.GetContractor()]
	switch {
	case s.Yards[e.GetYard()] == nil:
		x.deny(UnknownYard, e.GetYard(), e.GetYard())
	case !s.outsider(c) || c.Employer != e.GetEmployer():
		x.deny(OtherEmployer, e.GetContractor(), e.GetContractor(), e.GetEmployer())
	case s.outsider(x.who):
		x.deny(NotOfTheCoop, x.who.ID, x.who.ID)
	}
	x.notOneHand(e.GetContractor(), "supervisor-manager", outsideClause)
	if e.GetDateUnixMs() > s.Time+clockAhead {
		x.deny(NotYet, e.GetYard(), e.GetDateUnixMs(), outsideClause)
	}
	if x.refused() {
		return
	}
	s.Exchanges[exchangeKey(e.GetYard(), e.GetEmployer())] = &Exchange{Yard: e.GetYard(), Employer: e.GetEmployer(), Contractor: c.ID, Host: e.GetHostProcedures(),
		Outside: e.GetOutsideProcedures(), Date: e.GetDateUnixMs(), Hazards: slices.Clone(e.GetHazards()), Emergency: e.GetEmergency(), At: x.mark}
	x.did(Exchanged, e.GetYard(), e.GetYard(), s.Coop, e.GetEmployer(), c.ID)
}

// unexchanged lists the yards for which nothing was exchanged with the employer of an
// outside person.
func (s *State) unexchanged(person string, yards ...string) []string {
	p := s.People[person]
	if !s.outsider(p) {
		return nil
	}
	slices.Sort(yards)
	return slices.DeleteFunc(slices.Compact(yards), func(y string) bool { return s.Exchanges[exchangeKey(y, p.Employer)] != nil })
}

func (x *step) flagExchange(person string, yards ...string) {
	x.out.Flags = append(x.out.Flags, x.s.exchangeFindings(person, yards...)...)
}

// exchangeFindings gives a finding for each of those yards.
func (s *State) exchangeFindings(person string, yards ...string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, y := range s.unexchanged(person, yards...) {
		cs = append(cs, NoExchange.About(person, y, person, s.People[person].Employer))
	}
	return cs
}

// workYards are the yards of the zone and of the plan's points.
func (j *Job) workYards() []string {
	ys := []string{YardOf(j.Zone)}
	for _, p := range j.Plan {
		ys = append(ys, YardOf(p))
	}
	return ys
}

func (s *State) exchangeConditions(j *Job, person string) []*recordv1.Finding {
	return s.exchangeFindings(person, j.workYards()...)
}
