package ledger

import (
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	airClause      = "1910.272(g)(1)(iii)"
	trainingClause = "1910.272(e)(2)"
	// entrantLockClause: everybody who goes in has a lock of their own on every point.
	entrantLockClause = "1910.147(d)(4)(i); 1910.272(g)(1)(ii)"
)

// The issuer of a bin-entry permit must certify these and did not.
var (
	// ClosedPathUnknown: the permit says that the path of a fumigation is closed, but
	// nobody recorded that fumigation, or it is cleared.
	ClosedPathUnknown = code.New("CLOSED_PATH_UNKNOWN", code.Row{Args: "record zone", Clause: airClause, Who: "the-issuer", Next: "yardhasp board"})
	// NotEntered: the plan was computed as for a zone that nobody enters.
	NotEntered   = code.New("NOT_ENTERED", code.Row{Args: "zone", Clause: isolationClause, Who: "supervisor-manager", Next: "yardhasp drawing publish FILE"})
	NoEntrant    = code.New("NO_ENTRANT", code.Row{Args: "permit", Clause: permitClause, Who: "the-issuer"})
	SweepRunning = code.New("SWEEP_RUNNING", code.Row{Args: "zone", Clause: "1910.272(g)(1)(ii); OSHA memorandum of 3 May 2013", Who: "the-issuer"})
	WalkingDown  = code.New("WALKING_DOWN", code.Row{Args: "zone", Clause: "1910.272(g)(1)(iv)", Who: "the-issuer"})
	// NotLooked, HungGrain: grain above or at the sides could fall and bury a person.
	NotLooked = code.New("NOT_LOOKED", code.Row{Args: "zone clause", Who: "the-issuer"})
	HungGrain = code.New("HUNG_GRAIN", code.Row{Args: "zone clause", Who: "the-issuer"})
	// VentilationNotSaid: the permit does not say how the air inside is renewed.
	VentilationNotSaid = code.New("VENTILATION_NOT_SAID", code.Row{Args: "zone", Clause: airClause, Who: "the-issuer"})
	// VentilationNeeded: the air was out of limits before.
	VentilationNeeded = code.New("VENTILATION_NEEDED", code.Row{Args: "zone", Clause: airClause, Who: "the-issuer"})
	NoRescueEquipment = code.New("NO_RESCUE_EQUIPMENT", code.Row{Args: "zone", Clause: "1910.272(g)(4)", Who: "the-issuer"})
	// FlatStorage: flat storage is entered at ground level, but this entry is from
	// above.
	FlatStorage = code.New("FLAT_STORAGE", code.Row{Args: "zone", Clause: "1910.272(h)", Who: "the-issuer"})
)

// These concern what keeps a person from sinking, 1910.272(g)(2); for flat storage (h).
// The OSHA letter of 29 Sep 2008 wants proof before the line is left off.
var (
	// LineLength: nobody certifies that the line holds a person above the waist.
	LineLength = code.New("LINE_LENGTH", code.Row{Args: "zone clause", Who: "the-issuer"})
	// NoLine: there is no line, for an entry from above or onto grain that could engulf.
	NoLine = code.New("NO_LINE", code.Row{Args: "zone clause", Who: "the-issuer"})
	// OtherLineNotShown: the permit claims another means but does not say which.
	OtherLineNotShown = code.New("OTHER_LINE_NOT_SHOWN", code.Row{Args: "zone clause", Who: "the-issuer"})
	// EngulfmentNotRuledOut: there is no line, and nothing shows that none is needed.
	EngulfmentNotRuledOut = code.New("ENGULFMENT_NOT_RULED_OUT", code.Row{Args: "zone clause", Who: "the-issuer"})
)

// A person whom the permit names to go in lacks one of these.
var (
	// EntrantTrainingLapsed is about the training as an authorised employee.
	// EntrantNotTrained is about the training for bin entry.
	EntrantTrainingLapsed = code.New("ENTRANT_TRAINING_LAPSED", code.Row{Args: "person", Clause: trainingClause, Who: "supervisor-manager", Next: "yardhasp person training {person} --until DAY"})
	EntrantNotTrained     = code.New("ENTRANT_NOT_TRAINED", code.Row{Args: "person", Clause: trainingClause, Who: "supervisor-manager", Next: "yardhasp person training {person} --class bin-entry --until DAY"})
	// EntrantWatches: one person is named both to go in and to watch from outside.
	EntrantWatches = code.New("ENTRANT_WATCHES", code.Row{Args: "person", Clause: observerClause, Who: "the-issuer"})
	EntrantNoLock  = code.New("ENTRANT_NO_LOCK", code.Row{Args: "person points", Clause: entrantLockClause, Who: "{person}", Next: "yardhasp lock {points}"})
	// NotNamed: a person is inside and not named on the permit.
	NotNamed = code.New("NOT_NAMED", code.Row{Args: "person permit", Clause: permitClause, Who: "{person}"})
)

