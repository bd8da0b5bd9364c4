package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	procedureClause = "1910.147(c)(4)(i)"
	contentsClause  = "1910.147(c)(4)(ii)"
)

var _ = declare(
	kind((*recordv1.Record).GetPublishProcedure, Kind{Name: "publish_procedure", Called: "procedure publish", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: procedureClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(p *recordv1.PublishProcedure) About { return About{Zone: p.GetZone()} },
		func(f *fields, a *recordv1.PublishProcedure) {
			f.place("zone", a.GetZone())
			f.counted("version", uint64(a.GetVersion()))
			f.must(len(a.GetText()) > 0 && len(a.GetText()) <= MaxProcedureBytes, "text", "form-procedure-text")
			f.some("machines", len(a.GetMachines()))
			f.texts("machines", a.GetMachines())
			f.some("points", len(a.GetPoints()))
			f.points("points", a.GetPoints())
		},
		(*step).publishProcedure),
	kind((*recordv1.Record).GetApproveProcedure, Kind{Name: "approve_procedure", Called: "procedure approve", Class: Lifts, May: whoHas(supervisor, manager), Clause: procedureClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(p *recordv1.ApproveProcedure) About { return About{Zone: p.GetZone()} },
		func(f *fields, a *recordv1.ApproveProcedure) {
			f.place("zone", a.GetZone())
			f.counted("version", uint64(a.GetVersion()))
			f.bytes32("text_hash", a.GetTextHash())
		},
		(*step).approveProcedure),
	kind((*recordv1.Record).GetRequireProcedures, Kind{Name: "require_procedures", Called: "procedure require", Class: Lifts, May: whoHas(manager), Clause: procedureClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.RequireProcedures) About { return About{} },
		func(f *fields, a *recordv1.RequireProcedures) {
			f.name("yard", a.GetYard())
			f.moment("from_unix_ms", a.GetFromUnixMs())
		},
		(*step).requireProcedures),
)

var (
	// NotVersionInUse: the named version is not the approved one of its zone.
	NotVersionInUse = code.New("NOT_VERSION_IN_USE", code.Row{Args: "zone version:number clause", Who: "the-signer", Next: "yardhasp procedure text {zone}"})
	// NotNextVersion: version numbers must follow one another.
	NotNextVersion = code.New("NOT_NEXT_VERSION", code.Row{Args: "zone version:number next:number", Clause: procedureClause, Who: "the-signer"})
	// ProcedureIncomplete: the argument lack is what the energy engine found missing.
	ProcedureIncomplete = code.New("PROCEDURE_INCOMPLETE", code.Row{Args: "zone lack:text", Clause: contentsClause, Who: "the-signer", Next: "yardhasp procedure {zone}"})
	ProcedurePublished  = code.New("PROCEDURE_PUBLISHED", code.Row{Args: "zone version:number person"})
	// ProceduresRequired: jobs opened at the yard need a procedure. The argument from
	// says since when.
	ProceduresRequired = code.New("PROCEDURES_REQUIRED", code.Row{Args: "yard from:time"})
	AlreadyRequired    = code.New("ALREADY_REQUIRED", code.Row{Args: "yard from:time", Clause: procedureClause, Answer: code.Taken})

	NothingToApprove = code.New("NOTHING_TO_APPROVE", code.Row{Args: "zone", Clause: procedureClause, Who: "authorised-supervisor-manager", Next: "yardhasp procedure publish {zone} --machine MACHINE", Answer: code.Unknown})
	// NotTextThatWaits: the signer read another text than that of the waiting version.
	NotTextThatWaits  = code.New("NOT_TEXT_THAT_WAITS", code.Row{Args: "zone waiting:number", Clause: procedureClause, Who: "the-signer", Next: "yardhasp procedure text {zone} --waiting"})
	OwnProcedure      = code.New("OWN_PROCEDURE", code.Row{Args: "zone person", Clause: procedureClause, Who: "another-supervisor-manager"})
	ProcedureApproved = code.New("PROCEDURE_APPROVED", code.Row{Args: "zone version:number person"})
	ProcedureEnded    = code.New("PROCEDURE_ENDED", code.Row{Args: "zone because:why"})

	NoProcedure = code.New("NO_PROCEDURE", code.Row{Args: "zone", Clause: procedureClause, Who: "supervisor-manager", Next: "yardhasp procedure publish {zone} --machine MACHINE"})
	// ProcedureStale: what isolates the zone changed since the procedure was written.
	ProcedureStale = code.New("PROCEDURE_STALE", code.Row{Args: "zone version:number because:why", Clause: contentsClause, Who: "supervisor-manager", Next: "yardhasp procedure publish {zone} --machine MACHINE"})
	// NotTheProcedure: the procedure locks points that the plan of the job leaves out.
	NotTheProcedure = code.New("NOT_THE_PROCEDURE", code.Row{Args: "zone version:number points job responsible", Clause: procedureClause, Who: "{responsible}"})
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
	// Stale says why the version may no longer be used. It is nil when it may.
	Stale *recordv1.Finding `json:"stale,omitempty"`
}

// Procedure is a zone's written procedure: the version in use, and one waiting for
// approval.
type Procedure struct {
	Zone    string  `json:"zone"`
	Current Version `json:"current"`
	Waiting Version `json:"waiting"`
	// First is when the first version was approved. An inspection is due a year later.
	First Mark `json:"first"`
	// Inspected is the last inspection. Its time is that of the certificate.
	Inspected Inspection `json:"inspected"`
	// Reviewed is when each person's duties were last reviewed with them, in Unix ms.
	Reviewed map[string]int64 `json:"reviewed"`
}

// Required says since when the jobs of a yard need an approved procedure.
type Required struct {
	From int64 `json:"from"`
	By   Mark  `json:"by"`
}

// next is the number of the next version.
func (p *Procedure) next() uint32 {
	if p == nil {
		return 1
	}
	return max(p.Current.Number, p.Waiting.Number) + 1
}

// publishProcedure records the next version. Nobody can check its prose. What can be
// checked is, 1910.147(c)(4)(ii)(B), (D): on the current drawings its points isolate the
// zone, every source that reaches the zone has a step, and every step has a test.
func (x *step) publishProcedure(q *recordv1.PublishProcedure) {
	s, zone := x.s, q.GetZone()
	p := s.Procs[zone]
	if _, ok := s.Graph().Zone(zone); !ok {
		x.deny(UnknownZone, zone, zone)
		return
	}
	if want := p.next(); q.GetVersion() != want {
		x.deny(NotNextVersion, zone, zone, q.GetVersion(), want)
	}
	plan, err := s.graph.Describe(zone, q.GetPoints(), recordv1.Isolation_ISOLATION_UNSPECIFIED)
	if err == nil {
		_, err = s.graph.Procedure(zone, plan)
	}
	if err != nil {
		x.deny(ProcedureIncomplete, zone, zone, line(err.Error()))
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
		if d := s.Drawings[y]; d != nil {
			p.Waiting.Drawings = append(p.Waiting.Drawings, fmt.Sprintf("%s revision %d", y, d.Revision))
		}
	}
	x.did(ProcedurePublished, zone, zone, q.GetVersion(), x.who.ID)
	if yard := YardOf(zone); s.Required[yard] == nil {
		s.Required[yard] = &Required{From: x.mark.Late, By: x.mark}
		x.did(ProceduresRequired, yard, yard, x.mark.Late)
	}
}

// line turns an error of several lines into one line.
func line(text string) string { return strings.ReplaceAll(text, "\n", "; ") }

// approveProcedure puts a version into use. Its users must be retrained on it.
func (x *step) approveProcedure(a *recordv1.ApproveProcedure) {
	s, zone := x.s, a.GetZone()
	p := s.Procs[zone]
	switch {
	case p == nil || p.Waiting.Number == 0:
		x.deny(NothingToApprove, zone, zone)
	case p.Waiting.Number != a.GetVersion() || p.Waiting.Hash != hex.EncodeToString(a.GetTextHash()):
		x.deny(NotTextThatWaits, zone, zone, p.Waiting.Number)
	case p.Waiting.Written.By == x.who.ID:
		x.deny(OwnProcedure, zone, zone, x.who.ID)
	case s.mightBeOneHand(x.signingKey(x.who.ID), s.keyAt(p.Waiting.Written.By, p.Waiting.Written.Index)):
		x.deny(OneHand, zone, x.who.ID, p.Waiting.Written.By, "supervisor-manager", procedureClause)
	case p.Waiting.Stale != nil:
		x.deny(ProcedureStale, zone, zone, p.Waiting.Number, p.Waiting.Stale)
	}
	if x.refused() {
		return
	}
	p.Waiting.Approved = x.mark
	p.Current, p.Waiting = p.Waiting, Version{}
	if !p.First.Set() {
		p.First = x.mark
	}
	done := ProcedureApproved.About(zone, zone, p.Current.Number, x.who.ID)
	x.out.Did = append(x.out.Did, done)
	x.retrain(zone, done, sorted(s.Used[zone])...)
}

// requireProcedures turns the rule on for a yard, or makes it begin earlier. No record
// turns it off.
func (x *step) requireProcedures(r *recordv1.RequireProcedures) {
	s, yard := x.s, r.GetYard()
	old := s.Required[yard]
	switch {
	case s.Yards[yard] == nil:
		x.deny(UnknownYard, yard, yard)
	case old != nil && r.GetFromUnixMs() > old.From:
		x.deny(AlreadyRequired, yard, yard, old.From)
	default:
		s.Required[yard] = &Required{From: r.GetFromUnixMs(), By: x.mark}
		x.did(ProceduresRequired, yard, yard, r.GetFromUnixMs())
	}
}

// needsProcedure reports whether the rule is on for a job. A job opened before the rule
// began goes on without it.
func (s *State) needsProcedure(j *Job) bool {
	r := s.Required[YardOf(j.Zone)]
	return r != nil && j.Opened.Late >= r.From
}

// approved is the version in use, or nil when there is none.
func (s *State) approved(zone string) *Version {
	if p := s.Procs[zone]; p != nil && p.Current.Number > 0 {
		return &p.Current
	}
	return nil
}

// procedureConditions lists what is missing for a job to follow its procedure.
func (s *State) procedureConditions(j *Job) []*recordv1.Finding {
	if !s.needsProcedure(j) {
		return nil
	}
	v := s.approved(j.Zone)
	switch {
	case v == nil && !j.Exception.By.Set():
		return []*recordv1.Finding{NoProcedure.About(j.Zone, j.Zone)}
	case v == nil:
		return s.exceptionConditions(j)
	}
	var cs []*recordv1.Finding
	if v.Stale != nil {
		cs = append(cs, ProcedureStale.About(j.Zone, j.Zone, v.Number, v.Stale))
	}
	left := slices.DeleteFunc(slices.Clone(v.Points), func(p string) bool { return slices.Contains(j.Plan, p) })
	if len(left) > 0 {
		cs = append(cs, NotTheProcedure.About(j.Zone, j.Zone, v.Number, left, j.ID, j.Responsible))
	}
	return cs
}
