package ledger_test

import (
	"crypto/sha256"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The oracle's duties: training, procedures, crews, outside employers, equipment
// locks, tags, chokes and drawings, in a second wording of the clauses that
// standards.md 1 and 2 give. A padlock's own fault (keyed alike, spare key out) is
// no demand on work: design.md rule 1 has it flagged and the lock counts.

type dutyJob struct {
	zone, responsible string
	plan              []string
	index             uint64
	opened            int64
	closed            bool
}

type dutyVersion struct {
	number uint32
	hash   string
	author string
	points []string
}

type dutyCrew struct{ name, responsible string }

type duties struct {
	now       int64
	jobs      map[string]*dutyJob
	until     map[string]int64               // training as authorised employee
	retrain   map[string]map[string]int64    // person -> zone -> since
	used      map[string]map[string]bool     // zone -> people
	required  map[string]int64               // yard -> since when
	waiting   map[string]dutyVersion         // zone
	current   map[string]dutyVersion         // zone
	excused   map[string]bool                // job
	crews     map[string]map[string]dutyCrew // job -> crew
	lead      map[string]string              // job -> coordinator
	exchanged map[string]bool                // yard and employer
	employer  map[string]string              // outside people
	demo      map[string]string              // point -> written demonstration
	drawn     map[string]string              // yard -> hash of the current drawing
	walked    map[string]bool
	older     map[string][]string // zone -> what an older drawing alone shows
	chokes    map[string]string   // reference -> where
	revoked   map[string]bool
	padlocks  map[string]*recordv1.RegisterPadlock
	spareOut  map[string]bool
	troubles  map[string]bool // serial and kind
	kinds     map[string]int
	checks    map[string]int // how often a demand was looked at
	bin       dutyBin
}

const (
	deskZone    = "eastfork/desk"
	outsideFirm = "Harrow Millwrights"
)

// The people of newHistory and of dutySetup; everybody else may do nothing.
var dutyRoles = map[string][]recordv1.Role{"ravi": {authorised}, "tomas": {authorised}, "olga": {authorised}, "lena": {contractor}, "hal": {contractor},
	"dov": {affected}, "mara": {supervisor, authorised}, "nia": {manager, supervisor}, "max": {manager}, "ines": {manager}}

func hasRole(who string, roles ...recordv1.Role) bool {
	return slices.ContainsFunc(roles, func(r recordv1.Role) bool { return slices.Contains(dutyRoles[who], r) })
}

func newDuties() duties {
	d := duties{jobs: map[string]*dutyJob{}, until: map[string]int64{}, retrain: map[string]map[string]int64{}, used: map[string]map[string]bool{}, required: map[string]int64{},
		waiting: map[string]dutyVersion{}, current: map[string]dutyVersion{}, excused: map[string]bool{}, crews: map[string]map[string]dutyCrew{}, lead: map[string]string{},
		exchanged: map[string]bool{}, employer: map[string]string{"hal": outsideFirm}, demo: map[string]string{}, drawn: map[string]string{}, walked: map[string]bool{}, older: map[string][]string{},
		chokes: map[string]string{}, revoked: map[string]bool{}, padlocks: map[string]*recordv1.RegisterPadlock{}, spareOut: map[string]bool{}, troubles: map[string]bool{},
		kinds: map[string]int{}, checks: map[string]int{}, bin: newDutyBin()}
	for p := range dutyRoles {
		d.until[p] = start + 1e12
	}
	return d
}

// use: whoever locks for a zone, goes in or is responsible there uses its procedure.
func (o *oracle) use(job, person string) {
	j := o.jobs[job]
	if j == nil || j.closed || person == "" {
		return
	}
	if o.used[j.zone] == nil {
		o.used[j.zone] = map[string]bool{}
	}
	o.used[j.zone][person] = true
}

func (o *oracle) mustRetrain(zone, person string, since int64) {
	if o.retrain[person] == nil {
		o.retrain[person] = map[string]int64{}
	}
	o.retrain[person][zone] = since
}

// counts: a lock protects on a point while it is on, not stood clear of, and a
// person's own; a tag alone only with its written demonstration, an extra means and
// what makes a tag, 1910.147(c)(2)(ii), (c)(3)(ii), (c)(5)(ii)-(iii), 1910.145(f)(4)(ii).
func (o *oracle) counts(h *oracleHold, p string) bool {
	if h.off || h.stood > 0 || h.equipment || !o.covers(h, p) {
		return false
	}
	if h.box != "" && !o.keyed(p) {
		return false
	}
	t := h.tag
	return !t.GetOnly() || h.box == "" && t.GetDemonstration() != "" && t.GetDemonstration() == o.demo[p] && len(t.GetMeans()) > 0 && t.GetLegend() != 0 &&
		t.GetTiePounds() >= 50 && t.GetReadableMm() >= 1524
}

// keyed: the key of a point in the box is that of a lock which hung on the point when
// the key went in, and hangs there still, 1910.147(f)(3)(ii)(D).
func (o *oracle) keyed(p string) bool {
	put, in := o.box[p]
	for _, h := range o.holds {
		if in && h.point == p && !h.off && h.stood == 0 && h.by != "" && !h.tag.GetOnly() && put.knows(h.fact) {
			return true
		}
	}
	return false
}

// mayEndEquipment: a yard's lock comes off by a supervisor or manager, with a
// reason, at its yard (common practice, no source).
func (o *oracle) mayEndEquipment(h *oracleHold, f fact, why string) {
	if h.off || !hasRole(f.by, supervisor, manager) || why == "" || ledger.YardOf(h.point+h.box) != f.yard {
		o.t.Fatalf("%s at %s took the equipment lock %v off: %q", f.by, f.yard, h, why)
	}
	o.checks["equipment lock off"]++
}

// noteDuty takes what the duties need of a record.
func (o *oracle) noteDuty(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	o.now = out.GetTimeUnixMs()
	o.noteBin(f, r, out)
	if !out.GetAccepted() {
		return
	}
	bad := o.wronglyAccepted(f, out)
	o.noteJob(f, r, bad)
	o.noteTraining(f, r, bad)
	o.noteProcedure(f, r, bad)
	o.noteCrew(f, r, bad)
	o.noteDrawing(f, r, bad)
	o.noteChoke(f, r, out, bad)
	o.noteRecovery(f, r)
	o.notePadlock(f, r, bad)
}

// wronglyAccepted returns a function that ends the test: the record was accepted, and
// should not have been.
func (o *oracle) wronglyAccepted(f fact, out *recordv1.Outcome) func(format string, a ...any) {
	return func(format string, a ...any) {
		o.t.Helper()
		o.t.Fatalf("%s was accepted of %s, but "+format, append([]any{out.GetKind(), f.by}, a...)...)
	}
}

// noteJob takes jobs, who is responsible for them, and who uses the procedures of their
// zones.
func (o *oracle) noteJob(f fact, r *recordv1.Record, bad func(string, ...any)) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_OpenJob:
		j := a.OpenJob
		o.jobs[j.GetId()] = &dutyJob{zone: j.GetZone(), responsible: j.GetResponsible(), plan: j.GetPlan(), index: f.index, opened: f.written}
		o.use(j.GetId(), j.GetResponsible())
	case *recordv1.Record_CloseJob:
		o.mayClose(a.CloseJob.GetJob(), bad)
		o.jobs[a.CloseJob.GetJob()].closed = true
	case *recordv1.Record_Lock:
		if !a.Lock.GetEquipment() {
			o.use(a.Lock.GetJob(), f.by)
		}
	case *recordv1.Record_SignOn:
		o.use(a.SignOn.GetJob(), f.by)
	case *recordv1.Record_ClaimLock:
		h := o.holds[text(a.ClaimLock.GetHold())]
		o.use(h.job, f.by)
		h.flags = slices.DeleteFunc(slices.Clone(h.flags), func(f *recordv1.Finding) bool { return f.GetCode() == string(ledger.OwnerUnknown) })
	case *recordv1.Record_TakeOver:
		o.tookOver(f, a.TakeOver, bad)
	}
}

