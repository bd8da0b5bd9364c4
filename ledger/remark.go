package ledger

import (
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetRemark, Kind{Name: "remark", Called: "remark", Class: Asserts, May: anybody(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtJob, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(r *recordv1.Remark) About { return About{Job: r.GetJob()} },
		func(f *fields, r *recordv1.Remark) {
			f.name("job", r.GetJob())
			f.text("text", r.GetText())
		},
		(*step).remark),
)

var (
	Remarked = code.New("REMARKED", code.Row{Args: "person job text:text"})
	// RemarkOnNoJob: the ledger knows no job of that name, or has forgotten it.
	RemarkOnNoJob = code.New("REMARK_ON_NO_JOB", code.Row{Args: "job"})
)

// remark keeps what somebody says of a job, in the history alone: nothing that a rule
// asks for rests on free words. A low disk refuses it, for it can wait.
func (x *step) remark(r *recordv1.Remark) {
	if x.s.Jobs[r.GetJob()] == nil {
		x.note(RemarkOnNoJob, r.GetJob(), r.GetJob())
	}
	x.did(Remarked, r.GetJob(), x.who.ID, r.GetJob(), r.GetText())
}
