package ledger

import (
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Job is work on one zone, and the facts recorded for it. What it has reached is
// derived from them (standing.go), never set.
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
	// Cleared is the last clear-area record that was complete.
	Cleared Mark `json:"cleared"`
	// Looked are the clear-area records, complete or not.
	Looked Latest `json:"looked,omitempty"`
	// GroundsFitted is the most that any clear-area record of this round counted,
	// GroundsLeft that number less what the last one counted as removed.
	GroundsFitted uint32            `json:"grounds_fitted,omitempty"`
	GroundsLeft   int64             `json:"grounds_left,omitempty"`
	Readings      map[string]*Proof `json:"readings"` // by part, medium, kind
	Released      map[string]Mark   `json:"released"` // store -> when
	Found         map[string]*Found `json:"found"`    // found live, by reference
	// LastHold, LastOff and LastOn are the latest locks on, locks off and sign-ons.
	// A lock that names no open job counts for every job whose plan it touches.
	LastHold Latest `json:"last_hold,omitempty"`
	LastOff  Latest `json:"last_off,omitempty"`
	LastOn   Latest `json:"last_on,omitempty"`
	// Met is since when work might start without a break; unset: it may not.
	Met Mark `json:"met"`
	// Stopped is what broke while people were signed on.
	Stopped string `json:"stopped,omitempty"`

	// Procedure is the approved version the job was opened against; 0: none.
	Procedure uint32    `json:"procedure,omitempty"`
	Exception Exception `json:"exception"`
	// Coordinator coordinates all crews; Crews are those beside the first.
	Coordinator string             `json:"coordinator,omitempty"`
	Crews       map[string]*Crew   `json:"crews,omitempty"`
	Verified    map[string]*Answer `json:"verified,omitempty"`
}

// Proof is one reading that counts as long as nothing voids it.
type Proof struct {
	At    Mark   `json:"at"`
	Value string `json:"value"`
}

// Found is energy found where none should be.
type Found struct {
	Ref       string `json:"ref"`
	Part      string `json:"part"`
	What      string `json:"what"`
	At        Mark   `json:"at"`
	Corrected Mark   `json:"corrected"`
}

// SignOn is one person inside the zone of a job.
type SignOn struct {
	Ref    string `json:"ref"`
	Person string `json:"person"`
	Job    string `json:"job"`
	On     Mark   `json:"on"`
	Off    Mark   `json:"off"`
	// Since is the entry that a key must not be younger than to end it.
	Since uint64 `json:"since"`
	// Promised lists the points the zone's yard promised to keep off.
	Promised []string `json:"promised,omitempty"`
}