// binEntry checks the fields of a bin-entry permit.
func (f *fields) binEntry(b *recordv1.BinEntry) {
	f.names("entrants", b.GetEntrants())
	f.names("observers", b.GetObservers())
	f.optionalOneOf("hung_grain", recordv1.Look_name, int32(b.GetHungGrain()))
	f.optionalOneOf("line", recordv1.Line_name, int32(b.GetLine()))
	f.optionalOneOf("ventilation", recordv1.Ventilation_name, int32(b.GetVentilation()))
	f.optionalText("line_reason", b.GetLineReason())
	f.optionalText("rescue_equipment", b.GetRescueEquipment())
	every := b.GetAirEverySeconds()
	f.must(every == 0 || every >= minAirEvery && every <= maxAirEvery, "air_every_seconds", "form-air-every")
	f.must(len(b.GetExpected()) <= len(AirLimits) && !slices.ContainsFunc(b.GetExpected(), func(a recordv1.AirAgent) bool { return !agentOK(a) }), "expected", "form-air-agents")
	f.must(len(b.GetClosedPaths()) <= MaxList && !slices.ContainsFunc(b.GetClosedPaths(), func(c *recordv1.ClosedPath) bool {
		return !refText(c.GetFumigation()) || !text(c.GetHow())
	}), "closed_paths", "form-closed-paths")
}

// binForm copies what a bin-entry permit says. It lists what its issuer must certify and
// did not. None of this can lapse by itself: what can lapse is in binConditions.
func (s *State) binForm(p *WorkPermit, b *recordv1.BinEntry) []*recordv1.Finding {
	p.Kind, p.Named, p.Watchers, p.Flat = recordv1.PermitKind_PERMIT_KIND_BIN_ENTRY, b.GetEntrants(), b.GetObservers(), b.GetFlatStorage()
	p.Rescue, p.Ventilation = b.GetRescueEquipment(), b.GetVentilation()
	p.Line, p.LineReason = b.GetLine(), b.GetLineReason()
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
		// A reference can be guessed in advance. The path of a fumigation that comes
		// later was not looked at.
		if s.Fumigations[ref] == nil {
			cs = append(cs, ClosedPathUnknown.About(ref, ref, p.Zone))
		}
	}
	add := func(bad bool, f *recordv1.Finding) {
		if bad {
			cs = append(cs, f)
		}
	}
	z, drawn := s.Graph().Zone(p.Zone)
	add(!drawn || !z.Entered, NotEntered.About(p.Zone, p.Zone))
	add(len(p.Named) == 0, NoEntrant.About(p.Zone, p.ID))
	add(b.GetSweepRunning(), SweepRunning.About(p.Zone, p.Zone))
	add(!b.GetNobodyWalksGrain(), WalkingDown.About(p.Zone, p.Zone))
	hung := clauseOf(p.Flat, "1910.272(g)(6)", "1910.272(h)")
	add(b.GetHungGrain() == recordv1.Look_LOOK_UNSPECIFIED, NotLooked.About(p.Zone, p.Zone, hung))
	add(b.GetHungGrain() == recordv1.Look_LOOK_HAZARD, HungGrain.About(p.Zone, p.Zone, hung))
	add(b.GetVentilation() == 0, VentilationNotSaid.About(p.Zone, p.Zone))
	air := s.Air[p.Job]
	add(air != nil && air.Over.Set() && b.GetVentilation() == recordv1.Ventilation_VENTILATION_NONE, VentilationNeeded.About(p.Zone, p.Zone))
	cs = append(cs, p.lineConditions(b)...)
	add(!p.Flat && p.Rescue == "", NoRescueEquipment.About(p.Zone, p.Zone))
	add(p.Flat && b.GetFromAbove(), FlatStorage.About(p.Zone, p.Zone))
	return append(cs, s.entrantConditions(p)...)
}

