package cli

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// procedureCmds keep procedures in the ledger.
func (a *App) procedureCmds() []*cobra.Command {
	return []*cobra.Command{a.procedureList(), a.procedureText(), a.procedurePublish(), a.procedureApprove(), a.procedureRequire(), a.procedureInspect()}
}

func (a *App) procedureList() *cobra.Command {
	return &cobra.Command{Use: "list", Short: "The procedures in use, and their inspections", Args: args(0, 0), Example: "  yardhasp procedure list",
		RunE: func(c *cobra.Command, _ []string) error {
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, "")
				if err != nil {
					return err
				}
				return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Procedures: b.GetProcedures()}, func(p *page) { p.procedures(b) })
			})
		}}
}

func (p *page) procedures(b *recordv1.Board) {
	p.asOf(b.GetAsOf())
	if len(b.GetProcedures()) == 0 {
		p.line("\nno procedure is published")
	}
	for _, v := range b.GetProcedures() {
		p.section(v.GetZone())
		switch {
		case v.GetVersion() == 0:
			p.loud("NONE APPROVED", "")
		case v.GetStale() != nil:
			p.loud("NOT TO BE USED:", "version %d: %s", v.GetVersion(), p.a.words().Says(v.GetStale()))
		default:
			p.line("  version %d, by %s, approved by %s at %s", v.GetVersion(), v.GetAuthor(), v.GetApprovedBy(), p.a.when(v.GetApprovedUnixMs()))
		}
		if v.GetWaiting() > 0 {
			p.line("  version %d by %s waits for somebody else's approval", v.GetWaiting(), v.GetWaitingAuthor())
		}
		if v.GetVersion() == 0 {
			continue
		}
		p.line("  machines: %s", strings.Join(v.GetMachines(), "; "))
		p.line("  points: %s", strings.Join(v.GetPoints(), ", "))
		p.line("  made on %s", strings.Join(v.GetDrawings(), ", "))
		if v.GetInspectedUnixMs() > 0 {
			p.line("  inspected %s by %s", p.a.when(v.GetInspectedUnixMs()), v.GetInspector())
		} else {
			p.line("  never inspected")
		}
		if v.GetInspectionDueUnixMs() < b.GetAsOf().GetReadUnixMs() {
			p.loud("  INSPECTION OVERDUE", "since %s (1910.147(c)(6)(i))", p.a.when(v.GetInspectionDueUnixMs()))
		} else {
			p.line("  next inspection due %s", p.a.ends(v.GetInspectionDueUnixMs()))
		}
		if len(v.GetToReview()) > 0 {
			p.line("  still to be reviewed with: %s", strings.Join(v.GetToReview(), ", "))
		}
	}
}

// procedureOf finds a zone's procedure in the ledger, nil when none was published.
func procedureOf(ctx context.Context, cl *client.Client, zone string) (*recordv1.ProcedureView, error) {
	b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, "")
	if err != nil {
		return nil, err
	}
	for _, v := range b.GetProcedures() {
		if v.GetZone() == zone {
			return v, nil
		}
	}
	return nil, nil
}

func (a *App) procedureText() *cobra.Command {
	var waiting bool
	c := &cobra.Command{Use: "text ZONE", Short: "Print the text of a published procedure", Args: args(1, 1),
		Long:    "Reads the approved version from the history and checks it against the ledger. With\n--waiting the one that waits for approval.",
		Example: "  yardhasp procedure text stonebend/leg-2-boot\n  yardhasp procedure text stonebend/leg-2-boot --waiting > read-me.txt"}
	c.Flags().BoolVar(&waiting, "waiting", false, "the version that waits for approval")
	c.RunE = func(c *cobra.Command, args []string) error {
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			v, err := procedureOf(ctx, cl, args[0])
			if err != nil {
				return err
			}
			entry, hash, number := v.GetIndex(), v.GetTextHash(), v.GetVersion()
			if waiting {
				entry, hash, number = v.GetWaitingIndex(), v.GetWaitingHash(), v.GetWaiting()
			}
			if number == 0 {
				return fmt.Errorf("%s has no such procedure: \"yardhasp procedure list\" shows what there is", args[0])
			}
			text, err := cl.ProcedureText(ctx, entry, hash)
			if err != nil {
				return err
			}
			switch {
			case !waiting && v.GetStale() != nil:
				a.warnf("NOT TO BE USED: %s", a.words().Says(v.GetStale()))
			case waiting:
				a.warnf("version %d is not approved: work by it counts for nothing", number)
			}
			_, err = a.Out.Write(text)
			return err
		})
	}
	return c
}

func (a *App) procedurePublish() *cobra.Command {
	r := &recordv1.PublishProcedure{}
	var file string
	c := &cobra.Command{Use: "publish ZONE", Short: "Publish the next version of a zone's procedure", Args: args(1, 1),
		Long: "Takes the text that \"yardhasp procedure ZONE\" computes, or a file of yours. It counts\nonce a supervisor or manager other than you has approved it. Its points must isolate\nthe zone on the current drawings. " +
			"The first one published for a yard turns \"procedures\nrequired\" on there, for good: jobs opened from then on need an approved procedure.",
		Example: "  yardhasp procedure publish stonebend/leg-2-boot --machine \"leg 2, work house\"\n  yardhasp procedure publish stonebend/leg-2-boot --file leg-2.txt --machine \"leg 2\" --point stonebend/mcc-1/leg-2"}
	f := c.Flags()
	f.StringVar(&file, "file", "", "`file` with the text (default: what is computed)")
	f.StringArrayVar(&r.Machines, "machine", nil, "a `machine` it covers, by name and place; again for more")
	f.StringSliceVar(&r.Points, "point", nil, "`point` that it locks (default: the plan's); more than one with commas or again")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "machine"); err != nil {
			return err
		}
		y, err := a.graphOf(c, nil)
		if err != nil {
			return err
		}
		plan, err := y.plan(args[0], r.Points, recordv1.Isolation_ISOLATION_UNSPECIFIED)
		if err != nil {
			return err
		}
		if file != "" {
			if r.Text, err = os.ReadFile(file); err != nil {
				return err
			}
		} else {
			out, err := y.write(plan, 1)
			if err != nil {
				return err
			}
			p := &page{a: &App{Env: func(string) string { return "" }, Now: a.Now, color: "never"}}
			p.written(out)
			r.Text = p.buf.Bytes()
		}
		r.Zone, r.Points = args[0], plan.Points
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			v, err := procedureOf(ctx, cl, r.Zone)
			if err != nil {
				return err
			}
			r.Version = max(v.GetVersion(), v.GetWaiting()) + 1
			rec := &recordv1.Record{Act: &recordv1.Record_PublishProcedure{PublishProcedure: r}}
			got, err := cl.Submit(ctx, rec)
			return a.settled(cl, "publish_procedure", got, err)
		})
	}
	return c
}