func (x *step) openJob(o *recordv1.OpenJob) {
	s := x.s
	if s.Jobs[o.GetId()] != nil {
		x.refuse("EXISTS", o.GetId(), "a job with this id exists", "choose another id", x.who.ID, "")
		return
	}
	if _, ok := s.Graph().Zone(o.GetZone()); !ok {
		x.refuse("UNKNOWN_ZONE", o.GetZone(), "no current drawing shows this zone", "publish a drawing with it, or read its name again", x.who.ID, "")
	}
	for _, p := range o.GetPlan() {
		if s.Points[p] == nil {
			x.refuse("UNKNOWN_POINT", p, "no such point is registered", "compute the plan on the current drawing", x.who.ID, "")
		} else if _, ok := s.Graph().Point(p); !ok {
			x.refuse("NOT_DRAWN", p, "no current drawing shows "+p, "compute the plan on the current drawing", x.who.ID, "")
		}
	}
	people := append(append([]string{o.GetResponsible()}, o.GetCrew()...), o.GetAffected()...)
	for _, p := range people {
		if s.People[p] == nil {
			x.refuse("UNKNOWN_PERSON", p, "nobody of this name is enrolled", "invite them first", "a manager", "")
		}
	}
	if len(o.GetAffected()) == 0 {
		x.refuse("NO_AFFECTED", o.GetId(), "nobody is named to be told before locks go on and after they come off", "name who runs the machine or works in the area", x.who.ID, "1910.147(c)(9)")
	}
	if r := s.People[o.GetResponsible()]; r != nil && !r.Has(authorised) {
		x.refuse("NOT_PERMITTED", r.ID, r.ID+" is not an authorised employee", "name one as responsible", "authorised employee", "1910.147(f)(3)(ii)(A)")
	}
	v := s.approved(o.GetZone())
	if read := o.GetProcedureVersion(); read > 0 && (v == nil || v.Number != read) {
		x.refuse("REVISION", o.GetZone(), fmt.Sprintf("version %d is not the approved procedure of this zone", read), "read the version in use, then open the job with it", x.who.ID, procedureClause)
	}
	if x.refused() {
		return
	}
	j := &Job{ID: o.GetId(), Zone: o.GetZone(), Plan: slices.Sorted(slices.Values(o.GetPlan())), Responsible: o.GetResponsible(),
		Crew: o.GetCrew(), Affected: slices.Sorted(slices.Values(o.GetAffected())), Purpose: o.GetPurpose(), Opened: x.mark,
		ToldBefore: map[string]Mark{}, ToldAfter: map[string]Mark{}, Readings: map[string]*Proof{}, Released: map[string]Mark{}, Found: map[string]*Found{}}
	if v != nil {
		j.Procedure = v.Number
	}
	s.Jobs[j.ID] = j
	s.use(j.Zone, j.Responsible, x.mark)
	// What came before the job that it names is not forgotten.
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
	x.change("job %s opened on %s: %s", j.ID, j.Zone, j.Purpose)
	if !s.verdicts[j.ID].Isolates {
		x.flag("PLAN_DOES_NOT_ISOLATE", j.ID, "the plan does not cut "+j.Zone+" off on the current drawings", "1910.147(d)(3)")
	}
	for _, c := range s.procedureConditions(j) {
		x.flag(c.GetCode(), c.GetSubject(), c.GetText(), c.GetClause())
	}
}

// job finds an open job for a note; a note for none is recorded and flagged.
func (x *step) job(id string) *Job {
	j := x.s.Jobs[id]
	if j == nil || j.Closed.Set() {
		x.flag("UNKNOWN_JOB", id, "no open job of this name: the record is kept and counts for nothing", "")
		return nil
	}
	return j
}

func (x *step) signOn(o *recordv1.SignOn) {
	s := x.s
	so := &SignOn{Ref: x.out.Ref, Person: x.who.ID, Job: o.GetJob(), On: x.mark, Since: x.bornUnder()}
	j := x.job(o.GetJob())
	if x.env.GetGrant() == recordv1.Grant_GRANT_HELD_LOCALLY {
		so.Promised = slices.Clone(x.env.GetPromised())
	}
	for _, ref := range sorted(s.inside) {
		if o := s.inside[ref]; o.Person == so.Person && o.Job == so.Job {
			x.flag("SIGNED_ON_TWICE", so.Job, so.Person+" is signed on already ("+ref+"): each one is signed off", "")
			break
		}
	}
	s.SignOns[so.Ref], s.inside[so.Ref] = so, so
	x.promiseKept(o.GetJob())
	x.flagDebt(x.who.ID)
	x.change("%s signed on to the zone of %s", x.who.ID, o.GetJob())
	if j == nil {
		return
	}
	j.LastOn.add(x.mark)
	s.use(j.Zone, x.who.ID, x.mark)
	x.flagRetrain(x.who.ID, j.Zone)
	x.flagExchange(x.who.ID, j.workYards()...)
	if !j.member(x.who.ID) {
		x.flag("NOT_ON_CREW", x.who.ID, x.who.ID+" is not on the crew of "+j.ID, "1910.147(f)(3)")
	}
	if missing := s.unlocked(j, x.who.ID); len(missing) > 0 {
		x.flag("NO_LOCK", x.who.ID, x.who.ID+" entered without a lock on "+strings.Join(missing, ", "), "1910.147(f)(3)(ii)(D)")
	}
	if !j.Met.Set() {
		x.flag("WORK_MAY_NOT_START", j.ID, x.who.ID+" entered before work may start", "1910.147(d)(6)")
	}
	for _, c := range s.permitMissing(j, s.Time) {
		x.flag(c.GetCode(), j.Zone, x.who.ID+" entered, and "+textOf(c), c.GetClause())
	}
}

