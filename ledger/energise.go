package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const energiseClause = "1910.147(e)"

var _ = declare(
	kind((*recordv1.Record).GetEnergise, Kind{Name: "energise", Called: "energise", Class: Lifts, May: whoHas(authorised, supervisor), Clause: energiseClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtPoint, Elsewhere: HomeOnly, Panel: AtPanel, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: TrainingNeeded},
		func(e *recordv1.Energise) About { return About{Point: e.GetPoint(), Request: e.GetRequest()} },
		func(f *fields, e *recordv1.Energise) {
			f.point("point", e.GetPoint())
			f.name("request", e.GetRequest())
		},
		(*step).energise),
)

var (
	// InServiceAlready: the point is already recorded as switched on.
	InServiceAlready = code.New("IN_SERVICE_ALREADY", code.Row{Args: "point"})
	// PointNotDrawn: no drawing shows the point, so nobody knows what it would energise.
	PointNotDrawn = code.New("POINT_NOT_DRAWN", code.Row{Args: "point", Clause: "NFPA 70E 120.5(1)", Who: "supervisor-manager", Next: "yardhasp drawing publish FILE"})
	NotApproved   = code.New("NOT_APPROVED", code.Row{Args: "request state:word because:why", Clause: energiseClause, Next: "yardhasp request list"})
	// RequestOver: the deadline of the request passed before the energising.
	RequestOver = code.New("REQUEST_OVER", code.Row{Args: "request deadline:time", Clause: energiseClause})
	// JobOfRequestGone: the job of the request is no longer in the state.
	JobOfRequestGone = code.New("JOB_OF_REQUEST_GONE", code.Row{Args: "request job", Answer: code.Unknown})
	NotRequested     = code.New("NOT_REQUESTED", code.Row{Args: "request point"})
	// EnergiseAccepted says only that the record was accepted. Only the panel shows the
	// go-ahead.
	EnergiseAccepted = code.New("ENERGISE_ACCEPTED", code.Row{Args: "point person"})
)

// requestStates are the catalogue words for the states of a request.
var requestStates = map[recordv1.RequestState]string{
	recordv1.RequestState_REQUEST_STATE_AWAITING:  "request-awaiting",
	recordv1.RequestState_REQUEST_STATE_APPROVED:  "request-approved",
	recordv1.RequestState_REQUEST_STATE_DONE:      "request-done",
	recordv1.RequestState_REQUEST_STATE_VOID:      "request-void",
	recordv1.RequestState_REQUEST_STATE_EXPIRED:   "request-expired",
	recordv1.RequestState_REQUEST_STATE_WITHDRAWN: "request-withdrawn",
}

// RequestWord is the catalogue word for the state of a request.
func RequestWord(st recordv1.RequestState) string { return requestStates[st] }

// energise is asked for at the panel, in the journal of the point's home yard. Every
// condition of the request must hold again.
func (x *step) energise(e *recordv1.Energise) {
	s := x.s
	p := x.home(e.GetPoint())
	if p == nil {
		return
	}
	q := s.Reqs[e.GetRequest()]
	switch {
	case q == nil:
		x.deny(UnknownRequest, e.GetRequest(), e.GetRequest())
		return
	case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:
		x.deny(NotApproved, q.ID, q.ID, RequestWord(q.State), q.Because)
		return
	case s.Time >= q.Deadline:
		x.deny(RequestOver, q.ID, q.ID, q.Deadline)
		return
	case s.Jobs[q.Job] == nil:
		x.deny(JobOfRequestGone, q.ID, q.ID, q.Job)
		return
	case !slices.Contains(q.Points, p.ID) || slices.Contains(q.Energised, p.ID):
		x.deny(NotRequested, p.ID, q.ID, p.ID)
		return
	}
	for _, h := range s.HoldsOn(p.ID) {
		if !q.Test() || !h.StoodClearFor(q) {
			x.out.Conditions = append(x.out.Conditions, h.Stands(p.ID))
		}
	}
	x.out.Conditions = append(x.out.Conditions, s.againstStart(s.Jobs[q.Job], q, []string{p.ID})...)
	if x.refused() {
		return
	}
	p.Live, p.Closed = true, x.mark
	for _, j := range s.Jobs {
		if !j.Closed.Set() && j.GroundsLeft == 0 && slices.Contains(j.Plan, p.ID) {
			j.GroundsFitted = 0 // all grounds were off: the next round counts its own
		}
	}
	q.Energised = append(q.Energised, p.ID)
	slices.Sort(q.Energised)
	x.did(EnergiseAccepted, p.ID, p.ID, x.who.ID)
	if len(q.Energised) == len(q.Points) {
		q.State = recordv1.RequestState_REQUEST_STATE_DONE
		s.end("request", q.ID)
		x.did(RequestDone, q.ID, q.ID)
	}
}
