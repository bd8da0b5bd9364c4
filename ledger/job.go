package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetOpenJob, Kind{Name: "open_job", Called: "open job", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtZone, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(o *recordv1.OpenJob) About { return About{Zone: o.GetZone(), Job: o.GetId()} },
		func(f *fields, a *recordv1.OpenJob) {
			f.name("id", a.GetId())
			f.place("zone", a.GetZone())
			f.some("plan", len(a.GetPlan()))
			f.points("plan", a.GetPlan())
			f.name("responsible", a.GetResponsible())
			f.names("crew", a.GetCrew())
			f.text("purpose", a.GetPurpose())
			f.names("affected", a.GetAffected())
		},
		(*step).openJob),
	kind((*recordv1.Record).GetCloseJob, Kind{Name: "close_job", Called: "close job", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.CloseJob) About { return About{Job: c.GetJob()} },
		func(f *fields, a *recordv1.CloseJob) { f.name("job", a.GetJob()) },
		(*step).closeJob),
)

var (
	JobExists = code.New("JOB_EXISTS", code.Row{Args: "job", Who: "the-signer", Answer: code.Taken})
	// RequestOfJobOpen: the job to be closed still has an open request for a start.
	RequestOfJobOpen = code.New("REQUEST_OF_JOB_OPEN", code.Row{Args: "request person", Who: "{person}", Next: "yardhasp withdraw {request}"})
	UnknownJob       = code.New("UNKNOWN_JOB", code.Row{Args: "job", Who: "the-signer", Next: "yardhasp job list", Answer: code.Unknown})
	// JobNotOpen: the record names a job that is not open. It is kept and counts for
	// nothing.
	JobNotOpen  = code.New("JOB_NOT_OPEN", code.Row{Args: "job", Next: "yardhasp job list"})
	UnknownZone = code.New("UNKNOWN_ZONE", code.Row{Args: "zone", Who: "the-signer", Answer: code.Unknown})
	NotDrawn    = code.New("NOT_DRAWN", code.Row{Args: "point", Clause: walkClause, Who: "supervisor-manager", Next: "yardhasp drawing publish FILE"})
	// NoAffected: the job names no affected person.
	NoAffected = code.New("NO_AFFECTED", code.Row{Args: "job", Clause: "1910.147(c)(9)", Who: "the-signer"})
	// NotAuthorised: only an authorised employee may do what this person is named for.
	NotAuthorised = code.New("NOT_AUTHORISED", code.Row{Args: "person clause", Who: "the-signer"})
	// NotResponsible: the signer is not one who may close the job.
	NotResponsible = code.New("NOT_RESPONSIBLE", code.Row{Args: "person job responsible", Who: "{responsible}", Answer: code.Denied})
	// StillOnJob: the person is signed on to the job or has a lock on for it.
	StillOnJob = code.New("STILL_ON_JOB", code.Row{Args: "person job", Clause: "1910.147(e)", Who: "{person}"})
	JobOpened  = code.New("JOB_OPENED", code.Row{Args: "job zone purpose:text"})
	JobClosed  = code.New("JOB_CLOSED", code.Row{Args: "job"})
)

// Job is work on one zone, and the facts recorded for it. Its stage is always derived
// from these facts (stage.go) and never set.
type Job struct {
	ID          string   `json:"id"`
	Zone        string   `json:"zone"`
	Plan        []string `json:"plan"`
	Responsible string   `json:"responsible"`
	Crew        []string `json:"crew,omitempty"`
	Affected    []string `json:"affected,omitempty"`
	Purpose     string   `json:"purpose"`
	Opened      Mark     `json:"opened"`
	Closed      Mark     `json:"closed"`

	ShutDown Mark `json:"shut_down"`
	// ToldBefore and ToldAfter are when each affected person was told.
	ToldBefore map[string]Mark `json:"told_before"`
	ToldAfter  map[string]Mark `json:"told_after"`
	// Cleared is the last complete clear-area record.
	Cleared Mark `json:"cleared"`
	// Looked are the clear-area records, complete or not.
	Looked Latest `json:"looked,omitempty"`
	// GroundsFitted is the highest number of grounds that any clear-area record of this
	// round counted. GroundsLeft is that number less those that the last record counted
	// as removed.
	GroundsFitted uint32            `json:"grounds_fitted,omitempty"`
	GroundsLeft   int64             `json:"grounds_left,omitempty"`
	Readings      map[string]*Proof `json:"readings"` // by part, medium, kind
	Released      map[string]Mark   `json:"released"` // store -> time
	Found         map[string]*Found `json:"found"`    // found live, by reference
	// LastHold, LastOff and LastOn are the latest locks on, locks off and sign-ons. A
	// lock that names no open job counts for every job whose plan it touches.
	LastHold Latest `json:"last_hold,omitempty"`
	LastOff  Latest `json:"last_off,omitempty"`
	LastOn   Latest `json:"last_on,omitempty"`
	// Met is since when work may start without a break. Unset: work may not start.
	Met Mark `json:"met"`
	// Stopped is what failed while people were signed on. It is nil if nothing did.
	Stopped *recordv1.Finding `json:"stopped,omitempty"`

	// Procedure is the approved version that the job was opened against. 0: none.
	Procedure uint32    `json:"procedure,omitempty"`
	Exception Exception `json:"exception"`
	// Coordinator coordinates all crews. Crews are those beside the first crew.
	Coordinator string             `json:"coordinator,omitempty"`
	Crews       map[string]*Crew   `json:"crews,omitempty"`
	Verified    map[string]*Answer `json:"verified,omitempty"`
}

