package cli

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) requestCmd() *cobra.Command {
	q := &recordv1.Request{}
	var within time.Duration
	what := "start"
	c := &cobra.Command{Use: "request ID", Short: "Ask to re-energise the points of a finished job", Args: args(1, 1),
		Long:    "Refused until everything is recorded: tools out, guards on, everybody signed off,\nevery lock off, people told. Approval is not permission to close: only a go-ahead\nat the panel is. Without --point every point of the job's plan is asked for.\n\nWith --for test or positioning it is asked in the middle of the work: the area is\ncleared and everybody signed off, then every holder stands clear for it\n(yardhasp stand-clear), people are told, and only then may the panel be asked.\nAfterwards the points are opened and locked afresh, and every reading taken again.",
		Example: "  yardhasp request r-12 --job boot-7 --within 2h\n  yardhasp request jog-1 --job boot-7 --point eastfork/mcc-1/leg --for test --within 20m\n  yardhasp request list"}
	f := c.Flags()
	f.StringVar(&q.Job, "job", "", "the finished `job`")
	f.StringSliceVar(&q.Points, "point", nil, "`point` to energise; more than one with commas or again")
	f.DurationVar(&within, "within", 2*time.Hour, "how long the request stands")
	f.StringVar(&what, "for", what, "`what` for: start, test or positioning")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "job"); err != nil {
			return err
		}
		kind, ok := map[string]recordv1.RequestKind{"start": 0, "test": recordv1.RequestKind_REQUEST_KIND_TEST, "positioning": recordv1.RequestKind_REQUEST_KIND_POSITIONING}[what]
		if q.Kind = kind; !ok {
			return usage(c, "--for %q: say start, test or positioning", what)
		}
		if within <= 0 {
			return usage(c, "--within %s is not more than nothing", within)
		}
		q.Id, q.DeadlineUnixMs = args[0], a.Now().Add(within).UnixMilli()
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			if len(q.Points) == 0 {
				j, err := cl.Job(ctx, q.Job, servicev1.Consistency_CONSISTENCY_UNSPECIFIED)
				if err != nil {
					return err
				}
				q.Points = j.GetPlan()
			}
			rec := &recordv1.Record{Act: &recordv1.Record_Request{Request: q}}
			r, err := cl.Submit(ctx, rec)
			return a.settled(cl, ledger.KindOf(rec), r, err)
		})
	}
	c.AddCommand(a.requestList())
	return c
}

func (a *App) requestList() *cobra.Command {
	var read readFlags
	var f filter
	c := &cobra.Command{Use: "list", Short: "The open requests", Args: args(0, 0),
		Example: "  yardhasp request list\n  yardhasp request list --at millrow --state approved"}
	f.add(c, enumWords("REQUEST_STATE_", recordv1.RequestState_name))
	read.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		how, err := read.how(c)
		if err == nil {
			err = f.knownState(c, "REQUEST_STATE_", recordv1.RequestState_value)
		}
		if err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			b, err := cl.Board(ctx, how, "")
			if err == nil {
				err = knownYard(c, b.GetAsOf(), f.at)
			}
			if err != nil {
				return err
			}
			client.WithholdBoard(b)
			f.cut(b)
			return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Requests: b.GetRequests()}, func(p *page) {
				p.asOf(b.GetAsOf())
				p.listed(f)
				if len(b.GetRequests()) == 0 {
					p.line("\nno request is open%s; one that a new lock or its deadline ended is not listed", forWhat(f))
				}
				if p.requests(b.GetRequests()) {
					p.caution()
				}
				p.line("\n%s", NotPermission)
			})
		})
	}
	return c
}

func (a *App) withdrawCmd() *cobra.Command {
	w := &recordv1.Withdraw{}
	c := &cobra.Command{Use: "withdraw REQUEST", Short: "End an open request", Args: args(1, 1), Example: "  yardhasp withdraw r-12 --why \"guard missing\""}
	c.Flags().StringVar(&w.Why, "why", "", "why, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		w.Request = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: w}})
	}
	return c
}
