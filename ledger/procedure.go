package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	procedureClause = "1910.147(c)(4)(i)"
	contentsClause  = "1910.147(c)(4)(ii)"
)

// Version is one version of a zone's written procedure.
type Version struct {
	Number   uint32   `json:"number"`
	Hash     string   `json:"hash"`
	Machines []string `json:"machines"`
	Points   []string `json:"points"`
	Drawings []string `json:"drawings"`
	Written  Mark     `json:"written"`
	Approved Mark     `json:"approved"`
	// Stale is why it may no longer be used.
	Stale string `json:"stale,omitempty"`
}

// Procedure is a zone's written procedure: the version in use, and one that waits
// for approval.
type Procedure struct {
	Zone    string  `json:"zone"`
	Current Version `json:"current"`
	Waiting Version `json:"waiting"`
	// First is when the first version was approved: an inspection is due a year on.
	First Mark `json:"first"`
	// Inspected is the last inspection, its time that of the certificate.
	Inspected Inspection `json:"inspected"`
	// Reviewed is when each person's duties were last reviewed with them, Unix ms.
	Reviewed map[string]int64 `json:"reviewed"`
}

// Required says since when jobs of a yard need an approved procedure.
type Required struct {
	From int64 `json:"from"`
	By   Mark  `json:"by"`
}

// Exception is the attestation that a job needs no written procedure.
type Exception struct {
	By  Mark   `json:"by"`
	How string `json:"how,omitempty"`
}

// next is the number of the next version.
func (p *Procedure) next() uint32 {
	if p == nil {
		return 1
	}
	return max(p.Current.Number, p.Waiting.Number) + 1
}

// publishProcedure writes down the next version. Text nobody can check; what can be
// is: on the current drawings its points isolate the zone, every source that
// reaches it has a step and every step a test, 1910.147(c)(4)(ii)(B), (D).
func (x *step) publishProcedure(q *recordv1.PublishProcedure) {
	s, zone := x.s, q.GetZone()
	p := s.Procs[zone]
	if _, ok := s.Graph().Zone(zone); !ok {
		x.refuse("UNKNOWN_ZONE", zone, "no current drawing shows this zone", "publish a drawing with it, or read its name again", x.who.ID, "")
		return
	}
	if want := p.next(); q.GetVersion() != want {
		x.refuse("REVISION", zone, fmt.Sprintf("this is version %d, the next one is %d", q.GetVersion(), want), "compare with the version before, then number it", x.who.ID, procedureClause)
	}
	plan, err := s.graph.Describe(zone, q.GetPoints(), recordv1.Isolation_ISOLATION_UNSPECIFIED)
	if err == nil {
		_, err = s.graph.Procedure(zone, plan)
	}
	if err != nil {
		x.refuse("PROCEDURE_INCOMPLETE", zone, "on the current drawings a procedure with these points lacks something: "+line(err.Error()), "compute it again with \"yardhasp procedure\"", x.who.ID, contentsClause)
	}
	if x.refused() {
		return
	}
	if p == nil {
		p = &Procedure{Zone: zone, Reviewed: map[string]int64{}}
		s.Procs[zone] = p
	}
	sum := sha256.Sum256(q.GetText())
	points := slices.Sorted(slices.Values(q.GetPoints()))
	p.Waiting = Version{Number: q.GetVersion(), Hash: hex.EncodeToString(sum[:]), Machines: slices.Clone(q.GetMachines()), Points: points, Written: x.mark}
	for _, y := range s.drawingsOf(&Job{Zone: zone, Plan: points}) {
		if d := s.Plans[y]; d != nil {
			p.Waiting.Drawings = append(p.Waiting.Drawings, fmt.Sprintf("%s revision %d", y, d.Revision))
		}
	}
	x.change("procedure of %s version %d published; it counts once somebody other than %s has approved it", zone, q.GetVersion(), x.who.ID)
	if yard := YardOf(zone); s.Required[yard] == nil {
		s.Required[yard] = &Required{From: x.mark.Late, By: x.mark}
		x.change("from now on every job opened at %s needs an approved procedure", yard)
	}
}

