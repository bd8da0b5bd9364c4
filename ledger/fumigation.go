package ledger

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Fumigation is a place under a fumigant until it is cleared.
type Fumigation struct {
	Ref       string            `json:"ref"`
	Place     string            `json:"place"`
	Fumigant  recordv1.AirAgent `json:"fumigant"`
	Until     int64             `json:"until,omitempty"` // the planned end
	Connected []string          `json:"connected,omitempty"`
	// Places are what its name meant when it was recorded: the gas stays there
	// whatever a later drawing calls it.
	Places []string `json:"places,omitempty"`
	At     Mark     `json:"at"`
}

// UnderFumigant is in the alarm of every place that is under a fumigant: whoever comes
// to a yard reads it, whatever else they see.
const UnderFumigant = "is under a fumigant"

func (x *step) fumigationRecorded(f *recordv1.FumigationRecorded) {
	x.s.Fumigations[x.out.Ref] = &Fumigation{Ref: x.out.Ref, Place: f.GetPlace(), Fumigant: f.GetFumigant(), Until: f.GetUntilUnixMs(),
		Connected: slices.Sorted(slices.Values(f.GetConnected())), Places: x.s.placesOf(f.GetPlace()), At: x.mark}
	x.s.alarm("FUMIGATED", x.out.Ref, fmt.Sprintf("%s %s, recorded by %s (%s)", f.GetPlace(), UnderFumigant, x.who.ID, x.out.Ref), x.mark)
	x.change("%s is under a fumigant until it is cleared", f.GetPlace())
}

// fumigationCleared lifts protection: it needs a reading within the limit.
func (x *step) fumigationCleared(c *recordv1.FumigationCleared) {
	f := x.s.Fumigations[c.GetFumigation()]
	if f == nil {
		x.refuse("UNKNOWN_FUMIGATION", c.GetFumigation(), "no such fumigation is recorded, or it was cleared before", "read its reference on the board again", x.who.ID, "")
		return
	}
	if !f.At.before(x.mark) {
		x.refuse("NOT_SEEN", f.Ref, "this was written, or the air tested, before the fumigation was known there", "test again and clear it again", x.who.ID, "")
	}
	if x.clockDoubt() {
		x.refuse("CLOCK_DOUBT", f.Place, "the clock is in doubt: the test counts as expired", "put the clock right and test again", x.who.ID, "common practice, no source")
	}
	if c.GetInstrument() == "" || !c.GetProvedBefore() || !c.GetProvedAfter() {
		x.refuse("NOT_PROVED", f.Place, "the instrument was not proved on a known gas before and after", "prove it and test again", x.who.ID, "common practice, no source")
	}
	if l, ok := AirLimitOf(f.Fumigant); ok && l.Outside(c.GetThousandths()) {
		x.refuse("AIR_OUT_OF_LIMITS", f.Place, fmt.Sprintf("%s %s; the limit is %s", l.Name, l.Text(c.GetThousandths()), l.LimitText()), "go on airing, then test again", x.who.ID, l.Source)
	}
	if x.refused() {
		return
	}
	delete(x.s.Fumigations, f.Ref)
	x.s.clearAlarm("FUMIGATED", f.Ref)
	x.change("%s is cleared of its fumigant by %s, on the word of %s", f.Place, x.who.ID, c.GetApplicator())
}

// fumigantsNear lists the fumigations that can reach a zone: at it, or joined to
// it by a record or by any way of grain, air or chemical that a drawing shows.
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

// placesOf lists what the name of a zone or node means: itself and a zone's nodes.
func (s *State) placesOf(name string) []string {
	out := []string{name}
	if z, ok := s.Graph().Zone(name); ok {
		for _, p := range z.Parts {
			out = append(out, p.Node)
		}
	}
	return out
}

// fumigantAgents are what a neighbour's fumigant has the air tested for.
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
	const clause = "1910.272(g)(1)(iii)"
	at, near := s.fumigantsNear(zone)
	for _, f := range at {
		cs = append(cs, f.condition(clause))
	}
	for _, f := range near {
		switch {
		case f.Fumigant == 0:
			cs = append(cs, cond("FUMIGANT_NEAR", f.Place, f.Place+", joined to "+zone+", is under a fumigant without a limit known here ("+f.Ref+")", "wait until it is cleared", "the certified applicator", clause))
		case closed[f.Ref] == "":
			cs = append(cs, cond("FUMIGANT_NEAR", f.Place, f.Place+", joined to "+zone+" by a tunnel, spout or duct, is under a fumigant ("+f.Ref+")",
				"close the way and say on the permit how, or wait until it is cleared", "supervisor or manager", clause))
		}
	}
	return cs
}

func (f *Fumigation) condition(clause string) *recordv1.Finding {
	return cond("FUMIGATED", f.Place, f.Place+" is under a fumigant ("+f.Ref+")", "air it, test it, and record that it is cleared", "the certified applicator", clause)
}

// workUnderFumigant lists the fumigants at a zone that is none to be entered like a
// bin: nobody works in them either. For one that is, the permit says so.
func (s *State) workUnderFumigant(j *Job) []*recordv1.Finding {
	if z, ok := s.Graph().Zone(j.Zone); ok && z.Entered {
		return nil
	}
	var cs []*recordv1.Finding
	at, _ := s.fumigantsNear(j.Zone)
	for _, f := range at {
		cs = append(cs, f.condition("common practice, no source"))
	}
	return cs
}
