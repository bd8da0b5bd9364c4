package cli

import (
	"context"
	"encoding/base64"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) personCmd() *cobra.Command {
	return a.group("person", "People: list, training, due, revoke-key, reissue-key", "", a.personList(), a.personTraining(), a.personDue(), a.personRevoke(), a.personReissue())
}

func (a *App) personList() *cobra.Command {
	return &cobra.Command{Use: "list", Short: "Who is enrolled, and until when they are trained", Args: args(0, 0), RunE: func(c *cobra.Command, _ []string) error {
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, "")
			if err != nil {
				return err
			}
			return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), People: b.GetPeople()}, func(p *page) { p.people(b) })
		})
	}}
}

func (p *page) people(b *recordv1.Board) {
	p.asOf(b.GetAsOf())
	var rows [][]string
	for _, v := range b.GetPeople() {
		trained := p.a.lastDay(v.GetTrainedUntilUnixMs())
		switch {
		case v.GetTrainedUntilUnixMs() == 0:
			trained = "NEVER"
		case v.GetTrainedUntilUnixMs() <= b.GetAsOf().GetReadUnixMs():
			trained = "LAPSED " + trained
		}
		rows = append(rows, []string{v.GetId(), v.GetName(), orDash(v.GetEmployer()), roleWords(v.GetRoles()), yesNo(v.GetQualified()), trained, yesNo(v.GetHasKey())})
	}
	p.table("people", []string{"PERSON", "NAME", "EMPLOYER", "ROLES", "QUALIFIED", "TRAINED UNTIL", "HAS A KEY"}, rows)
	p.courses(b)
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func (a *App) personRevoke() *cobra.Command {
	r := &recordv1.RevokeKey{}
	var key string
	c := &cobra.Command{Use: "revoke-key PERSON", Short: "End a person's key, lost or copied", Args: args(1, 1),
		Example: "  yardhasp person revoke-key ben-ito --key 3q2+7w...= --why \"tablet lost\""}
	c.Flags().StringVar(&key, "key", "", "the public key, 32 bytes in `base64`")
	c.Flags().StringVar(&r.Why, "why", "", "why, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "key", "why"); err != nil {
			return err
		}
		raw, err := base64.StdEncoding.DecodeString(key)
		if err != nil || len(raw) != 32 {
			return usage(c, "--key is not the base64 of 32 bytes")
		}
		r.Person, r.Key = args[0], raw
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: r}})
	}
	return c
}

func (a *App) pointCmd() *cobra.Command {
	p := &recordv1.RegisterPoint{}
	add := &cobra.Command{Use: "add POINT", Short: "Enter an isolation point; it counts as live", Args: args(1, 1),
		Long:    "For a point that stands on no drawing, or before its drawing is there: a published\ndrawing enters its own points. --holes says for how many locks it has holes.",
		Example: "  yardhasp point add stonebend/mcc-1/leg-2 --holes 3 --label \"Leg 2 disconnect\""}
	add.Flags().Uint32Var(&p.Holes, "holes", 1, "holes for locks")
	add.Flags().StringVar(&p.Label, "label", "", "what people call it")
	add.RunE = func(c *cobra.Command, args []string) error {
		p.Point = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: p}})
	}
	return a.group("point", "Isolation points", "", add, a.pointDescribe())
}

func (a *App) pointDescribe() *cobra.Command {
	d := &recordv1.DescribePoint{}
	var installed string
	c := &cobra.Command{Use: "describe POINT", Short: "Record whether a point's device takes a lock", Args: args(1, 1),
		Long:    "A device that takes no lock gets a tag and at least one extra means, 1910.147(c)(3).\nWhere a lock goes on, a tag alone counts only with a written demonstration that it\nprotects as fully. What the drawing shows as lockable can't be described otherwise.",
		Example: "  yardhasp point describe stonebend/old/knife --takes-no-lock --why \"toggle with no hole\" --installed 1978-06-01\n  yardhasp point describe stonebend/mcc-1/leg-2 --demonstration d-3 --why \"reviewed by the safety lead\""}
	f := c.Flags()
	f.BoolVar(&d.NotLockable, "takes-no-lock", false, "its device can't take a lock; left out, it can")
	f.StringVar(&d.Demonstration, "demonstration", "", "`id` of the written demonstration that a tag alone protects as fully")
	f.StringVar(&d.Why, "why", "", "why, in words")
	f.StringVar(&installed, "installed", "", "`day` it was installed, replaced or heavily modified, as 1978-06-01")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if err := need(c, "why"); err != nil {
			return err
		}
		if d.NotLockable && d.Demonstration != "" {
			return usage(c, "--takes-no-lock and --demonstration exclude each other")
		}
		if installed != "" {
			day, err := time.Parse(time.DateOnly, installed)
			if err != nil {
				return usage(c, "--installed %q is not a day as 1978-06-01", installed)
			}
			d.InstalledUnixMs = day.UnixMilli()
		}
		d.Point = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_DescribePoint{DescribePoint: d}})
	}
	return c
}

func (a *App) boxCmd() *cobra.Command {
	b := &recordv1.RegisterBox{}
	add := &cobra.Command{Use: "add BOX", Short: "Enter a group lock box", Args: args(1, 1), Example: "  yardhasp box add stonebend/box-3 --holes 12"}
	add.Flags().Uint32Var(&b.Holes, "holes", 1, "holes for locks")
	add.Flags().StringVar(&b.Label, "label", "", "what people call it")
	add.RunE = func(c *cobra.Command, args []string) error {
		b.Box = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: b}})
	}
	move := func(verb, short, long string, build func(box, point string) *recordv1.Record) *cobra.Command {
		return &cobra.Command{Use: verb + " BOX POINT", Short: short, Long: long, Args: args(2, 2), Example: "  yardhasp box " + verb + " stonebend/box-3 stonebend/mcc-1/leg-2",
			RunE: func(c *cobra.Command, args []string) error {
				if strings.Count(args[0], "/") != 1 {
					return usage(c, "%q is not a box: a box is named yard/box, and comes first", args[0])
				}
				return a.submit(c, build(args[0], args[1]))
			}}
	}
	put := move("put", "Record that the key of a point's lock went into a box",
		"First the lock hangs on the point and is recorded, by whoever hung it for everybody\non the box; then its key goes in. From then on a lock on the box counts for the\npoint, while that lock hangs there and its key is inside. A key that went in before\nits lock is recorded counts for nothing: take it out and put it in again.", func(box, point string) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: box, Point: point}}}
		})
	take := move("take", "Record that it came out again",
		"Refused while a lock is on the box. When the work is over, take every key out and record it:\na key left in the record stands against starts, and protects nobody at the next job.", func(box, point string) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: box, Point: point}}}
		})
	return a.group("box", "Group lock boxes", "One lock on each point, its key in the box, and everybody's own lock on the box:\n\"yardhasp lock --box BOX\". Nobody gets a key out before the last lock is off the box.", add, put, take)
}
