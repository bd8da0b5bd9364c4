package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) personTraining() *cobra.Command {
	t := &recordv1.RecordTraining{}
	var until, done, class string
	c := &cobra.Command{Use: "training PERSON", Short: "Record until when a person's training is current", Args: args(1, 1),
		Long: "Each class counts by itself. As an authorised employee a person hangs locks; whose\ntraining lapsed, their locks are recorded and flagged, and work may not start on them.\n" +
			"Retraining names the zones whose drawing or procedure changed with --covers, and\nwas given after the change. Grain handling is trained at least every year.",
		Example: "  yardhasp person training ben-ito --until 2027-01-31 --qualified\n  yardhasp person training ben-ito --class grain-handling --done 2026-11-02 --until 2027-11-01\n" +
			"  yardhasp person training ben-ito --until 2027-01-31 --covers stonebend/leg-2-boot --certificate \"toolbox talk 14\""}
	f := c.Flags()
	f.StringVar(&until, "until", "", "last `day`, as 2027-01-31")
	f.StringVar(&done, "done", "", "`day` it was given, as 2026-11-02, or a time (default: now)")
	f.StringVar(&class, "class", "authorised", "authorised, affected, other, tag-limits, bin-entry, observer-rescue, grain-handling")
	f.StringVar(&t.Certificate, "certificate", "", "what the certificate says, in words")
	f.StringSliceVar(&t.Covers, "covers", nil, "`zone` it was retraining on; more than one with commas or again")
	f.BoolVar(&t.Qualified, "qualified", false, "may test electrical parts; left out, they may not")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if err := need(c, "until"); err != nil {
			return err
		}
		n, err := pick(c, "class", "TRAINING_CLASS_", class, recordv1.TrainingClass_value)
		if err != nil {
			return err
		}
		t.Training = recordv1.TrainingClass(n)
		if t.Qualified && t.Training != recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED {
			return usage(c, "--qualified goes with --class authorised")
		}
		if t.UntilUnixMs, err = dateArg(c, "until", until); err != nil {
			return err
		}
		if done != "" {
			if t.DoneUnixMs, err = a.doneArg(c, "done", done); err != nil {
				return err
			}
		}
		t.Person = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: t}})
	}
	return c
}

// doneArg reads when something was done: a time, or a day. A day means its beginning, so
// that the time is never later than the fact.
func (a *App) doneArg(c *cobra.Command, flag, s string) (int64, error) {
	ms, err := dateArg(c, flag, s)
	if err != nil {
		return 0, err
	}
	if !strings.Contains(s, "T") {
		ms -= 24 * 60 * 60 * 1000
	}
	if ms > a.Now().UnixMilli() {
		return 0, usage(c, "--%s %s has not come yet", flag, s)
	}
	return ms, nil
}

func (a *App) personDue() *cobra.Command {
	return &cobra.Command{Use: "due", Short: "Training, retraining, inspections and reviews that are due", Args: args(0, 0),
		Long:    "What is overdue, what is due within 30 days, and what was never recorded.",
		Example: "  yardhasp person due\n  yardhasp person due -o json",
		RunE: func(c *cobra.Command, _ []string) error {
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, "")
				if err != nil {
					return err
				}
				return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Due: b.GetDue()}, func(p *page) {
					p.asOf(b.GetAsOf())
					p.outsider(b)
					if len(b.GetDue()) == 0 {
						p.line("\nnothing is recorded as due within 30 days")
					}
					p.due(b.GetDue(), true)
				})
			})
		}}
}

// due prints everything that is due. On a board (all is false) it prints only what is
// overdue, and leaves out trainings that nobody ever recorded.
func (p *page) due(ds []*recordv1.DueView, all bool) {
	var rows [][]string
	for _, d := range ds {
		if !all && (!d.GetOverdue() || d.GetDueUnixMs() == 0) {
			continue
		}
		day := p.a.when(d.GetDueUnixMs())
		if d.GetKind() == "training" {
			day = p.a.lastDay(d.GetDueUnixMs())
		}
		when := "due " + day
		switch {
		case d.GetDueUnixMs() == 0:
			when = "MISSING"
		case d.GetKind() == "retraining":
			when = "RETRAIN, since " + day
		case d.GetOverdue():
			when = "OVERDUE since " + day
		}
		w := p.a.words()
		rows = append(rows, []string{when, d.GetKind(), d.GetSubject(), w.Says(d.GetDue()), w.Clause(d.GetDue())})
	}
	title := "due"
	if !all {
		title = "overdue"
	}
	p.table(title, []string{"WHEN", "KIND", "WHO OR WHERE", "WHAT", "CLAUSE"}, rows)
}

// courses prints each person's trainings by class, and what they must be retrained on.
func (p *page) courses(b *recordv1.Board) {
	var rows [][]string
	for _, v := range b.GetPeople() {
		for _, k := range v.GetCourses() {
			until := p.a.lastDay(k.GetUntilUnixMs())
			if k.GetUntilUnixMs() <= b.GetAsOf().GetReadUnixMs() {
				until = "LAPSED " + until
			}
			rows = append(rows, []string{v.GetId(), ledger.ClassName(k.GetTraining()), p.a.when(k.GetDoneUnixMs()), until, orDash(k.GetCertificate())})
		}
	}
	p.table("trainings", []string{"PERSON", "CLASS", "GIVEN", "UNTIL", "CERTIFICATE"}, rows)
	for _, v := range b.GetPeople() {
		for _, r := range v.GetRetrain() {
			p.loud("RETRAIN:", "%s on %s: %s, 1910.147(c)(7)(iii) (unchecked)", v.GetId(), r.GetZone(), saysOf(p.a, r.GetBecause()))
		}
	}
}

// saysOf is a finding in words, or "" for none.
func saysOf(a *App, f *recordv1.Finding) string {
	if f == nil {
		return ""
	}
	return a.words().Says(f)
}
