package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/drawing"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// revised is what a revision changes.
type revised struct {
	Yard    string       `json:"yard"`
	Before  string       `json:"before"`
	After   string       `json:"after"`
	Changes []changeView `json:"changes"`
	// Zones are the zones, of any yard, whose plans change.
	Zones []zoneView `json:"zones"`
	Jobs  []jobTouch `json:"jobs"`
	// JobsKnown is false without a ledger. The output then says nothing about jobs.
	JobsKnown bool `json:"jobs_known"`
}

type changeView struct {
	List   string   `json:"list"`
	Name   string   `json:"name"`
	What   string   `json:"what"`
	Fields []string `json:"fields"`
}

type zoneView struct {
	Zone   string   `json:"zone"`
	What   string   `json:"what"`
	Before []string `json:"before"`
	After  []string `json:"after"`
}

type jobTouch struct {
	Job  string `json:"job"`
	Zone string `json:"zone"`
	Why  string `json:"why"`
}

func (a *App) drawingDiff() *cobra.Command {
	var beside []string
	c := &cobra.Command{Use: "diff [OLD] NEW", Short: "What a revision changes: entries, plans, open jobs", Args: args(1, 2),
		Long:    "Compares two files of one yard or, given one, that file with the ledger's current\ndrawing of its yard. Lists what came, went or changed, every zone of any yard\nwhose plan is another one then and, with the ledger, the open jobs it touches.\nTwo files and --beside ask nobody.",
		Example: "  yardhasp drawing diff stonebend.yaml\n  yardhasp drawing diff old/stonebend.yaml stonebend.yaml --beside millrow.yaml,eastfork.yaml"}
	c.Flags().StringSliceVar(&beside, "beside", nil, "drawing `file` of another yard; more than one with commas or again")
	c.RunE = func(c *cobra.Command, files []string) error {
		if len(files) == 1 && len(beside) > 0 {
			return usage(c, "--beside goes with two files: with one, the other yards' drawings come from the ledger")
		}
		var out revised
		var err error
		if len(files) == 2 {
			out, err = a.diffHere(files[0], files[1], beside)
		} else {
			err = a.with(c, func(ctx context.Context, cl *client.Client) error {
				out, err = a.diffThere(ctx, cl, files[0])
				return err
			})
		}
		if err != nil {
			return err
		}
		return a.print(out, func(p *page) { p.revised(&out) })
	}
	return c
}

func (a *App) diffHere(before, after string, beside []string) (revised, error) {
	old, err := readDrawings([]string{before})
	if err != nil {
		return revised{}, err
	}
	ds, err := readDrawings(append([]string{after}, beside...))
	if err != nil {
		return revised{}, err
	}
	return a.revision(old.list[0], ds)
}

func (a *App) diffThere(ctx context.Context, cl *client.Client, after string) (revised, error) {
	ds, err := readDrawings([]string{after})
	if err != nil {
		return revised{}, err
	}
	yard := ds.list[0].GetYard()
	_, old, err := a.current(ctx, cl, yard)
	if err != nil {
		return revised{}, err
	}
	others, _, err := otherDrawings(ctx, cl, yard)
	if err != nil {
		return revised{}, err
	}
	ds.list = append(ds.list, others...)
	out, err := a.revision(old, ds)
	if err != nil {
		return revised{}, err
	}
	board, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
	if err != nil {
		return revised{}, err
	}
	out.JobsKnown, out.Jobs = true, touched(&out, board.GetJobs())
	return out, nil
}

// revision compares the drawing before with the first one of ds.
func (a *App) revision(before *recordv1.Drawing, ds *drawings) (revised, error) {
	after := ds.list[0]
	if before.GetYard() != after.GetYard() {
		return revised{}, fmt.Errorf("the drawings are of %q and %q: compare two of one yard", before.GetYard(), after.GetYard())
	}
	out := revised{Yard: after.GetYard(), Before: revisions([]*recordv1.Drawing{before})[0], After: revisions([]*recordv1.Drawing{after})[0],
		Changes: []changeView{}, Zones: []zoneView{}, Jobs: []jobTouch{}}
	for _, c := range drawing.Diff(before, after) {
		out.Changes = append(out.Changes, changeView{c.List, c.Name, c.What, append([]string{}, c.Fields...)})
	}
	now, problems := energy.Build(ds.list)
	if err := a.report(ds, problems); err != nil {
		return revised{}, err
	}
	was, problems := energy.Build(append([]*recordv1.Drawing{before}, ds.list[1:]...))
	if was == nil {
		return revised{}, errors.New("the drawing before can't be used with the others, so its plans can't be compared: " + problems[0].String())
	}
	zones := append(was.Zones(), now.Zones()...)
	slices.Sort(zones)
	for _, z := range slices.Compact(zones) {
		v, err := compare(was, now, z)
		if err != nil {
			return revised{}, err
		}
		if v.What != "" {
			out.Zones = append(out.Zones, v)
		}
	}
	return out, nil
}