// signOff: only the person themself; unknown counts as inside.
func (x *step) signOff(o *recordv1.SignOff) {
	ref := RefOf(o.GetSignOn())
	so := x.s.SignOns[ref]
	switch {
	case so == nil:
		x.refuse("UNKNOWN_SIGN_ON", ref, "no such sign-on; if it ended long ago, see the history", "read the reference on the board again", x.who.ID, "")
	case so.Person != x.who.ID:
		x.refuse("NOT_YOUR_SIGN_ON", ref, "only "+so.Person+" signs off "+so.Person, "ask them", so.Person, "1910.147(e)(2)(i)")
	case so.Off.Set():
		x.refuse("ENDED", ref, so.Person+" signed off before", "", "", "")
	case x.signingKey(x.who.ID).Since > so.Since:
		x.refuse("KEY_NEWER_THAN_LOCK", ref, "your key was enrolled after this sign-on", "sign with the key that signed on", so.Person, "")
	default:
		so.Off = x.mark
		delete(x.s.inside, ref)
		if j := x.s.Jobs[so.Job]; j != nil {
			x.s.use(j.Zone, so.Person, x.mark)
		}
		x.s.end("sign_on", ref)
		x.s.clearAlarm("PROMISE_BROKEN", ref)
		x.change("%s signed off the zone of %s", so.Person, so.Job)
	}
}

// signedOn lists who is on the zone of a job, in order of reference.
func (s *State) signedOn(job string) []*SignOn {
	var out []*SignOn
	for _, so := range s.inside {
		if so.Job == job {
			out = append(out, so)
		}
	}
	slices.SortFunc(out, func(a, b *SignOn) int { return strings.Compare(a.Ref, b.Ref) })
	return out
}

// unlocked lists the plan points on which a person has no lock, directly or by a
// box.
func (s *State) unlocked(j *Job, person string) []string {
	var out []string
	for _, p := range j.Plan {
		if !slices.ContainsFunc(s.Guarding(p), func(h *Hold) bool { return h.Holder == person }) {
			out = append(out, p)
		}
	}
	return out
}

func (x *step) shutDown(n *recordv1.ShutDown) {
	if j := x.job(n.GetJob()); j != nil && x.ok {
		j.ShutDown = x.mark
		x.change("shut down for %s in the orderly way", j.ID)
	}
}

// drawingsOf lists the yards whose drawings a job rests on: its zone's, its plan
// points', and those of every point that may reach the zone.
func (s *State) drawingsOf(j *Job) []string {
	ys := []string{YardOf(j.Zone)}
	for _, p := range append(slices.Clone(j.Plan), s.reachOf(j.Zone)...) {
		ys = append(ys, YardOf(p))
	}
	slices.Sort(ys)
	return slices.Compact(ys)
}

func (x *step) storedReleased(r *recordv1.StoredReleased) {
	j := x.job(r.GetJob())
	if j == nil || !x.ok {
		return
	}
	if !slices.ContainsFunc(x.s.stores[j.ID], func(st energy.Store) bool { return st.ID == r.GetStore() }) {
		x.flag("UNKNOWN_STORE", r.GetStore(), "the drawing shows no such store behind this plan's locks: the record is kept and counts for nothing", "1910.147(d)(5)(i)")
		return
	}
	if x.clockDoubt() {
		x.flag("CLOCK_DOUBT", r.GetStore(), "the clock is in doubt: a wait can't be shown by it", "common practice, no source")
		return
	}
	j.Released[r.GetStore()] = x.mark
	x.change("%s released for %s: %s", r.GetStore(), j.ID, r.GetHow())
}