func (a *App) procedureApprove() *cobra.Command {
	var file string
	r := &recordv1.ApproveProcedure{}
	c := &cobra.Command{Use: "approve ZONE", Short: "Approve the version that waits: you have read its text", Args: args(1, 1),
		Long:    "For a supervisor or manager who did not write it. Read the text first: \"yardhasp\nprocedure text ZONE --waiting > FILE\". From then on it is in use, and everybody who\nused the zone's procedure before is to be retrained on it.",
		Example: "  yardhasp procedure approve stonebend/leg-2-boot --read leg-2.txt"}
	c.Flags().StringVar(&file, "read", "", "`file` with the text that you read")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "read"); err != nil {
			return err
		}
		text, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(text)
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			v, err := procedureOf(ctx, cl, args[0])
			if err != nil {
				return err
			}
			switch {
			case v.GetWaiting() == 0:
				return fmt.Errorf("no procedure of %s waits for approval", args[0])
			case !bytes.Equal(sum[:], v.GetWaitingHash()):
				return fmt.Errorf("%s is not the text of version %d: read that with \"yardhasp procedure text %s --waiting\"", file, v.GetWaiting(), args[0])
			}
			r.Zone, r.Version, r.TextHash = args[0], v.GetWaiting(), sum[:]
			got, err := cl.Submit(ctx, &recordv1.Record{Act: &recordv1.Record_ApproveProcedure{ApproveProcedure: r}})
			return a.settled(cl, "approve_procedure", got, err)
		})
	}
	return c
}

func (a *App) procedureRequire() *cobra.Command {
	var from string
	c := &cobra.Command{Use: "require YARD", Short: "From a moment on, jobs of a yard need an approved procedure", Args: args(1, 1),
		Long:    "For a manager. It is never taken back nor put off. Jobs opened before that moment go\non as they began.",
		Example: "  yardhasp procedure require stonebend\n  yardhasp procedure require stonebend --from 2027-01-01T00:00:00Z"}
	c.Flags().StringVar(&from, "from", "", "`time` as RFC 3339 writes it (default: now)")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		r := &recordv1.RequireProcedures{Yard: args[0], FromUnixMs: a.Now().UnixMilli()}
		if from != "" {
			if !strings.Contains(from, "T") {
				return usage(c, "--from %q is not a time as RFC 3339 writes it", from)
			}
			if r.FromUnixMs, err = dateArg(c, "from", from); err != nil {
				return err
			}
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RequireProcedures{RequireProcedures: r}})
	}
	return c
}

func (a *App) procedureInspect() *cobra.Command {
	r := &recordv1.InspectProcedure{}
	var date string
	c := &cobra.Command{Use: "inspect ZONE", Short: "Record the yearly inspection of a procedure and its certificate", Args: args(1, 1),
		Long:    "For an authorised employee who did not use the procedure in the period. The inspector\nreviews with each authorised user what their duties are: --employee names them, and\nthe answer says who is left.",
		Example: "  yardhasp procedure inspect stonebend/leg-2-boot --machine \"leg 2\" --date 2026-11-20 --employee ann-dahl,ben-ito\n  yardhasp procedure inspect stonebend/leg-2-boot --machine \"leg 2\" --date 2026-11-20 --employee ann-dahl \\\n    --deviations \"clamp left out\" --corrected \"shown again\" --retrain ann-dahl"}
	f := c.Flags()
	f.StringVar(&r.Machine, "machine", "", "machine or equipment, in words")
	f.StringVar(&date, "date", "", "`day` of the inspection, as 2026-11-20, or a time")
	f.StringSliceVar(&r.Employees, "employee", nil, "`person` ids of the employees included")
	f.StringVar(&r.Deviations, "deviations", "", "what was found, in words")
	f.StringVar(&r.Corrected, "corrected", "", "what was done about it, in words")
	f.StringSliceVar(&r.Retrain, "retrain", nil, "`person` ids of who is to be retrained")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if err := need(c, "machine", "date", "employee"); err != nil {
			return err
		}
		if r.DateUnixMs, err = a.doneArg(c, "date", date); err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			v, err := procedureOf(ctx, cl, args[0])
			if err != nil {
				return err
			}
			if v.GetVersion() == 0 {
				return fmt.Errorf("%s has no approved procedure to inspect", args[0])
			}
			r.Zone, r.Version = args[0], v.GetVersion()
			got, err := cl.Submit(ctx, &recordv1.Record{Act: &recordv1.Record_InspectProcedure{InspectProcedure: r}})
			return a.settled(cl, "inspect_procedure", got, err)
		})
	}
	return c
}
