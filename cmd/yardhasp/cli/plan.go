package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/sheet"
	"yardhasp/client/unit"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) planCmd() *cobra.Command {
	var files []string
	var level string
	req := &servicev1.PlanRequest{}
	c := &cobra.Command{Use: "plan ZONE", Short: "Which points cut a zone off, and what else to know", Args: args(1, 1),
		Long:    "Computes the fewest points that cut a zone off and, among those sets, the one\nnearest the work; what stays live, what is stored, what must be tested. With\n--point it examines those points instead. With --drawing it computes here, from\nfiles, and asks nobody.",
		Example: "  yardhasp plan stonebend/leg-2-boot\n  yardhasp plan stonebend/leg-2-boot --point stonebend/mcc-1/leg-2\n  yardhasp plan stonebend/leg-2-boot --drawing stonebend.yaml,millrow.yaml"}
	f := c.Flags()
	f.StringSliceVar(&req.Points, "point", nil, "examine this `point`; more than one with commas or again")
	f.Uint32Var(&req.People, "people", 1, "`how many` hang a lock on each point")
	f.StringVar(&level, "isolation", "", "`level`: single or double (default: what the zone needs)")
	f.StringSliceVar(&files, "drawing", nil, "drawing `file`; more than one with commas or again")
	c.RunE = func(c *cobra.Command, args []string) error {
		req.Zone = args[0]
		if level != "" {
			n, err := pick(c, "isolation", "ISOLATION_", level, recordv1.Isolation_value)
			if err != nil {
				return err
			}
			req.Isolation = recordv1.Isolation(n)
		}
		if len(files) > 0 {
			plan, err := a.planHere(files, req)
			if err != nil {
				return err
			}
			return a.showPlan(plan, len(req.Points) > 0)
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			plan, err := cl.Plan(ctx, req)
			if err != nil {
				return askedZone(ctx, cl, err, req.GetZone())
			}
			return a.showPlan(plan, len(req.Points) > 0)
		})
	}
	return a.withAlternatives(c, req, &files)
}

// planHere computes a plan from files.
func (a *App) planHere(files []string, req *servicev1.PlanRequest) (*servicev1.PlanResponse, error) {
	ds, err := readDrawings(files)
	if err != nil {
		return nil, err
	}
	g, problems := energy.Build(ds.list)
	if err := a.report(ds, problems); err != nil {
		return nil, err
	}
	var p energy.Plan
	if len(req.GetPoints()) > 0 {
		p, err = g.Describe(req.GetZone(), req.GetPoints(), req.GetIsolation())
	} else {
		p, err = g.Plan(req.GetZone(), req.GetIsolation())
	}
	if err != nil {
		return nil, withZones(err, req.GetZone(), g.Zones())
	}
	out := sheet.Plan(g, p, int(req.GetPeople()))
	out.Drawings = revisions(ds.list)
	out.AsOf = &recordv1.AsOf{Because: client.ComputedHere.About("", len(ds.list))}
	return out, nil
}

// showPlan prints a plan. It also returns an error if the plan does not cut the zone
// off.
func (a *App) showPlan(plan *servicev1.PlanResponse, given bool) error {
	if err := a.print(plan, func(p *page) { p.plan(plan, given) }); err != nil {
		return err
	}
	switch {
	case plan.GetIsolates():
		return nil
	case given:
		return fmt.Errorf("these points do not cut %s off", plan.GetZone())
	}
	return errors.New("no set of lockable points cuts " + plan.GetZone() + " off")
}

func (p *page) plan(v *servicev1.PlanResponse, given bool) {
	if v.GetAsOf().GetYard() == "" && !v.GetAsOf().GetConfirmed() {
		p.loud("UNCONFIRMED:", "%s", p.saysOf(v.GetAsOf().GetBecause()))
	} else {
		p.asOf(v.GetAsOf())
	}
	p.line("\nzone %s, %s isolation, on %s", v.GetZone(), isolationWord(v.GetIsolation()), strings.Join(v.GetDrawings(), ", "))
	for _, d := range v.GetDrawings() {
		if strings.Contains(d, "NOT WALKED") {
			p.loud("NOT WALKED:", "the drawing of %s: it may not show what is there, and supports no work", strings.SplitN(d, ",", 2)[0])
		}
	}
	if v.GetWaivedBy() != "" {
		p.loud("SINGLE ISOLATION:", "double was waived by %s: %s", v.GetWaivedBy(), v.GetWaivedWhy())
	}
	p.planVerdict(v, given)
	title := "points to open and lock"
	if given {
		title = "points examined"
	}
	p.list(title, v.GetPoints())
	if !given && v.GetIsolates() && len(v.GetPoints()) > 1 {
		p.wrapped("  ", "  ", fmt.Sprintf("why one of them is needed: \"yardhasp plan %s --point ...\" with the others shows what still reaches the zone", v.GetZone()))
	}
	p.carry(v.GetLines())
	p.list("the plan also rests on", v.GetConditions())
	p.list("stays live near the work", v.GetStaysLive())
	p.planStores(v.GetStores())
	p.proofs(v.GetProofs())
	if len(v.GetProofs()) > 0 && v.GetNotReadings() != "" {
		p.line("  %s", v.GetNotReadings())
	}
	p.list("goes dark elsewhere", v.GetGoesDark())
	p.caution()
}

