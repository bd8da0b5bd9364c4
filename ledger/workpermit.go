package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// WorkPermit is leave to enter a bin or to do hot work, on top of the job's own
// conditions. It is on file until it is closed, 1910.272(f) and (g)(1)(i). Once
// suspended or ended it never comes back: another one is issued.
//
// The clauses let a permit be left out while the employer's representative stays
// throughout, and for hot work in an authorised shop or area. This ledger has no
// word for those: it shows no leave without a permit, which is stricter.
type WorkPermit struct {
	ID   string              `json:"id"`
	Kind recordv1.PermitKind `json:"kind"`
	Job  string              `json:"job"`
	Zone string              `json:"zone"`
	Ends int64               `json:"ends"`
	By   Mark                `json:"by"`
	// Named are the entrants or the workers, Watchers who is to stand watch.
	Named    []string `json:"named"`
	Watchers []string `json:"watchers"`
	// Agents and AirEvery (seconds) are what the air is tested for, and how often.
	Agents   []recordv1.AirAgent `json:"agents,omitempty"`
	AirEvery int64               `json:"air_every,omitempty"`
	// ClosedPaths is how the way of each fumigation named is closed.
	ClosedPaths map[string]string `json:"closed_paths,omitempty"`
	Line        string            `json:"line,omitempty"`
	Ventilation string            `json:"ventilation,omitempty"`
	Rescue      string            `json:"rescue,omitempty"`
	// Flat: ground-level entry to flat storage, 1910.272(h).
	Flat bool `json:"flat,omitempty"`
	// SuppressionOff: it goes on again before the permit is closed.
	SuppressionOff bool `json:"suppression_off,omitempty"`

	State recordv1.PermitState `json:"state"`
	// Stopped is when it was suspended or ended, Why for what.
	Stopped Mark   `json:"stopped"`
	Why     string `json:"why,omitempty"`
	// Done is when hot work was over.
	Done   Mark `json:"done"`
	Closed Mark `json:"closed"`
}

func (p *WorkPermit) open() bool { return p.State != recordv1.PermitState_PERMIT_STATE_CLOSED }

func (p *WorkPermit) binEntry() bool { return p.Kind == recordv1.PermitKind_PERMIT_KIND_BIN_ENTRY }

// PermitWord says what a permit is for: "bin entry".
func PermitWord(k recordv1.PermitKind) string {
	if k == recordv1.PermitKind_PERMIT_KIND_HOT_WORK {
		return "hot work"
	}
	return "bin entry"
}

func namesOr(names []string, or string) string {
	if len(names) == 0 {
		return or
	}
	return strings.Join(names, ", ")
}

// issuePermit grants a permit only when every condition is met; a refusal lists
// them all. It needs the quorum (decisions.md 19).
func (x *step) issuePermit(i *recordv1.IssuePermit) {
	s := x.s
	if s.WorkPermits[i.GetId()] != nil {
		x.refuse("EXISTS", i.GetId(), "a permit with this id was issued before; ids are never used again", "choose another id", x.who.ID, "")
		return
	}
	j := s.Jobs[i.GetJob()]
	if j == nil || j.Closed.Set() {
		x.refuse("UNKNOWN_JOB", i.GetJob(), "there is no open job of this name", "open a job on the zone, with its plan", x.who.ID, "1910.272(g)(1)(ii)")
		return
	}
	p := &WorkPermit{ID: i.GetId(), Job: j.ID, Zone: j.Zone, Ends: i.GetEndsUnixMs(), By: x.mark, State: recordv1.PermitState_PERMIT_STATE_IN_FORCE}
	var form []*recordv1.Finding
	if b := i.GetBinEntry(); b != nil {
		form = s.binForm(p, b)
	} else {
		form = s.hotForm(p, i.GetHotWork())
	}
	x.issueTimes(p)
	x.issueOthers(p)
	x.out.Conditions = append(x.out.Conditions, form...)
	x.out.Conditions = append(x.out.Conditions, s.permitConditions(p, s.Time)...)
	if x.refused() {
		return
	}
	s.WorkPermits[p.ID] = p
	x.change("permit %s for %s at %s issued by %s, for %s", p.ID, PermitWord(p.Kind), p.Zone, x.who.ID, strings.Join(p.Named, ", "))
}

// issueTimes: no longer than a shift, and nothing certified for another moment.
func (x *step) issueTimes(p *WorkPermit) {
	const clause = "1910.272(g)(1)(i)"
	switch {
	case p.Ends <= x.s.Time:
		x.refuse("EXPIRED", p.ID, "its end has passed", "choose a later end", x.who.ID, clause)
	case p.Ends > x.s.Time+maxPermit:
		x.refuse("TOO_LONG", p.ID, fmt.Sprintf("it runs for more than a shift of %d h", maxPermit/3_600_000), "end it with the shift; the next shift issues its own", x.who.ID, clause)
	}
	if signed := x.rec.GetCapturedUnixMs(); signed < x.s.Time-signedAhead || x.clockDoubt() {
		x.refuse("SIGNED_EARLIER", p.ID, fmt.Sprintf("it was not signed within the last %d min by the ledger's time: what it certifies is of another moment", signedAhead/60_000), "look again and sign it again", x.who.ID, clause)
	}
}