func (x *step) openJob(o *recordv1.OpenJob) {
	s := x.s
	if s.Jobs[o.GetId()] != nil {
		x.deny(JobExists, o.GetId(), o.GetId())
		return
	}
	x.mayOpenJob(o)
	if x.refused() {
		return
	}
	j := &Job{ID: o.GetId(), Zone: o.GetZone(), Plan: slices.Sorted(slices.Values(o.GetPlan())), Responsible: o.GetResponsible(),
		Crew: o.GetCrew(), Affected: slices.Sorted(slices.Values(o.GetAffected())), Purpose: o.GetPurpose(), Opened: x.mark,
		ToldBefore: map[string]Mark{}, ToldAfter: map[string]Mark{}, Readings: map[string]*Proof{}, Released: map[string]Mark{}, Found: map[string]*Found{}}
	if v := s.approved(j.Zone); v != nil {
		j.Procedure = v.Number
	}
	s.Jobs[j.ID] = j
	s.use(j.Zone, j.Responsible, x.mark)
	// Locks and sign-ons that named this job before it was opened must count too.
	for _, so := range s.SignOns {
		if so.Job == j.ID {
			j.LastOn.add(x.mark)
		}
	}
	for _, h := range s.Holds {
		if h.Job == j.ID || h.Active() && s.unclaimed(h) && overlap(s.Covers(h), j.Plan) {
			j.LastHold.add(x.mark)
		}
	}
	s.airSoFar(j)
	s.redrawJob(j)
	x.did(JobOpened, j.ID, j.ID, j.Zone, j.Purpose)
	x.out.Flags = append(append(x.out.Flags, s.planConditions(j)...), s.procedureConditions(j)...)
}

// mayOpenJob refuses a job whose zone, plan or people the ledger does not know. It also
// refuses a job that names nobody to be told.
func (x *step) mayOpenJob(o *recordv1.OpenJob) {
	s := x.s
	if _, ok := s.Graph().Zone(o.GetZone()); !ok {
		x.deny(UnknownZone, o.GetZone(), o.GetZone())
	}
	for _, p := range o.GetPlan() {
		if s.Points[p] == nil {
			x.deny(UnknownPoint, p, p)
		} else if _, ok := s.Graph().Point(p); !ok {
			x.deny(NotDrawn, p, p)
		}
	}
	people := append(append([]string{o.GetResponsible()}, o.GetCrew()...), o.GetAffected()...)
	for _, p := range people {
		if s.People[p] == nil {
			x.deny(UnknownPerson, p, p)
		}
	}
	if len(o.GetAffected()) == 0 {
		x.deny(NoAffected, o.GetId(), o.GetId())
	}
	if r := s.People[o.GetResponsible()]; r != nil && !r.Has(authorised) {
		x.deny(NotAuthorised, r.ID, r.ID, groupClause+"(A)")
	}
	v := s.approved(o.GetZone())
	if read := o.GetProcedureVersion(); read > 0 && (v == nil || v.Number != read) {
		x.deny(NotVersionInUse, o.GetZone(), o.GetZone(), read, procedureClause)
	}
}

// job finds the open job for a note. A note that names none is recorded and flagged.
func (x *step) job(id string) *Job {
	j := x.s.Jobs[id]
	if j == nil || j.Closed.Set() {
		x.note(JobNotOpen, id, id)
		return nil
	}
	return j
}

// openJobFor finds the open job for an act that must have one.
func (x *step) openJobFor(id string) *Job {
	j := x.s.Jobs[id]
	if j == nil || j.Closed.Set() {
		x.deny(UnknownJob, id, id)
		return nil
	}
	return j
}

// drawingsOf lists the yards whose drawings a job rests on: the yards of its zone, of
// its plan points, and of every point that may reach the zone.
func (s *State) drawingsOf(j *Job) []string {
	ys := []string{YardOf(j.Zone)}
	for _, p := range append(slices.Clone(j.Plan), s.reachOf(j.Zone)...) {
		ys = append(ys, YardOf(p))
	}
	slices.Sort(ys)
	return slices.Compact(ys)
}

func (x *step) closeJob(c *recordv1.CloseJob) {
	s := x.s
	j := x.openJobFor(c.GetJob())
	if j == nil {
		return
	}
	if j.Responsible != x.who.ID && !x.who.Has(supervisor, manager) {
		x.deny(NotResponsible, x.who.ID, x.who.ID, j.ID, j.Responsible)
	}
	for _, p := range namesOf(s.atWork(j, nil)) {
		x.deny(StillOnJob, p, p, j.ID)
	}
	if j.begun() {
		// A closed job owes nothing. A new job could then ask for the start without
		// these checks.
		x.out.Conditions = append(x.out.Conditions, j.clearConditions()...)
	}
	x.out.Conditions = append(x.out.Conditions, j.foundConditions()...)
	for _, p := range s.openPermits(j.ID) {
		x.deny(PermitOpen, p.ID, p.ID, PermitWord(p.Kind))
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && q.Job == j.ID {
			x.deny(RequestOfJobOpen, id, id, q.By.By)
		}
	}
	if x.refused() {
		return
	}
	s.use(j.Zone, j.Responsible, x.mark)
	j.Closed = x.mark
	s.end("job", j.ID)
	for _, ref := range sorted(s.Watches) {
		if w := s.Watches[ref]; w.Job == j.ID && !w.Off.Set() {
			x.left(w)
		}
	}
	s.redrawJob(j)
	s.lower(Stopped, j.ID)
	s.lower(ProtectionEnded, j.ID)
	x.did(JobClosed, j.ID, j.ID)
}
