package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	// PlanDoesNotIsolate: energy still reaches the zone. The argument live lists the
	// ways.
	PlanDoesNotIsolate = code.New("PLAN_DOES_NOT_ISOLATE", code.Row{Args: "zone job live:why responsible", Clause: "1910.147(d)(3)", Who: "{responsible}", Next: "yardhasp plan {zone}"})
	EnergyReaches      = code.New("ENERGY_REACHES", code.Row{Args: "source part steps"})
	NoDrawing          = code.New("NO_DRAWING", code.Row{Args: "yard", Clause: walkClause, Who: "supervisor-manager", Next: "yardhasp drawing publish FILE"})
	// NotWalked and SuspectDrawing also stand against narrowing a zone, which rests on
	// walked drawings only. The argument records is what was found live and not
	// corrected.
	NotWalked      = code.New("NOT_WALKED", code.Row{Args: "yard revision:number", Clause: walkClause, Who: "a-qualified-person", Next: "yardhasp drawing walk {yard} --revision {revision}"})
	SuspectDrawing = code.New("SUSPECT_DRAWING", code.Row{Args: "yard records", Clause: walkClause, Who: "a-qualified-person", Next: "yardhasp correct {records} --cause CAUSE"})
	NotOpen        = code.New("NOT_OPEN", code.Row{Args: "point", Clause: "1910.147(d)(3)", Who: "authorised", Next: "yardhasp isolate {point}"})
	// NotTried: the point was opened after the person hung their lock. They have not
	// tried the handle against the lock since.
	NotTried = code.New("NOT_TRIED", code.Row{Args: "point person lock", Clause: proofClause, Who: "{person}", Next: "yardhasp tried {lock}"})
	// Stopped: work must stop, and people are signed on.
	Stopped = code.New("STOPPED", code.Row{Args: "job because:why people"})
)

// MissingForWork lists what is missing before work may start on a job. An empty list
// means that work may start, as far as this state knows. Each finding names its clause
// and who can supply what is missing.
func (s *State) MissingForWork(j *Job) []*recordv1.Finding { return s.MissingForWorkAt(j, s.Time) }

// MissingForWorkAt lists what is missing at a later moment, in Unix ms, if nothing is
// recorded until then: a re-check comes due, training ends. A screen asks with its own
// clock. The ledger itself goes by the ledger's time. In a zone that people enter, work
// also needs a bin-entry permit in force.
func (s *State) MissingForWorkAt(j *Job, at int64) []*recordv1.Finding {
	at = max(at, s.Time)
	return append(s.isolationConditions(j, at), s.permitMissing(j, at)...)
}

// isolationConditions lists what is missing for the isolation and its proof.
func (s *State) isolationConditions(j *Job, at int64) []*recordv1.Finding {
	cs := s.planConditions(j)
	cs = append(cs, s.drawingConditions(j)...)
	cs = append(cs, j.foundConditions()...)
	for _, u := range s.unacknowledgedFor(j) {
		cs = append(cs, u.finding())
	}
	for _, st := range s.startedFor(j) {
		cs = append(cs, s.startedFinding(st))
	}
	cs = append(cs, s.noticeConditions(j)...)
	cs = append(cs, s.workUnderFumigant(j)...)
	cs = append(cs, s.procedureConditions(j)...)
	cs = append(cs, s.crewConditions(j, at)...)
	cs = append(cs, s.workerConditions(j, at)...)
	cs = append(cs, s.pointConditions(j)...)
	cs = append(cs, s.storedConditions(j, at)...)
	return append(cs, s.proofConditions(j)...)
}

// planConditions checks that the plan cuts the zone off on the current drawings.
func (s *State) planConditions(j *Job) []*recordv1.Finding {
	v := s.verdicts[j.ID]
	if v.Isolates {
		return nil
	}
	var live []*recordv1.Finding
	for _, p := range v.Live {
		live = append(live, EnergyReaches.About(p.Part, p.Source, p.Part, p.Steps))
	}
	return []*recordv1.Finding{PlanDoesNotIsolate.About(j.Zone, j.Zone, j.ID, live, j.Responsible)}
}

// drawingConditions checks that every drawing the job rests on was walked, and misled
// nobody since.
func (s *State) drawingConditions(j *Job) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, y := range s.drawingsOf(j) {
		d := s.Drawings[y]
		switch {
		case d == nil:
			cs = append(cs, NoDrawing.About(y, y))
		case !d.Walked.Set():
			cs = append(cs, NotWalked.About(y, y, d.Revision))
		case len(d.Suspect) > 0:
			cs = append(cs, SuspectDrawing.About(y, y, d.Suspect))
		}
	}
	return cs
}

