package cli

import (
	"context"
	"errors"
	"slices"

	"github.com/spf13/cobra"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (a *App) drawingNarrow() *cobra.Command {
	n := &recordv1.NarrowZone{}
	c := &cobra.Command{Use: "narrow ZONE", Short: "Take out of a zone's reach what older drawings alone show", Args: args(1, 1),
		Long: `A revision that shows less changes nothing for the people in a zone: each point that
any drawing ever showed reaching it counts until this is recorded. Without --points it
lists those points and signs nothing.

Trace each one at the steel first. Somebody other than who walked the drawings signs, a
supervisor or manager; at the zone's own yard, with every current drawing walked, nobody
signed on there, no lock on for work there, no permit open and nothing choked. Until
the ledger has it, nobody is promised anything at sign-on to that zone.`,
		Example: "  yardhasp drawing narrow stonebend/leg-2-boot\n  yardhasp drawing narrow stonebend/leg-2-boot --points millrow/panel-2/control --why \"cable traced, it ends in the old panel\""}
	c.Flags().StringSliceVar(&n.Points, "points", nil, "the `point`s that reach it no longer; more than one with commas or again")
	c.Flags().StringVar(&n.Why, "why", "", "how that was found at the steel, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		n.Zone = args[0]
		if !c.Flags().Changed("points") {
			return a.with(c, func(ctx context.Context, cl *client.Client) error { return a.olderPoints(ctx, cl, n.Zone) })
		}
		if err := need(c, "why"); err != nil {
			return err
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_NarrowZone{NarrowZone: n}})
	}
	return c
}

func (a *App) olderPoints(ctx context.Context, cl *client.Client, zone string) error {
	v, err := cl.EnergyNow(ctx, "")
	if err != nil {
		return err
	}
	var zones []string
	for _, z := range v.GetZones() {
		zones = append(zones, z.GetZone())
	}
	i := slices.Index(zones, zone)
	if i < 0 {
		return withZones(errors.New("no current drawing shows the zone "+zone), zone, zones)
	}
	z := v.GetZones()[i]
	return a.print(z, func(p *page) {
		p.asOf(v.GetAsOf())
		if len(z.GetOlderPoints()) == 0 {
			p.line("\nno point reaches %s by an older drawing alone", zone)
		}
		p.older(zone, z.GetOlderPoints())
		p.caution()
	})
}

// older shows the points that still count for a zone although no current drawing shows
// them.
func (p *page) older(zone string, points []string) {
	if len(points) == 0 {
		return
	}
	p.list("reach "+zone+" by an older drawing alone, and count as if they still did", points)
	// The point is left to be typed: the signer must have traced each point.
	p.line("  for each that was traced at the steel: \"yardhasp drawing narrow %s --points POINT --why ...\"", zone)
}
