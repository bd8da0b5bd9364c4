package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// lockMore is what a lock may say besides its target, padlock and job.
type lockMore struct {
	equipment            bool
	review               string
	legend, demonstrated string
	tagOnly              bool
	means                []string
	tie, readable        uint32
}

func (m *lockMore) flags(c *cobra.Command) {
	f := c.Flags()
	f.BoolVar(&m.equipment, "equipment", false, "a yard's own lock on a machine out of service, nobody's personal lock")
	f.StringVar(&m.review, "review-by", "", "`day` on which an equipment lock is looked at again")
	f.StringVar(&m.legend, "legend", "", "what the tag says: do-not-start, do-not-open, do-not-close, do-not-energise, do-not-operate")
	f.BoolVar(&m.tagOnly, "tag-only", false, "a tag hangs there and no lock")
	f.StringSliceVar(&m.means, "means", nil, "extra `means` beside a tag: isolating-element-removed, controlling-switch-blocked, another-disconnect-opened, handle-taken-off; more than one with commas or again")
	f.StringVar(&m.demonstrated, "demonstration", "", "`id` of the written demonstration, where a lock would go on")
	f.Uint32Var(&m.tie, "tie-pounds", 0, "force that the tag's tie holds, pounds; 0: not checked")
	f.Uint32Var(&m.readable, "readable-mm", 0, "distance at which its signal word was read, millimetres; 0: not checked")
}

// fill puts these into a lock.
func (m *lockMore) fill(c *cobra.Command, l *recordv1.Lock) error {
	l.Equipment = m.equipment
	switch {
	case m.review != "" && !m.equipment:
		return usage(c, "--review-by is for an equipment lock: say --equipment, or leave it out")
	case m.equipment && m.tagOnly:
		return usage(c, "--equipment and --tag-only exclude each other: an equipment lock is a lock")
	case m.equipment && l.GetJob() != "":
		return usage(c, "an equipment lock belongs to the machine and to no job: leave out --job, and hang your own lock for the work")
	case m.equipment:
		if err := need(c, "review-by"); err != nil {
			return err
		}
		day, err := dateArg(c, "review-by", m.review)
		if err != nil {
			return err
		}
		l.ReviewUnixMs = day
	}
	t := &recordv1.Tag{Only: m.tagOnly, Demonstration: m.demonstrated, TiePounds: m.tie, ReadableMm: m.readable}
	if m.legend != "" {
		n, err := pick(c, "legend", "LEGEND_", m.legend, recordv1.Legend_value)
		if err != nil {
			return err
		}
		t.Legend = recordv1.Legend(n)
	}
	for _, w := range m.means {
		n, err := pick(c, "means", "EXTRA_MEANS_", w, recordv1.ExtraMeans_value)
		if err != nil {
			return err
		}
		t.Means = append(t.Means, recordv1.ExtraMeans(n))
	}
	for _, name := range []string{"legend", "tag-only", "means", "demonstration", "tie-pounds", "readable-mm"} {
		if c.Flags().Changed(name) {
			l.Tag = t
		}
	}
	return nil
}

// tagWords says what a tag is and what was done besides hanging it.
func tagWords(t *recordv1.Tag) string {
	legend := "no legend"
	if t.GetLegend() != recordv1.Legend_LEGEND_UNSPECIFIED {
		legend = word("LEGEND_", t.GetLegend().String())
	}
	var means []string
	for _, m := range t.GetMeans() {
		means = append(means, word("EXTRA_MEANS_", m.String()))
	}
	if len(means) == 0 {
		return legend + "; NO extra means"
	}
	return legend + "; " + strings.Join(means, ", ")
}

// holesLeft says how many holes no recorded lock fills.
func holesLeft(holes uint32, left int32) string {
	switch {
	case left == -1:
		return "NONE, 1 more lock than holes"
	case left < 0:
		return fmt.Sprintf("NONE, %d more locks than holes", -left)
	case left == 0 && holes > 0:
		return "NONE: full"
	}
	return fmt.Sprint(left)
}

func (a *App) reviewLockCmd() *cobra.Command {
	r := &recordv1.ReviewLock{}
	var next string
	c := &cobra.Command{Use: "review-lock LOCK", Short: "Record that an equipment lock was looked at and stays", Args: args(1, 1),
		Long: "For a supervisor or manager. An overdue review is an alarm on the board.", Example: "  yardhasp review-lock stonebend/1/188 --next 2027-02-28 --seen \"belt still off\""}
	c.Flags().StringVar(&next, "next", "", "`day` on which it is looked at again")
	c.Flags().StringVar(&r.Seen, "seen", "", "what was seen, in words")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if _, err := refArg(c, args[0]); err != nil {
			return err
		}
		if err := need(c, "next", "seen"); err != nil {
			return err
		}
		if r.NextUnixMs, err = dateArg(c, "next", next); err != nil {
			return err
		}
		r.Hold = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_ReviewLock{ReviewLock: r}})
	}
	return c
}

func (a *App) foundChokedCmd() *cobra.Command {
	f := &recordv1.FoundChoked{}
	c := &cobra.Command{Use: "found-choked PLACE", Short: "Record a choked leg: no test and no start reaches it", Args: args(1, 1),
		Long:    "Anybody may record this, of a zone or a machine, named yard/name. Never jog a choked\nleg to free it, 1910.272(q)(1): it is dug out by hand, under locks.",
		Example: "  yardhasp found-choked stonebend/leg-2-boot --seen \"boot full to the door\"\n  yardhasp found-choked stonebend/leg-2 --fed"}
	c.Flags().BoolVar(&f.Fed, "fed", false, "grain was fed into it while it stood")
	c.Flags().StringVar(&f.Seen, "seen", "", "what was seen, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		f.Where = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_FoundChoked{FoundChoked: f}})
	}
	return c
}

func (a *App) clearChokeCmd() *cobra.Command {
	r := &recordv1.ClearChoke{}
	c := &cobra.Command{Use: "clear-choke RECORD", Short: "Record that a choked leg was dug out by hand", Args: args(1, 1),
		Long:    "For an authorised employee or supervisor. Names the choke by its record,\nyard/epoch/number, as the board and the job show it.",
		Example: "  yardhasp clear-choke stonebend/1/231 --dug-out --how \"shovelled out, boot swept\""}
	c.Flags().BoolVar(&r.DugOut, "dug-out", false, "the grain was dug out by hand")
	c.Flags().StringVar(&r.How, "how", "", "how, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		if _, err := refArg(c, args[0]); err != nil {
			return err
		}
		if err := need(c, "dug-out", "how"); err != nil {
			return err
		}
		r.Choke = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_ClearChoke{ClearChoke: r}})
	}
	return c
}
