package cli

import (
	"context"

	"github.com/spf13/cobra"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) panelCmd() *cobra.Command {
	return &cobra.Command{Use: "panel POINT", Short: "What the person at a point's panel must know now", Args: args(1, 1),
		Long:    "Asks the point's own yard: its position, and whether a go-ahead shows. Close only\nwhile the go-ahead shows, at this panel.",
		Example: "  yardhasp panel stonebend/mcc-1/leg-2",
		RunE: func(c *cobra.Command, args []string) error {
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				p, err := cl.Panel(ctx, args[0])
				if err != nil {
					return err
				}
				client.WithholdPanel(p)
				return a.print(p, func(s *page) { s.panel(p) })
			})
		}}
}

func (p *page) panel(v *servicev1.GetPanelResponse) {
	// The panel's own machine decides, even if it is cut off. No quorum is asked.
	p.line("as of %s, from %s's own machine", p.a.when(v.GetAsOf().GetReadUnixMs()), orDash(v.GetYard()))
	p.diverged(v.GetAsOf())
	p.notAsked(v.GetAsOf())
	p.line("\n%s: %s", v.GetPoint(), positionWord(v.GetPosition()))
	if !v.GetGoAhead() {
		p.loud("DO NOT CLOSE:", "there is no go-ahead")
		var against []string
		for _, f := range v.GetAgainst() {
			against = append(against, p.a.alarm(f))
		}
		p.list("why not", against)
		return
	}
	p.line("GO-AHEAD for request %s: close now, at this panel, while this shows. Ask again right before you close", v.GetRequest())
	p.caution()
}

func (a *App) panelActs() []*cobra.Command {
	onPoint := func(use, short, long string, build func(point string) *recordv1.Record) *cobra.Command {
		return &cobra.Command{Use: use + " POINT", Short: short, Long: long, Example: "  yardhasp " + use + " stonebend/mcc-1/leg-2", Args: args(1, 1),
			RunE: func(c *cobra.Command, args []string) error { return a.submit(c, build(args[0])) }}
	}
	isolate := onPoint("isolate", "Record that you opened a point, at its panel",
		"Open the point first. Only the point's own yard takes this, and it is never kept\nfor later: without an answer, do it again at the panel.",
		func(p string) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: p}}}
		})
	closed := onPoint("closed", "Record that you closed a point under a go-ahead", "",
		func(p string) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{Point: p}}}
		})
	var seen string
	found := onPoint("found-closed", "Record a point found closed: it is live, whatever was recorded",
		"Anybody may record this. It raises an alarm on every lock that covers the point.",
		func(p string) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: p, Seen: seen}}}
		})
	found.Flags().StringVar(&seen, "seen", "", "what was seen, in words")
	return []*cobra.Command{isolate, closed, found, a.foundStartedCmd(), a.energiseCmd()}
}

func (a *App) energiseCmd() *cobra.Command {
	e := &recordv1.Energise{}
	c := &cobra.Command{Use: "energise POINT", Short: "Ask, at the panel, to close a point of an approved request", Args: args(1, 1),
		Long:    "Close the point only when \"yardhasp panel\" then shows a go-ahead, and while it\nshows. Afterwards record it with \"yardhasp closed\".",
		Example: "  yardhasp energise stonebend/mcc-1/leg-2 --request r-12"}
	c.Flags().StringVar(&e.Request, "request", "", "`id` of the request to re-energise")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "request"); err != nil {
			return err
		}
		e.Point = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_Energise{Energise: e}})
	}
	return c
}
