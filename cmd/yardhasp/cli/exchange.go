package cli

import (
	"github.com/spf13/cobra"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (a *App) exchangeCmd() *cobra.Command {
	r := &recordv1.ExchangeProcedures{}
	var date string
	draft := &cobra.Command{Use: "draft YARD", Short: "Write what the co-op and an outside employer told each other", Args: args(1, 1),
		Long: "A supervisor or manager writes it; the outside employer's person reads and signs it,\nand so acknowledges the hazards. One for each employer and yard; without it a lock or\nsign-on of their people is recorded and flagged, and work may not start with them inside." + draftLong,
		Example: "  yardhasp exchange draft stonebend --employer \"Harrow Millwrights\" --contractor lena-moss \\\n    --host \"lockout rules, version 4\" --outside \"Harrow lockout, version 2\" --date 2026-11-20 \\\n" +
			"    --hazard \"grain dust in the leg casing\" --emergency \"gate 2; call the scale house\" > exchange.txt"}
	f := draft.Flags()
	f.StringVar(&r.Employer, "employer", "", "the outside employer, as their people are enrolled")
	f.StringVar(&r.Contractor, "contractor", "", "the outside employer's `person` who signs")
	f.StringVar(&r.HostProcedures, "host", "", "the co-op's procedures, with versions, in words")
	f.StringVar(&r.OutsideProcedures, "outside", "", "the outside employer's, with versions, in words")
	f.StringVar(&date, "date", "", "`day` it was done, as 2026-11-20, or a time")
	f.StringArrayVar(&r.Hazards, "hazard", nil, "a known fire, explosion or other `hazard` there, with its safety rule; again for more")
	f.StringVar(&r.Emergency, "emergency", "", "what to do in an emergency there, in words")
	draft.RunE = func(c *cobra.Command, args []string) (err error) {
		if err := need(c, "employer", "contractor", "host", "outside", "date", "hazard", "emergency"); err != nil {
			return err
		}
		if r.DateUnixMs, err = a.doneArg(c, "date", date); err != nil {
			return err
		}
		r.Yard = args[0]
		return a.draft(c, &recordv1.Record{Act: &recordv1.Record_ExchangeProcedures{ExchangeProcedures: r}})
	}
	return a.group("exchange", "What the co-op and outside employers told each other", "", draft)
}

// exchange prints an exchange before it is signed.
func (p *page) exchange(e *recordv1.ExchangeProcedures) {
	p.line("  yard, employer        %s, %s; signs: %s", e.GetYard(), e.GetEmployer(), e.GetContractor())
	p.line("  the co-op's           %s", e.GetHostProcedures())
	p.line("  the other employer's  %s", e.GetOutsideProcedures())
	p.line("  done                  %s", p.a.when(e.GetDateUnixMs()))
	for _, h := range e.GetHazards() {
		p.line("  hazard                %s", h)
	}
	p.line("  in an emergency       %s", e.GetEmergency())
}