func (x *step) notice(n *recordv1.Notice) {
	j := x.job(n.GetJob())
	if j == nil || !x.ok {
		return
	}
	told, word := j.ToldBefore, "before locks go on"
	if n.GetWhen() == recordv1.NoticeWhen_NOTICE_WHEN_AFTER {
		told, word = j.ToldAfter, "after the last lock came off"
	}
	for _, p := range n.GetPeople() {
		if x.s.People[p] == nil {
			x.flag("UNKNOWN_PERSON", p, "nobody of this name is enrolled: "+p+" counts as not told", "1910.147(c)(9)")
		}
		if slices.Contains(j.Affected, p) {
			told[p] = x.mark
		}
	}
	x.change("told %s for %s: %s", word, j.ID, strings.Join(n.GetPeople(), ", "))
}

// clearArea: the area was looked over. What is not clear is heard from anybody;
// only who may clears it, knowing every look before, and grounds that one look
// counted as fitted stay counted.
func (x *step) clearArea(c *recordv1.ClearArea) {
	j := x.job(c.GetJob())
	if j == nil {
		return
	}
	knew := j.Looked.seenBy(x.mark)
	left := int64(max(c.GetGroundsFitted(), j.GroundsFitted)) - int64(c.GetGroundsRemoved())
	var lacks []string
	var inside []string
	for _, so := range x.s.signedOn(j.ID) {
		inside = append(inside, so.Person)
	}
	for _, l := range []struct {
		bad  bool
		what string
	}{
		{len(inside) > 0, strings.Join(inside, ", ") + " still signed on: look again once everybody is out"},
		{!c.GetToolsOut(), "tools are still in"}, {!c.GetGuardsOn(), "guards are off"}, {!c.GetPeopleClear(), "people are not clear"},
		{left != 0, fmt.Sprintf("%d temporary grounds or jumpers are not accounted for", left)},
		{!knew, "it was written without knowing of another look at the area"},
	} {
		if l.bad {
			lacks = append(lacks, l.what)
		}
	}
	if len(lacks) == 0 && !x.ok {
		return
	}
	j.Looked.add(x.mark)
	if x.ok {
		j.GroundsFitted = max(c.GetGroundsFitted(), j.GroundsFitted)
		if knew || left > j.GroundsLeft {
			j.GroundsLeft = left
		}
	}
	if len(lacks) > 0 {
		j.Cleared = Mark{}
		x.flag("NOT_CLEAR", j.ID, strings.Join(lacks, "; "), "1910.147(e)(1)")
		return
	}
	j.Cleared = x.mark
	x.change("area of %s clear: tools out, guards on, grounds off", j.ID)
}

func (x *step) closeJob(c *recordv1.CloseJob) {
	s := x.s
	j := s.Jobs[c.GetJob()]
	if j == nil || j.Closed.Set() {
		x.refuse("UNKNOWN_JOB", c.GetJob(), "there is no open job of this name", "", "", "")
		return
	}
	if j.Responsible != x.who.ID && !x.who.Has(supervisor, manager) {
		x.refuse("NOT_PERMITTED", x.who.ID, "the responsible employee or a supervisor closes a job", "ask "+j.Responsible, j.Responsible, "")
	}
	for _, p := range namesOf(s.atWork(j, nil)) {
		x.refuse("STILL_ON", p, p+" is signed on or has a lock on for this job", p+" signs off and takes it off", p, "1910.147(e)")
	}
	if j.begun() {
		// Closed, it would owe nothing, and the start could be asked for afresh.
		x.out.Conditions = append(x.out.Conditions, j.clearConditions()...)
	}
	for _, ref := range sorted(j.Found) {
		if !j.Found[ref].Corrected.Set() {
			x.refuse("FOUND_LIVE", ref, "something found live was not corrected", "a qualified person finds and corrects the cause", "a qualified person", "")
		}
	}
	for _, p := range s.openPermits(j.ID) {
		x.refuse("PERMIT_OPEN", p.ID, "permit "+p.ID+" for "+PermitWord(p.Kind)+" is not closed", "close it first", "supervisor or manager", "1910.272(g)(1)(i)")
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && q.Job == j.ID {
			x.refuse("REQUESTED", id, "a request to re-energise is open", "finish or withdraw it", q.By.By, "")
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
	s.clearAlarm("STOPPED", j.ID)
	s.clearAlarm("PROTECTION_ENDED", j.ID)
	x.change("job %s closed", j.ID)
}
