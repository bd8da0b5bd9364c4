package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// choices is what "plan --alternatives" prints.
type choices struct {
	Known    string `json:"known"`
	asOf     *recordv1.AsOf
	Zone     string       `json:"zone"`
	Level    string       `json:"isolation"`
	Drawings []string     `json:"drawings"`
	Sets     []choiceView `json:"sets"`
	// More says that further sets may exist.
	More bool `json:"more"`
}

type choiceView struct {
	Points     []string `json:"points"`
	GoesDark   []string `json:"goes_dark"`
	Best       bool     `json:"best"`
	Conditions []string `json:"conditions"`
}

// withAlternatives lets a plan command also rank other sets.
func (a *App) withAlternatives(c *cobra.Command, req *servicev1.PlanRequest, files *[]string) *cobra.Command {
	var most int
	c.Flags().IntVar(&most, "alternatives", 0, "rank up to `so many` sets that isolate, by locks and by what goes dark")
	plan := c.RunE
	c.RunE = func(c *cobra.Command, args []string) error {
		if !c.Flags().Changed("alternatives") {
			return plan(c, args)
		}
		if most < 1 || most > energy.MaxChoices {
			return usage(c, "--alternatives %d is not from 1 to %d", most, energy.MaxChoices)
		}
		if len(req.GetPoints()) > 0 {
			return usage(c, "--alternatives looks for points itself: leave --point out")
		}
		level := recordv1.Isolation_ISOLATION_UNSPECIFIED
		if f := c.Flags().Lookup("isolation"); f != nil && f.Value.String() != "" {
			n, err := pick(c, "isolation", "ISOLATION_", f.Value.String(), recordv1.Isolation_value)
			if err != nil {
				return err
			}
			level = recordv1.Isolation(n)
		}
		y, err := a.graphOf(c, *files)
		if err != nil {
			return err
		}
		found, err := y.g.Alternatives(args[0], level, most)
		if err != nil {
			return err
		}
		out := choices{Known: y.known, asOf: y.asOf, Zone: found.Zone, Level: isolationWord(found.Level), Drawings: revisions(y.list), Sets: []choiceView{}, More: found.More}
		for _, s := range found.Sets {
			out.Sets = append(out.Sets, choiceView{append([]string{}, s.Points...), append([]string{}, s.GoesDark...), s.Pareto, append([]string{}, s.Conditions...)})
		}
		if err := a.print(out, func(p *page) { p.choices(&out) }); err != nil {
			return err
		}
		if len(out.Sets) == 0 {
			return errors.New("no set of lockable points cuts " + args[0] + " off: \"yardhasp plan\" says why")
		}
		return nil
	}
	return c
}

func (p *page) choices(v *choices) {
	p.known(v.Known, v.asOf)
	p.line("\nzone %s, %s isolation: sets of which no point can be left out", v.Zone, v.Level)
	for i, s := range v.Sets {
		title := fmt.Sprintf("set %d: %d locks, %d machines go dark elsewhere", i+1, len(s.Points), len(s.GoesDark))
		if s.Best {
			title += "; none has fewer of both"
		}
		p.list(title, s.Points)
		for _, c := range s.Conditions {
			p.line("    counts only while: %s", c)
		}
		if len(s.GoesDark) > 0 {
			p.line("    goes dark: %s", firstOf(s.GoesDark, 6))
		}
	}
	if v.More {
		p.line("\nthere may be more sets")
	} else {
		p.line("\nthere are no other such sets on these drawings")
	}
	p.caution()
}

func firstOf(list []string, most int) string {
	text := ""
	for i, s := range list {
		if i == most {
			return fmt.Sprintf("%s and %d more", text, len(list)-most)
		}
		if i > 0 {
			text += ", "
		}
		text += s
	}
	return text
}