// line makes one line of an error with several.
func line(text string) string { return strings.ReplaceAll(text, "\n", "; ") }

// approveProcedure puts a version into use. Its users are retrained on it.
func (x *step) approveProcedure(a *recordv1.ApproveProcedure) {
	s, zone := x.s, a.GetZone()
	p := s.Procs[zone]
	switch {
	case p == nil || p.Waiting.Number == 0:
		x.refuse("UNKNOWN_PROCEDURE", zone, "no procedure of this zone waits for approval", "publish one first", "authorised employee, supervisor or manager", procedureClause)
	case p.Waiting.Number != a.GetVersion() || p.Waiting.Hash != hex.EncodeToString(a.GetTextHash()):
		x.refuse("REVISION", zone, fmt.Sprintf("version %d waits for approval, and what you read is not its text", p.Waiting.Number), "read the published text, then approve that", x.who.ID, procedureClause)
	case p.Waiting.Written.By == x.who.ID:
		x.refuse("OWN_PROCEDURE", zone, "nobody approves the procedure that they wrote", "another supervisor or manager reads and approves it", "supervisor or manager", procedureClause)
	case overlap(s.hands(x.signingKey(x.who.ID)), s.hands(s.keyAt(p.Waiting.Written.By, p.Waiting.Written.Index))):
		x.refuse("ONE_HAND", zone, x.oneHandText(p.Waiting.Written.By), "another supervisor or manager reads and approves it", "supervisor or manager", procedureClause)
	case p.Waiting.Stale != "":
		x.refuse("PROCEDURE_STALE", zone, p.Waiting.Stale, "compute it again and publish the next version", p.Waiting.Written.By, contentsClause)
	}
	if x.refused() {
		return
	}
	p.Waiting.Approved = x.mark
	p.Current, p.Waiting = p.Waiting, Version{}
	if !p.First.Set() {
		p.First = x.mark
	}
	x.change("procedure of %s version %d approved by %s", zone, p.Current.Number, x.who.ID)
	x.retrain(zone, fmt.Sprintf("version %d of the procedure of %s was approved", p.Current.Number, zone), sorted(s.Used[zone])...)
}

// requireProcedures turns the rule on for a yard, or makes it begin earlier. There
// is no record that turns it off.
func (x *step) requireProcedures(r *recordv1.RequireProcedures) {
	s, yard := x.s, r.GetYard()
	old := s.Required[yard]
	switch {
	case s.Yards[yard] == nil:
		x.refuse("UNKNOWN_YARD", yard, "no yard of this name has joined", "read its name again", x.who.ID, "")
	case old != nil && r.GetFromUnixMs() > old.From:
		x.refuse("ALREADY_REQUIRED", yard, "procedures are required there from an earlier moment on: that is never put off", "", "", procedureClause)
	default:
		s.Required[yard] = &Required{From: r.GetFromUnixMs(), By: x.mark}
		x.change("every job opened at %s from the given moment on needs an approved procedure", yard)
	}
}

// attestException takes a named person's word for the four conditions that no
// drawing shows, and refuses when a computed one fails.
func (x *step) attestException(a *recordv1.AttestException) {
	s := x.s
	j := s.Jobs[a.GetJob()]
	if j == nil || j.Closed.Set() {
		x.refuse("UNKNOWN_JOB", a.GetJob(), "there is no open job of this name", "read its name again", x.who.ID, "")
		return
	}
	for _, c := range []struct {
		number int
		said   bool
		what   string
	}{
		{4, a.GetLockedDuringWork(), "the machine is isolated from its one source and locked during the work"},
		{6, a.GetExclusiveControl(), "the one device is under the exclusive control of who does the work"},
		{7, a.GetNoHazardForOthers(), "the work makes no hazard for other people"},
		{8, a.GetNoAccident(), "the co-op had no accident from unexpected activation of this machine during servicing"},
	} {
		if !c.said {
			x.refuse("EIGHT", j.ID, fmt.Sprintf("condition %d is not attested: %s", c.number, c.what), "have a procedure published and approved", "supervisor or manager", procedureClause)
		}
	}
	for _, why := range s.eightFails(j) {
		x.refuse("EIGHT", j.ID, why, "have a procedure published and approved", "supervisor or manager", procedureClause)
	}
	if x.refused() {
		return
	}
	j.Exception = Exception{By: x.mark, How: a.GetHowKnown()}
	s.redrawJob(j)
	x.change("%s attests that %s may be done without a written procedure; on the current drawings the computed conditions hold", x.who.ID, j.ID)
}

