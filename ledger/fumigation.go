package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetFumigationRecorded, Kind{Name: "fumigation_recorded", Called: "fumigation recorded", Class: Protects, May: anybody(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtZone, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(f *recordv1.FumigationRecorded) About { return About{Zone: f.GetPlace()} },
		func(f *fields, a *recordv1.FumigationRecorded) {
			f.place("place", a.GetPlace())
			f.places("connected", a.GetConnected())
			f.optionalText("placard", a.GetPlacard())
			f.must(a.GetUntilUnixMs() >= 0, "until_unix_ms", "form-moment")
			f.must(fumigantOK(a.GetFumigant()), "fumigant", "form-fumigant")
		},
		(*step).fumigationRecorded),
	kind((*recordv1.Record).GetFumigationCleared, Kind{Name: "fumigation_cleared", Called: "fumigation cleared", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtRecord, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.FumigationCleared) About { return About{Record: c.GetFumigation()} },
		func(f *fields, a *recordv1.FumigationCleared) {
			f.refText("fumigation", a.GetFumigation())
			f.must(a.GetThousandths() >= 0, "thousandths", "form-air-value")
			f.optionalText("instrument", a.GetInstrument())
			f.text("applicator", a.GetApplicator())
		},
		(*step).fumigationCleared),
)

const fumigationClearedBy = "yardhasp fumigation cleared {record} --highest PPM --instrument NAME --proved-before --proved-after --applicator WHO"

