package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (a *App) padlockCmd() *cobra.Command {
	return a.group("padlock", "Padlocks and their keys", "", a.padlockAdd(), a.padlockList(), a.padlockIssue(), a.padlockReturn(), a.padlockKey(), a.padlockReport(), a.padlockClear())
}

func (a *App) padlockAdd() *cobra.Command {
	l := &recordv1.RegisterPadlock{}
	spare, kind := "none-cut", "single-key"
	add := &cobra.Command{Use: "add SERIAL", Short: "Enter a padlock", Args: args(1, 1),
		Long:    "A personal lock has one key. A keyed-alike or combination lock is taken and flagged\nwherever it hangs as somebody's personal lock.",
		Example: "  yardhasp padlock add p-17 --owner ann-dahl --keys-cut 2 --spare destroyed\n  yardhasp padlock add yard-1 --owner bo-lind --kind equipment"}
	f := add.Flags()
	f.StringVar(&l.Owner, "owner", "", "`person` it is issued to; of a yard's equipment lock, who answers for it")
	f.StringVar(&kind, "kind", kind, "what it is: single-key, keyed-alike, combination, equipment")
	f.Uint32Var(&l.KeysCut, "keys-cut", 1, "keys that were ever cut for it")
	f.StringVar(&spare, "spare", spare, "where the second key is: none-cut, destroyed, manager-custody, elsewhere")
	f.StringVar(&l.SpareHolder, "spare-with", "", "`person` who has the second key")
	add.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "owner"); err != nil {
			return err
		}
		n, err := pick(c, "spare", "SPARE_KEY_", spare, recordv1.SpareKey_value)
		if err != nil {
			return err
		}
		k, err := pick(c, "kind", "PADLOCK_KIND_", kind, recordv1.PadlockKind_value)
		if err != nil {
			return err
		}
		l.Serial, l.Spare, l.Kind = args[0], recordv1.SpareKey(n), recordv1.PadlockKind(k)
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: l}})
	}
	return add
}

func (a *App) padlockList() *cobra.Command {
	var read readFlags
	c := &cobra.Command{Use: "list", Short: "Every padlock: whose, its keys, where it hangs, what is wrong with it", Args: args(0, 0)}
	read.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		how, err := read.how(c)
		if err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			b, err := cl.Board(ctx, how, "")
			if err != nil {
				return err
			}
			return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Padlocks: b.GetPadlocks()}, func(p *page) {
				p.asOf(b.GetAsOf())
				p.padlocks(b.GetPadlocks())
			})
		})
	}
	return c
}

func (p *page) padlocks(ls []*recordv1.PadlockView) {
	var rows [][]string
	for _, l := range ls {
		spare := l.GetSpare()
		if l.GetSpareHolder() != "" {
			spare += ", with " + l.GetSpareHolder()
		}
		kind := "single key"
		if k := l.GetKind(); k != recordv1.PadlockKind_PADLOCK_KIND_UNSPECIFIED {
			kind = word("PADLOCK_KIND_", k.String())
		}
		rows = append(rows, []string{l.GetSerial(), kind, orDash(l.GetOwner()), fmt.Sprint(l.GetKeysCut()), orDash(spare), orDash(strings.Join(l.GetOn(), ", "))})
	}
	p.table("padlocks", []string{"PADLOCK", "KIND", "ISSUED TO", "KEYS CUT", "SECOND KEY", "HANGS ON"}, rows)
	for _, l := range ls {
		for _, f := range l.GetFlags() {
			p.loud("FLAGGED", "now: %s", p.a.words().WithClause(f))
		}
		if on := slices.Compact(slices.Clone(l.GetOn())); len(l.GetOn()) > 1 {
			p.loud("FLAGGED", "now: padlock %s is recorded in %d places: %s (1910.147(c)(5)(ii))", l.GetSerial(), len(l.GetOn()), strings.Join(on, ", "))
		}
	}
}

func (a *App) padlockIssue() *cobra.Command {
	return &cobra.Command{Use: "issue SERIAL PERSON", Short: "Record that a padlock was handed to a person", Args: args(2, 2),
		Long: "It changes no lock that hangs: that record stands until its holder signs off.", Example: "  yardhasp padlock issue p-17 ann-dahl",
		RunE: func(c *cobra.Command, args []string) error {
			return a.submit(c, &recordv1.Record{Act: &recordv1.Record_IssuePadlock{IssuePadlock: &recordv1.IssuePadlock{Serial: args[0], Person: args[1]}}})
		}}
}

