package cli

import (
	"github.com/spf13/cobra"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// workActs are the steps of a job that people sign.
func (a *App) workActs() []*cobra.Command {
	signOn := a.onJob("sign-on", "Record that you enter the zone of a job", func(j string) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: j}}}
	})
	signOn.Long = "Sign on only after \"yardhasp job show\" says that work may start, and does not say NOT\nFOR YOU: your own lock hangs on every point, or on the box. The record alone is no\nleave to enter; what is wrong with it is flagged. It ends by \"yardhasp sign-off\"."
	signOff := a.onRef("sign-off SIGN-ON", "Record that you left the zone", "Names the sign-on by its record, yard/epoch/number, as its receipt and the board\nshow it. Be out of the zone first. It takes no lock\noff: \"yardhasp release\" does.", "  yardhasp sign-off stonebend/1/230",
		func(r *recordv1.JournalRef) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_SignOff{SignOff: &recordv1.SignOff{SignOn: r}}}
		})
	shutDown := a.onJob("shut-down", "Record that the machine was stopped in the orderly way", func(j string) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_ShutDown{ShutDown: &recordv1.ShutDown{Job: j}}}
	})
	return []*cobra.Command{signOn, signOff, shutDown, a.readingCmd(), a.foundLiveCmd(), a.correctCmd(), a.storedCmd(), a.noticeCmd(), a.clearCmd(), a.remarkCmd()}
}

func (a *App) onJob(use, short string, build func(job string) *recordv1.Record) *cobra.Command {
	return &cobra.Command{Use: use + " JOB", Short: short, Example: "  yardhasp " + use + " boot-7", Args: args(1, 1),
		RunE: func(c *cobra.Command, args []string) error { return a.submit(c, build(args[0])) }}
}

func (a *App) readingCmd() *cobra.Command {
	r := &recordv1.Reading{}
	var medium, kind string
	var air airFlags
	c := &cobra.Command{Use: "reading JOB PART", Short: "Record a measurement or a try at the point of work", Args: args(2, 2),
		Long: "A value out of limits, or anything that moved or lit, is recorded as found live.\n" +
			"For the air of a zone that people enter, name the zone as the part, and --kind air:\n" +
			"each level is a reading of its own, and one out of limits suspends the permit.\n\n" + permitCautionText,
		Example: "  yardhasp reading boot-7 stonebend/leg-2-motor --medium electricity --kind meter --value 0.3 \\\n" +
			"    --instrument dmm-4 --proved-before --proved-after --phase-to-phase --phase-to-ground\n" +
			"  yardhasp reading boot-7 stonebend/start-2 --kind try\n" +
			"  yardhasp reading crust-3 eastfork/bin-3 --kind air --level bottom --oxygen 20.8 --combustible-gas 0 \\\n" +
			"    --toxic carbon-monoxide=0,carbon-dioxide=800,phosphine=0.1 --instrument gas-2 --proved-before --proved-after"}
	air.add(c)
	f := c.Flags()
	f.StringVar(&medium, "medium", "", "`medium`: electricity, motion, grain, air, hydraulic, heat, fuel-gas, chemical; none for a try")
	f.StringVar(&kind, "kind", "", "how: meter, gauge, sight, try, thermometer, gas; or air")
	f.Float64Var(&r.Value, "value", 0, "highest value read: volts, kPa on the gauge, °C, ppm")
	f.StringVar(&r.Instrument, "instrument", "", "`name` of the instrument")
	f.BoolVar(&r.ProvedBefore, "proved-before", false, "the instrument was proved on a known source before")
	f.BoolVar(&r.ProvedAfter, "proved-after", false, "and after")
	f.BoolVar(&r.PhaseToPhase, "phase-to-phase", false, "every phase to phase was measured")
	f.BoolVar(&r.PhaseToGround, "phase-to-ground", false, "every phase to ground was measured")
	f.BoolVar(&r.Moved, "moved", false, "something moved, lit or flowed")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "kind"); err != nil {
			return err
		}
		if kind == "air" {
			rec, err := air.record(c, r, args[0], args[1])
			if err != nil {
				return err
			}
			return a.submit(c, rec)
		}
		if n := air.given(c); n != "" {
			return usage(c, "--%s goes with --kind air only", n)
		}
		k, err := pick(c, "kind", "READING_KIND_", kind, recordv1.ReadingKind_value)
		if err != nil {
			return err
		}
		r.Kind = recordv1.ReadingKind(k)
		switch {
		case medium != "":
			m, err := pick(c, "medium", "MEDIUM_", medium, recordv1.Medium_value)
			if err != nil {
				return err
			}
			r.Medium = recordv1.Medium(m)
		case r.Kind != recordv1.ReadingKind_READING_KIND_TRY:
			return usage(c, "--medium is missing: only a try has none")
		}
		switch r.Kind {
		case recordv1.ReadingKind_READING_KIND_TRY, recordv1.ReadingKind_READING_KIND_SIGHT:
		default:
			// If nobody typed a value, the record would have a zero that nobody read.
			if err := need(c, "value", "instrument"); err != nil {
				return err
			}
		}
		r.Job, r.Part = args[0], args[1]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_Reading{Reading: r}})
	}
	return c
}

