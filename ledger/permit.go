package ledger

import (
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// permitClause: a permit is issued before anybody goes in and kept until they are out.
// isolationClause: meanwhile, everything that could hurt them is locked out.
const (
	permitClause    = "1910.272(g)(1)(i)"
	isolationClause = "1910.272(g)(1)(ii)"
)

var _ = declare(
	kind((*recordv1.Record).GetIssuePermit, Kind{Name: "issue_permit", Called: "issue permit", Class: Lifts, May: whoHas(supervisor, manager), Clause: permitClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(i *recordv1.IssuePermit) About { return About{Job: i.GetJob()} },
		func(f *fields, a *recordv1.IssuePermit) {
			f.name("id", a.GetId())
			f.name("job", a.GetJob())
			f.moment("ends_unix_ms", a.GetEndsUnixMs())
			switch w := a.GetWhat().(type) {
			case *recordv1.IssuePermit_BinEntry:
				f.binEntry(w.BinEntry)
			case *recordv1.IssuePermit_HotWork:
				f.hotWork(w.HotWork)
			default:
				f.must(false, "what", "form-permit-kind")
			}
		},
		(*step).issuePermit),
	kind((*recordv1.Record).GetClosePermit, Kind{Name: "close_permit", Called: "close permit", Class: Lifts, May: whoHas(supervisor, manager), Clause: permitClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.ClosePermit) About { return About{} },
		func(f *fields, a *recordv1.ClosePermit) { f.name("permit", a.GetPermit()) },
		(*step).closePermit),
)

// These stand against issuing a permit.
var (
	PermitExists = code.New("PERMIT_EXISTS", code.Row{Args: "permit", Who: "the-signer", Answer: code.Taken})
	// EndHasPassed: the permit would be over before it is issued.
	EndHasPassed  = code.New("END_HAS_PASSED", code.Row{Args: "permit ends:time", Clause: permitClause, Who: "the-signer"})
	PermitTooLong = code.New("PERMIT_TOO_LONG", code.Row{Args: "permit hours:number", Clause: permitClause, Who: "the-signer"})
	// SignedEarlier: the conditions it certifies were seen too long ago.
	SignedEarlier = code.New("SIGNED_EARLIER", code.Row{Args: "permit minutes:number", Clause: permitClause, Who: "the-signer"})
	// RequestReaches: an open request asks for a start that reaches the zone of the
	// permit.
	RequestReaches = code.New("REQUEST_REACHES", code.Row{Args: "request zone requester", Clause: isolationClause, Who: "{requester}", Next: "yardhasp withdraw {request}"})
	// StillInside: a permit is issued and closed only while nobody is inside.
	StillInside = code.New("STILL_INSIDE", code.Row{Args: "person job record", Clause: permitClause, Who: "{person}", Next: "yardhasp sign-off {record}"})
)

// These say what an open permit stands against and how it lapses.
var (
	// PermitOpen: an open permit must be closed before another is issued, or before its
	// job is closed.
	PermitOpen    = code.New("PERMIT_OPEN", code.Row{Args: "permit kind:word", Clause: permitClause, Who: "supervisor-manager", Next: "yardhasp permit close {permit}"})
	UnknownPermit = code.New("UNKNOWN_PERMIT", code.Row{Args: "permit", Who: "the-signer", Next: "yardhasp permit list", Answer: code.Unknown})
	// PermitJobClosed: the job of the permit is no longer open.
	PermitJobClosed = code.New("PERMIT_JOB_CLOSED", code.Row{Args: "job", Clause: isolationClause, Who: "supervisor-manager"})
	PermitOver      = code.New("PERMIT_OVER", code.Row{Args: "permit ends:time", Clause: permitClause, Who: "supervisor-manager", Next: "yardhasp permit close {permit}"})
	// PermitSuspended: a suspended permit stays suspended, even if the cause was mended.
	PermitSuspended = code.New("PERMIT_SUSPENDED", code.Row{Args: "permit because:why", Clause: permitClause, Who: "supervisor-manager", Next: "yardhasp permit close {permit}"})
	// MoreReasons counts the reasons that are not listed.
	MoreReasons = code.New("MORE_REASONS", code.Row{Args: "count:number"})
)

// These say why nobody may go in.
var (
	// NoPermit: no permit is in force. The argument because says how an unclosed permit
	// stands.
	NoPermit = code.New("NO_PERMIT", code.Row{Args: "job zone because:why", Clause: permitClause, Who: "supervisor-manager", Next: "yardhasp permit bin-entry PERMIT --job {job}"})
	// PermitElsewhere: the grain of this zone is the grain of a bin that people enter.
	// The permit must be issued for that bin.
	PermitElsewhere = code.New("PERMIT_ELSEWHERE", code.Row{Args: "job zone bin because:why", Clause: permitClause, Who: "supervisor-manager", Next: "yardhasp job open JOB --zone {bin}"})
)

var (
	PermitIssued = code.New("PERMIT_ISSUED", code.Row{Args: "permit kind:word zone person named"})
	PermitClosed = code.New("PERMIT_CLOSED", code.Row{Args: "permit"})
)

// These tell everybody about a permit that is not in force.
var (
	HotWorkStopped = code.New("HOT_WORK_STOPPED", code.Row{Args: "permit zone state:word because:why workers", Who: "{workers}", Next: "yardhasp permit hot-work-done {permit}"})
	// NoFireWatchAfter: nobody stands the fire watch that continues after hot work.
	NoFireWatchAfter = code.New("NO_FIRE_WATCH_AFTER", code.Row{Args: "permit job zone minutes:number", Next: "yardhasp permit fire-watch {job}"})
	EverybodyOut     = code.New("EVERYBODY_OUT", code.Row{Args: "permit zone state:word because:why inside", Who: "{inside}"})
	// DoNotEnter: the permit is not in force, and nobody is known to be inside.
	DoNotEnter = code.New("DO_NOT_ENTER", code.Row{Args: "permit zone state:word because:why entrants", Who: "supervisor-manager", Next: "yardhasp permit close {permit}"})

	// permitAlarms are four forms of one alarm. Only the latest form of each permit
	// stands.
	permitAlarms = []code.Code{HotWorkStopped, NoFireWatchAfter, EverybodyOut, DoNotEnter}
)

// WorkPermit allows people to enter a bin or to do hot work, on top of the job's own
// conditions. It stays on file until it is closed, 1910.272(f) and (g)(1)(i). Once
// suspended or ended it never comes back: a new permit must be issued.
//
// The clauses need no permit while the employer's representative stays throughout, and
// for hot work in an authorised shop or area. This ledger has no record for those cases.
// It allows nothing without a permit, which is stricter.
type WorkPermit struct {
	ID   string              `json:"id"`
	Kind recordv1.PermitKind `json:"kind"`
	Job  string              `json:"job"`
	Zone string              `json:"zone"`
	Ends int64               `json:"ends"`
	By   Mark                `json:"by"`
	// Named are the entrants or the workers. Watchers are those who are to stand watch.
	Named    []string `json:"named"`
	Watchers []string `json:"watchers"`
	// Agents are the substances that the air is tested for. AirEvery is how often, in
	// seconds.
	Agents   []recordv1.AirAgent `json:"agents,omitempty"`
	AirEvery int64               `json:"air_every,omitempty"`
	// ClosedPaths says, for each fumigation named, how its path into the bin is closed.
	ClosedPaths map[string]string `json:"closed_paths,omitempty"`
	// Line says which line keeps a person from sinking. LineReason says what does so
	// instead.
	Line        recordv1.Line        `json:"line,omitempty"`
	LineReason  string               `json:"line_reason,omitempty"`
	Ventilation recordv1.Ventilation `json:"ventilation,omitempty"`
	Rescue      string               `json:"rescue,omitempty"`
	// Flat: ground-level entry to flat storage, 1910.272(h).
	Flat bool `json:"flat,omitempty"`
	// SuppressionOff: fire suppression is off. It must be on again before the permit
	// closes.
	SuppressionOff bool `json:"suppression_off,omitempty"`

	State recordv1.PermitState `json:"state"`
	// Stopped is when the permit was suspended or ended. Because says why.
	Stopped Mark                `json:"stopped"`
	Because []*recordv1.Finding `json:"because,omitempty"`
	// Done is when the hot work was over.
	Done   Mark `json:"done"`
	Closed Mark `json:"closed"`
}

func (p *WorkPermit) open() bool { return p.State != recordv1.PermitState_PERMIT_STATE_CLOSED }

func (p *WorkPermit) binEntry() bool { return p.Kind == recordv1.PermitKind_PERMIT_KIND_BIN_ENTRY }

// PermitWord is the catalogue word for what a permit is for, such as "bin-entry".
func PermitWord(k recordv1.PermitKind) string { return enumWord(k, "PERMIT_KIND_") }

// PermitStateWord is the catalogue word for the state of a permit.
func PermitStateWord(st recordv1.PermitState) string {
	return "permit-" + enumWord(st, "PERMIT_STATE_")
}

// issuePermit grants a permit only when every condition is met. A refusal lists every
// condition that is not met. It needs the quorum (decisions.md 19).
func (x *step) issuePermit(i *recordv1.IssuePermit) {
	s := x.s
	if s.WorkPermits[i.GetId()] != nil {
		x.deny(PermitExists, i.GetId(), i.GetId())
		return
	}
	j := s.Jobs[i.GetJob()]
	if j == nil || j.Closed.Set() {
		x.deny(UnknownJob, i.GetJob(), i.GetJob())
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
	x.did(PermitIssued, p.ID, p.ID, PermitWord(p.Kind), p.Zone, x.who.ID, p.Named)
}

// issueTimes limits a permit to one shift and refuses conditions seen at another time.
func (x *step) issueTimes(p *WorkPermit) {
	switch {
	case p.Ends <= x.s.Time:
		x.deny(EndHasPassed, p.ID, p.ID, p.Ends)
	case p.Ends > x.s.Time+maxPermit:
		x.deny(PermitTooLong, p.ID, p.ID, maxPermit/3_600_000)
	}
	if signed := x.rec.GetCapturedUnixMs(); signed < x.s.Time-signedAhead || x.clockDoubt() {
		x.deny(SignedEarlier, p.ID, p.ID, signedAhead/60_000)
	}
}

// issueOthers checks what else is going on at the job and in its zone.
func (x *step) issueOthers(p *WorkPermit) {
	s := x.s
	for _, id := range sorted(s.WorkPermits) {
		if o := s.WorkPermits[id]; o.open() && o.Job == p.Job && o.Kind == p.Kind {
			x.deny(PermitOpen, id, id, PermitWord(o.Kind))
		}
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && overlap(s.reachOf(p.Zone), q.Points) {
			x.deny(RequestReaches, id, id, p.Zone, q.By.By)
		}
	}
	if p.binEntry() {
		for _, so := range s.insideAt(p.Zone) {
			x.deny(StillInside, so.Person, so.Person, so.Job, so.Ref)
		}
	}
}

// permitConditions lists what must hold for as long as a permit is in force. The permit
// is suspended at the moment that one of them lapses.
func (s *State) permitConditions(p *WorkPermit, at int64) []*recordv1.Finding {
	j := s.Jobs[p.Job]
	if j == nil || j.Closed.Set() {
		return []*recordv1.Finding{PermitJobClosed.About(p.Job, p.Job)}
	}
	cs := s.isolationConditions(j, at)
	if p.binEntry() {
		return append(cs, s.binConditions(p, j, at)...)
	}
	return append(cs, s.hotConditions(p, j, at)...)
}

// stateOf is the state of a permit at a moment, if nothing was recorded since, and what
// it lacks then.
func (s *State) stateOf(p *WorkPermit, at int64) (recordv1.PermitState, []*recordv1.Finding) {
	at = max(at, s.Time)
	if p.State != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		return p.State, nil
	}
	if at >= p.Ends {
		return recordv1.PermitState_PERMIT_STATE_ENDED, []*recordv1.Finding{PermitOver.About(p.ID, p.ID, p.Ends)}
	}
	if cs := s.permitConditions(p, at); len(cs) > 0 {
		return recordv1.PermitState_PERMIT_STATE_SUSPENDED, cs
	}
	return p.State, nil
}

// lastStop is when an earlier permit of the same kind for the same job was suspended or
// ended. Tests of the air from before that time no longer count.
func (s *State) lastStop(p *WorkPermit) Mark {
	var last Mark
	for _, id := range sorted(s.WorkPermits) {
		if o := s.WorkPermits[id]; o.ID != p.ID && o.Job == p.Job && o.Kind == p.Kind && o.Stopped.Set() && o.Stopped.Time > last.Time && o.By.Index < p.By.Index {
			last = o.Stopped
		}
	}
	return last
}

// permitMissing says why nobody may enter a zone that people enter: the job has no
// bin-entry permit in force. It is nil when one is in force or the zone needs none.
func (s *State) permitMissing(j *Job, at int64) []*recordv1.Finding {
	z, ok := s.Graph().Zone(j.Zone)
	if !ok || z.Bin == "" {
		return nil
	}
	var because []*recordv1.Finding
	for _, id := range sorted(s.WorkPermits) {
		p := s.WorkPermits[id]
		if p.Job != j.ID || !p.binEntry() || !p.open() {
			continue
		}
		st, lapsed := s.stateOf(p, at)
		if st == recordv1.PermitState_PERMIT_STATE_IN_FORCE {
			return nil
		}
		because = append(because, p.notInForce(st, lapsed))
	}
	if !z.Entered {
		return []*recordv1.Finding{PermitElsewhere.About(j.Zone, j.ID, j.Zone, z.Bin, because)}
	}
	return []*recordv1.Finding{NoPermit.About(j.Zone, j.ID, j.Zone, because)}
}

// notInForce says how a suspended or ended permit stands. lapsed is what it lacks when
// that is not recorded yet.
func (p *WorkPermit) notInForce(st recordv1.PermitState, lapsed []*recordv1.Finding) *recordv1.Finding {
	if st == recordv1.PermitState_PERMIT_STATE_ENDED {
		return PermitOver.About(p.ID, p.ID, p.Ends)
	}
	if len(p.Because) > 0 {
		lapsed = p.Because
	}
	return PermitSuspended.About(p.ID, p.ID, fewReasons(lapsed))
}

// closePermit takes a permit off file. Nobody may be inside, and the fire watch must be
// over.
func (x *step) closePermit(c *recordv1.ClosePermit) {
	s := x.s
	p := s.WorkPermits[c.GetPermit()]
	if p == nil || !p.open() {
		x.deny(UnknownPermit, c.GetPermit(), c.GetPermit())
		return
	}
	if p.binEntry() {
		for _, so := range s.insideAt(p.Zone) {
			x.deny(StillInside, so.Person, so.Person, so.Job, so.Ref)
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
	s.lowerPermit(p.ID)
	x.did(PermitClosed, p.ID, p.ID)
}

// now is the record's mark with the ledger's own time. A slow clock of the signer would
// put the moment too early, and what came before it could then pass for later.
func (x *step) now() Mark {
	m := x.mark
	m.Time, m.Late = x.s.Time, x.s.Time
	return m
}

// openPermits lists the permits of a job that are not closed.
func (s *State) openPermits(job string) []*WorkPermit {
	var out []*WorkPermit
	for _, id := range sorted(s.WorkPermits) {
		if p := s.WorkPermits[id]; p.open() && p.Job == job {
			out = append(out, p)
		}
	}
	return out
}

// watchPermits suspends the permits that lapsed and ends those that are over. It runs
// before a record is taken, because time went on, and again after it. If somebody is
// inside under a permit that is not in force, an alarm names them.
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
		if st, lapsed := s.stateOf(p, s.Time); st != p.State {
			p.State, p.Stopped, p.Because = st, at, fewReasons(lapsed)
		}
		now := s.permitAlarm(p)
		for _, c := range permitAlarms {
			if !code.Is(now, c) {
				s.lower(c, id)
			}
		}
		if now != nil {
			s.raise(id, now, at)
		}
	}
}

// lowerPermit ends every alarm about a permit.
func (s *State) lowerPermit(id string) {
	for _, c := range permitAlarms {
		s.lower(c, id)
	}
}

// fewReasons keeps the first five reasons, each once, and counts the rest. Otherwise
// what is stored of a permit could grow without end.
func fewReasons(all []*recordv1.Finding) []*recordv1.Finding {
	var out []*recordv1.Finding
	for _, f := range all {
		if !slices.ContainsFunc(out, func(o *recordv1.Finding) bool { return proto.Equal(o, f) }) {
			out = append(out, f)
		}
	}
	const few = 5
	if n := len(out) - few; n > 0 && !code.Is(out[len(out)-1], MoreReasons) {
		out = append(out[:few], MoreReasons.About("", n))
	}
	return out
}

// permitAlarm says what everybody must see of a permit. It is nil when there is nothing.
func (s *State) permitAlarm(p *WorkPermit) *recordv1.Finding {
	var in []string
	for _, so := range s.insideAt(p.Zone) {
		in = append(in, so.Person)
	}
	slices.Sort(in)
	in = slices.Compact(in)
	state := PermitStateWord(p.State)
	switch st := p.State; {
	case !p.binEntry() && !p.Done.Set() && st != recordv1.PermitState_PERMIT_STATE_IN_FORCE:
		return HotWorkStopped.About(p.ID, p.ID, p.Zone, state, p.Because, p.Named)
	case !p.binEntry() && p.Done.Set() && s.fireWatchLeft(p) > 0 && !s.fireWatched(p):
		return NoFireWatchAfter.About(p.ID, p.ID, p.Job, p.Zone, minutes(s.fireWatchLeft(p)))
	case !p.binEntry() || st == recordv1.PermitState_PERMIT_STATE_IN_FORCE:
		return nil
	case len(in) > 0:
		return EverybodyOut.About(p.ID, p.ID, p.Zone, state, p.Because, in)
	case st == recordv1.PermitState_PERMIT_STATE_SUSPENDED:
		return DoNotEnter.About(p.ID, p.ID, p.Zone, state, p.Because, p.Named)
	}
	return nil
}

// minutes rounds a time in ms up to whole minutes.
func minutes(ms int64) int64 { return (ms + 59_999) / 60_000 }