// issueOthers: what else is going on at the job and its zone.
func (x *step) issueOthers(p *WorkPermit) {
	s := x.s
	for _, id := range sorted(s.WorkPermits) {
		if o := s.WorkPermits[id]; o.open() && o.Job == p.Job && o.Kind == p.Kind {
			x.refuse("PERMIT_OPEN", id, "permit "+id+" for the same work is not closed", "everybody comes out, then close it", "supervisor or manager", "1910.272(g)(1)(i)")
		}
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && overlap(s.reachOf(p.Zone), q.Points) {
			x.refuse("REQUESTED", id, "request "+id+" asks to re-energise what reaches "+p.Zone, "withdraw it", q.By.By, "1910.272(g)(1)(ii)")
		}
	}
	if p.binEntry() {
		for _, so := range s.insideAt(p.Zone) {
			x.refuse("STILL_INSIDE", so.Person, so.Person+" is signed on to "+so.Job+": a permit is issued before anybody goes in", so.Person+" comes out and signs off", so.Person, "1910.272(g)(1)(i)")
		}
	}
}

// permitConditions lists what must hold for as long as a permit is in force. The
// moment that one lapses it is suspended.
func (s *State) permitConditions(p *WorkPermit, at int64) []*recordv1.Finding {
	j := s.Jobs[p.Job]
	if j == nil || j.Closed.Set() {
		return []*recordv1.Finding{cond("UNKNOWN_JOB", p.Job, "its job is not open any more", "open a job on the zone, with its plan", "supervisor or manager", "1910.272(g)(1)(ii)")}
	}
	cs := s.isolationConditions(j, at)
	if p.binEntry() {
		return append(cs, s.binConditions(p, j, at)...)
	}
	return append(cs, s.hotConditions(p, j, at)...)
}

// stateOf is how a permit stands at a moment, with nothing recorded since, and
// what is missing then.
func (s *State) stateOf(p *WorkPermit, at int64) (recordv1.PermitState, []*recordv1.Finding) {
	at = max(at, s.Time)
	if p.State != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		return p.State, nil
	}
	if at >= p.Ends {
		return recordv1.PermitState_PERMIT_STATE_ENDED, []*recordv1.Finding{cond("EXPIRED", p.ID, "its time is over", "everybody comes out; issue another one", "supervisor or manager", "1910.272(g)(1)(i)")}
	}
	if cs := s.permitConditions(p, at); len(cs) > 0 {
		return recordv1.PermitState_PERMIT_STATE_SUSPENDED, cs
	}
	return p.State, nil
}

// lastStop is when an earlier permit of the same kind for the same job was
// suspended or ended: tests of the air from before it count no more.
func (s *State) lastStop(p *WorkPermit) Mark {
	var last Mark
	for _, id := range sorted(s.WorkPermits) {
		if o := s.WorkPermits[id]; o.ID != p.ID && o.Job == p.Job && o.Kind == p.Kind && o.Stopped.Set() && o.Stopped.Time > last.Time && o.By.Index < p.By.Index {
			last = o.Stopped
		}
	}
	return last
}

// permitMissing says why nobody may enter a zone that people enter: no bin-entry
// permit is in force for the job; nil when one is, or when the zone needs none.
func (s *State) permitMissing(j *Job, at int64) []*recordv1.Finding {
	z, ok := s.Graph().Zone(j.Zone)
	if !ok || z.Bin == "" {
		return nil
	}
	text, remedy := "no bin-entry permit is in force for "+j.ID, "issue one once every condition is met"
	if !z.Entered {
		text, remedy = "its grain is that of "+z.Bin+", which people enter: no permit can be issued for "+j.Zone+" by this name", "open a job on "+z.Bin
	}
	for _, id := range sorted(s.WorkPermits) {
		p := s.WorkPermits[id]
		if p.Job != j.ID || !p.binEntry() || !p.open() {
			continue
		}
		st, cs := s.stateOf(p, at)
		if st == recordv1.PermitState_PERMIT_STATE_IN_FORCE {
			return nil
		}
		text = "permit " + id + " is " + stateWords[st]
		if why := p.Why; why != "" {
			text += ": " + why
		} else if len(cs) > 0 {
			text += ": " + textOf(cs[0])
		}
	}
	return []*recordv1.Finding{cond("NO_PERMIT", j.Zone, text, remedy, "supervisor or manager", "1910.272(g)(1)(i)")}
}

var stateWords = map[recordv1.PermitState]string{
	recordv1.PermitState_PERMIT_STATE_IN_FORCE:  "in force",
	recordv1.PermitState_PERMIT_STATE_SUSPENDED: "SUSPENDED",
	recordv1.PermitState_PERMIT_STATE_ENDED:     "ENDED",
	recordv1.PermitState_PERMIT_STATE_WATCHED:   "over, with the fire watch going on",
	recordv1.PermitState_PERMIT_STATE_CLOSED:    "closed",
}