// workers names the people whose own locks the work of a job needs: its responsible
// employee and everybody signed on.
func (s *State) workers(j *Job) []string {
	out := append([]string{j.Responsible}, s.signedOnPeople(j.ID)...)
	slices.Sort(out)
	return slices.Compact(out)
}

// workerConditions checks that each of them is trained. Where there is an outside
// employer, each must know the other employer's rules and be known to it.
func (s *State) workerConditions(j *Job, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, id := range s.workers(j) {
		p := s.People[id]
		if p == nil || !p.trained(at) {
			cs = append(cs, TrainingLapsed.About(id, id))
		}
		if p != nil && p.Retrain[j.Zone] != nil {
			cs = append(cs, p.retrainFinding(j.Zone))
		}
		cs = append(cs, s.exchangeConditions(j, id)...)
	}
	return cs
}

// pointConditions checks every plan point. It must be open and held by the responsible
// employee and by everyone signed on. Where a lock is older than the opening, its holder
// must have tried the handle.
func (s *State) pointConditions(j *Job) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, id := range j.Plan {
		p := s.Points[id]
		if p == nil || p.Live || !p.Opened.Set() {
			cs = append(cs, NotOpen.About(id, id))
			continue
		}
		for _, who := range s.workers(j) {
			cs = append(cs, s.ownLockConditions(j, p, who)...)
		}
	}
	return cs
}

// ownLockConditions checks that a person's own lock on an open point counts for work.
func (s *State) ownLockConditions(j *Job, p *Point, who string) []*recordv1.Finding {
	mine := slices.DeleteFunc(s.Guarding(p.ID), func(h *Hold) bool { return h.Holder != who })
	if len(mine) == 0 {
		return []*recordv1.Finding{s.noLock(j, p.ID, who)}
	}
	cs := s.unfitPadlocks(mine, p.ID)
	if !slices.ContainsFunc(mine, func(h *Hold) bool { return s.guards(h, p) }) {
		cs = append(cs, NotTried.About(p.ID, p.ID, who, mine[0].Ref))
	}
	return cs
}

// noLock says why no lock of the person protects them on a point.
func (s *State) noLock(j *Job, point, who string) *recordv1.Finding {
	hung := s.HoldsOn(point)
	tag := slices.IndexFunc(hung, func(h *Hold) bool { return h.Holder == who && !h.Equipment && !h.StoodClear() })
	if tag >= 0 {
		return s.lacks(hung[tag], point)
	}
	return NoLock.About(point, who, point, j.ID, "1910.147(d)(4)(i)")
}

// guards reports whether a hold counts for work on a point. It must not be older than
// the latest opening, or its owner tried the handle since (design.md). Both the order of
// records and the clocks decide, because a lock can wait in an outbox.
func (s *State) guards(h *Hold, p *Point) bool {
	on := s.coveredSince(h, p.ID)
	return p.Opened.before(on) || h.Tried.Set() && p.Opened.before(h.Tried)
}

// watchStandings notes, after each record, since when work on a job may start. It raises
// an alarm when work must stop while people are signed on.
func (s *State) watchStandings(at Mark) {
	for _, id := range sorted(s.Jobs) {
		j := s.Jobs[id]
		if j.Closed.Set() {
			continue
		}
		s.protectedAgain(j)
		cs, people := s.MissingForWork(j), s.signedOnPeople(id)
		switch {
		case len(cs) == 0:
			if !j.Met.Set() {
				j.Met = at // still unset after an entry that nobody signed
			}
			j.Stopped = nil
		case len(people) == 0:
			j.Met, j.Stopped = Mark{}, nil
		case j.Met.Set() || j.Stopped == nil:
			// People who entered before work could start are also told to stop.
			j.Met, j.Stopped = Mark{}, worst(cs)
		default:
			j.Met = Mark{}
		}
		if j.Stopped == nil {
			s.lower(Stopped, id)
			continue
		}
		s.raise(id, Stopped.About(id, id, j.Stopped, people), at)
	}
}

// worst is the condition to read first. What may be live comes before what is owed.
func worst(cs []*recordv1.Finding) *recordv1.Finding {
	for _, c := range []code.Code{FoundLive, FoundStarted, NotOpen, NoLock} {
		if i := slices.IndexFunc(cs, func(f *recordv1.Finding) bool { return code.Is(f, c) }); i >= 0 {
			return cs[i]
		}
	}
	return cs[0]
}
