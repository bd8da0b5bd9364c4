package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// RequestView shows one request. It is nil when there is no request of this name. It
// shares nothing that a later entry changes in place.
func (s *State) RequestView(id string) *recordv1.RequestView {
	q := s.Reqs[id]
	if q == nil {
		return nil
	}
	v := &recordv1.RequestView{Id: q.ID, Job: q.Job, Requester: q.By.By, Points: q.Points, State: q.State, Involved: q.Involved,
		Confirmed: slices.Clone(q.Attested), Energised: slices.Clone(q.Energised), DeadlineUnixMs: q.Deadline,
		Kind: q.Kind, Index: q.By.Index, Because: q.Because}
	if q.Test() && q.open() {
		for _, h := range s.notClear(q) {
			v.NotClear = append(v.NotClear, h.Ref)
		}
	}
	return v
}