// PermitStateWord says in words how a permit stands.
func PermitStateWord(st recordv1.PermitState) string { return stateWords[st] }

// closePermit takes a permit off file: nobody is inside, or the fire watch is over.
func (x *step) closePermit(c *recordv1.ClosePermit) {
	s := x.s
	p := s.WorkPermits[c.GetPermit()]
	if p == nil || !p.open() {
		x.refuse("UNKNOWN_PERMIT", c.GetPermit(), "there is no permit of this name that is not closed", "read its name on the board again", x.who.ID, "")
		return
	}
	if p.binEntry() {
		for _, so := range s.insideAt(p.Zone) {
			x.refuse("STILL_INSIDE", so.Person, so.Person+" is signed on to "+so.Job+": unknown counts as inside", so.Person+" comes out and signs off", so.Person, "1910.272(g)(1)(i)")
		}
	} else {
		x.out.Conditions = append(x.out.Conditions, s.hotCloseConditions(p, c)...)
	}
	if x.refused() {
		return
	}
	p.State, p.Closed = recordv1.PermitState_PERMIT_STATE_CLOSED, x.mark
	if !p.Stopped.Set() {
		p.Stopped = x.now()
	}
	s.end("permit", p.ID)
	s.clearAlarm("PERMIT", p.ID)
	x.change("permit %s closed", p.ID)
}

// now is the record's mark with the ledger's own time: what must be later than it
// is not helped by an early clock.
func (x *step) now() Mark {
	m := x.mark
	m.Time, m.Late = x.s.Time, x.s.Time
	return m
}

// openPermits lists a job's permits that are not closed.
func (s *State) openPermits(job string) []*WorkPermit {
	var out []*WorkPermit
	for _, id := range sorted(s.WorkPermits) {
		if p := s.WorkPermits[id]; p.open() && p.Job == job {
			out = append(out, p)
		}
	}
	return out
}

// watchPermits suspends what lapsed and ends what is over, before a record is
// taken (time went on) and after it. A permit that is not in force while somebody
// is inside is an alarm that names them.
func (s *State) watchPermits(at Mark) {
	if at.By == "" {
		at.By = "the ledger" // an entry that nobody signed turns time as well
	}
	at.Time, at.Late = s.Time, s.Time
	for _, id := range sorted(s.WorkPermits) {
		p := s.WorkPermits[id]
		if !p.open() {
			continue
		}
		if st, cs := s.stateOf(p, s.Time); st != p.State {
			p.State, p.Stopped, p.Why = st, at, whyAll(cs)
		}
		if text := s.permitAlarm(p); text != "" {
			s.alarm("PERMIT", id, text, at)
		} else {
			s.clearAlarm("PERMIT", id)
		}
	}
}

// whyAll says every reason, without length.
func whyAll(cs []*recordv1.Finding) string {
	var out []string
	for _, c := range cs {
		if t := textOf(c); !slices.Contains(out, t) {
			out = append(out, t)
		}
	}
	const few = 5
	if n := len(out) - few; n > 0 {
		out = append(out[:few], fmt.Sprintf("and %d more", n))
	}
	return strings.Join(out, "; ")
}

// permitAlarm says what everybody must see of a permit, "" for nothing.
func (s *State) permitAlarm(p *WorkPermit) string {
	var in []string
	for _, so := range s.insideAt(p.Zone) {
		in = append(in, so.Person)
	}
	slices.Sort(in)
	in = slices.Compact(in)
	what := fmt.Sprintf("permit %s for %s at %s is %s: %s", p.ID, PermitWord(p.Kind), p.Zone, stateWords[p.State], p.Why)
	switch st := p.State; {
	case !p.binEntry() && !p.Done.Set() && st != recordv1.PermitState_PERMIT_STATE_IN_FORCE:
		return fmt.Sprintf("STOP THE HOT WORK: %s. Workers: %s", what, strings.Join(p.Named, ", "))
	case !p.binEntry() && p.Done.Set() && s.fireWatchLeft(p) > 0 && !s.fireWatched(p):
		return fmt.Sprintf("NO FIRE WATCH at %s after the hot work of permit %s: somebody stands it for %d min", p.Zone, p.ID, minutes(s.fireWatchLeft(p)))
	case !p.binEntry() || st == recordv1.PermitState_PERMIT_STATE_IN_FORCE:
		return ""
	case len(in) > 0:
		return fmt.Sprintf("EVERYBODY OUT of %s: %s. Signed on: %s", p.Zone, what, strings.Join(in, ", "))
	case st == recordv1.PermitState_PERMIT_STATE_SUSPENDED:
		return fmt.Sprintf("DO NOT ENTER %s: %s. Nobody is signed on; entrants named: %s", p.Zone, what, strings.Join(p.Named, ", "))
	}
	return ""
}

func minutes(ms int64) int64 { return (ms + 59_999) / 60_000 }
