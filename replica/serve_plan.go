package replica

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

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
		res = planView(p)
		res.AsOf = a
		if z, ok := g.Zone(p.Zone); ok {
			res.WaivedBy, res.WaivedWhy = z.WaivedBy, z.WaivedWhy
		}
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

func planView(p energy.Plan) *servicev1.PlanResponse {
	v := &servicev1.PlanResponse{Zone: p.Zone, Isolation: p.Level, Points: p.Points, Isolates: p.Isolates, GoesDark: p.GoesDark,
		StaysLive: p.StaysLive, WouldHaveToFit: p.WouldHaveToFit, Fewest: p.Fewest, Caution: ledger.Caution}
	for _, l := range p.Live {
		v.Live = append(v.Live, pathView(l))
	}
	if p.CannotCut != nil {
		v.CannotCut = pathView(*p.CannotCut)
	}
	for _, st := range p.Stores {
		v.Stores = append(v.Stores, &servicev1.StoreView{Store: st.ID, Medium: st.Medium, Joules: st.Joules, WaitSeconds: st.WaitSeconds, Release: st.Release})
	}
	for _, r := range p.Proofs {
		v.Proofs = append(v.Proofs, &servicev1.ProofView{Part: r.Part, Medium: r.Medium, Kind: r.Kind, Limit: r.Limit, Unit: r.Unit, Text: r.Text, Source: r.Source})
	}
	return v
}

func pathView(p energy.Path) *servicev1.Path {
	return &servicev1.Path{Part: p.Part, Source: p.Source, Steps: p.Steps, Held: p.Held}
}
