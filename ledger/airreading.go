package ledger

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Air is what was measured in the zone of a job.
type Air struct {
	Job string `json:"job"`
	// Tests are the newest by level and agent.
	Tests map[string]*AirTest `json:"tests"`
	// Over is the last time that anything was out of limits.
	Over Mark `json:"over"`
}

// AirTest is one agent at one level.
type AirTest struct {
	Level       recordv1.AirLevel `json:"level"`
	Agent       recordv1.AirAgent `json:"agent"`
	Thousandths int64             `json:"thousandths"`
	Instrument  string            `json:"instrument"`
	At          Mark              `json:"at"`
	// Bad are the readings out of limits here since the last one within them: one
	// within them counts only if its writer knew all of those.
	Bad Latest `json:"bad,omitempty"`
}

func airKey(l recordv1.AirLevel, a recordv1.AirAgent) string { return fmt.Sprintf("%d %d", l, a) }

func (t *AirTest) limit() AirLimit {
	l, _ := AirLimitOf(t.Agent)
	return l
}

func (t *AirTest) outside() bool { return t.limit().Outside(t.Thousandths) }

func (t *AirTest) text() string {
	l := t.limit()
	return fmt.Sprintf("%s %s at %s", l.Name, l.Text(t.Thousandths), LevelWord(t.Level))
}

// airOf is what was measured for a job; it makes the place for it.
func (s *State) airOf(job string) *Air {
	if s.Air[job] == nil {
		s.Air[job] = &Air{Job: job, Tests: map[string]*AirTest{}}
	}
	return s.Air[job]
}

// out takes a value out of limits. It hides no other one: of several the latest
// is shown, and each must be known to whoever tests the air good again.
func (a *Air) out(t AirTest) {
	k := airKey(t.Level, t.Agent)
	var bad Latest
	if old := a.Tests[k]; old != nil && old.outside() {
		bad = maps.Clone(old.Bad)
		if old.At.Late > t.At.Late {
			bad.add(t.At)
			t = *old
		}
	}
	bad.add(t.At)
	t.Bad = bad
	a.Tests[k], a.Over = &t, t.At
}

// airSoFar gives a new job what was out of limits in its zone under earlier jobs, and
// when: another job's name makes no air good.
func (s *State) airSoFar(j *Job) {
	for _, id := range sorted(s.Air) {
		o, old := s.Jobs[id], s.Air[id]
		if o == nil || o == j || !old.Over.Set() || !s.samePlace(o.Zone, j.Zone) {
			continue
		}
		air := s.airOf(j.ID)
		for _, k := range sorted(old.Tests) {
			if t := old.Tests[k]; t.outside() {
				air.out(*t)
				for _, m := range t.Bad {
					if bad := air.Tests[k].Bad; bad[m.Yard].Index < m.Index {
						bad.add(m)
					}
				}
			}
		}
		air.Over = old.Over
	}
}

// inBadAir lists the open jobs that a value out of limits concerns: the one it
// names, if any, and every one in the place where it was read.
func (s *State) inBadAir(named *Job, zone string) []*Job {
	var out []*Job
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; !j.Closed.Set() && (j == named || s.samePlace(j.Zone, zone) || named != nil && s.samePlace(j.Zone, named.Zone)) {
			out = append(out, j)
		}
	}
	return out
}

