package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/record"
)

func (a *App) historyCmd() *cobra.Command {
	var f filter
	var pick record.Filter
	var since, until, file, as, ledgerID string
	var earlier []string
	c := &cobra.Command{Use: "history", Short: "What was recorded, by job, person, point, lock, yard and time", Args: args(0, 0),
		Long: "Reads the whole history, from the yards or with --from-file from an export, checks\nevery entry again on this machine, and lists what is asked for. It says what it rests\non: \"yardhasp verify\" of the same export gives the same root.\n\n" +
			"--as csv and --as jsonl are for programs, --as report is for printing: certificates\nfirst (locks on and off, readings, removals, hand-overs, training), then every entry,\non pages of 60 lines of 80 characters.",
		Example: "  yardhasp history --job boot-7\n  yardhasp history --lock p-17 --since 2026-09-01 --timeout 5m\n  yardhasp history --at stonebend --as report --from-file 2026-11.yardhasp > stonebend.txt\n  yardhasp history --person ann-dahl --as csv > ann-dahl.csv"}
	f.add(c, strings.Join(record.States, ", "))
	fl := c.Flags()
	fl.StringVar(&pick.Point, "point", "", "only what is about this `point` or box")
	fl.StringVar(&pick.Lock, "lock", "", "only what is about this `lock`: its record, yard/epoch/number, or a padlock's serial")
	fl.StringVar(&since, "since", "", "from this `day` on, or a time as RFC 3339 writes it")
	fl.StringVar(&until, "until", "", "up to the end of this `day`, or before a time")
	fl.StringVar(&file, "from-file", "", "read this export `file`, and ask nobody")
	fl.StringVar(&as, "as", "list", "`form`: list, csv, jsonl or report")
	fl.StringVar(&ledgerID, "ledger", "", "with --from-file: `id` the ledger must have (default: your profile's)")
	fl.StringSliceVar(&earlier, "checkpoint", nil, "with --from-file: `file` with a checkpoint kept earlier")
	c.RunE = func(c *cobra.Command, _ []string) (err error) {
		pick.At, pick.Person, pick.Job, pick.State = f.at, f.person, f.job, f.state
		switch {
		case f.state != "" && !slices.Contains(record.States, f.state):
			return usage(c, "--state %q is none of: %s", f.state, strings.Join(record.States, ", "))
		case !slices.Contains([]string{"list", "csv", "jsonl", "report"}, as):
			return usage(c, "--as %q is not list, csv, jsonl or report", as)
		case as != "list" && a.output != "table":
			return usage(c, "--as %s and --output %s are two forms: give one", as, a.output)
		case file == "" && (ledgerID != "" || len(earlier) > 0):
			return usage(c, "--ledger and --checkpoint go with --from-file: the yards of your profile are checked by their keys")
		}
		if since != "" {
			if pick.Since, err = dayStart(c, "since", since); err != nil {
				return err
			}
		}
		if until != "" {
			if pick.Until, err = dateArg(c, "until", until); err != nil {
				return err
			}
		}
		if file != "" {
			want, notes, err := a.against(c, ledgerID, earlier)
			if err != nil {
				return err
			}
			h, err := readHistory(file, want, pick, notes)
			if err != nil {
				return fmt.Errorf("%s: %w", file, err)
			}
			return a.showHistory(c, h, as)
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			done := a.progress("reading the history")
			h, err := record.Fetch(ctx, cl, pick)
			done()
			if err != nil {
				return err
			}
			return a.showHistory(c, h, as)
		})
	}
	return c
}

func readHistory(file string, ledgerID []byte, f record.Filter, earlier [][]byte) (*record.History, error) {
	r, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return record.Read(r, ledgerID, f, earlier...)
}

// dayStart reads a day, which means its beginning in UTC, or an RFC 3339 time.
func dayStart(c *cobra.Command, flag, s string) (int64, error) {
	if t, err := time.Parse(time.DateOnly, s); err == nil {
		return t.UnixMilli(), nil
	}
	return dateArg(c, flag, s)
}

func (a *App) showHistory(c *cobra.Command, h *record.History, as string) error {
	write := map[string]func(io.Writer) error{"csv": h.CSV, "jsonl": h.JSONLines, "report": func(w io.Writer) error { return h.Report(w, a.units == "us") }}[as]
	if write != nil {
		return write(a.Out)
	}
	return a.print(struct {
		Rests  record.Rests    `json:"rests_on"`
		Filter record.Filter   `json:"filter"`
		Events []*record.Event `json:"events"`
	}{h.Rests, h.Filter, h.Events}, func(p *page) { p.history(h) })
}

func (p *page) history(h *record.History) {
	r := h.Rests
	p.line("as of %s (%d entries): %s, ledger %s", p.a.when(r.AsOfUnixMs), r.Size, r.Coop, r.Ledger)
	p.wrapped("", "  ", fmt.Sprintf("root %s, checkpoint signed by %s", r.Root, strings.Join(r.SignedBy, ", ")))
	p.wrapped("", "  ", r.How)
	for _, n := range r.Earlier {
		p.line("the checkpoint of size %d lies on this history", n)
	}
	p.line("\n%s", h.Filter)
	if len(h.Events) == 0 {
		p.line("nothing recorded")
	}
	for _, e := range h.Events {
		what := strings.Join(record.Sentences(e.Changes), "; ")
		if !e.Accepted {
			what = "REFUSED: " + strings.Join(record.Sentences(e.Unmet), "; ")
		}
		p.wrapped("", "      ", fmt.Sprintf("%d  %s  %s by %s%s  %s", e.Index, p.a.when(e.TimeUnixMs), strings.ReplaceAll(e.Kind, "_", " "), orDash(e.Signer), suffix("  ", e.Ref), orDash(what)))
		for _, t := range e.Flags {
			p.wrapped("   FLAGGED: ", "      ", t.String())
		}
	}
	p.caution()
}
