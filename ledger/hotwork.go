package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// hotForm takes over what a hot-work permit says and lists what its issuer must
// certify and does not: 1910.272(f) asks that 1910.252(a) was met before the work.
// The single duties of 1910.252(a) are from memory.
func (s *State) hotForm(p *WorkPermit, h *recordv1.HotWork) []*recordv1.Finding {
	p.Kind, p.Named, p.Watchers = recordv1.PermitKind_PERMIT_KIND_HOT_WORK, h.GetWorkers(), h.GetFireWatch()
	p.Agents, p.AirEvery = []recordv1.AirAgent{recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS}, maxAirEvery
	p.SuppressionOff = h.GetSuppressionOff()
	var cs []*recordv1.Finding
	add := func(bad bool, code, text, remedy string) {
		if bad {
			cs = append(cs, cond(code, p.Zone, text, remedy, "the issuer", "1910.272(f); 1910.252(a) (unchecked)"))
		}
	}
	add(len(p.Named) == 0, "NO_WORKER", "it names nobody to do the work", "name them")
	add(h.GetPlace() == "", "NO_PLACE", "it does not say where the work is", "say it")
	add(!h.GetCombustiblesCleared(), "COMBUSTIBLES", "what could burn is not moved away or covered", "move it 35 ft away or cover it")
	add(!h.GetOpeningsCovered(), "OPENINGS", "openings through which sparks could fall are not covered", "cover spouts, cracks and floor openings")
	add(!h.GetDustCleaned(), "DUST", "grain dust is not cleaned away", "clean it down, and wet or cover what stays")
	add(h.GetExtinguisher() == "", "EXTINGUISHER", "there is nothing at hand to put a fire out", "bring it and name it")
	for _, who := range p.Named {
		if n := s.People[who]; n == nil || !n.trained(s.Time) {
			cs = append(cs, cond("TRAINING_LAPSED", who, who+" has no current training", "train them and record it", "supervisor or manager", "1910.272(e)(1)"))
		}
		cs = append(cs, s.untried(s.Jobs[p.Job], who)...)
		if missing := s.unlocked(s.Jobs[p.Job], who); len(missing) > 0 {
			cs = append(cs, cond("NO_LOCK", who, who+" has no lock on "+strings.Join(missing, ", "), who+" hangs their own lock, there or on a box that holds its key", who, "1910.147(d)(4)(i), (f)(3)(ii)(D)"))
		}
		if slices.Contains(p.Watchers, who) {
			cs = append(cs, cond("FIRE_WATCH_WORKS", who, who+" is named to work and to watch for fire", "name somebody else to watch", "the issuer", "NFPA 51B (unchecked)"))
		}
	}
	return cs
}

// hotConditions lists what must hold while hot work goes on, beside the job's own
// conditions.
func (s *State) hotConditions(p *WorkPermit, j *Job, at int64) []*recordv1.Finding {
	cs := s.permitMissing(j, at)
	cs = append(cs, s.airConditions(j, s.airNeeds(p), at)...)
	return append(cs, s.watchConditions(j.ID, recordv1.Duty_DUTY_FIRE_WATCH, p.Watchers, "NFPA 51B (unchecked)", at)...)
}

// hotWorkDone: the last flame is out. It ends the leave whatever came before, and
// the fire watch counts from it.
func (x *step) hotWorkDone(d *recordv1.HotWorkDone) {
	p := x.s.WorkPermits[d.GetPermit()]
	switch {
	case p == nil || !p.open() || p.binEntry():
		x.flag("UNKNOWN_PERMIT", d.GetPermit(), "there is no hot-work permit of this name that is not closed: the record is kept and changes nothing", "")
	case !x.ok:
		// Flagged already; the watch counts from the word of one who may.
	case !p.By.seenBy(x.mark):
		x.flag("NOT_SEEN", p.ID, "it was written before the permit was known there: it is about other work, and changes nothing. Record it again if it is about this", "")
	default:
		if p.Done.Late < x.mark.Late {
			p.Done = x.mark // the latest end, in whatever order the words arrive
		}
		if p.State == recordv1.PermitState_PERMIT_STATE_IN_FORCE {
			p.State, p.Stopped, p.Why = recordv1.PermitState_PERMIT_STATE_WATCHED, x.now(), "the hot work is over"
		}
		x.change("hot work of permit %s is over; the fire watch goes on for %d min", p.ID, minutes(fireWatchAfter))
	}
}

// fireWatchLeft is how long somebody must still stand watch without a break, in
// ms: the longest watch since the work was over counts.
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
			// In two places at once they watch neither: what is before or after counts.
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

// stay is a time that somebody spent in one place.
type stay struct{ on, off Mark }

// elsewhere lists the other watches of somebody who stands watch, and their times
// in the zones of other jobs.
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

// fireWatched reports whether somebody whose watch counts stands it now.
func (s *State) fireWatched(p *WorkPermit) bool {
	return slices.ContainsFunc(s.watchesOf(p.Job, recordv1.Duty_DUTY_FIRE_WATCH, s.Time), func(w *Watch) bool {
		return !slices.Contains(p.Named, w.Person) && len(s.watchFaults(w, s.Time)) == 0
	})
}

func (s *State) hotCloseConditions(p *WorkPermit, c *recordv1.ClosePermit) []*recordv1.Finding {
	var cs []*recordv1.Finding
	switch left := s.fireWatchLeft(p); {
	case !p.Done.Set():
		cs = append(cs, cond("HOT_WORK_NOT_DONE", p.ID, "it is not recorded that the hot work is over", "record it", namesOr(p.Named, ""), "1910.272(f)"))
	case left > 0:
		cs = append(cs, cond("FIRE_WATCH", p.ID, fmt.Sprintf("the fire watch goes on for %d more min without a break", minutes(left)), "stand watch until then", namesOr(p.Watchers, ""), "NFPA 51B (unchecked)"))
	}
	if p.SuppressionOff && !c.GetSuppressionOnAgain() {
		cs = append(cs, cond("SUPPRESSION_OFF", p.ID, "fire suppression was taken off for the work and is not said to be on again", "put it on again and say so", "the issuer", "common practice, no source"))
	}
	return cs
}
