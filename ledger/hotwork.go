package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// hotWorkClause: 1910.272(f) asks that 1910.252(a) was met before the work. The single
// duties of 1910.252(a) are from memory, and so is NFPA 51B.
const (
	hotWorkClause   = "1910.272(f); 1910.252(a) (unchecked)"
	fireWatchClause = "NFPA 51B (unchecked)"
)

var _ = declare(
	kind((*recordv1.Record).GetHotWorkDone, Kind{Name: "hot_work_done", Called: "hot work done", Class: Asserts, May: whoHas(authorised, supervisor, contractor), Clause: "1910.272(f)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.HotWorkDone) About { return About{} },
		func(f *fields, a *recordv1.HotWorkDone) { f.name("permit", a.GetPermit()) },
		(*step).hotWorkDone),
)

// The issuer of a hot-work permit must certify these and did not.
var (
	NoWorker     = code.New("NO_WORKER", code.Row{Args: "permit", Clause: hotWorkClause, Who: "the-issuer"})
	NoPlace      = code.New("NO_PLACE", code.Row{Args: "permit", Clause: hotWorkClause, Who: "the-issuer"})
	Combustibles = code.New("COMBUSTIBLES", code.Row{Args: "zone", Clause: hotWorkClause, Who: "the-issuer"})
	Openings     = code.New("OPENINGS", code.Row{Args: "zone", Clause: hotWorkClause, Who: "the-issuer"})
	Dust         = code.New("DUST", code.Row{Args: "zone", Clause: hotWorkClause, Who: "the-issuer"})
	Extinguisher = code.New("EXTINGUISHER", code.Row{Args: "zone", Clause: hotWorkClause, Who: "the-issuer"})
)

// A person whom the permit names to work lacks one of these.
var (
	WorkerTrainingLapsed = code.New("WORKER_TRAINING_LAPSED", code.Row{Args: "person", Clause: "1910.272(e)(1)", Who: "supervisor-manager", Next: "yardhasp person training {person} --until DAY"})
	WorkerNoLock         = code.New("WORKER_NO_LOCK", code.Row{Args: "person points", Clause: "1910.147(d)(4)(i), (f)(3)(ii)(D)", Who: "{person}", Next: "yardhasp lock {points}"})
	// FireWatchWorks: one person is named both to work and to watch for fire.
	FireWatchWorks = code.New("FIRE_WATCH_WORKS", code.Row{Args: "person", Clause: fireWatchClause, Who: "the-issuer"})
)

// These concern the end of hot work and what stands against closing its permit.
var (
	// HotWorkOver also says why the permit is no longer in force.
	HotWorkOver = code.New("HOT_WORK_OVER", code.Row{Args: "permit minutes:number"})
	// UnknownHotWork: the record is kept and changes nothing.
	UnknownHotWork = code.New("UNKNOWN_HOT_WORK", code.Row{Args: "permit", Who: "the-signer", Next: "yardhasp permit list", Answer: code.Unknown})
	// PermitNotSeen: the record was written before its yard knew of the permit, so it is
	// about other work.
	PermitNotSeen  = code.New("PERMIT_NOT_SEEN", code.Row{Args: "permit", Who: "the-signer", Next: "yardhasp permit hot-work-done {permit}"})
	HotWorkNotDone = code.New("HOT_WORK_NOT_DONE", code.Row{Args: "permit workers", Clause: "1910.272(f)", Who: "{workers}", Next: "yardhasp permit hot-work-done {permit}"})
	// FireWatchGoesOn: the watch after the work is not over. The argument minutes is
	// what is left of it.
	FireWatchGoesOn = code.New("FIRE_WATCH_GOES_ON", code.Row{Args: "permit minutes:number watchers", Clause: fireWatchClause, Who: "{watchers}"})
	SuppressionOff  = code.New("SUPPRESSION_OFF", code.Row{Args: "permit", Clause: "common practice, no source", Who: "the-issuer", Next: "yardhasp permit close {permit} --suppression-on-again"})
)

// hotWork checks the fields of a hot-work permit.
func (f *fields) hotWork(h *recordv1.HotWork) {
	f.names("workers", h.GetWorkers())
	f.names("fire_watch", h.GetFireWatch())
	f.optionalText("place", h.GetPlace())
	f.optionalText("extinguisher", h.GetExtinguisher())
}

// hotForm copies what a hot-work permit says. It lists what its issuer must certify and
// did not.
func (s *State) hotForm(p *WorkPermit, h *recordv1.HotWork) []*recordv1.Finding {
	p.Kind, p.Named, p.Watchers = recordv1.PermitKind_PERMIT_KIND_HOT_WORK, h.GetWorkers(), h.GetFireWatch()
	p.Agents, p.AirEvery = []recordv1.AirAgent{recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS}, maxAirEvery
	p.SuppressionOff = h.GetSuppressionOff()
	var cs []*recordv1.Finding
	add := func(bad bool, f *recordv1.Finding) {
		if bad {
			cs = append(cs, f)
		}
	}
	add(len(p.Named) == 0, NoWorker.About(p.Zone, p.ID))
	add(h.GetPlace() == "", NoPlace.About(p.Zone, p.ID))
	add(!h.GetCombustiblesCleared(), Combustibles.About(p.Zone, p.Zone))
	add(!h.GetOpeningsCovered(), Openings.About(p.Zone, p.Zone))
	add(!h.GetDustCleaned(), Dust.About(p.Zone, p.Zone))
	add(h.GetExtinguisher() == "", Extinguisher.About(p.Zone, p.Zone))
	for _, who := range p.Named {
		n := s.People[who]
		add(n == nil || !n.trained(s.Time), WorkerTrainingLapsed.About(who, who))
		cs = append(cs, s.untried(s.Jobs[p.Job], who)...)
		missing := s.unlocked(s.Jobs[p.Job], who)
		add(len(missing) > 0, WorkerNoLock.About(who, who, missing))
		add(slices.Contains(p.Watchers, who), FireWatchWorks.About(who, who))
	}
	return cs
}

// hotConditions lists what must hold during hot work, beside the job's own conditions.
func (s *State) hotConditions(p *WorkPermit, j *Job, at int64) []*recordv1.Finding {
	cs := s.permitMissing(j, at)
	cs = append(cs, s.airConditions(j, s.airNeeds(p), at)...)
	return append(cs, s.watchConditions(j.ID, recordv1.Duty_DUTY_FIRE_WATCH, p.Watchers, at)...)
}

// hotWorkDone records that the last flame is out. It ends the permit to work, whatever
// was recorded before. The fire watch is counted from it.
func (x *step) hotWorkDone(d *recordv1.HotWorkDone) {
	p := x.s.WorkPermits[d.GetPermit()]
	switch {
	case p == nil || !p.open() || p.binEntry():
		x.note(UnknownHotWork, d.GetPermit(), d.GetPermit())
	case !x.ok:
		// This is flagged already. The watch is counted only from the word of a person
		// who may give it.
	case !p.By.seenBy(x.mark):
		x.note(PermitNotSeen, p.ID, p.ID)
	default:
		if p.Done.Late < x.mark.Late {
			p.Done = x.mark // the latest end counts, in whatever order the records arrive
		}
		over := HotWorkOver.About(p.ID, p.ID, minutes(fireWatchAfter))
		if p.State == recordv1.PermitState_PERMIT_STATE_IN_FORCE {
			p.State, p.Stopped, p.Because = recordv1.PermitState_PERMIT_STATE_WATCHED, x.now(), []*recordv1.Finding{over}
		}
		x.out.Did = append(x.out.Did, over)
	}
}

// fireWatchLeft is how long somebody must still stand watch without a break, in ms. The
// longest watch since the end of the work counts.
func (s *State) fireWatchLeft(p *WorkPermit) int64 {
	best := int64(0)
	for _, ref := range sorted(s.Watches) {
		w := s.Watches[ref]
		if w.Job != p.Job || w.Duty != recordv1.Duty_DUTY_FIRE_WATCH || slices.Contains(p.Named, w.Person) || !w.Equipped {
			continue
		}
		to := min(s.Time, w.On.Time+maxPermit)
		if w.Off.Set() {
			to = min(to, w.Off.Time)
		}
		from := max(p.Done.Late, w.On.Late)
		for _, o := range s.elsewhere(w) {
			if o.off.Set() && o.off.Late <= from {
				continue
			}
			// A person in two places at once watches neither. Only the time before or
			// after that counts.
			if o.off.Set() && o.on.Time < to {
				from = max(from, o.off.Late)
			} else {
				to = min(to, o.on.Time)
			}
		}
		best = max(best, to-from)
	}
	return max(0, fireWatchAfter-best)
}

// stay is a time that a person spent in one place.
type stay struct{ on, off Mark }

// elsewhere lists when a person who stands a watch stood other watches or was signed on
// to other jobs.
func (s *State) elsewhere(w *Watch) []stay {
	var out []stay
	for _, ref := range sorted(s.Watches) {
		if o := s.Watches[ref]; o.Person == w.Person && (o.Job != w.Job || o.Duty != w.Duty) {
			out = append(out, stay{o.On, o.Off})
		}
	}
	for _, ref := range sorted(s.SignOns) {
		if so := s.SignOns[ref]; so.Person == w.Person && so.Job != w.Job {
			out = append(out, stay{so.On, so.Off})
		}
	}
	return out
}

// fireWatched reports whether a person whose watch counts stands it now.
func (s *State) fireWatched(p *WorkPermit) bool {
	return slices.ContainsFunc(s.watchesOf(p.Job, recordv1.Duty_DUTY_FIRE_WATCH, s.Time), func(w *Watch) bool {
		return !slices.Contains(p.Named, w.Person) && len(s.watchFaults(w, s.Time)) == 0
	})
}

// hotCloseConditions lists what stands against closing a hot-work permit.
func (s *State) hotCloseConditions(p *WorkPermit, c *recordv1.ClosePermit) []*recordv1.Finding {
	var cs []*recordv1.Finding
	switch left := s.fireWatchLeft(p); {
	case !p.Done.Set():
		cs = append(cs, HotWorkNotDone.About(p.ID, p.ID, p.Named))
	case left > 0:
		cs = append(cs, FireWatchGoesOn.About(p.ID, p.ID, minutes(left), p.Watchers))
	}
	if p.SuppressionOff && !c.GetSuppressionOnAgain() {
		cs = append(cs, SuppressionOff.About(p.ID, p.ID))
	}
	return cs
}
