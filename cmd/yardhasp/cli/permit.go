package cli

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// permitCautionText stands in the help of whatever grants or rests on a permit.
const permitCautionText = ledger.Caution

func (a *App) permitCmd() *cobra.Command {
	return a.group("permit", "Permits for bin entry and hot work: list, show, issue, close",
		"A permit is issued on top of a job, once every condition is met; a refusal lists\nall that are not. It is suspended the moment one lapses, and never comes back.\n\n"+permitCautionText,
		a.permitList(), a.permitShow(), a.permitBinEntry(), a.permitHotWork(), a.permitHotWorkDone(), a.permitClose(), a.permitObserve(), a.permitFireWatch(), a.permitLeave())
}

func (a *App) permitList() *cobra.Command {
	var read readFlags
	c := &cobra.Command{Use: "list", Short: "The permits that are not closed", Args: args(0, 0), Example: "  yardhasp permit list"}
	read.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return a.openPermits(c, &read, func(b *recordv1.Board) error {
			return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Alarms: b.GetAlarms(), Permits: b.GetPermits()}, func(p *page) { p.permitList(b) })
		})
	}
	return c
}

// openPermits reads the board with every word of permission taken out of an answer
// that is not confirmed.
func (a *App) openPermits(c *cobra.Command, read *readFlags, show func(*recordv1.Board) error) error {
	how, err := read.how(c)
	if err != nil {
		return err
	}
	return a.with(c, func(ctx context.Context, cl *client.Client) error {
		b, err := cl.Board(ctx, how, "")
		if err != nil {
			return err
		}
		client.WithholdBoard(b)
		return show(b)
	})
}

func (a *App) permitShow() *cobra.Command {
	var read readFlags
	c := &cobra.Command{Use: "show PERMIT", Short: "One permit: who is inside, who watches, the air, what is missing", Args: args(1, 1),
		Long:    "Shows a permit that is not closed; a closed one is shown with its job. The age of\nevery test of the air is as of this reading.\n\n" + permitCautionText,
		Example: "  yardhasp permit show crust-3-a\n  yardhasp permit show crust-3-a --confirmed"}
	read.add(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		return a.openPermits(c, &read, func(b *recordv1.Board) error {
			for _, v := range b.GetPermits() {
				if v.GetId() == args[0] {
					return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Alarms: b.GetAlarms(), Permits: []*recordv1.PermitView{v}},
						func(p *page) { p.permitPage(b, v) })
				}
			}
			return &hinted{&notFound{"there is no permit " + args[0] + " that is not closed"}, []string{"\"yardhasp permit list\" lists them; a closed one is shown by \"yardhasp job show\""}}
		})
	}
	return c
}

// notFound ends with the exit code of what the ledger does not have.
type notFound struct{ text string }

func (e *notFound) Error() string { return e.text }

// ending is the two ways to say when a permit ends.
type ending struct {
	hours float64
	until string
}

func (e *ending) add(c *cobra.Command) {
	c.Flags().Float64Var(&e.hours, "hours", 0, "how many hours it runs from now: a shift of 12 at most")
	c.Flags().StringVar(&e.until, "until", "", "when it ends instead, as RFC 3339 writes it")
}

func (e *ending) unixMS(c *cobra.Command, now time.Time) (int64, error) {
	switch {
	case (e.until == "") == !c.Flags().Changed("hours"):
		return 0, usage(c, "say when it ends: --hours or --until, one of them")
	case e.until != "":
		t, err := time.Parse(time.RFC3339, e.until)
		if err != nil {
			return 0, usage(c, "--until %q is not a time as RFC 3339 writes it", e.until)
		}
		return t.UnixMilli(), nil
	case !(e.hours > 0 && e.hours <= 24):
		return 0, usage(c, "--hours %g is not between 0 and 24", e.hours)
	}
	return now.Add(time.Duration(e.hours * float64(time.Hour))).UnixMilli(), nil
}

// binEntry is what a permit to enter a bin says, as the flags give it.
type binEntry struct {
	*recordv1.BinEntry
	line, ventilation string
	noHung, hung      bool
	expect, paths     []string
	every             time.Duration
}

