package replica

import (
	"context"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

var (
	// GoAhead: only this lets the person at the panel close the point, and only while
	// it shows.
	GoAhead    = code.New("GO_AHEAD", code.Row{Args: "point request"})
	DoNotClose = code.New("DO_NOT_CLOSE", code.Row{Args: "point"})
	// OwnMachine: a panel reads only the machine of its own yard.
	OwnMachine = code.New("OWN_MACHINE", code.Row{Args: "yard"})
)

// GetPanel tells the person at a panel what they need before an act there. The
// go-ahead shows only here, only as of now, and only from the point's own yard.
func (s *ledgerServer) GetPanel(ctx context.Context, q *servicev1.GetPanelRequest) (*servicev1.GetPanelResponse, error) {
	r := s.r
	known := func() (ok bool) {
		r.node.View(func(st *ledger.State, _ uint64) { ok = st.Points[q.GetPoint()] != nil })
		return ok
	}
	if !known() && !(r.catchUp(ctx) && known()) {
		return nil, answer(codes.NotFound, ledger.UnknownPoint.About(q.GetPoint(), q.GetPoint()))
	}
	// Another yard's point is shown too, since a box here may take its key. It never
	// has a go-ahead.
	v, confirmed, because := r.yard.panel(q.GetPoint()), false, OwnMachine.About(r.set.Yard, r.set.Yard)
	if v.GoAhead {
		// Energising always needs the quorum, so a go-ahead is shown only after the
		// quorum confirmed the state.
		c, cancel := context.WithTimeout(ctx, r.patience())
		confirmed = r.confirm(c) == nil
		cancel()
		if v = r.yard.panel(q.GetPoint()); confirmed {
			because = nil
		} else if v.GoAhead {
			v.GoAhead, because = false, client.ReasonNoQuorum.About("")
			v.Against = append(v.Against, because)
		}
	}
	res := &servicev1.GetPanelResponse{Point: q.GetPoint(), Yard: r.set.Yard, Position: v.Position,
		Moved: &recordv1.Moved{Epoch: v.Moved.Epoch, Seq: v.Moved.Seq}, Run: v.Run, GoAhead: v.GoAhead, Request: v.Request, Against: v.Against}
	if v.GoAhead {
		res.Means, res.Caution = GoAhead.About(q.GetPoint(), q.GetPoint(), v.Request), ledger.Caution
	} else {
		res.Means = DoNotClose.About(q.GetPoint(), q.GetPoint())
	}
	r.node.View(func(st *ledger.State, _ uint64) {
		res.AsOf = r.asOf(st, confirmed, because)
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