// entrantConditions lists what the people lack whom a permit names to go in.
func (s *State) entrantConditions(p *WorkPermit) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, who := range p.Named {
		n := s.People[who]
		if n == nil || !n.trained(s.Time) {
			cs = append(cs, EntrantTrainingLapsed.About(who, who))
		}
		if slices.Contains(p.Watchers, who) {
			cs = append(cs, EntrantWatches.About(who, who))
		}
		cs = append(cs, s.untried(s.Jobs[p.Job], who)...)
		if missing := s.unlocked(s.Jobs[p.Job], who); len(missing) > 0 {
			cs = append(cs, EntrantNoLock.About(who, who, missing))
		}
	}
	return cs
}

// untried lists the plan points where a person's lock is older than the opening and the
// person has not tried the handle since.
func (s *State) untried(j *Job, who string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, id := range j.Plan {
		p := s.Points[id]
		mine := slices.DeleteFunc(s.Guarding(id), func(h *Hold) bool { return h.Holder != who })
		if p != nil && len(mine) > 0 && !slices.ContainsFunc(mine, func(h *Hold) bool { return s.guards(h, p) }) {
			cs = append(cs, NotTried.About(id, id, who, mine[0].Ref))
		}
	}
	return cs
}

// clauseOf picks the clause for a bin or for flat storage.
func clauseOf(flat bool, bin, storage string) string {
	if flat {
		return storage
	}
	return bin
}

// lineConditions lists what is missing to keep a person from sinking.
func (p *WorkPermit) lineConditions(b *recordv1.BinEntry) []*recordv1.Finding {
	clause := clauseOf(p.Flat, "1910.272(g)(2)", "1910.272(h)")
	reason := strings.TrimSpace(b.GetLineReason()) != ""
	lacks := func(c code.Code) []*recordv1.Finding { return []*recordv1.Finding{c.About(p.Zone, p.Zone, clause)} }
	switch b.GetLine() {
	case recordv1.Line_LINE_HARNESS_AND_LIFELINE, recordv1.Line_LINE_BOATSWAINS_CHAIR:
		if !b.GetStopsAtWaist() {
			return lacks(LineLength)
		}
	case recordv1.Line_LINE_OTHER:
		if !reason {
			return lacks(OtherLineNotShown)
		}
	default:
		if b.GetFromAbove() {
			return lacks(NoLine)
		}
		if !reason {
			return lacks(EngulfmentNotRuledOut)
		}
	}
	return nil
}

// binConditions lists what must hold while people are inside, beside the job's own
// conditions.
func (s *State) binConditions(p *WorkPermit, j *Job, at int64) []*recordv1.Finding {
	cs := s.airConditions(j, s.airNeeds(p), at)
	cs = append(cs, s.fumigantConditions(p.Zone, p.ClosedPaths)...)
	if !p.Flat {
		cs = append(cs, s.watchConditions(j.ID, recordv1.Duty_DUTY_OBSERVER, p.Watchers, at)...)
	}
	for _, who := range p.Named {
		if !s.TrainedIn(who, recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY, at) {
			cs = append(cs, EntrantNotTrained.About(who, who))
		}
	}
	for _, so := range s.insideAt(p.Zone) {
		// A person who may be anywhere stands against issuing a permit. If they also
		// suspended permits, they would stop every bin of the co-op.
		o := s.Jobs[so.Job]
		if (so.Job == j.ID || o != nil && s.samePlace(o.Zone, p.Zone)) && !slices.Contains(p.Named, so.Person) && !s.namedElsewhere(p, so) {
			cs = append(cs, NotNamed.About(so.Person, so.Person, p.ID))
		}
	}
	return cs
}

// namedElsewhere reports whether a person in the zone of p is there for another job,
// under a permit in force that names them.
func (s *State) namedElsewhere(p *WorkPermit, so *SignOn) bool {
	for _, o := range s.WorkPermits {
		if o.Job == so.Job && o.Job != p.Job && o.binEntry() && o.State == recordv1.PermitState_PERMIT_STATE_IN_FORCE && slices.Contains(o.Named, so.Person) {
			return true
		}
	}
	return false
}

// airNeeds is the air that a permit needs tested. Oxygen is always measured, because the
// fan is locked out. A fumigant nearby is measured too.
func (s *State) airNeeds(p *WorkPermit) airNeeds {
	n := airNeeds{levels: entryLevels, agents: p.Agents, every: p.AirEvery, since: s.lastStop(p)}
	if p.binEntry() {
		n.agents = agents(p.Agents, s.fumigantAgents(p.Zone))
	} else {
		n.levels = []recordv1.AirLevel{recordv1.AirLevel_AIR_LEVEL_WORK}
	}
	return n
}