func (b *binEntry) add(c *cobra.Command) {
	f := c.Flags()
	f.StringSliceVar(&b.Entrants, "entrants", nil, "`person` ids of those who go in")
	f.StringSliceVar(&b.Observers, "observers", nil, "`person` ids of those who watch from outside, one at least at all times")
	f.BoolVar(&b.noHung, "looked-clear", false, "you looked, and no grain hangs above or at the sides that could fall")
	f.BoolVar(&b.hung, "hung-grain", false, "grain does hang: the permit is refused")
	f.BoolVar(&b.FromAbove, "from-above", false, "entry from the level of the grain or above, or onto grain deep enough to engulf")
	f.StringVar(&b.line, "line", "", "what holds a person: harness-and-lifeline, boatswains-chair, other; none when not said")
	f.BoolVar(&b.StopsAtWaist, "stops-at-waist", false, "the line lets nobody sink past the waist")
	f.StringVar(&b.LineReason, "line-reason", "", "without a line, or with another means: what was probed and shown")
	f.StringVar(&b.RescueEquipment, "rescue-equipment", "", "what is at hand for this bin, in words")
	f.StringVar(&b.ventilation, "ventilation", "", "how the air is renewed: none, natural, forced")
	f.BoolVar(&b.NobodyWalksGrain, "nobody-walks-grain", false, "nobody walks on grain to make it flow")
	f.BoolVar(&b.SweepRunning, "sweep-running", false, "a sweep auger runs with a person inside: the permit is refused")
	f.StringSliceVar(&b.expect, "expect", nil, "what may be in the air beside what is always tested: phosphine, hydrogen-sulfide, nitrogen-dioxide")
	f.DurationVar(&b.every, "air-every", 0, "how often the air is tested again, 30m at most")
	f.StringArrayVar(&b.paths, "closed-path", nil, "`RECORD=HOW` the way of a fumigation's record into this zone is closed")
	f.BoolVar(&b.FlatStorage, "flat-storage", false, "ground-level entry to flat storage, 1910.272(h)")
}

// fill reads the flags that are words or need a look, and keeps what they say.
func (b *binEntry) fill(c *cobra.Command) error {
	if b.noHung && b.hung {
		return usage(c, "--looked-clear and --hung-grain exclude each other")
	}
	b.HungGrain = map[bool]recordv1.Look{b.noHung: recordv1.Look_LOOK_CLEAR, b.hung: recordv1.Look_LOOK_HAZARD}[true]
	if b.line != "" {
		n, err := pick(c, "line", "LINE_", b.line, recordv1.Line_value)
		if err != nil {
			return err
		}
		b.Line = recordv1.Line(n)
	}
	if b.ventilation != "" {
		n, err := pick(c, "ventilation", "VENTILATION_", b.ventilation, recordv1.Ventilation_value)
		if err != nil {
			return err
		}
		b.Ventilation = recordv1.Ventilation(n)
	}
	for _, w := range b.expect {
		n, err := pick(c, "expect", "AIR_AGENT_", w, recordv1.AirAgent_value)
		if err != nil {
			return err
		}
		b.Expected = append(b.Expected, recordv1.AirAgent(n))
	}
	if b.every%time.Second != 0 || b.every < 0 || b.every > 24*time.Hour {
		return usage(c, "--air-every %s is not a number of seconds up to 30m", b.every)
	}
	b.AirEverySeconds = uint32(b.every / time.Second)
	for _, w := range b.paths {
		ref, how, _ := strings.Cut(w, "=")
		if _, err := refArg(c, ref); err != nil || how == "" {
			return usage(c, "--closed-path %q is not a fumigation's record and how its way is closed: yard/epoch/number=HOW", w)
		}
		b.ClosedPaths = append(b.ClosedPaths, &recordv1.ClosedPath{Fumigation: ref, How: how})
	}
	return nil
}

func (a *App) permitBinEntry() *cobra.Command {
	b := binEntry{BinEntry: &recordv1.BinEntry{}}
	var job string
	var end ending
	c := &cobra.Command{Use: "bin-entry PERMIT", Short: "Issue a permit to enter a bin, silo or tank", Args: args(1, 1),
		Long: "For the employer or the employer's representative: what you say here you certify.\n" +
			"Say only what you saw. What is not said counts as not so, and the permit is refused\n" +
			"with every condition that is not met. Beside what you say, the ledger asks for: the\n" +
			"job's points open, locked and proved; each entrant's own lock, and their training\n" +
			"(\"yardhasp person training NAME --class bin-entry\"); the air tested at top, middle\n" +
			"and bottom (\"yardhasp reading --kind air\"); and a named observer on station outside\n" +
			"(\"yardhasp permit observe\"), trained too (--class observer-rescue). 29 CFR 1910.272(g) and (h).\n\n" + permitCautionText,
		Example: "  yardhasp permit bin-entry crust-3-a --job crust-3 --hours 4 --entrants ben-ito,joe-lund --observers mia-berg \\\n" +
			"    --looked-clear --from-above --line harness-and-lifeline --stops-at-waist --nobody-walks-grain \\\n" +
			"    --rescue-equipment \"tripod and winch at the roof door\" --ventilation natural"}
	c.Flags().StringVar(&job, "job", "", "`job` on the zone, whose plan cuts it off")
	end.add(c)
	b.add(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "job"); err != nil {
			return err
		}
		ends, err := end.unixMS(c, a.Now())
		if err != nil {
			return err
		}
		if err := b.fill(c); err != nil {
			return err
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_IssuePermit{IssuePermit: &recordv1.IssuePermit{Id: args[0], Job: job, EndsUnixMs: ends,
			What: &recordv1.IssuePermit_BinEntry{BinEntry: b.BinEntry}}}})
	}
	return c
}

