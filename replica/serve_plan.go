package replica

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"

	"yardhasp/client/sheet"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// NoSuchPlan: no plan can be computed on the current drawings. why is the energy
// model's reason.
var NoSuchPlan = code.New("NO_SUCH_PLAN", code.Row{Args: "zone why:text", Answer: code.Unknown})

// Plan uses the current drawings. It computes which points isolate a zone, or examines
// the points that are given.
func (s *ledgerServer) Plan(ctx context.Context, q *servicev1.PlanRequest) (*servicev1.PlanResponse, error) {
	var res *servicev1.PlanResponse
	var bad error
	err := s.r.read(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, func(st *ledger.State, a *recordv1.AsOf) {
		g := st.Graph() // built once for a set of drawings, and not changed after that
		var p energy.Plan
		if len(q.GetPoints()) > 0 {
			p, bad = g.Describe(q.GetZone(), q.GetPoints(), q.GetIsolation())
		} else {
			p, bad = g.Plan(q.GetZone(), q.GetIsolation())
		}
		if bad != nil {
			return
		}
		res = sheet.Plan(g, p, int(min(q.GetPeople(), maxPeople)))
		res.AsOf = a
		for _, y := range sortedDrawings(st) {
			d := st.Drawings[y]
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
		return nil, answer(codes.NotFound, NoSuchPlan.About(q.GetZone(), q.GetZone(), bad.Error()))
	}
	return res, nil
}

// maxPeople bounds how many people's locks the hardware of a plan is counted for.
const maxPeople = 1000

// GetEnergyNow says what is live when each point is as the ledger has it: open and
// held by a lock, open, or closed.
func (s *ledgerServer) GetEnergyNow(ctx context.Context, q *servicev1.GetEnergyNowRequest) (*servicev1.GetEnergyNowResponse, error) {
	res := &servicev1.GetEnergyNowResponse{Caution: ledger.Caution}
	err := s.r.read(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, func(st *ledger.State, a *recordv1.AsOf) {
		res.AsOf = a
		pic := st.Graph().Now(func(point string) energy.Position {
			switch st.PointView(point).GetPosition() {
			case recordv1.Position_POSITION_OPEN_AND_HELD:
				return energy.OpenAndLocked
			case recordv1.Position_POSITION_OPEN:
				return energy.Open
			}
			return energy.Closed
		})
		here := func(id string) bool { return q.GetYard() == "" || ledger.YardOf(id) == q.GetYard() }
		for _, z := range pic.Zones {
			if here(z.ID) {
				v := &servicev1.ZoneNow{Zone: z.ID, Condition: z.Condition.String(), Points: z.Points, OlderPoints: st.OlderPoints(z.ID)}
				if z.Path != nil {
					v.Path = sheet.Path(*z.Path)
				}
				res.Zones = append(res.Zones, v)
			}
		}
		for _, n := range pic.Nodes {
			if here(n.ID) {
				res.Nodes = append(res.Nodes, &servicev1.NodeNow{Node: n.ID, Condition: n.Condition.String()})
			}
		}
		for _, e := range pic.EitherOf {
			res.EitherOf = append(res.EitherOf, e.Interlock+": "+strings.Join(e.Sources, ", "))
		}
	})
	return res, err
}