// tookOver: whoever becomes responsible is trained and holds every point already,
// 1910.147(f)(4), and takes over from the one responsible or from a supervisor.
func (o *oracle) tookOver(f fact, t *recordv1.TakeOver, bad func(string, ...any)) {
	j := o.jobs[t.GetJob()]
	if from := t.GetFrom(); from != j.responsible && !hasRole(from, supervisor, manager) {
		bad("%s is neither responsible nor a supervisor", from)
	}
	for _, p := range j.plan { // (f)(4): no moment without protection
		if !o.holding(f.by, p) {
			bad("they have no lock of their own on %s", p)
		}
	}
	if !hasRole(f.by, authorised) || o.until[f.by] <= o.now {
		bad("they have no current training as an authorised employee")
	}
	j.responsible = f.by
	o.use(t.GetJob(), f.by)
}

// noteCrew takes crews, their coordinator, and what employers told each other.
func (o *oracle) noteCrew(f fact, r *recordv1.Record, bad func(string, ...any)) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_SetCoordinator:
		c := a.SetCoordinator
		if o.lead[c.GetJob()] != c.GetInsteadOf() || !hasRole(c.GetPerson(), authorised) { // (f)(3)(ii)(C): one
			bad("%q coordinates and %q is relieved", o.lead[c.GetJob()], c.GetInsteadOf())
		}
		o.lead[c.GetJob()] = c.GetPerson()
	case *recordv1.Record_AddCrew:
		c := a.AddCrew
		if o.crews[c.GetJob()] == nil {
			o.crews[c.GetJob()] = map[string]dutyCrew{}
		}
		if k, is := o.crews[c.GetJob()][c.GetCrew()]; is && k.responsible != c.GetResponsible() {
			bad("%s is responsible for that crew", k.responsible)
		}
		o.crews[c.GetJob()][c.GetCrew()] = dutyCrew{c.GetCrew(), c.GetResponsible()}
	case *recordv1.Record_ExchangeProcedures:
		e := a.ExchangeProcedures
		if o.employer[e.GetContractor()] != e.GetEmployer() || o.employer[f.by] != "" { // (f)(2)(i)
			bad("%s is not of %s", e.GetContractor(), e.GetEmployer())
		}
		o.exchanged[e.GetYard()+" "+e.GetEmployer()] = true
	}
}

