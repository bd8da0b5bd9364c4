package ledger

import (
	"fmt"
	"maps"
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetAirReading, Kind{Name: "air_reading", Called: "air reading", Class: Asserts, May: whoHas(authorised, supervisor, contractor), Clause: airClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtZone, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(r *recordv1.AirReading) About { return About{Job: r.GetJob(), Zone: r.GetZone()} },
		func(f *fields, a *recordv1.AirReading) {
			f.name("job", a.GetJob())
			f.place("zone", a.GetZone())
			f.oneOf("level", recordv1.AirLevel_name, int32(a.GetLevel()))
			f.some("values", len(a.GetValues()))
			f.airValues("values", a.GetValues())
			f.optionalText("instrument", a.GetInstrument())
		},
		(*step).airReading),
)

// airTestedBy is the command that records a test of the air.
const airTestedBy = "yardhasp reading {job} {zone} --kind air --level {level}"

// These say what is wrong with the air, or what is not known about it.
var (
	AirOutOfLimits = code.New("AIR_OUT_OF_LIMITS", code.Row{Args: "job zone level:word agent:word value:text low:text high:text unit:word clause", Who: "authorised", Next: airTestedBy})
	// AirNotTested: no test of the air counts. The argument since is when the last
	// permit stopped; no test from before then counts.
	AirNotTested = code.New("AIR_NOT_TESTED", code.Row{Args: "job zone level:word agents:why since:time", Clause: airClause, Who: "authorised", Next: airTestedBy})
	AirOld       = code.New("AIR_OLD", code.Row{Args: "job zone level:word agents:why minutes:number", Clause: airClause, Who: "authorised", Next: airTestedBy})
	// AirVoid: the test no longer counts. The argument because says what undid it.
	AirVoid = code.New("AIR_VOID", code.Row{Args: "job zone level:word agents:why because:why", Clause: airClause, Who: "authorised", Next: airTestedBy})
	// AirAgent names one of the agents of another finding.
	AirAgent = code.New("AIR_AGENT", code.Row{Args: "agent:word"})
)

// These say what a test of the air changes, and why a test does not count.
var (
	AirTested = code.New("AIR_TESTED", code.Row{Args: "zone person level:word agent:word value:text unit:word"})
	// AirUnknownJob: no such job is open. A value out of limits still counts for every
	// job in the place.
	AirUnknownJob = code.New("AIR_UNKNOWN_JOB", code.Row{Args: "job zone", Who: "the-signer"})
	// TesterMayNot: the tester has no permission to take this test.
	TesterMayNot = code.New("TESTER_MAY_NOT", code.Row{Args: "person zone", Clause: trainingClause, Who: "authorised-supervisor-contractor"})
	// OtherZone: the test was taken in a zone that is not the job's.
	OtherZone = code.New("OTHER_ZONE", code.Row{Args: "job zone tested", Clause: airClause, Who: "the-signer"})
	// GasMeterNotProved: the meter was not proved on a known gas before and after the
	// test.
	GasMeterNotProved = code.New("GAS_METER_NOT_PROVED", code.Row{Args: "place", Clause: "common practice, no source", Who: "the-signer"})
	// AirClockDoubt: the clock is in doubt, so nobody can tell how old the test is.
	AirClockDoubt = code.New("AIR_CLOCK_DOUBT", code.Row{Args: "place", Clause: "common practice, no source", Who: "the-signer"})
	// AirNotSeen: the value is within limits, but its writer did not know of an earlier
	// value out of limits.
	AirNotSeen = code.New("AIR_NOT_SEEN", code.Row{Args: "job zone level:word agent:word value:text unit:word", Clause: airClause, Who: "the-signer", Next: airTestedBy})
)

// airValues checks that each known agent occurs once, with a value from 0.
func (f *fields) airValues(field string, vs []*recordv1.AirValue) {
	seen, ok := map[recordv1.AirAgent]bool{}, true
	for _, v := range vs {
		ok = ok && agentOK(v.GetAgent()) && !seen[v.GetAgent()] && v.GetThousandths() >= 0
		seen[v.GetAgent()] = true
	}
	f.must(ok, field, "form-air-values")
}

// Air is what was measured in the zone of a job.
type Air struct {
	Job string `json:"job"`
	// Tests are the newest tests, by level and agent.
	Tests map[string]*AirTest `json:"tests"`
	// Over is the last time that any value was out of limits.
	Over Mark `json:"over"`
}

// AirTest is one agent at one level.
type AirTest struct {
	Level       recordv1.AirLevel `json:"level"`
	Agent       recordv1.AirAgent `json:"agent"`
	Thousandths int64             `json:"thousandths"`
	Instrument  string            `json:"instrument"`
	At          Mark              `json:"at"`
	// Bad are the readings out of limits here since the last one within limits. A
	// reading within limits counts only if its writer knew of all of them.
	Bad Latest `json:"bad,omitempty"`
}

func airKey(l recordv1.AirLevel, a recordv1.AirAgent) string { return fmt.Sprintf("%d %d", l, a) }

func (t *AirTest) limit() AirLimit {
	l, _ := AirLimitOf(t.Agent)
	return l
}

func (t *AirTest) outside() bool { return t.limit().Outside(t.Thousandths) }

// beyond is the finding that the value is out of limits.
func (t *AirTest) beyond(job, zone string) *recordv1.Finding {
	l := t.limit()
	return AirOutOfLimits.About(zone, job, zone, LevelWord(t.Level), l.Name, Thousandths(t.Thousandths), l.lowText(), Thousandths(l.High), l.Unit, l.clause())
}

