package cli

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/record"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (a *App) watchCmd() *cobra.Command {
	var from uint64
	var f filter
	c := &cobra.Command{Use: "watch", Short: "Print every record as the ledger takes it", Args: args(0, 0),
		Long:    "Runs until it is interrupted. After a lost connection it goes on where it was, at\nanother yard if need be. With -o json each record is one line. --at, --person and\n--job read the whole history once: what a record is about stands in earlier ones.",
		Example: "  yardhasp watch --from 1200 -o json\n  yardhasp watch --at millrow --state refused"}
	f.add(c, strings.Join(record.States, ", "))
	c.Flags().Uint64Var(&from, "from", 0, "ledger `index` to begin with")
	c.RunE = func(c *cobra.Command, _ []string) error {
		cl, err := a.client()
		if err != nil {
			return err
		}
		defer cl.Close()
		w, err := a.follower(c, cl, f)
		if err != nil {
			return err
		}
		return cl.Watch(c.Context(), from, func(o *recordv1.Outcome) error {
			if !w.picks(c.Context(), o) {
				return nil
			}
			return a.printLine(o, func(p *page) { p.outcome(o) })
		}, func(yard string, err error) { a.warnf("%s: %s; going on with the next yard", yard, client.Plain(err)) })
	}
	return c
}

func (p *page) outcome(o *recordv1.Outcome) {
	what := strings.Join(p.a.words().Changes(o), "; ")
	if !o.GetAccepted() {
		var texts []string
		for _, c := range o.GetConditions() {
			texts = append(texts, p.a.words().Says(c))
		}
		what = "REFUSED: " + strings.Join(texts, "; ")
	}
	p.line("%d  %s  %s by %s  %s", o.GetIndex(), p.a.when(o.GetTimeUnixMs()), strings.ReplaceAll(o.GetKind(), "_", " "), orDash(o.GetSigner()), orDash(what))
	for _, f := range o.GetFlags() {
		p.line("   FLAGGED: %s", p.a.words().WithClause(f))
	}
}

// exported is what an export prints.
type exported struct {
	File    string `json:"file"`
	Entries uint64 `json:"entries,string"`
	Caution string `json:"caution"`
}

func (a *App) exportCmd() *cobra.Command {
	return &cobra.Command{Use: "export FILE", Short: "Write the whole history to a file that proves itself", Args: args(1, 1),
		Long: "Writes every entry and a signed checkpoint. \"yardhasp verify\" checks the file with\nno yard at hand. A file that exists is not replaced.", Example: "  yardhasp export 2026-11.yardhasp --timeout 5m",
		RunE: func(c *cobra.Command, args []string) error {
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				f, err := os.OpenFile(args[0], os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
				if err != nil {
					return err
				}
				out := &counting{Writer: f, a: a, what: "written"}
				n, err := cl.Export(ctx, out)
				out.done()
				if err == nil {
					err = f.Sync()
				}
				if err = errors.Join(err, f.Close()); err != nil {
					// Half an export proves nothing.
					return errors.Join(err, os.Remove(args[0]))
				}
				return a.print(exported{args[0], n, ledger.Caution}, func(p *page) {
					p.line("%d entries written to %s", n, args[0])
					p.caution()
				})
			})
		}}
}

func (a *App) verifyCmd() *cobra.Command {
	var ledgerID string
	var earlier []string
	c := &cobra.Command{Use: "verify FILE", Short: "Check an export, asking nobody", Args: args(1, 1),
		Long:    "Applies every entry again and checks the result against the signed checkpoint.\nWithout --ledger and without a profile it can't tell whether the whole history was\nmade up; a checkpoint you kept shows that nothing before it was changed since.",
		Example: "  yardhasp verify 2026-11.yardhasp --checkpoint kept.txt"}
	c.Flags().StringVar(&ledgerID, "ledger", "", "`id` the ledger must have, 64 hex digits (default: your profile's)")
	c.Flags().StringSliceVar(&earlier, "checkpoint", nil, "`file` with a checkpoint kept earlier")
	c.RunE = func(c *cobra.Command, args []string) error {
		want, notes, err := a.against(c, ledgerID, earlier)
		if err != nil {
			return err
		}
		v, err := client.Verify(args[0], want, notes...)
		if err != nil {
			return fmt.Errorf("%s: %w", args[0], err)
		}
		return a.print(v, func(p *page) {
			p.line("as of %s: the file is whole, and what its checkpoint signs", p.a.when(v.LastUnixMs))
			p.line("%s, ledger %s", v.Coop, v.Ledger)
			p.line("%d entries, %d of them refused, root %s", v.Size, v.Refused, v.Root)
			p.line("checkpoint signed by %s", strings.Join(v.SignedBy, ", "))
			for _, n := range v.Earlier {
				p.line("the checkpoint of size %d lies on this history", n)
			}
			p.caution()
		})
	}
	return c
}

// against is what a file is checked against: the ledger's id, nil if none is known, and
// checkpoints that were kept earlier.
func (a *App) against(c *cobra.Command, ledgerID string, earlier []string) (want []byte, notes [][]byte, err error) {
	if ledgerID != "" {
		if want, err = hex.DecodeString(ledgerID); err != nil || len(want) != 32 {
			return nil, nil, usage(c, "--ledger is not 64 hex digits")
		}
	} else if p, err := a.profile(); err == nil {
		want = p.Ledger
	} else {
		a.warnf("no profile and no --ledger: this shows that the file is whole, not whose ledger it is")
	}
	for _, f := range earlier {
		data, err := os.ReadFile(f)
		if err != nil {
			return nil, nil, err
		}
		notes = append(notes, data)
	}
	return want, notes, nil
}

// checkpoint is what the checkpoint command prints.
type checkpoint struct {
	Note string `json:"note"`
	Size uint64 `json:"size,string"`
	Root string `json:"root"`
}

func (a *App) checkpointCmd() *cobra.Command {
	return &cobra.Command{Use: "checkpoint", Short: "Print a signed checkpoint to keep", Args: args(0, 0),
		Long: "Keep it somewhere else. \"yardhasp verify --checkpoint\" later shows that history was\nonly added to.", Example: "  yardhasp checkpoint > kept.txt",
		RunE: func(c *cobra.Command, _ []string) error {
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				text, err := cl.Checkpoint(ctx)
				if err != nil {
					return err
				}
				size, root, err := cl.OpenCheckpoint([]byte(text))
				if err != nil {
					return err
				}
				return a.print(checkpoint{text, size, hex.EncodeToString(root[:])}, func(p *page) { p.buf.WriteString(text) })
			})
		}}
}