// noteDrawing takes points and drawings.
func (o *oracle) noteDrawing(f fact, r *recordv1.Record, bad func(string, ...any)) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_DescribePoint:
		o.demo[a.DescribePoint.GetPoint()] = a.DescribePoint.GetDemonstration()
	case *recordv1.Record_PublishDrawing:
		h := sha256.Sum256(a.PublishDrawing.GetDrawing())
		o.drawn["stonebend"], o.walked["stonebend"] = string(h[:]), false
	case *recordv1.Record_WalkDrawing:
		if y := a.WalkDrawing.GetYard(); o.drawn[y] == "" || o.drawn[y] == string(a.WalkDrawing.GetDrawingHash()) {
			o.walked[y] = true
		} else {
			bad("another revision is current")
		}
	case *recordv1.Record_NarrowZone:
		o.narrowed(f, a.NarrowZone, bad)
	}
}

// noteChoke takes chokes, and the requests that they stand against.
func (o *oracle) noteChoke(f fact, r *recordv1.Record, out *recordv1.Outcome, bad func(string, ...any)) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_FoundChoked:
		o.chokes[out.GetRef()] = a.FoundChoked.GetWhere()
	case *recordv1.Record_ClearChoke:
		if !a.ClearChoke.GetDugOut() || !hasRole(f.by, authorised, supervisor) {
			bad("nobody who may says that it was dug out by hand")
		}
		delete(o.chokes, a.ClearChoke.GetChoke())
	case *recordv1.Record_Request:
		o.checks["request"]++
		for _, p := range a.Request.GetPoints() {
			o.noChoke(p)
		}
	}
}

// noteRecovery takes revoked keys and recovered yards.
func (o *oracle) noteRecovery(f fact, r *recordv1.Record) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_RevokeKey:
		o.revoked[a.RevokeKey.GetPerson()] = true
	case *recordv1.Record_RecoverYard:
		o.recovered(f, a.RecoverYard)
	}
}

func (o *oracle) holding(who, p string) bool {
	for _, h := range o.holds {
		if h.by == who && o.counts(h, p) {
			return true
		}
	}
	return false
}

// mayClose: nobody is inside and no lock hangs for the job, 1910.147(e).
func (o *oracle) mayClose(id string, bad func(string, ...any)) {
	for ref, h := range o.holds {
		if !h.off && h.job == id && !h.equipment {
			bad("the lock %s of %s is on for it", ref, h.by)
		}
	}
	for ref, s := range o.ons {
		if !s.off && s.job == id {
			bad("%s is signed on (%s)", s.by, ref)
		}
	}
	o.checks["job closed"]++
}

// recovered takes what a walkdown found, protocol.md 3.3: every lock a new hold,
// every point seen closed live, everybody found inside signed on.
func (o *oracle) recovered(f fact, r *recordv1.RecoverYard) {
	if o.gaveKey[f.by] == r.GetSecond() || o.gaveKey[r.GetSecond()] == f.by || f.by == r.GetSecond() || !hasRole(f.by, manager) || !hasRole(r.GetSecond(), manager) || !r.GetOldMachineOff() {
		o.t.Fatalf("%s and %s recovered %s", f.by, r.GetSecond(), r.GetYard())
	}
	o.drained[r.GetYard()] = 0
	for _, p := range r.GetClosed() {
		if !o.live[p] {
			o.closed[p] = f
		}
		o.live[p] = true
	}
	seq := uint64(ledger.WalkedSeq)
	f.yard, f.epoch, f.seq = "", 0, 0 // an entry of the quorum's, in no journal
	for _, l := range r.GetLocks() {
		x := f
		x.by = l.GetHolder()
		o.holds[ledger.Ref(r.GetYard(), r.GetEpoch(), seq)] = &oracleHold{fact: x, point: l.GetTarget().GetPoint(), box: l.GetTarget().GetBox(), job: l.GetJob()}
		o.use(l.GetJob(), x.by)
		seq++
	}
	for _, p := range r.GetInside() {
		x := f
		x.by = p.GetPerson()
		o.ons[ledger.Ref(r.GetYard(), r.GetEpoch(), seq)] = &oracleOn{fact: x, job: p.GetJob()}
		o.use(p.GetJob(), x.by)
		seq++
	}
	o.checks["yard recovered"]++
}