func (a *App) foundLiveCmd() *cobra.Command {
	l := &recordv1.FoundLive{}
	c := &cobra.Command{Use: "found-live JOB PART", Short: "Record energy where none should be: work stops", Args: args(2, 2),
		Example: "  yardhasp found-live boot-7 stonebend/leg-2-motor --what \"240 V on the heater terminals\""}
	c.Flags().StringVar(&l.What, "what", "", "what was live, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "what"); err != nil {
			return err
		}
		l.Job, l.Part = args[0], args[1]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: l}})
	}
	return c
}

func (a *App) correctCmd() *cobra.Command {
	var cause string
	c := a.onRef("correct FOUND-LIVE", "Record that the cause of a found-live was found and corrected", "For a qualified person. Every reading is taken again afterwards.",
		"  yardhasp correct stonebend/1/260 --cause \"heater fed from panel 3, now on the drawing\"",
		func(r *recordv1.JournalRef) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_CorrectFoundLive{CorrectFoundLive: &recordv1.CorrectFoundLive{Found: r, Cause: cause}}}
		})
	c.Flags().StringVar(&cause, "cause", "", "what the cause was, in words")
	c.PreRunE = func(c *cobra.Command, _ []string) error { return need(c, "cause") }
	return c
}

func (a *App) storedCmd() *cobra.Command {
	s := &recordv1.StoredReleased{}
	c := &cobra.Command{Use: "stored JOB STORE", Short: "Record that stored energy was drained, blocked or waited out", Args: args(2, 2),
		Example: "  yardhasp stored boot-7 stonebend/buckets --how \"belt clamp set\""}
	c.Flags().StringVar(&s.How, "how", "", "how, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "how"); err != nil {
			return err
		}
		s.Job, s.Store = args[0], args[1]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_StoredReleased{StoredReleased: s}})
	}
	return c
}

func (a *App) noticeCmd() *cobra.Command {
	n := &recordv1.Notice{}
	var before, after bool
	c := &cobra.Command{Use: "notice JOB (--before | --after)", Short: "Record that the affected people were told", Args: args(1, 1),
		Example: "  yardhasp notice boot-7 --before --told joe-lund,mia-berg --means radio"}
	f := c.Flags()
	f.BoolVar(&before, "before", false, "before locks went on")
	f.BoolVar(&after, "after", false, "after the last lock came off, before the start")
	f.StringSliceVar(&n.People, "told", nil, "`person` ids of those told")
	f.StringVar(&n.Means, "means", "", "how they were told")
	c.RunE = func(c *cobra.Command, args []string) error {
		if before == after {
			return usage(c, "say when: --before or --after, one of them")
		}
		if err := need(c, "told"); err != nil {
			return err
		}
		n.When = recordv1.NoticeWhen_NOTICE_WHEN_BEFORE
		if after {
			n.When = recordv1.NoticeWhen_NOTICE_WHEN_AFTER
		}
		n.Job = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_Notice{Notice: n}})
	}
	return c
}

func (a *App) clearCmd() *cobra.Command {
	l := &recordv1.ClearArea{}
	c := &cobra.Command{Use: "clear JOB", Short: "Record that the area was looked over", Args: args(1, 1),
		Long:    "Say only what you saw. What is not said counts as not so, and a request to\nre-energise is refused until it is. The two counts are always given.",
		Example: "  yardhasp clear boot-7 --tools-out --guards-on --people-clear --grounds-fitted 3 --grounds-removed 3"}
	f := c.Flags()
	f.BoolVar(&l.ToolsOut, "tools-out", false, "all tools are out")
	f.BoolVar(&l.GuardsOn, "guards-on", false, "all guards are back on")
	f.BoolVar(&l.PeopleClear, "people-clear", false, "everybody stands clear")
	f.Uint32Var(&l.GroundsFitted, "grounds-fitted", 0, "temporary grounds and jumpers that were fitted, all told; 0 for none")
	f.Uint32Var(&l.GroundsRemoved, "grounds-removed", 0, "how many of them were taken off again")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "grounds-fitted", "grounds-removed"); err != nil {
			return err
		}
		l.Job = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: l}})
	}
	return c
}