// airOf is what was measured for a job. It creates the entry if there is none.
func (s *State) airOf(job string) *Air {
	if s.Air[job] == nil {
		s.Air[job] = &Air{Job: job, Tests: map[string]*AirTest{}}
	}
	return s.Air[job]
}

// out enters a value out of limits. It does not hide another such value. The latest is
// shown, and whoever tests the air good again must know of all of them.
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

// airSoFar gives a new job the values that were out of limits in its zone under earlier
// jobs. Opening a new job does not make bad air good.
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

// inBadAir lists the open jobs that a value out of limits concerns: the job it names, if
// any, and every job in the place where it was read.
func (s *State) inBadAir(named *Job, zone string) []*Job {
	var out []*Job
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; !j.Closed.Set() && (j == named || s.samePlace(j.Zone, zone) || named != nil && s.samePlace(j.Zone, named.Zone)) {
			out = append(out, j)
		}
	}
	return out
}

// airReading records a test of the air. A value out of limits always counts, whoever
// took it and however. It counts for every job on the zone, because the job's name may
// be a slip. A value within limits counts only from a person who may take it, with an
// instrument proved before and after, and by a clock that is not in doubt.
func (x *step) airReading(r *recordv1.AirReading) {
	s := x.s
	j := s.Jobs[r.GetJob()]
	if j == nil || j.Closed.Set() {
		j = nil
		x.note(AirUnknownJob, r.GetJob(), r.GetJob(), r.GetZone())
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
		beyond := t.beyond(r.GetJob(), r.GetZone())
		x.out.Flags, x.out.Did = append(x.out.Flags, beyond), append(x.out.Did, beyond)
	}
	if j == nil || len(good) == 0 {
		return
	}
	air := s.airOf(j.ID)
	if why := x.airUncounted(j, r); why != nil {
		x.out.Flags = append(x.out.Flags, why)
		return
	}
	for _, t := range good {
		k, l := airKey(t.Level, t.Agent), t.limit()
		old := air.Tests[k]
		switch {
		case old != nil && old.outside() && !(old.At.before(t.At) && old.Bad.before(t.At)):
			x.note(AirNotSeen, j.Zone, j.ID, j.Zone, LevelWord(old.Level), l.Name, Thousandths(old.Thousandths), l.Unit)
		case old != nil && t.At.Time < old.At.Time:
			// An older value that arrived late says nothing new.
		default:
			air.Tests[k] = t
			x.did(AirTested, j.Zone, j.Zone, x.who.ID, LevelWord(t.Level), l.Name, Thousandths(t.Thousandths), l.Unit)
		}
	}
}

// airUncounted says why a value within limits is kept but does not count. It is nil when
// the value counts.
func (x *step) airUncounted(j *Job, r *recordv1.AirReading) *recordv1.Finding {
	switch {
	case !x.ok:
		return TesterMayNot.About(j.Zone, x.who.ID, j.Zone)
	case r.GetZone() != j.Zone:
		return OtherZone.About(j.Zone, j.ID, j.Zone, r.GetZone())
	case r.GetInstrument() == "" || !r.GetProvedBefore() || !r.GetProvedAfter():
		return GasMeterNotProved.About(j.Zone, j.Zone)
	case x.clockDoubt():
		return AirClockDoubt.About(j.Zone, j.Zone)
	}
	return nil
}

// airNeeds says which air a permit needs tested.
type airNeeds struct {
	levels []recordv1.AirLevel
	agents []recordv1.AirAgent
	// every is how old a test may be, in seconds.
	every int64
	// since: tests from before it no longer count. It is unset when there is no such
	// limit.
	since Mark
}

// airConditions lists what is missing about the air at a moment. For each level it lists
// what was not tested and what is too old. It lists everything out of limits.
func (s *State) airConditions(j *Job, need airNeeds, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	air := s.Air[j.ID]
	if air == nil {
		air = &Air{}
	}
	for _, k := range sorted(air.Tests) {
		if t := air.Tests[k]; t.outside() {
			cs = append(cs, t.beyond(j.ID, j.Zone))
		}
	}
	for _, level := range need.levels {
		var never, old, void, because []*recordv1.Finding
		for _, a := range need.agents {
			t := air.Tests[airKey(level, a)]
			named := AirAgent.About("", enumWord(a, "AIR_AGENT_"))
			switch {
			case t == nil || need.since.Set() && t.At.Time <= need.since.Time:
				never = append(never, named)
			case t.outside(): // said above
			case s.voided(j, &Proof{At: t.At}) != nil:
				void, because = append(void, named), []*recordv1.Finding{s.voided(j, &Proof{At: t.At})}
			case at > t.At.Time+need.every*1000:
				old = append(old, named)
			}
		}
		word := LevelWord(level)
		if len(never) > 0 {
			cs = append(cs, AirNotTested.About(j.Zone, j.ID, j.Zone, word, never, need.since.Time))
		}
		if len(void) > 0 {
			cs = append(cs, AirVoid.About(j.Zone, j.ID, j.Zone, word, void, because))
		}
		if len(old) > 0 {
			cs = append(cs, AirOld.About(j.Zone, j.ID, j.Zone, word, old, need.every/60))
		}
	}
	return cs
}

// airDue is when the first of the needed tests gets too old. It is 0 when one is
// missing.
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

// agents joins lists of agents, each agent once, in the order of the contract.
func agents(lists ...[]recordv1.AirAgent) []recordv1.AirAgent {
	out := slices.Concat(lists...)
	slices.Sort(out)
	return slices.Compact(out)
}
