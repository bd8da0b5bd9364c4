package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) liveCmd() *cobra.Command {
	var f filter
	c := &cobra.Command{Use: "live", Short: "What is live with the points as the ledger has them", Args: args(0, 0),
		Long:    "What the drawings say is live now, with every point where it was recorded: locked\nopen, open but not locked, or closed. It is no proof: only a test at the point of\nwork is.",
		Example: "  yardhasp live\n  yardhasp live --at stonebend"}
	f.addAt(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			v, err := cl.EnergyNow(ctx, f.at)
			if err != nil {
				return err
			}
			return a.print(v, func(p *page) { p.live(v) })
		})
	}
	return c
}

func (p *page) live(v *servicev1.GetEnergyNowResponse) {
	p.asOf(v.GetAsOf())
	for _, z := range v.GetZones() {
		switch z.GetCondition() {
		case "open but not locked", "locked, second device missing": // a live zone is an ordinary day
			p.loud(strings.ToUpper(z.GetCondition())+":", "%s by %s", z.GetZone(), strings.Join(z.GetPath().GetSteps(), " > "))
		}
	}
	var rows [][]string
	for _, z := range v.GetZones() {
		rows = append(rows, []string{z.GetZone(), z.GetCondition(), strings.Join(z.GetPoints(), ", ")})
	}
	p.table("zones", []string{"ZONE", "NOW", "POINTS THAT MATTER"}, rows)
	for _, z := range v.GetZones() {
		p.older(z.GetZone(), z.GetOlderPoints())
	}
	rows = nil
	for _, n := range v.GetNodes() {
		rows = append(rows, []string{n.GetNode(), n.GetCondition()})
	}
	p.table("everything drawn", []string{"NODE", "NOW"}, rows)
	p.list("only one of these sources can be connected; all are counted as connected", v.GetEitherOf())
	p.caution()
}
