package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// yardGraph is the joined drawings, for work on this machine.
type yardGraph struct {
	*drawings
	g *energy.Graph
	// known says how the drawings are known. It is the first line of a screen.
	known string
	// asOf says how the ledger knows them. It is nil for files.
	asOf *recordv1.AsOf
}

// graphOf takes the drawings from the files and asks nobody. If no file is given, it
// takes the current drawings of all yards in the profile from the ledger.
func (a *App) graphOf(c *cobra.Command, files []string) (*yardGraph, error) {
	y := &yardGraph{}
	if len(files) > 0 {
		ds, err := readDrawings(files)
		if err != nil {
			return nil, err
		}
		y.drawings, y.known = ds, fmt.Sprintf("computed on this machine from %d drawing files; whether they are the current ones is not known", len(files))
	} else {
		y.drawings = &drawings{}
		err := a.with(c, func(ctx context.Context, cl *client.Client) error {
			var err error
			y.list, y.asOf, err = otherDrawings(ctx, cl, "")
			return err
		})
		if err != nil {
			return nil, err
		}
		y.known = "computed on this machine from the ledger's current drawings"
	}
	if len(y.list) == 0 {
		return nil, fmt.Errorf("there are no drawings: publish one with \"yardhasp drawing publish\", or name files")
	}
	g, problems := energy.Build(y.list)
	if err := a.report(y.drawings, problems); err != nil {
		return nil, err
	}
	y.g = g
	return y, nil
}

// known prints the first line of a sheet that was computed on this machine.
func (p *page) known(how string, asOf *recordv1.AsOf) {
	if !asOf.GetConfirmed() {
		p.loud("UNCONFIRMED:", "%s", how)
		return
	}
	p.asOf(asOf)
	p.line("%s", how)
}

// plan is the plan of a zone or, if points are given, what follows from them.
func (y *yardGraph) plan(zone string, points []string, level recordv1.Isolation) (energy.Plan, error) {
	var p energy.Plan
	var err error
	if len(points) > 0 {
		p, err = y.g.Describe(zone, points, level)
	} else {
		p, err = y.g.Plan(zone, level)
	}
	return p, withZones(err, zone, y.g.Zones())
}

// withWarnings adds what an electrician would say to the problems of the drawings. A
// field that already has a problem gets no warning.
func withWarnings(ds *drawings, problems []energy.Problem) []energy.Problem {
	if energy.Refused(problems) {
		return problems
	}
	type place struct{ yard, field string }
	seen := map[place]bool{}
	for _, p := range problems {
		seen[place{p.Yard, p.Field}] = true
	}
	for i, d := range ds.list {
		others := append(append([]*recordv1.Drawing(nil), ds.list[:i]...), ds.list[i+1:]...)
		for _, p := range energy.Warnings(d, others) {
			if !seen[place{p.Yard, p.Field}] {
				problems = append(problems, p)
			}
		}
	}
	return problems
}
