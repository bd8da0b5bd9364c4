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
	// entrantLockClause: whoever goes in has a lock of their own on every point.
	entrantLockClause = "1910.147(d)(4)(i); 1910.272(g)(1)(ii)"
)

// What the issuer of a bin-entry permit must certify, and does not.
var (
	// ClosedPathUnknown: the way of a fumigation that nobody recorded, or that is cleared.
	ClosedPathUnknown = code.New("CLOSED_PATH_UNKNOWN", code.Row{Args: "record zone", Clause: airClause, Who: "the-issuer", Next: "yardhasp board"})
	// NotEntered: its plan was computed as for a zone that nobody enters.
	NotEntered   = code.New("NOT_ENTERED", code.Row{Args: "zone", Clause: isolationClause, Who: "supervisor-manager", Next: "yardhasp drawing publish FILE"})
	NoEntrant    = code.New("NO_ENTRANT", code.Row{Args: "permit", Clause: permitClause, Who: "the-issuer"})
	SweepRunning = code.New("SWEEP_RUNNING", code.Row{Args: "zone", Clause: "1910.272(g)(1)(ii); OSHA memorandum of 3 May 2013", Who: "the-issuer"})
	WalkingDown  = code.New("WALKING_DOWN", code.Row{Args: "zone", Clause: "1910.272(g)(1)(iv)", Who: "the-issuer"})
	// NotLooked, HungGrain: grain above or at the sides that could fall and bury a person.
	NotLooked = code.New("NOT_LOOKED", code.Row{Args: "zone clause", Who: "the-issuer"})
	HungGrain = code.New("HUNG_GRAIN", code.Row{Args: "zone clause", Who: "the-issuer"})
	// VentilationNotSaid: the permit leaves out how the air inside is renewed.
	VentilationNotSaid = code.New("VENTILATION_NOT_SAID", code.Row{Args: "zone", Clause: airClause, Who: "the-issuer"})
	// VentilationNeeded: the air was out of limits before.
	VentilationNeeded = code.New("VENTILATION_NEEDED", code.Row{Args: "zone", Clause: airClause, Who: "the-issuer"})
	NoRescueEquipment = code.New("NO_RESCUE_EQUIPMENT", code.Row{Args: "zone", Clause: "1910.272(g)(4)", Who: "the-issuer"})
	// FlatStorage: it is entered at ground level, and this entry is from above.
	FlatStorage = code.New("FLAT_STORAGE", code.Row{Args: "zone", Clause: "1910.272(h)", Who: "the-issuer"})
)

// What keeps a person from sinking, 1910.272(g)(2); for flat storage (h). The OSHA
// letter of 29 Sep 2008 wants proof before the line is left off.
var (
	// LineLength: nobody certifies that the line holds a person above the waist.
	LineLength = code.New("LINE_LENGTH", code.Row{Args: "zone clause", Who: "the-issuer"})
	// NoLine: entry from above, or onto grain that could engulf, without one.
	NoLine = code.New("NO_LINE", code.Row{Args: "zone clause", Who: "the-issuer"})
	// OtherLineNotShown: another means, with nothing said of what it is.
	OtherLineNotShown = code.New("OTHER_LINE_NOT_SHOWN", code.Row{Args: "zone clause", Who: "the-issuer"})
	// EngulfmentNotRuledOut: no line, and nothing shows that none is needed.
	EngulfmentNotRuledOut = code.New("ENGULFMENT_NOT_RULED_OUT", code.Row{Args: "zone clause", Who: "the-issuer"})
)

// What a person lacks whom the permit names to go in.
var (
	// EntrantTrainingLapsed: as an authorised employee; EntrantNotTrained: for bin entry.
	EntrantTrainingLapsed = code.New("ENTRANT_TRAINING_LAPSED", code.Row{Args: "person", Clause: trainingClause, Who: "supervisor-manager", Next: "yardhasp person training {person} --until DAY"})
	EntrantNotTrained     = code.New("ENTRANT_NOT_TRAINED", code.Row{Args: "person", Clause: trainingClause, Who: "supervisor-manager", Next: "yardhasp person training {person} --class bin-entry --until DAY"})
	// EntrantWatches: named to go in and to watch from outside.
	EntrantWatches = code.New("ENTRANT_WATCHES", code.Row{Args: "person", Clause: observerClause, Who: "the-issuer"})
	EntrantNoLock  = code.New("ENTRANT_NO_LOCK", code.Row{Args: "person points", Clause: entrantLockClause, Who: "{person}", Next: "yardhasp lock {points}"})
	// NotNamed: inside, and not on the permit.
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

// binForm takes over what a bin-entry permit says and lists what its issuer must
// certify and does not. None of it can lapse by itself; what can is in
// binConditions.
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
		// Its name can be guessed: the way of one that comes later was not looked at.
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

// entrantConditions lists what those lack whom a permit names to go in.
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

// untried lists the plan points on which a person's lock is older than the opening
// and was not tried since.
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

// clauseOf is the clause for a bin, or for flat storage.
func clauseOf(flat bool, bin, storage string) string {
	if flat {
		return storage
	}
	return bin
}

// lineConditions lists what is missing of what keeps a person from sinking.
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
		// Whoever may be anywhere stands against issuing, and not against every bin of
		// the co-op.
		o := s.Jobs[so.Job]
		if (so.Job == j.ID || o != nil && s.samePlace(o.Zone, p.Zone)) && !slices.Contains(p.Named, so.Person) && !s.namedElsewhere(p, so) {
			cs = append(cs, NotNamed.About(so.Person, so.Person, p.ID))
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
