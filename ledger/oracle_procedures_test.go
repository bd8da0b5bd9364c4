package ledger_test

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The oracle's part for training and procedures, 1910.147(c)(4), (6) and (7).

// noteTraining takes who is trained.
func (o *oracle) noteTraining(f fact, r *recordv1.Record, bad func(string, ...any)) {
	t := r.GetRecordTraining()
	if t == nil {
		return
	}
	if t.GetPerson() == f.by || !hasRole(f.by, supervisor, manager) {
		bad("nobody certifies their own training, and only a supervisor does")
	}
	if t.GetTraining() <= recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED {
		o.until[t.GetPerson()] = t.GetUntilUnixMs()
	}
	for _, z := range t.GetCovers() {
		if since, owed := o.retrain[t.GetPerson()][z]; owed && t.GetDoneUnixMs() > 0 && t.GetDoneUnixMs() < since {
			bad("it was given before what changed at %s", z)
		}
		delete(o.retrain[t.GetPerson()], z)
	}
}

// noteProcedure takes procedures: who wrote, approved and inspected them, and the work
// that needs none.
func (o *oracle) noteProcedure(f fact, r *recordv1.Record, bad func(string, ...any)) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_PublishProcedure:
		p := a.PublishProcedure
		h := sha256.Sum256(p.GetText())
		o.waiting[p.GetZone()] = dutyVersion{p.GetVersion(), hex.EncodeToString(h[:]), f.by, p.GetPoints()}
		if y := ledger.YardOf(p.GetZone()); o.required[y] == 0 {
			o.required[y] = o.now
		}
	case *recordv1.Record_RequireProcedures:
		y, from := a.RequireProcedures.GetYard(), a.RequireProcedures.GetFromUnixMs()
		if old := o.required[y]; old > 0 && from > old {
			bad("the rule was put off")
		}
		o.required[y] = from
	case *recordv1.Record_ApproveProcedure:
		z := a.ApproveProcedure.GetZone()
		v := o.waiting[z]
		if v.author == f.by || v.number != a.ApproveProcedure.GetVersion() || v.hash != hex.EncodeToString(a.ApproveProcedure.GetTextHash()) || !hasRole(f.by, supervisor, manager) {
			bad("version %d by %s waits", v.number, v.author)
		}
		o.current[z] = v
		delete(o.waiting, z)
		for p := range o.used[z] { // (c)(7)(iii): a change of the procedure
			o.mustRetrain(z, p, f.captured)
		}
		o.checks["procedure approved"]++
	case *recordv1.Record_AttestException:
		e := a.AttestException
		j := o.jobs[e.GetJob()]
		if !e.GetLockedDuringWork() || !e.GetExclusiveControl() || !e.GetNoHazardForOthers() || !e.GetNoAccident() || len(j.plan) != 1 || j.zone == zone || j.zone == binZone {
			bad("not all of the eight conditions hold for %v", j)
		}
		o.excused[e.GetJob()] = true
	case *recordv1.Record_InspectProcedure:
		o.inspected(f, a.InspectProcedure, bad)
	}
}

// inspected: by an authorised employee who is none of its users, and reviews nobody's
// duties but others', 1910.147(c)(6)(i)(A) and (C). These histories last less than
// the year that an inspection looks back on.
func (o *oracle) inspected(f fact, i *recordv1.InspectProcedure, bad func(string, ...any)) {
	z := i.GetZone()
	if o.used[z][f.by] {
		bad("they used the procedure of %s", z)
	}
	if slices.Contains(i.GetEmployees(), f.by) || !hasRole(f.by, authorised) || o.until[f.by] <= f.captured {
		bad("they review themselves, or are not trained")
	}
	if o.current[z].number != i.GetVersion() || i.GetVersion() == 0 {
		bad("version %d is in use", o.current[z].number)
	}
	for _, p := range i.GetRetrain() {
		o.mustRetrain(z, p, f.captured)
	}
	o.checks["inspected"]++
}
