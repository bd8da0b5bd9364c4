package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// StageOf is the stage that a job has reached, derived from its facts.
func (s *State) StageOf(j *Job) recordv1.Stage { return s.stageAt(j, s.Time) }

func (s *State) stageAt(j *Job, at int64) recordv1.Stage {
	if j.Closed.Set() {
		return recordv1.Stage_STAGE_CLOSED
	}
	if j.Stopped != nil || len(j.foundConditions()) > 0 {
		return recordv1.Stage_STAGE_STOPPED
	}
	if st := s.stageOfRequests(j); st != recordv1.Stage_STAGE_UNSPECIFIED {
		return st
	}
	cs := s.MissingForWorkAt(j, at)
	anyHold := slices.ContainsFunc(j.Plan, func(p string) bool { return len(s.HoldsOn(p)) > 0 })
	out := j.cleared() && len(s.signedOn(j.ID)) == 0
	switch {
	case out && j.LastOff.Set() && !anyHold && !s.anyLive(j.Plan):
		return recordv1.Stage_STAGE_RELEASED
	case out:
		return recordv1.Stage_STAGE_CLEARED
	case len(cs) == 0:
		return recordv1.Stage_STAGE_WORK_MAY_START
	case code.Has(cs, NotToldBefore):
		return recordv1.Stage_STAGE_PLANNED
	case code.Has(cs, NotShutDown):
		return recordv1.Stage_STAGE_TOLD
	case code.Has(cs, NotOpen):
		return recordv1.Stage_STAGE_SHUT_DOWN
	case code.Has(cs, NoLock, NotTried) || code.Has(cs, HoldsNothing...):
		return recordv1.Stage_STAGE_OPENED
	case code.Has(cs, Stored, WaitNotOver, Recheck):
		return recordv1.Stage_STAGE_LOCKED
	}
	return recordv1.Stage_STAGE_DRAINED
}

// stageOfRequests is the stage that a job has reached by a request to re-energise. It is
// unspecified when there was no request since its last lock.
func (s *State) stageOfRequests(j *Job) recordv1.Stage {
	for _, id := range sorted(s.Reqs) {
		q := s.Reqs[id]
		if q.Job != j.ID || q.By.Index < j.LastHold.Index() {
			continue
		}
		switch q.State {
		case recordv1.RequestState_REQUEST_STATE_AWAITING:
			return recordv1.Stage_STAGE_REQUESTED
		case recordv1.RequestState_REQUEST_STATE_APPROVED:
			if s.Time >= q.Deadline || len(s.againstStart(j, q, q.Points)) > 0 {
				return recordv1.Stage_STAGE_REQUESTED // the energise would be refused
			}
			return recordv1.Stage_STAGE_APPROVED
		case recordv1.RequestState_REQUEST_STATE_DONE:
			if s.anyLive(j.Plan) {
				return recordv1.Stage_STAGE_ENERGISED
			}
		}
	}
	return recordv1.Stage_STAGE_UNSPECIFIED
}

func (s *State) anyLive(points []string) bool {
	return slices.ContainsFunc(points, func(p string) bool { return s.Points[p] != nil && s.Points[p].Live })
}