// compare says how the plan of a zone changes. What is empty if it does not.
func compare(was, now *energy.Graph, zone string) (zoneView, error) {
	v := zoneView{Zone: zone, Before: []string{}, After: []string{}}
	_, had := was.Zone(zone)
	_, has := now.Zone(zone)
	var before, after energy.Plan
	var err error
	if had {
		if before, err = was.Plan(zone, 0); err != nil {
			return v, err
		}
	}
	if has {
		if after, err = now.Plan(zone, 0); err != nil {
			return v, err
		}
	}
	v.Before, v.After = append(v.Before, before.Points...), append(v.After, after.Points...)
	switch {
	case !had:
		v.What = "a new zone"
	case !has:
		v.What = "no longer drawn"
	case before.Isolates && !after.Isolates:
		v.What = "CAN NO LONGER BE CUT OFF"
	case !before.Isolates && after.Isolates:
		v.What = "can be cut off now"
	case !slices.Equal(before.Points, after.Points):
		v.What = "another plan"
	case before.Isolates:
		// With the same points, something else may change: stores, proofs, neighbours,
		// level.
		if fmt.Sprint(before.Stores, before.Proofs, before.StaysLive, before.Level) != fmt.Sprint(after.Stores, after.Proofs, after.StaysLive, after.Level) {
			v.What = "the same points; stores, proofs or what stays live change"
		}
	}
	return v, nil
}

// touched lists the open jobs that a revision affects: the plan of their zone changes,
// or a point of their own plan does.
func touched(r *revised, jobs []*recordv1.JobView) []jobTouch {
	out := []jobTouch{}
	for _, j := range jobs {
		if j.GetStage() == recordv1.Stage_STAGE_CLOSED {
			continue
		}
		why := ""
		for _, z := range r.Zones {
			if z.Zone == j.GetZone() {
				why = "plan of its zone: " + z.What
			}
		}
		for _, c := range r.Changes {
			if c.List == "point" && slices.Contains(j.GetPlan(), r.Yard+"/"+c.Name) {
				why = strings.TrimPrefix(why+"; point "+r.Yard+"/"+c.Name+" "+c.What, "; ")
			}
		}
		if why != "" {
			out = append(out, jobTouch{j.GetId(), j.GetZone(), why})
		}
	}
	return out
}

func (p *page) revised(r *revised) {
	p.line("from %s to %s", r.Before, r.After)
	if len(r.Changes) == 0 {
		p.line("nothing changes")
		return
	}
	var rows [][]string
	for _, c := range r.Changes {
		rows = append(rows, []string{c.What, c.List, c.Name, strings.Join(c.Fields, ", ")})
	}
	p.table("entries", []string{"WHAT", "IS A", "NAME", "FIELDS"}, rows)
	for _, z := range r.Zones {
		p.line("\n%s: %s", z.Zone, z.What)
		for _, id := range z.Before {
			if !slices.Contains(z.After, id) {
				p.line("  no longer: %s", id)
			}
		}
		for _, id := range z.After {
			if !slices.Contains(z.Before, id) {
				p.line("  new:       %s", id)
			}
		}
	}
	if len(r.Zones) == 0 {
		p.line("\nno zone's plan changes")
	}
	rows = nil
	for _, j := range r.Jobs {
		rows = append(rows, []string{j.Job, j.Zone, j.Why})
	}
	p.table("open jobs it touches", []string{"JOB", "ZONE", "WHY"}, rows)
	switch {
	case !r.JobsKnown:
		p.line("\nopen jobs: not known, since no ledger was asked")
	case len(r.Jobs) == 0:
		p.line("\nit touches no open job")
	}
	p.line("\na revision supports work only after a qualified person walked it against the steel")
}