// eightFails says which computed conditions fail for a job's plan.
func (s *State) eightFails(j *Job) []string {
	plan, err := s.Graph().Describe(j.Zone, j.Plan, recordv1.Isolation_ISOLATION_UNSPECIFIED)
	var cs []energy.EightCondition
	if err == nil {
		cs, err = s.Graph().WithoutProcedure(j.Zone, plan)
	}
	if err != nil {
		return []string{"the conditions can't be computed: " + line(err.Error())}
	}
	var out []string
	for _, c := range cs {
		if c.Holds == energy.HoldsNo {
			out = append(out, fmt.Sprintf("condition %d fails: %s", c.Number, c.Why))
		}
	}
	return out
}

// needsProcedure reports whether the rule is on for a job. A job that was open
// before goes on as it began.
func (s *State) needsProcedure(j *Job) bool {
	r := s.Required[YardOf(j.Zone)]
	return r != nil && j.Opened.Late >= r.From
}

// approved is the version in use, nil when there is none.
func (s *State) approved(zone string) *Version {
	if p := s.Procs[zone]; p != nil && p.Current.Number > 0 {
		return &p.Current
	}
	return nil
}

// procedureConditions lists what is missing of a procedure for a job.
func (s *State) procedureConditions(j *Job) []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(code, text, remedy, who, clause string) {
		cs = append(cs, cond(code, j.Zone, text, remedy, who, clause))
	}
	if !s.needsProcedure(j) {
		return nil
	}
	if v := s.approved(j.Zone); v != nil {
		if v.Stale != "" {
			add("PROCEDURE_STALE", fmt.Sprintf("version %d of the procedure may not be used: %s", v.Number, v.Stale), "publish the next version and have it approved", "supervisor or manager", contentsClause)
		}
		for _, p := range v.Points {
			if !slices.Contains(j.Plan, p) {
				add("NOT_THE_PROCEDURE", fmt.Sprintf("version %d of the procedure locks %s, and the plan of %s does not", v.Number, p, j.ID), "open a job with the procedure's points", j.Responsible, procedureClause)
			}
		}
		return cs
	}
	if !j.Exception.By.Set() {
		add("NO_PROCEDURE", j.Zone+" has no approved procedure", "publish one and have somebody else approve it; or, where all eight conditions hold, attest them", "supervisor or manager", procedureClause)
		return cs
	}
	for _, why := range s.eights[j.ID] {
		add("EIGHT", "attested by "+j.Exception.By.By+" as needing no procedure, but "+why, "have a procedure published and approved", "supervisor or manager", procedureClause)
	}
	// One device under the exclusive control of one person: anybody else ends it.
	for _, id := range namesOf(s.atWork(j, nil)) {
		if id != j.Responsible {
			add("EIGHT", "attested as needing no procedure, but "+id+" is at risk as well: the device is not under the exclusive control of one person", "have a procedure published and approved", "supervisor or manager", procedureClause)
		}
	}
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; h.Box != "" && overlap(s.Covers(h), j.Plan) {
			add("EIGHT", "attested as needing no procedure, but the key is in the box "+h.Box+", not under the exclusive control of one person", "have a procedure published and approved", "supervisor or manager", procedureClause)
		}
	}
	return cs
}