func (a *App) padlockReturn() *cobra.Command {
	return &cobra.Command{Use: "return SERIAL", Short: "Record that a padlock came back", Args: args(1, 1), Example: "  yardhasp padlock return p-17",
		RunE: func(c *cobra.Command, args []string) error {
			return a.submit(c, &recordv1.Record{Act: &recordv1.Record_IssuePadlock{IssuePadlock: &recordv1.IssuePadlock{Serial: args[0]}}})
		}}
}

func (a *App) padlockKey() *cobra.Command {
	m := &recordv1.MoveKey{}
	c := &cobra.Command{Use: "key SERIAL MOVE", Short: "Record that the second key was taken-out, put-back or destroyed", Args: args(2, 2),
		Long:    "Taken out, name the removal it was taken for by the removed lock's record: else it\nis flagged. Back in custody or destroyed it is only by a manager's word.",
		Example: "  yardhasp padlock key p-17 taken-out --with nia-okoro --removal stonebend/1/204\n  yardhasp padlock key p-17 put-back --with nia-okoro\n  yardhasp padlock key p-17 destroyed"}
	c.Flags().StringVar(&m.Holder, "with", "", "`person` who has it now")
	c.Flags().StringVar(&m.Removal, "removal", "", "the removed `lock`, yard/epoch/number")
	c.RunE = func(c *cobra.Command, args []string) error {
		moves := map[string]recordv1.KeyMove{"taken-out": recordv1.KeyMove_KEY_MOVE_TAKEN_OUT, "put-back": recordv1.KeyMove_KEY_MOVE_PUT_BACK, "destroyed": recordv1.KeyMove_KEY_MOVE_DESTROYED}
		m.Serial, m.Move = args[0], moves[args[1]]
		switch {
		case m.Move == 0:
			return usage(c, "%q: say taken-out, put-back or destroyed", args[1])
		case m.Move == recordv1.KeyMove_KEY_MOVE_DESTROYED && m.Holder != "":
			return usage(c, "a destroyed key is with nobody: leave out --with")
		case m.Move != recordv1.KeyMove_KEY_MOVE_DESTROYED && m.Holder == "":
			return usage(c, "--with is missing: who has the key now")
		}
		if m.Removal != "" {
			if _, err := refArg(c, m.Removal); err != nil {
				return err
			}
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_MoveKey{MoveKey: m}})
	}
	return c
}

// troubleFlag adds a flag for what is wrong with a padlock.
func troubleFlag(c *cobra.Command, to *string) {
	c.Flags().StringVar(to, "trouble", "", "what is wrong: key-lost, lock-lost, other-use")
}

func troubleArg(c *cobra.Command, given string) (recordv1.PadlockTrouble, error) {
	if err := need(c, "trouble"); err != nil {
		return 0, err
	}
	n, err := pick(c, "trouble", "PADLOCK_TROUBLE_", given, recordv1.PadlockTrouble_value)
	return recordv1.PadlockTrouble(n), err
}

func (a *App) padlockReport() *cobra.Command {
	r := &recordv1.ReportPadlock{}
	var trouble string
	c := &cobra.Command{Use: "report SERIAL", Short: "Record a lost key or lock, or a lock used for something else", Args: args(1, 1),
		Long:    "Anybody may record this, of any padlock. It shows wherever the padlock hangs.",
		Example: "  yardhasp padlock report p-17 --trouble key-lost --what \"fell into the pit\"\n  yardhasp padlock report p-17 --trouble other-use --what \"on the tool crib\""}
	troubleFlag(c, &trouble)
	c.Flags().StringVar(&r.What, "what", "", "what happened, in words")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if r.Trouble, err = troubleArg(c, trouble); err != nil {
			return err
		}
		r.Serial = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_ReportPadlock{ReportPadlock: r}})
	}
	return c
}

func (a *App) padlockClear() *cobra.Command {
	r := &recordv1.ClearPadlock{}
	var trouble string
	c := &cobra.Command{Use: "clear SERIAL", Short: "End what was reported of a padlock", Args: args(1, 1),
		Long: "For a supervisor or manager.", Example: "  yardhasp padlock clear p-17 --trouble key-lost --why \"found in the pit, no copy can have been cut\""}
	troubleFlag(c, &trouble)
	c.Flags().StringVar(&r.Why, "why", "", "why, in words")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if r.Trouble, err = troubleArg(c, trouble); err != nil {
			return err
		}
		if err := need(c, "why"); err != nil {
			return err
		}
		r.Serial = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_ClearPadlock{ClearPadlock: r}})
	}
	return c
}
