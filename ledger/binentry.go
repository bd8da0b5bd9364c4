package ledger

import (
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// binForm takes over what a bin-entry permit says and lists what its issuer must
// certify and does not. None of it can lapse by itself; what can is in
// binConditions.
func (s *State) binForm(p *WorkPermit, b *recordv1.BinEntry) []*recordv1.Finding {
	p.Kind, p.Named, p.Watchers, p.Flat = recordv1.PermitKind_PERMIT_KIND_BIN_ENTRY, b.GetEntrants(), b.GetObservers(), b.GetFlatStorage()
	p.Rescue, p.Ventilation = b.GetRescueEquipment(), ventilationWords[b.GetVentilation()]
	p.AirEvery = int64(b.GetAirEverySeconds())
	if p.AirEvery == 0 {
		p.AirEvery = maxAirEvery
	}
	p.Agents = agents(always, b.GetExpected())
	p.ClosedPaths = map[string]string{}
	for _, c := range b.GetClosedPaths() {
		p.ClosedPaths[c.GetFumigation()] = c.GetHow()
	}
	var cs []*recordv1.Finding
	for _, ref := range sorted(p.ClosedPaths) {
		// Its name can be guessed: the way of one that comes later was not looked at.
		if s.Fumigations[ref] == nil {
			cs = append(cs, cond("UNKNOWN_FUMIGATION", ref, "no such fumigation is recorded, or it was cleared: its way can't be certified as closed", "read its reference on the board again, or leave it out", "the issuer", "1910.272(g)(1)(iii)"))
		}
	}
	const issuer = "the issuer"
	add := func(bad bool, code, text, remedy, who, clause string) {
		if bad {
			cs = append(cs, cond(code, p.Zone, text, remedy, who, clause))
		}
	}
	z, drawn := s.Graph().Zone(p.Zone)
	add(!drawn || !z.Entered, "NOT_ENTERED", "the current drawing does not show "+p.Zone+" as a zone that people enter: what its plan cuts off was not computed for that", "publish a drawing that does, and plan again", "supervisor or manager", "1910.272(g)(1)(ii)")
	add(len(p.Named) == 0, "NO_ENTRANT", "it names nobody to go in", "name them", issuer, "1910.272(g)(1)(i)")
	add(b.GetSweepRunning(), "SWEEP_RUNNING", "a sweep auger does not run with a person inside", "lock it out; it is swept with nobody inside", issuer, "1910.272(g)(1)(ii); OSHA memorandum of 3 May 2013")
	add(!b.GetNobodyWalksGrain(), "WALKING_DOWN", "it is not certified that nobody walks on grain to make it flow", "nobody does; certify it", issuer, "1910.272(g)(1)(iv)")
	hung := clauseOf(p.Flat, "1910.272(g)(6)", "1910.272(h)")
	add(b.GetHungGrain() == recordv1.Look_LOOK_UNSPECIFIED, "NOT_LOOKED", "nobody looked for grain that hangs above or at the sides and could fall", "look from outside before anybody goes in", issuer, hung)
	add(b.GetHungGrain() == recordv1.Look_LOOK_HAZARD, "HUNG_GRAIN", "grain hangs above or at the sides and could bury a person", "bring it down from outside", issuer, hung)
	add(b.GetVentilation() == 0, "VENTILATION", "it does not say how the air inside is renewed", "say it: none, natural or forced", issuer, "1910.272(g)(1)(iii)")
	air := s.Air[p.Job]
	add(air != nil && air.Over.Set() && b.GetVentilation() == recordv1.Ventilation_VENTILATION_NONE, "VENTILATION", "the air was out of limits: it is ventilated until it is good, and then on", "ventilate with a blower that is not locked out", issuer, "1910.272(g)(1)(iii)")
	cs = append(cs, s.lineConditions(p, b)...)
	if !p.Flat {
		add(p.Rescue == "", "RESCUE", "it names no rescue equipment suited to this bin", "bring it to the bin and name it", issuer, "1910.272(g)(4)")
	}
	add(p.Flat && b.GetFromAbove(), "FLAT_STORAGE", "flat storage is entered at ground level; this entry is from above", "issue it as a bin entry", issuer, "1910.272(h)")
	for _, who := range p.Named {
		n := s.People[who]
		if n == nil || !n.trained(s.Time) {
			cs = append(cs, cond("TRAINING_LAPSED", who, who+" has no current training", "train them and record it", "supervisor or manager", "1910.272(e)(2)"))
		}
		if slices.Contains(p.Watchers, who) {
			cs = append(cs, cond("OBSERVER_INSIDE", who, who+" is named to go in and to watch from outside", "name somebody else to watch", issuer, "1910.272(g)(3)"))
		}
		cs = append(cs, s.untried(s.Jobs[p.Job], who)...)
		if missing := s.unlocked(s.Jobs[p.Job], who); len(missing) > 0 {
			cs = append(cs, cond("NO_LOCK", who, who+" has no lock on "+strings.Join(missing, ", "), who+" hangs their own lock, there or on a box that holds its key", who, "1910.147(d)(4)(i); 1910.272(g)(1)(ii)"))
		}
	}
	return cs
}

var ventilationWords = map[recordv1.Ventilation]string{recordv1.Ventilation_VENTILATION_NONE: "none",
	recordv1.Ventilation_VENTILATION_NATURAL: "natural", recordv1.Ventilation_VENTILATION_FORCED: "forced"}

// untried lists the plan points on which a person's lock is older than the opening
// and was not tried since.
func (s *State) untried(j *Job, who string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, id := range j.Plan {
		p := s.Points[id]
		mine := slices.DeleteFunc(s.Guarding(id), func(h *Hold) bool { return h.Holder != who })
		if p != nil && len(mine) > 0 && !slices.ContainsFunc(mine, func(h *Hold) bool { return s.guards(h, p) }) {
			cs = append(cs, cond("NOT_TRIED", id, id+" was opened after "+who+" hung their lock", who+" tries the handle against their lock and records it", who, "1910.147(d)(6)"))
		}
	}
	return cs
}

func clauseOf(flat bool, bin, storage string) string {
	if flat {
		return storage
	}
	return bin
}

// lineConditions: what keeps a person from sinking, (g)(2); for flat storage (h).
// The OSHA letter of 29 Sep 2008 wants proof before the line is left off.
func (s *State) lineConditions(p *WorkPermit, b *recordv1.BinEntry) []*recordv1.Finding {
	clause := clauseOf(p.Flat, "1910.272(g)(2)", "1910.272(h)")
	var cs []*recordv1.Finding
	add := func(code, text, remedy string) {
		cs = append(cs, cond(code, p.Zone, text, remedy, "the issuer", clause))
	}
	switch b.GetLine() {
	case recordv1.Line_LINE_HARNESS_AND_LIFELINE, recordv1.Line_LINE_BOATSWAINS_CHAIR:
		p.Line = "body harness with lifeline"
		if b.GetLine() == recordv1.Line_LINE_BOATSWAINS_CHAIR {
			p.Line = "boatswain's chair"
		}
		if !b.GetStopsAtWaist() {
			add("LINE_LENGTH", "it is not certified that the line lets nobody sink past the waist", "set the line and certify it")
		}
	case recordv1.Line_LINE_OTHER:
		p.Line = "instead of a line: " + b.GetLineReason()
		if strings.TrimSpace(b.GetLineReason()) == "" {
			add("NO_LINE", "it does not say what protects as well as a line, and how that was shown", "say it, or use a harness with a lifeline")
		}
	default:
		p.Line = "none: " + b.GetLineReason()
		switch {
		case b.GetFromAbove():
			add("NO_LINE", "people go in from above or onto grain that could engulf them, without body harness and lifeline or boatswain's chair", "use one of them")
		case strings.TrimSpace(b.GetLineReason()) == "":
			add("NO_LINE", "there is no line, and nothing shows that nobody could be engulfed: no bridge, pocket or void, and too little depth", "use a harness with a lifeline, or say what was probed and found")
		}
	}
	return cs
}

// binConditions lists what must hold while people are inside, beside the job's own
// conditions.
func (s *State) binConditions(p *WorkPermit, j *Job, at int64) []*recordv1.Finding {
	cs := s.airConditions(j, s.airNeeds(p), at)
	cs = append(cs, s.fumigantConditions(p.Zone, p.ClosedPaths)...)
	if !p.Flat {
		cs = append(cs, s.watchConditions(j.ID, recordv1.Duty_DUTY_OBSERVER, p.Watchers, "1910.272(g)(3)", at)...)
	}
	for _, who := range p.Named {
		if !s.TrainedIn(who, recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY, at) {
			cs = append(cs, cond("ENTRANT_NOT_TRAINED", who, who+" has no current training for bin entry, engulfment and moving parts included", "train them and record it (class bin-entry), or issue a permit without them", "supervisor or manager", "1910.272(e)(2)"))
		}
	}
	for _, so := range s.insideAt(p.Zone) {
		// Whoever may be anywhere stands against issuing, and not against every bin of
		// the co-op.
		o := s.Jobs[so.Job]
		if (so.Job == j.ID || o != nil && s.samePlace(o.Zone, p.Zone)) && !slices.Contains(p.Named, so.Person) && !s.namedElsewhere(p, so) {
			cs = append(cs, cond("NOT_NAMED", so.Person, so.Person+" is inside and not named on the permit", "everybody comes out; issue one that names them", so.Person, "1910.272(g)(1)(i)"))
		}
	}
	return cs
}

// namedElsewhere reports whether somebody in the zone of p is there for another
// job, under a permit in force that names them.
func (s *State) namedElsewhere(p *WorkPermit, so *SignOn) bool {
	for _, o := range s.WorkPermits {
		if o.Job == so.Job && o.Job != p.Job && o.binEntry() && o.State == recordv1.PermitState_PERMIT_STATE_IN_FORCE && slices.Contains(o.Named, so.Person) {
			return true
		}
	}
	return false
}

// airNeeds is the air that a permit needs tested. The fan is locked out, so oxygen
// is always measured; a fumigant near is measured too.
func (s *State) airNeeds(p *WorkPermit) airNeeds {
	n := airNeeds{levels: entryLevels, agents: p.Agents, every: p.AirEvery, since: s.lastStop(p)}
	if p.binEntry() {
		n.agents = agents(p.Agents, s.fumigantAgents(p.Zone))
	} else {
		n.levels = []recordv1.AirLevel{recordv1.AirLevel_AIR_LEVEL_WORK}
	}
	return n
}