var (
	// Fumigated stands until the place is aired, tested and cleared. Everybody who comes
	// to a yard is shown it, whatever else they may see.
	Fumigated = code.New("FUMIGATED", code.Row{Args: "place record person clause", Who: "the-applicator", Next: fumigationClearedBy})
	// FumigantNear: gas can come in from a place joined to the zone.
	FumigantNear = code.New("FUMIGANT_NEAR", code.Row{Args: "place zone record", Clause: airClause, Who: "supervisor-manager"})
	// FumigantWithoutLimit: gas can come in from a joined place, and this release knows
	// no limit for that gas. So no test can show that the air is good.
	FumigantWithoutLimit = code.New("FUMIGANT_WITHOUT_LIMIT", code.Row{Args: "place zone record", Clause: airClause, Who: "the-applicator", Next: fumigationClearedBy})

	FumigationCleared = code.New("FUMIGATION_CLEARED", code.Row{Args: "place person applicator:text"})
	UnknownFumigation = code.New("UNKNOWN_FUMIGATION", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp board", Answer: code.Unknown})
	// FumigationNotSeen: the record clears a fumigation that its yard did not yet know
	// of.
	FumigationNotSeen = code.New("FUMIGATION_NOT_SEEN", code.Row{Args: "place record", Who: "the-signer", Next: fumigationClearedBy})
	// FumigantOutOfLimits: the highest value read is past the limit.
	FumigantOutOfLimits = code.New("FUMIGANT_OUT_OF_LIMITS", code.Row{Args: "place record agent:word value:text high:text unit:word clause", Who: "the-applicator", Next: fumigationClearedBy})
)

// Fumigation is a place under a fumigant until it is cleared.
type Fumigation struct {
	Ref       string            `json:"ref"`
	Place     string            `json:"place"`
	Fumigant  recordv1.AirAgent `json:"fumigant"`
	Until     int64             `json:"until,omitempty"` // the planned end, Unix ms
	Connected []string          `json:"connected,omitempty"`
	// Places are what the name meant when the fumigation was recorded. The gas stays
	// there, whatever a later drawing calls the place.
	Places []string `json:"places,omitempty"`
	At     Mark     `json:"at"`
}

// fumigantOK accepts 0, for a fumigant without a known limit, and any agent measured in
// ppm.
func fumigantOK(a recordv1.AirAgent) bool {
	return a == 0 || agentOK(a) && a > recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS
}

func (x *step) fumigationRecorded(f *recordv1.FumigationRecorded) {
	g := &Fumigation{Ref: x.out.Ref, Place: f.GetPlace(), Fumigant: f.GetFumigant(), Until: f.GetUntilUnixMs(),
		Connected: slices.Sorted(slices.Values(f.GetConnected())), Places: x.s.placesOf(f.GetPlace()), At: x.mark}
	x.s.Fumigations[g.Ref] = g
	x.s.raise(g.Ref, g.finding(""), x.mark)
	x.out.Did = append(x.out.Did, g.finding(""))
}

// fumigationCleared lifts protection, so it needs a reading within the limit.
func (x *step) fumigationCleared(c *recordv1.FumigationCleared) {
	f := x.s.Fumigations[c.GetFumigation()]
	if f == nil {
		x.deny(UnknownFumigation, c.GetFumigation(), c.GetFumigation())
		return
	}
	if !f.At.before(x.mark) {
		x.deny(FumigationNotSeen, f.Ref, f.Place, f.Ref)
	}
	if x.clockDoubt() {
		x.deny(AirClockDoubt, f.Place, f.Place)
	}
	if c.GetInstrument() == "" || !c.GetProvedBefore() || !c.GetProvedAfter() {
		x.deny(GasMeterNotProved, f.Place, f.Place)
	}
	if l, ok := AirLimitOf(f.Fumigant); ok && l.Outside(c.GetThousandths()) {
		x.deny(FumigantOutOfLimits, f.Place, f.Place, f.Ref, l.Name, Thousandths(c.GetThousandths()), Thousandths(l.High), l.Unit, l.Source)
	}
	if x.refused() {
		return
	}
	delete(x.s.Fumigations, f.Ref)
	x.s.lower(Fumigated, f.Ref)
	x.did(FumigationCleared, f.Place, f.Place, x.who.ID, c.GetApplicator())
}

// fumigantsNear lists the fumigations that can reach a zone. They are at the zone, or
// joined to it by a record or by any path of grain, air or chemical on a drawing.
func (s *State) fumigantsNear(zone string) (at, near []*Fumigation) {
	parts := s.placesOf(zone)
	for _, ref := range sorted(s.Fumigations) {
		switch f := s.Fumigations[ref]; {
		case s.samePlace(zone, f.Place) || overlap(parts, s.placesOf(f.Place)) || overlap(parts, f.Places):
			at = append(at, f)
		case slices.ContainsFunc(append([]string{f.Place}, f.Connected...), func(p string) bool { return s.Graph().SharesAir(zone, p) }):
			near = append(near, f)
		}
	}
	return at, near
}

// placesOf lists what the name of a zone or node means: the name itself, and the nodes
// of a zone.
func (s *State) placesOf(name string) []string {
	out := []string{name}
	if z, ok := s.Graph().Zone(name); ok {
		for _, p := range z.Parts {
			out = append(out, p.Node)
		}
	}
	return out
}

// fumigantAgents are the agents to test the air for because of fumigants nearby.
func (s *State) fumigantAgents(zone string) []recordv1.AirAgent {
	var out []recordv1.AirAgent
	at, near := s.fumigantsNear(zone)
	for _, f := range append(at, near...) {
		if f.Fumigant != 0 {
			out = append(out, f.Fumigant)
		}
	}
	if z, ok := s.Graph().Zone(zone); ok {
		for _, p := range z.Parts {
			if slices.Contains(p.Media, recordv1.Medium_MEDIUM_CHEMICAL) {
				out = append(out, recordv1.AirAgent_AIR_AGENT_PHOSPHINE)
			}
		}
	}
	return out
}

// fumigantConditions lists the fumigants that stand against entering a zone.
func (s *State) fumigantConditions(zone string, closed map[string]string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	at, near := s.fumigantsNear(zone)
	for _, f := range at {
		cs = append(cs, f.finding(airClause))
	}
	for _, f := range near {
		switch {
		case f.Fumigant == 0:
			cs = append(cs, FumigantWithoutLimit.About(f.Place, f.Place, zone, f.Ref))
		case closed[f.Ref] == "":
			cs = append(cs, FumigantNear.About(f.Place, f.Place, zone, f.Ref))
		}
	}
	return cs
}

// finding says that the place is under a fumigant. clause is the rule that keeps people
// out, or "" when no rule is applied.
func (f *Fumigation) finding(clause string) *recordv1.Finding {
	return Fumigated.About(f.Place, f.Place, f.Ref, f.At.By, clause)
}

// workUnderFumigant lists the fumigants at a zone that is not entered like a bin. Nobody
// may work there either. For a zone that is entered, the permit says so.
func (s *State) workUnderFumigant(j *Job) []*recordv1.Finding {
	if z, ok := s.Graph().Zone(j.Zone); ok && z.Entered {
		return nil
	}
	var cs []*recordv1.Finding
	at, _ := s.fumigantsNear(j.Zone)
	for _, f := range at {
		cs = append(cs, f.finding("common practice, no source"))
	}
	return cs
}