func (a *App) permitHotWork() *cobra.Command {
	h := &recordv1.HotWork{}
	var job string
	var end ending
	c := &cobra.Command{Use: "hot-work PERMIT", Short: "Issue a permit for flame or sparks", Args: args(1, 1),
		Long: "For the employer or the employer's representative: what you say here you certify.\n" +
			"Beside it the ledger asks for: the job's points open, locked and proved; gas tested\n" +
			"at the point of work (\"yardhasp reading --kind air --level work\"); a named fire\n" +
			"watch on station (\"yardhasp permit fire-watch\"), for an hour after the work too;\n" +
			"and inside a bin its bin-entry permit. 29 CFR 1910.272(f), 1910.252(a) (unchecked).\n\n" + permitCautionText,
		Example: "  yardhasp permit hot-work weld-4 --job boot-7 --hours 2 --place \"leg 2, boot door\" --workers ben-ito \\\n" +
			"    --fire-watch joe-lund --combustibles-cleared --openings-covered --dust-cleaned --extinguisher \"two of 10 lb\""}
	f := c.Flags()
	f.StringVar(&job, "job", "", "`job` under which the work is done")
	end.add(c)
	f.StringVar(&h.Place, "place", "", "where, in words")
	f.StringSliceVar(&h.Workers, "workers", nil, "`person` ids of those who work")
	f.StringSliceVar(&h.FireWatch, "fire-watch", nil, "`person` ids of those who watch for fire, one at least at all times")
	f.BoolVar(&h.CombustiblesCleared, "combustibles-cleared", false, "what could burn is moved away or covered")
	f.BoolVar(&h.OpeningsCovered, "openings-covered", false, "spouts, cracks and floor openings are covered")
	f.BoolVar(&h.DustCleaned, "dust-cleaned", false, "grain dust is cleaned away")
	f.StringVar(&h.Extinguisher, "extinguisher", "", "what is at hand to put a fire out, in words")
	f.BoolVar(&h.SuppressionOff, "suppression-off", false, "fire suppression is off for the work, and goes on again after it")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "job"); err != nil {
			return err
		}
		ends, err := end.unixMS(c, a.Now())
		if err != nil {
			return err
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_IssuePermit{IssuePermit: &recordv1.IssuePermit{Id: args[0], Job: job, EndsUnixMs: ends,
			What: &recordv1.IssuePermit_HotWork{HotWork: h}}}})
	}
	return c
}

func (a *App) permitHotWorkDone() *cobra.Command {
	return &cobra.Command{Use: "hot-work-done PERMIT", Short: "Record that the last flame or spark is out", Args: args(1, 1),
		Long:    "The fire watch goes on for an hour from here; then the permit can be closed.",
		Example: "  yardhasp permit hot-work-done weld-4",
		RunE: func(c *cobra.Command, args []string) error {
			return a.submit(c, &recordv1.Record{Act: &recordv1.Record_HotWorkDone{HotWorkDone: &recordv1.HotWorkDone{Permit: args[0]}}})
		}}
}

func (a *App) permitClose() *cobra.Command {
	p := &recordv1.ClosePermit{}
	c := &cobra.Command{Use: "close PERMIT", Short: "End a permit: everybody is out, or the fire watch is over", Args: args(1, 1),
		Long:    "Refused while anybody is signed on: unknown counts as inside.",
		Example: "  yardhasp permit close crust-3-a\n  yardhasp permit close weld-4 --suppression-on-again"}
	c.Flags().BoolVar(&p.SuppressionOnAgain, "suppression-on-again", false, "fire suppression, taken off for the work, is on again")
	c.RunE = func(c *cobra.Command, args []string) error {
		p.Permit = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_ClosePermit{ClosePermit: p}})
	}
	return c
}
