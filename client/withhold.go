package client

import (
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// What stands in the place of a word of permission that is withheld.
var (
	// Unconfirmed: what is missing before a job goes on is not known.
	Unconfirmed = code.New("NOT_CONFIRMED", code.Row{Args: "job"})
	// PermitUnconfirmed: whether the permit is still in force is not known.
	PermitUnconfirmed = code.New("PERMIT_UNCONFIRMED", code.Row{Args: "permit", Next: "yardhasp permit show {permit}"})
	// NotThePanelsYard: only a panel's own yard gives a go-ahead.
	NotThePanelsYard = code.New("NOT_THE_PANELS_YARD", code.Row{Args: "point home"})
)

// WithholdBoard takes every word of permission out of a board that is not
// confirmed (design.md): what was permitted then says nothing about now.
func WithholdBoard(b *recordv1.Board) {
	for _, j := range b.GetJobs() {
		unknownOut(j, b.GetAsOf())
	}
	if b.GetAsOf().GetConfirmed() {
		return
	}
	for _, j := range b.GetJobs() {
		withholdJob(j)
	}
	withholdRequests(b.GetRequests())
	withholdPermits(b.GetPermits())
}

// WithholdJob does the same for one job.
func WithholdJob(j *recordv1.JobView) {
	unknownOut(j, j.GetAsOf())
	if !j.GetAsOf().GetConfirmed() {
		withholdJob(j)
	}
}

// WithholdPanel takes the go-ahead out of an answer that is not from the panel's own
// yard. An answer of that yard needs no quorum when it is read: its energising was
// confirmed before, and everything that ends the go-ahead is in that yard's own journal
// (protocol.md 3.4).
func WithholdPanel(p *servicev1.GetPanelResponse) {
	if p.GetYard() == ledger.YardOf(p.GetPoint()) || !p.GetGoAhead() {
		return
	}
	p.GoAhead, p.Means = false, nil
	p.Against = append(p.Against, NotThePanelsYard.About(p.GetPoint(), p.GetPoint(), ledger.YardOf(p.GetPoint())))
}

// unknownOut lets nobody count as out while a yard was not heard from or the answer is
// not confirmed. They may have signed on since (1910.147(f)(3)(ii)(B)).
func unknownOut(j *recordv1.JobView, a *recordv1.AsOf) {
	if a.GetConfirmed() && !slices.ContainsFunc(a.GetYards(), func(y *recordv1.YardContact) bool { return !y.GetHeard() }) {
		return
	}
	for _, m := range j.GetMembers() {
		if m.GetExposure() == recordv1.Exposure_EXPOSURE_OFF {
			m.Exposure = recordv1.Exposure_EXPOSURE_UNSPECIFIED
		}
	}
}

func withholdJob(j *recordv1.JobView) {
	switch j.GetStage() {
	case recordv1.Stage_STAGE_WORK_MAY_START, recordv1.Stage_STAGE_APPROVED:
		j.Stage = recordv1.Stage_STAGE_UNSPECIFIED
	}
	if j.GetStage() != recordv1.Stage_STAGE_CLOSED {
		// An empty list would read as permission.
		if len(j.ToStart) == 0 {
			j.ToStart = []*recordv1.Finding{notKnown(j)}
		}
		if len(j.ToEnergise) == 0 {
			j.ToEnergise = []*recordv1.Finding{notKnown(j)}
		}
	}
	withholdRequests(j.GetRequests())
	withholdPermits(j.GetPermits())
}

// withholdPermits treats permits that were in force as not known to be: they may have
// been suspended since.
func withholdPermits(ps []*recordv1.PermitView) {
	for _, p := range ps {
		if p.GetState() != recordv1.PermitState_PERMIT_STATE_IN_FORCE {
			continue
		}
		p.State = recordv1.PermitState_PERMIT_STATE_UNSPECIFIED
		p.Missing = append(p.Missing, PermitUnconfirmed.About(p.GetId(), p.GetId()))
	}
}

func notKnown(j *recordv1.JobView) *recordv1.Finding {
	return Unconfirmed.About(j.GetId(), j.GetId())
}

func withholdRequests(rs []*recordv1.RequestView) {
	for _, r := range rs {
		if r.GetState() == recordv1.RequestState_REQUEST_STATE_APPROVED {
			r.State = recordv1.RequestState_REQUEST_STATE_UNSPECIFIED
		}
	}
}
