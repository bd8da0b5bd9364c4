package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// written is a written procedure in the form that is printed.
type written struct {
	Known    string `json:"known"`
	asOf     *recordv1.AsOf
	Zone     string         `json:"zone"`
	Label    string         `json:"label"`
	Level    string         `json:"isolation"`
	Waiver   string         `json:"waiver"`
	Drawings []string       `json:"drawings"`
	Yards    []string       `json:"yards"`
	Locks    []lockLine     `json:"locks"`
	Sections []writtenPart  `json:"sections"`
	Without  []withoutEight `json:"without_procedure"`
	// Needed says that work must have a written procedure.
	Needed bool `json:"needed"`
}

type lockLine struct {
	Point    string   `json:"point"`
	Place    string   `json:"place"`
	Label    string   `json:"label"`
	Hardware string   `json:"hardware"`
	Needs    []string `json:"needs"`
	Short    bool     `json:"short"`
	GroupBox bool     `json:"group_box"`
	Note     string   `json:"note"`
}

type writtenPart struct {
	Title   string        `json:"title"`
	Element string        `json:"element"`
	Steps   []writtenStep `json:"steps"`
}

type writtenStep struct {
	Number int    `json:"number"`
	Text   string `json:"text"`
	Yard   string `json:"yard"`
	Place  string `json:"place"`
	Test   string `json:"test"`
	Clause string `json:"clause"`
}

type withoutEight struct {
	Number int    `json:"number"`
	Text   string `json:"text"`
	Holds  string `json:"holds"`
	Why    string `json:"why"`
}

func (a *App) procedureCmd() *cobra.Command {
	var points []string
	var level string
	var people int
	c := &cobra.Command{Use: "procedure ZONE [FILE...]", Short: "The written procedure for working in a zone", Args: args(1, -1),
		Long:    "Writes what 29 CFR 1910.147(c)(4)(ii) asks for, in an order that a crew can follow,\nfrom the ledger's current drawings or from files, asking nobody; the locking\nhardware it takes; and whether the eight conditions for doing without hold.\nWhat only the co-op knows is left to be filled in.\n\nThe commands below keep procedures in the ledger. Nothing is required at a yard until\nthe first one is published for it, or a manager says so; from then on every job opened\nthere needs an approved procedure, and nothing turns that off.",
		Example: "  yardhasp procedure stonebend/leg-2-boot --people 4\n  yardhasp procedure stonebend/leg-2-boot *.yaml > leg-2-boot.txt"}
	f := c.Flags()
	f.StringSliceVar(&points, "point", nil, "lock this `point` instead of the plan's; more than one with commas or again")
	f.StringVar(&level, "isolation", "", "`level`: single or double (default: what the zone needs)")
	f.IntVar(&people, "people", 1, "`how many` hang locks")
	c.RunE = func(c *cobra.Command, args []string) error {
		if people < 1 {
			return usage(c, "--people %d is nobody", people)
		}
		n := int32(0)
		if level != "" {
			var err error
			if n, err = pick(c, "isolation", "ISOLATION_", level, recordv1.Isolation_value); err != nil {
				return err
			}
		}
		y, err := a.graphOf(c, args[1:])
		if err != nil {
			return err
		}
		plan, err := y.plan(args[0], points, recordv1.Isolation(n))
		if err != nil {
			return err
		}
		out, err := y.write(plan, people)
		if err != nil {
			return err
		}
		return a.print(out, func(p *page) { p.written(out) })
	}
	c.AddCommand(a.procedureCmds()...)
	return c
}

func (y *yardGraph) write(plan energy.Plan, people int) (*written, error) {
	pr, err := y.g.Procedure(plan.Zone, plan)
	if err != nil {
		return nil, err
	}
	eight, err := y.g.WithoutProcedure(plan.Zone, plan)
	if err != nil {
		return nil, err
	}
	out := &written{Known: y.known, asOf: y.asOf, Zone: pr.Zone, Label: pr.Label, Level: isolationWord(pr.Level), Drawings: revisions(y.list), Yards: append([]string{}, pr.Yards...),
		Locks: []lockLine{}, Sections: []writtenPart{}, Without: []withoutEight{}, Needed: energy.NeedsProcedure(eight)}
	if pr.WaivedBy != "" {
		out.Waiver = pr.WaivedBy + ": " + pr.WaivedWhy
	}
	for _, l := range y.g.Lines(plan, people) {
		line := lockLine{Point: l.Point, Place: l.Place, Label: l.Label, Hardware: l.HardwareText, Needs: []string{}, GroupBox: l.GroupBox, Note: l.Note}
		for _, n := range l.Needs {
			line.Needs = append(line.Needs, n.String())
			line.Short = line.Short || n.Short()
		}
		out.Locks = append(out.Locks, line)
	}
	for _, s := range pr.Sections {
		part := writtenPart{Title: s.Title, Element: s.Element, Steps: []writtenStep{}}
		for _, x := range s.Steps {
			part.Steps = append(part.Steps, writtenStep{x.Number, x.Text, x.Yard, x.Place, x.Test, x.Clause})
		}
		out.Sections = append(out.Sections, part)
	}
	for _, e := range eight {
		out.Without = append(out.Without, withoutEight{e.Number, e.Text, e.Holds.String(), e.Why})
	}
	return out, nil
}

func (p *page) written(v *written) {
	p.known(v.Known, v.asOf)
	p.line("\nPROCEDURE for %s (%s), %s isolation, on %s", v.Zone, v.Label, v.Level, strings.Join(v.Drawings, ", "))
	if v.Waiver != "" {
		p.loud("SINGLE ISOLATION:", "double was waived by %s", v.Waiver)
	}
	p.line("yards with a step: %s", strings.Join(v.Yards, ", "))
	p.section("what to carry")
	for i, l := range v.Locks {
		p.line("  %d. %s: %s%s", i+1, l.Point, l.Hardware, suffix("; at ", l.Place))
		for _, n := range l.Needs {
			p.line("     - %s", n)
		}
		if l.Note != "" {
			p.line("     note: %s", l.Note)
		}
	}
	for _, s := range v.Sections {
		p.section(s.Title + suffix("  ", s.Element))
		for _, x := range s.Steps {
			where := x.Yard
			if x.Place != "" {
				where = strings.TrimPrefix(where+", "+x.Place, ", ")
			}
			p.line("  %d. %s%s", x.Number, x.Text, suffix("  @ ", where))
			if x.Test != "" {
				p.wrapped("     test:   ", "             ", x.Test)
			}
			if x.Clause != "" {
				p.line("     clause: %s", x.Clause)
			}
		}
	}
	p.section("may the work be done without a written procedure? 1910.147(c)(4)(i): all eight must hold")
	for _, e := range v.Without {
		p.line("  %d. %s: %s", e.Number, strings.ToUpper(e.Holds), e.Text)
		if e.Why != "" {
			p.line("     %s", e.Why)
		}
	}
	if v.Needed {
		p.line("  so NO: use this procedure, after a named person has read it against the steel")
	} else {
		p.line("  only when a named person has recorded the ones to be recorded")
	}
	p.caution()
}

func suffix(before, text string) string {
	if text == "" {
		return ""
	}
	return fmt.Sprint(before, text)
}
