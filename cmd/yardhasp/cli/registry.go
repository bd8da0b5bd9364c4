package cli

import (
	"context"
	"encoding/base64"
	"strings"

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

func (a *App) padlockCmd() *cobra.Command {
	l := &recordv1.RegisterPadlock{}
	var spare string
	add := &cobra.Command{Use: "add SERIAL", Short: "Enter a personal padlock", Args: args(1, 1),
		Example: "  yardhasp padlock add p-17 --owner ann-dahl --keys-cut 2 --spare destroyed"}
	f := add.Flags()
	f.StringVar(&l.Owner, "owner", "", "`person` it belongs to")
	f.Uint32Var(&l.KeysCut, "keys-cut", 1, "keys that were ever cut for it")
	f.StringVar(&spare, "spare", "none-cut", "where the second key is: none-cut, destroyed, manager-custody, elsewhere")
	add.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "owner"); err != nil {
			return err
		}
		n, err := pick(c, "spare", "SPARE_KEY_", spare, recordv1.SpareKey_value)
		if err != nil {
			return err
		}
		l.Serial, l.Spare = args[0], recordv1.SpareKey(n)
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: l}})
	}
	return a.group("padlock", "Personal padlocks", "", add)
}

func (a *App) pointCmd() *cobra.Command {
	p := &recordv1.RegisterPoint{}
	add := &cobra.Command{Use: "add POINT", Short: "Enter an isolation point; it counts as live", Args: args(1, 1),
		Example: "  yardhasp point add stonebend/mcc-1/leg-2 --holes 3 --label \"Leg 2 disconnect\""}
	add.Flags().Uint32Var(&p.Holes, "holes", 1, "holes for locks")
	add.Flags().StringVar(&p.Label, "label", "", "what people call it")
	add.RunE = func(c *cobra.Command, args []string) error {
		p.Point = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: p}})
	}
	return a.group("point", "Isolation points", "", add)
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
	move := func(verb, short string, build func(box, point string) *recordv1.Record) *cobra.Command {
		return &cobra.Command{Use: verb + " BOX POINT", Short: short, Args: args(2, 2), Example: "  yardhasp box " + verb + " stonebend/box-3 stonebend/mcc-1/leg-2",
			RunE: func(c *cobra.Command, args []string) error {
				if strings.Count(args[0], "/") != 1 {
					return usage(c, "%q is not a box: a box is named yard/box, and comes first", args[0])
				}
				return a.submit(c, build(args[0], args[1]))
			}}
	}
	put := move("put", "Record that the key of a point's lock went into a box", func(box, point string) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: box, Point: point}}}
	})
	take := move("take", "Record that it came out again", func(box, point string) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: box, Point: point}}}
	})
	return a.group("box", "Group lock boxes", "", add, put, take)
}
