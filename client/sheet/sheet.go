// Package sheet turns what the energy engine computed into the messages of the contract.
// Replicas use it, and so do clients that compute offline.
package sheet

import (
	"yardhasp/ledger"
	"yardhasp/ledger/energy"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Plan is a plan as a sheet, for a number of people who each hang a lock. It says who
// waived double isolation, and has the caution. The caller fills in AsOf and Drawings.
func Plan(g *energy.Graph, p energy.Plan, people int) *servicev1.PlanResponse {
	v := &servicev1.PlanResponse{Zone: p.Zone, Isolation: p.Level, Points: p.Points, Isolates: p.Isolates, Fewest: p.Fewest, GoesDark: p.GoesDark,
		StaysLive: p.StaysLive, WouldHaveToFit: p.WouldHaveToFit, Caution: ledger.Caution, Conditions: p.Conditions, NotReadings: energy.NotReadings}
	if z, ok := g.Zone(p.Zone); ok {
		v.WaivedBy, v.WaivedWhy = z.WaivedBy, z.WaivedWhy
	}
	for _, l := range p.Live {
		v.Live = append(v.Live, Path(l))
	}
	if p.CannotCut != nil {
		v.CannotCut = Path(*p.CannotCut)
	}
	for _, st := range p.Stores {
		v.Stores = append(v.Stores, &servicev1.StoreView{Store: st.ID, Medium: st.Medium, Joules: st.Joules, WaitSeconds: st.WaitSeconds, Release: st.Release,
			What: st.What, HowWorkedOut: st.HowWorkedOut, Source: st.Source, Limit: st.Limit, Hazard: st.Hazard,
			BuildsUp: st.BuildsUp, RecheckSeconds: st.RecheckSeconds, RecheckSource: st.RecheckSource})
	}
	for _, r := range p.Proofs {
		v.Proofs = append(v.Proofs, &servicev1.ProofView{Part: r.Part, Medium: r.Medium, Kind: r.Kind, Limit: r.Limit, Unit: r.Unit, Text: r.Text, Source: r.Source, LimitText: r.LimitText()})
	}
	for _, l := range g.Lines(p, max(people, 1)) {
		line := &servicev1.LineView{Point: l.Point, Label: l.Label, Place: l.Place, Hardware: l.HardwareText, GroupBox: l.GroupBox, HoldersControl: l.HoldersControl, Note: l.Note}
		for _, n := range l.Needs {
			line.Needs = append(line.Needs, n.String())
		}
		v.Lines = append(v.Lines, line)
	}
	return v
}

// Path is a way that energy takes.
func Path(p energy.Path) *servicev1.Path {
	return &servicev1.Path{Part: p.Part, Source: p.Source, Steps: p.Steps, Held: p.Held}
}
