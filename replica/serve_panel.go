package replica

import (
	"context"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// GetPanel tells the person at a panel what they need before an act there. The
// go-ahead shows only here, only live, and never from another yard's replica.
func (s *ledgerServer) GetPanel(ctx context.Context, q *servicev1.GetPanelRequest) (*servicev1.GetPanelResponse, error) {
	r := s.r
	known := func() (ok bool) {
		r.node.View(func(st *ledger.State, _ uint64) { ok = st.Points[q.GetPoint()] != nil })
		return ok
	}
	if !known() && !(r.catchUp(ctx) && known()) {
		return nil, status.Errorf(codes.NotFound, "no point %q is registered: read the label at the panel again", q.GetPoint())
	}
	// Another yard's point is shown too, never with a go-ahead: a box here may
	// take its key.
	v, confirmed, why := r.yard.panel(q.GetPoint()), false, "the panel reads this yard's own machine"
	if v.GoAhead {
		// Energising always needs the quorum, so a go-ahead is shown only behind it.
		c, cancel := context.WithTimeout(ctx, r.patience())
		confirmed = r.confirm(c) == nil
		cancel()
		if v = r.yard.panel(q.GetPoint()); confirmed {
			why = ""
		} else if v.GoAhead {
			v.GoAhead, why = false, "no quorum of yards answered"
			v.WhyNot = append(v.WhyNot, why)
		}
	}
	res := &servicev1.GetPanelResponse{Point: q.GetPoint(), Yard: r.set.Yard, Position: v.Position,
		Moved: &recordv1.Moved{Epoch: v.Moved.Epoch, Seq: v.Moved.Seq}, Run: v.Run, GoAhead: v.GoAhead, Request: v.Request, WhyNot: v.WhyNot}
	if v.GoAhead {
		res.Text, res.Caution = goAheadWords, ledger.Caution
	} else {
		res.Text = "No go-ahead: do not close it."
	}
	r.node.View(func(st *ledger.State, _ uint64) {
		res.AsOf = r.asOf(st, confirmed, why)
	})
	return res, nil
}

// GetCheckpoint signs what this replica holds.
func (s *ledgerServer) GetCheckpoint(context.Context, *servicev1.GetCheckpointRequest) (*servicev1.GetCheckpointResponse, error) {
	note, err := s.r.checkpoint()
	if err != nil {
		return nil, status.Error(codes.Internal, err.Error())
	}
	return &servicev1.GetCheckpointResponse{Note: note}, nil
}
