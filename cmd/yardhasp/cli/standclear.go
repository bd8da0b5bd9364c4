package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) standClearCmd() *cobra.Command {
	var request string
	c := &cobra.Command{Use: "stand-clear LOCK", Short: "Give up your lock's protection for one test", Args: args(1, 1),
		Long:    "Records that you took your lock off for one test or positioning. Get out of the\nzone, sign off, take the lock off, then say so here. From then on it protects you\nfrom nothing, and no end of the test brings it back: to go back to work, open, lock\nagain and prove again, then release the old lock.",
		Example: "  yardhasp stand-clear eastfork/1/204 --for jog-1"}
	c.Flags().StringVar(&request, "for", "", "the test's `request`")
	c.RunE = func(c *cobra.Command, args []string) error {
		hold, err := refArg(c, args[0])
		if err != nil {
			return err
		}
		if err := need(c, "for"); err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, "")
			if err != nil {
				return lockOff("stand_clear", err)
			}
			for _, q := range b.GetRequests() {
				if q.GetId() != request {
					continue
				}
				rec := &recordv1.Record{Act: &recordv1.Record_StandClear{StandClear: &recordv1.StandClear{Hold: hold, Request: request, Asked: q.GetIndex()}}}
				r, err := cl.Submit(ctx, rec)
				return a.settled(cl, ledger.KindOf(rec), r, err)
			}
			return lockOff("stand_clear", fmt.Errorf("no request %q is known here: keep your lock on, and read `yardhasp request list`", request))
		})
	}
	return c
}
