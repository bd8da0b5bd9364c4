// Package sheet turns what the energy engine computed into the contract's
// messages: one place for replicas and for clients that compute offline.
package sheet

import (
	"yardhasp/ledger"
	"yardhasp/ledger/energy"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Plan is a plan as a sheet, with who waived double isolation and the caution.
// AsOf and Drawings are the caller's to fill in.
func Plan(g *energy.Graph, p energy.Plan) *servicev1.PlanResponse {
	v := &servicev1.PlanResponse{Zone: p.Zone, Isolation: p.Level, Points: p.Points, Isolates: p.Isolates, Fewest: p.Fewest, GoesDark: p.GoesDark,
		StaysLive: p.StaysLive, WouldHaveToFit: p.WouldHaveToFit, Caution: ledger.Caution}
	if z, ok := g.Zone(p.Zone); ok {
		v.WaivedBy, v.WaivedWhy = z.WaivedBy, z.WaivedWhy
	}
	for _, l := range p.Live {
		v.Live = append(v.Live, path(l))
	}
	if p.CannotCut != nil {
		v.CannotCut = path(*p.CannotCut)
	}
	for _, st := range p.Stores {
		v.Stores = append(v.Stores, &servicev1.StoreView{Store: st.ID, Medium: st.Medium, Joules: st.Joules, WaitSeconds: st.WaitSeconds, Release: st.Release})
	}
	for _, r := range p.Proofs {
		v.Proofs = append(v.Proofs, &servicev1.ProofView{Part: r.Part, Medium: r.Medium, Kind: r.Kind, Limit: r.Limit, Unit: r.Unit, Text: r.Text, Source: r.Source})
	}
	return v
}

func path(p energy.Path) *servicev1.Path {
	return &servicev1.Path{Part: p.Part, Source: p.Source, Steps: p.Steps, Held: p.Held}
}
