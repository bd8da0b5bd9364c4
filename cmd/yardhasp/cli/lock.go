package cli

import (
	"github.com/spf13/cobra"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// targetArg reads what a lock hangs on: a point, or a box given by a flag.
func targetArg(c *cobra.Command, args []string, box string) (*recordv1.Target, error) {
	switch {
	case len(args) == 1 && box == "":
		return &recordv1.Target{On: &recordv1.Target_Point{Point: args[0]}}, nil
	case len(args) == 0 && box != "":
		return &recordv1.Target{On: &recordv1.Target_Box{Box: box}}, nil
	case len(args) == 1:
		return nil, usage(c, "a lock hangs on a point or on a box, not on both")
	}
	return nil, usage(c, "name the point, as yard/panel/device, or the box with --box yard/box")
}

func (a *App) lockCmds() []*cobra.Command {
	return []*cobra.Command{a.lockCmd(), a.foundLockCmd(), a.releaseCmd(), a.triedCmd(), a.reviewLockCmd(), a.foundChokedCmd(), a.clearChokeCmd()}
}

func (a *App) lockCmd() *cobra.Command {
	l := &recordv1.Lock{}
	var box string
	var more lockMore
	c := &cobra.Command{Use: "lock (POINT | --box BOX)", Short: "Record your lock going on", Args: args(0, 1),
		Long: "Records that you hung your own lock on a point or on a group lock box. Hang the\nlock first. A lock on a point or box that the ledger knows is never refused; what\nis wrong with it is flagged.\n\n--equipment records a yard's own lock on a machine out of service. It blocks every\nstart and protects nobody: whoever works there hangs their own lock too.\n\n--tag-only records a tag where no lock goes on. It warns and restrains nothing, and\ncounts for work only with its legend, an extra means, a tie that holds 50 lb and a\nsignal word readable at 5 ft (1524 mm); where a lock would go on, only with the\nwritten demonstration of the point.",
		Example: "  yardhasp lock stonebend/mcc-1/leg-2 --padlock p-17 --job boot-7\n  yardhasp lock --box stonebend/box-3 --padlock p-17 --job boot-7\n  yardhasp lock stonebend/mcc-1/leg-2 --equipment --padlock yard-1 --review-by 2027-01-31\n" +
			"  yardhasp lock stonebend/old/knife --job boot-7 --tag-only --legend do-not-energise \\\n    --means isolating-element-removed --tie-pounds 50 --readable-mm 1600"}
	more.flags(c)
	c.Flags().StringVar(&box, "box", "", "group lock `box`, as yard/box")
	c.Flags().StringVar(&l.Padlock, "padlock", "", "`serial` of your padlock")
	c.Flags().StringVar(&l.Job, "job", "", "`job` it is for")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if l.Target, err = targetArg(c, args, box); err != nil {
			return err
		}
		if err := more.fill(c, l); err != nil {
			return err
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_Lock{Lock: l}})
	}
	return c
}

func (a *App) foundLockCmd() *cobra.Command {
	l := &recordv1.FoundLock{}
	var box string
	c := &cobra.Command{Use: "found-lock (POINT | --box BOX)", Short: "Record a lock seen hanging whose owner is not known", Args: args(0, 1),
		Long:    "A lock seen hanging counts as a lock and blocks every start, whoever's it is.",
		Example: "  yardhasp found-lock stonebend/mcc-1/leg-2 --seen \"red padlock, no tag\""}
	c.Flags().StringVar(&box, "box", "", "group lock `box`, as yard/box")
	c.Flags().StringVar(&l.Seen, "seen", "", "what is seen, in words")
	c.Flags().StringVar(&l.Job, "job", "", "`job` it is thought to be for")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if l.Target, err = targetArg(c, args, box); err != nil {
			return err
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_FoundLock{FoundLock: l}})
	}
	return c
}

// onRef makes a command about one earlier record.
func (a *App) onRef(use, short, long, example string, build func(r *recordv1.JournalRef) *recordv1.Record) *cobra.Command {
	return &cobra.Command{Use: use, Short: short, Long: long, Example: example, Args: args(1, 1), RunE: func(c *cobra.Command, args []string) error {
		r, err := refArg(c, args[0])
		if err != nil {
			return err
		}
		return a.submit(c, build(r))
	}}
}

func (a *App) releaseCmd() *cobra.Command {
	var why string
	c := a.onRef("release LOCK", "Record that you took your own lock off",
		"Names one lock by its record, yard/epoch/number, as its receipt and the board show\nit. Nobody can release another's lock. From then on you have no protection from it.\n\"yardhasp shift\" lists your locks. It does not sign you off: \"yardhasp sign-off\" does.\n\nA yard's equipment lock is taken off by a supervisor or manager, who says --why.",
		"  yardhasp release stonebend/1/204\n  yardhasp release stonebend/1/188 --why \"belt is back on\"",
		func(r *recordv1.JournalRef) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: r, Why: why}}}
		})
	c.Flags().StringVar(&why, "why", "", "for an equipment lock: why it comes off, in words")
	return c
}

func (a *App) triedCmd() *cobra.Command {
	return a.onRef("tried LOCK", "Record that you tried the handle against your lock",
		"A lock older than its point's latest opening counts for work only after this.",
		"  yardhasp tried stonebend/1/204",
		func(r *recordv1.JournalRef) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_TriedHandle{TriedHandle: &recordv1.TriedHandle{Hold: r}}}
		})
}
