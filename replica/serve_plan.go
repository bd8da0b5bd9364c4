package replica

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client/sheet"
	"yardhasp/ledger"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Plan computes on the current drawings what isolates a zone, or examines the
// points that are given.
func (s *ledgerServer) Plan(ctx context.Context, q *servicev1.PlanRequest) (*servicev1.PlanResponse, error) {
	var res *servicev1.PlanResponse
	var bad error
	err := s.r.read(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, func(st *ledger.State, a *recordv1.AsOf) {
		g := st.Graph() // built once for a set of drawings and never changed after
		var p energy.Plan
		if len(q.GetPoints()) > 0 {
			p, bad = g.Describe(q.GetZone(), q.GetPoints(), q.GetIsolation())
		} else {
			p, bad = g.Plan(q.GetZone(), q.GetIsolation())
		}
		if bad != nil {
			return
		}
		res = sheet.Plan(g, p)
		res.AsOf = a
		for _, y := range sortedDrawings(st) {
			d := st.Plans[y]
			word := fmt.Sprintf("%s revision %d", y, d.Revision)
			if d.Walked.By == "" {
				word += ", NOT WALKED against the steel"
			}
			res.Drawings = append(res.Drawings, word)
		}
	})
	if err != nil {
		return nil, err
	}
	if bad != nil {
		return nil, status.Error(codes.NotFound, bad.Error())
	}
	return res, nil
}