// planVerdict says whether the points cut the zone off, and which ways remain.
func (p *page) planVerdict(v *servicev1.PlanResponse, given bool) {
	switch {
	case v.GetIsolates() && !given && !v.GetFewest():
		p.line("WOULD BE CUT OFF, on these drawings, once %s open and locked; the search was cut short, so fewer might do", thesePoints(len(v.GetPoints())))
	case v.GetIsolates():
		p.line("WOULD BE CUT OFF, on these drawings, once %s open and locked", thesePoints(len(v.GetPoints())))
	case given:
		p.loud("NOT CUT OFF:", "energy still reaches it past these points")
	default:
		p.loud("CANNOT BE CUT OFF:", "no set of lockable points does")
	}
	for _, l := range v.GetLive() {
		if h := l.GetHeld(); len(h) > 0 {
			p.loud("ONE LOCK ONLY:", "%s from %s: only %s stands on the way %s", l.GetPart(), l.GetSource(), strings.Join(h, ", "), strings.Join(l.GetSteps(), " > "))
			continue
		}
		p.loud("REACHED:", "%s from %s by %s", l.GetPart(), l.GetSource(), strings.Join(l.GetSteps(), " > "))
	}
	if c := v.GetCannotCut(); c != nil {
		p.line("the way that can't be cut: %s", strings.Join(c.GetSteps(), " > "))
	}
	if v.GetWouldHaveToFit() != "" {
		p.line("to make it possible: %s", v.GetWouldHaveToFit())
	}
}

// planStores says what stored energy is left behind the points, and how to release it.
func (p *page) planStores(stores []*servicev1.StoreView) {
	var rows [][]string
	for _, s := range stores {
		joules := "not known"
		if s.GetJoules() > 0 {
			joules = unit.Joules(s.GetJoules())
		}
		rows = append(rows, []string{s.GetStore(), mediumWord(s.GetMedium()), joules, fmt.Sprintf("%d s", s.GetWaitSeconds()), orDash(s.GetLimit()), s.GetRelease()})
	}
	p.table("stored energy to release", []string{"STORE", "MEDIUM", "HOLDS", "WAIT", "EMPTY WHEN", "RELEASE"}, rows)
	for _, s := range stores {
		if s.GetHazard() != "" {
			p.line("  %s: %s", s.GetStore(), s.GetHazard())
		}
		if s.GetHowWorkedOut() != "" && s.GetSource() != "the drawing" {
			p.line("  %s: %s (%s)", s.GetStore(), s.GetHowWorkedOut(), s.GetSource())
		}
		if s.GetBuildsUp() {
			p.line("  %s can build up again: look every %d s until work ends (1910.147(d)(5)(ii); %s)", s.GetStore(), s.GetRecheckSeconds(), s.GetRecheckSource())
		}
	}
}

func thesePoints(n int) string {
	if n == 1 {
		return "this 1 point is"
	}
	return fmt.Sprintf("these %d points are", n)
}

// proofs prints each proof on lines of its own, because a proof is long to read.
func (p *page) proofs(ps []*servicev1.ProofView) {
	if len(ps) == 0 {
		return
	}
	p.section("to be proved at the point of work")
	for i, r := range ps {
		what := kindWord(r.GetKind())
		if r.GetMedium() != recordv1.Medium_MEDIUM_UNSPECIFIED {
			what = mediumWord(r.GetMedium()) + " by " + what
		}
		if r.GetUnit() != "" {
			what += ", " + r.GetLimitText()
		}
		p.line("  %d. %s: %s", i+1, r.GetPart(), what)
		p.wrapped("     how:    ", "             ", r.GetText())
		p.wrapped("     source: ", "             ", r.GetSource())
	}
}

// carry says what each point of a plan needs, and whether the yard has it.
func (p *page) carry(lines []*servicev1.LineView) {
	if len(lines) == 0 {
		return
	}
	p.section("what each point takes")
	for i, l := range lines {
		p.line("  %d. %s: %s%s", i+1, l.GetPoint(), l.GetHardware(), suffix("; at ", l.GetPlace()))
		for _, n := range l.GetNeeds() {
			p.line("     - %s", n)
		}
		if l.GetGroupBox() {
			p.line("     use a group box: a hasp does not take so many locks")
		}
		if l.GetNote() != "" {
			p.line("     note: %s", l.GetNote())
		}
	}
}