// airReading records a test of the air. A value out of limits counts whoever took
// it and however, for every job on the zone: the job's name may be a slip. One
// within them counts only from somebody who may, with an instrument proved before
// and after, by a clock that is not in doubt.
func (x *step) airReading(r *recordv1.AirReading) {
	s := x.s
	j := s.Jobs[r.GetJob()]
	if j == nil || j.Closed.Set() {
		j = nil
		x.flag("UNKNOWN_JOB", r.GetJob(), "no open job of this name: what is out of limits counts for every job on "+r.GetZone()+", anything else for none", "")
	}
	var good, bad []*AirTest
	for _, v := range r.GetValues() {
		t := &AirTest{Level: r.GetLevel(), Agent: v.GetAgent(), Thousandths: v.GetThousandths(), Instrument: r.GetInstrument(), At: x.mark}
		if t.outside() {
			bad = append(bad, t)
		} else {
			good = append(good, t)
		}
	}
	for _, t := range bad {
		for _, o := range s.inBadAir(j, r.GetZone()) {
			s.airOf(o.ID).out(*t)
		}
		x.flag("AIR_OUT_OF_LIMITS", r.GetZone(), fmt.Sprintf("%s: the limit is %s. Nobody goes in; whoever is in comes out", t.text(), t.limit().LimitText()), t.limit().Source)
		x.change("air of %s tested by %s: %s, OUT OF LIMITS", r.GetZone(), x.who.ID, t.text())
	}
	if j == nil {
		return
	}
	air := s.airOf(j.ID)
	for _, need := range []struct {
		bad              bool
		code, text, rule string
	}{
		{!x.ok, "NOT_PERMITTED", "taken by somebody who may not take it", "1910.272(e)(2)"},
		{r.GetZone() != j.Zone, "OTHER_ZONE", "the job is on " + j.Zone + ", not on " + r.GetZone(), "1910.272(g)(1)(iii)"},
		{r.GetInstrument() == "" || !r.GetProvedBefore() || !r.GetProvedAfter(), "NOT_PROVED", "the instrument was not proved on a known gas before and after", "common practice, no source"},
		{x.clockDoubt(), "CLOCK_DOUBT", "the clock is in doubt: the test counts as expired", "common practice, no source"},
	} {
		if need.bad && len(good) > 0 {
			x.flag(need.code, j.Zone, need.text+": what was within limits is kept and does not count", need.rule)
			return
		}
	}
	for _, t := range good {
		k := airKey(t.Level, t.Agent)
		old := air.Tests[k]
		switch {
		case old != nil && old.outside() && !(old.At.before(t.At) && old.Bad.before(t.At)):
			x.flag("AIR_OUT_OF_LIMITS", j.Zone, "it was written without knowing of "+old.text()+": test again", t.limit().Source)
		case old != nil && t.At.Time < old.At.Time:
			// An older one that arrived late says nothing new.
		default:
			air.Tests[k] = t
			x.change("air of %s tested by %s: %s", j.Zone, x.who.ID, t.text())
		}
	}
}

// airNeeds says which air a permit needs tested.
type airNeeds struct {
	levels []recordv1.AirLevel
	agents []recordv1.AirAgent
	// every is how old a test may get, in seconds.
	every int64
	// since: tests from before it count no more; unset for none.
	since Mark
}

// airConditions lists what is missing of the air at a moment: for each level what
// was not tested, what is too old, and everything out of limits.
func (s *State) airConditions(j *Job, need airNeeds, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	air := s.Air[j.ID]
	if air == nil {
		air = &Air{}
	}
	for _, k := range sorted(air.Tests) {
		if t := air.Tests[k]; t.outside() {
			cs = append(cs, cond("AIR_OUT_OF_LIMITS", j.Zone, fmt.Sprintf("%s; the limit is %s", t.text(), t.limit().LimitText()),
				"everybody stays out; ventilate, keep ventilating, then test again", "authorised employee", "1910.272(g)(1)(iii); "+t.limit().Source))
		}
	}
	const again = "test it with a proved instrument, from outside, and record it"
	for _, level := range need.levels {
		var never, old, void []string
		why := ""
		for _, a := range need.agents {
			l, _ := AirLimitOf(a)
			t := air.Tests[airKey(level, a)]
			switch {
			case t == nil || need.since.Set() && t.At.Time <= need.since.Time:
				never = append(never, l.Name)
			case t.outside(): // said above
			case s.voided(j, &Proof{At: t.At}) != nil:
				void, why = append(void, l.Name), s.voided(j, &Proof{At: t.At}).GetCode()
			case at > t.At.Time+need.every*1000:
				old = append(old, l.Name)
			}
		}
		for _, c := range []struct {
			names      []string
			code, text string
		}{
			{never, "AIR_NOT_TESTED", "the air at %s is not tested for %s" + sinceText(need.since)},
			{void, "AIR_VOID", "the test at %s no longer counts for %s: " + why},
			{old, "AIR_OLD", fmt.Sprintf("the test at %%s is older than %d min for %%s", need.every/60)},
		} {
			if len(c.names) > 0 {
				// The reason may hold a per cent sign: it is no format.
				text := strings.Replace(strings.Replace(c.text, "%s", LevelWord(level), 1), "%s", strings.Join(c.names, ", "), 1)
				cs = append(cs, cond(c.code, j.Zone, text, again, "authorised employee", "1910.272(g)(1)(iii)"))
			}
		}
	}
	return cs
}

func sinceText(m Mark) string {
	if !m.Set() {
		return ""
	}
	return " since the last permit ended"
}

// airDue is when the first of the needed tests gets too old, 0 when one is missing.
func (s *State) airDue(j *Job, need airNeeds) int64 {
	var due int64
	for _, level := range need.levels {
		for _, a := range need.agents {
			air := s.Air[j.ID]
			if air == nil || air.Tests[airKey(level, a)] == nil {
				return 0
			}
			if t := air.Tests[airKey(level, a)].At.Time + need.every*1000; due == 0 || t < due {
				due = t
			}
		}
	}
	return due
}

// agents puts lists together, each agent once, in the order of the contract.
func agents(lists ...[]recordv1.AirAgent) []recordv1.AirAgent {
	out := slices.Concat(lists...)
	slices.Sort(out)
	return slices.Compact(out)
}
