package client

import (
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// WithholdBoard takes every word of permission out of a board that is not
// confirmed (design.md): what was permitted then says nothing about now.
func WithholdBoard(b *recordv1.Board) {
	if b.GetAsOf().GetConfirmed() {
		return
	}
	for _, j := range b.GetJobs() {
		withholdJob(j)
	}
	withholdRequests(b.GetRequests())
}

// WithholdJob does the same for one job.
func WithholdJob(j *recordv1.JobView) {
	if !j.GetAsOf().GetConfirmed() {
		withholdJob(j)
	}
}

// WithholdPanel does the same for a panel: without a confirmed read no go-ahead.
func WithholdPanel(p *servicev1.GetPanelResponse) {
	if p.GetAsOf().GetConfirmed() || !p.GetGoAhead() {
		return
	}
	p.GoAhead, p.Text = false, ""
	p.WhyNot = append(p.WhyNot, "this answer is not confirmed")
}

func withholdJob(j *recordv1.JobView) {
	switch j.GetStage() {
	case recordv1.Stage_STAGE_WORK_MAY_START, recordv1.Stage_STAGE_APPROVED:
		j.Stage = recordv1.Stage_STAGE_UNSPECIFIED
	}
	if j.GetStage() != recordv1.Stage_STAGE_CLOSED {
		// An empty list would read as permission.
		if len(j.ToStart) == 0 {
			j.ToStart = []*recordv1.Condition{notKnown(j)}
		}
		if len(j.ToEnergise) == 0 {
			j.ToEnergise = []*recordv1.Condition{notKnown(j)}
		}
	}
	withholdRequests(j.GetRequests())
}

func notKnown(j *recordv1.JobView) *recordv1.Condition {
	return &recordv1.Condition{Code: "UNCONFIRMED", Subject: j.GetId(), Text: "this answer is not confirmed: what is missing is not known",
		Remedy: "ask again until an answer is confirmed"}
}

func withholdRequests(rs []*recordv1.RequestView) {
	for _, r := range rs {
		if r.GetState() == recordv1.RequestState_REQUEST_STATE_APPROVED {
			r.State = recordv1.RequestState_REQUEST_STATE_UNSPECIFIED
		}
	}
}
