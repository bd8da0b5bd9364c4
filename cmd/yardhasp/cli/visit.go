package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// trip is what somebody reads before driving out to a job.
type trip struct {
	job     *recordv1.JobView
	plan    *servicev1.PlanResponse
	own     []*recordv1.HoldView
	told    []*recordv1.ExchangeView
	fumes   []string // places under a fumigant
	last    *client.Look
	changed []string
	yards   []client.Yard
	me      string
	// planWhy is why no plan was computed.
	planWhy string
	outside bool
}

func (a *App) visitCmd() *cobra.Command {
	var read readFlags
	var offline bool
	c := &cobra.Command{Use: "visit JOB", Short: "Everything to know of a job before driving out to it", Args: args(1, 1),
		Long: "How fresh the answer is and which yards were not heard from come first; then the job,\nwhat is missing and who supplies it, what changed since you last looked on this\nmachine, your own locks anywhere, stored energy and waits, hazards, the locks and\n" +
			"hardware to bring, who is responsible, and how to connect from outside the yard.",
		Example: "  yardhasp visit boot-7\n  yardhasp visit boot-7 --confirmed\n  yardhasp visit boot-7 --offline"}
	read.add(c)
	c.Flags().BoolVar(&offline, "offline", false, "show what the last board read on this machine says; ask nobody")
	c.RunE = func(c *cobra.Command, args []string) error {
		how, err := read.how(c)
		if err != nil {
			return err
		}
		if offline {
			return a.visitOffline(args[0])
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error { return a.visit(ctx, cl, args[0], how) })
	}
	return c
}

func (a *App) visit(ctx context.Context, cl *client.Client, job string, how servicev1.Consistency) error {
	t := &trip{me: cl.Profile().Person, yards: cl.Profile().Yards}
	var err error
	if t.job, err = cl.Job(ctx, job, how); err != nil {
		return err
	}
	if err := a.mayRead(ctx, cl, t.job); err != nil {
		return err
	}
	b, err := cl.Board(ctx, how, "")
	if err != nil {
		return err
	}
	t.of(b)
	if t.plan, err = cl.Plan(ctx, &servicev1.PlanRequest{Zone: t.job.GetZone(), Points: t.job.GetPlan(), People: 1}); err != nil {
		t.planWhy = err.Error()
	}
	client.WithholdJob(t.job)
	now := client.LookOf(t.job)
	if t.last, err = cl.LastLook(job); err != nil {
		return err
	}
	if t.last.At > 0 {
		t.changed = now.Changed(t.last)
	}
	if err := a.printTrip(t, 0); err != nil {
		return err
	}
	if t.job.GetAsOf().GetConfirmed() {
		return cl.KeepLook(job, now)
	}
	return nil
}

// of takes from a board what a job's own view does not have.
func (t *trip) of(b *recordv1.Board) {
	for _, h := range b.GetHolds() {
		if h.GetHolder() == t.me && !h.GetFound() {
			t.own = append(t.own, h)
		}
	}
	for _, f := range b.GetAlarms() {
		if code.Is(f, ledger.Fumigated) {
			t.fumes = append(t.fumes, words.English.Says(f))
		}
	}
	t.told = t.job.GetExchanges()
	t.outside = ledger.Outsider(b, t.me)
}

func (a *App) visitOffline(job string) error {
	prof, err := a.profile()
	if err != nil {
		return err
	}
	dir, err := a.stateDir(prof)
	if err != nil {
		return err
	}
	b, saved, err := client.ReadLastBoard(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return errors.New("no board was read on this machine yet")
	}
	if err != nil {
		return err
	}
	t := &trip{me: prof.Person, yards: prof.Yards, planWhy: "no yard was asked", last: &client.Look{}}
	for _, j := range b.GetJobs() {
		if j.GetId() == job {
			t.job = j
		}
	}
	if t.job == nil {
		return fmt.Errorf("the board kept on this machine shows no open job %s", job)
	}
	t.of(b)
	client.WithholdJob(t.job)
	return a.printTrip(t, a.Now().UnixMilli()-saved.UnixMilli())
}

func (a *App) printTrip(t *trip, keptMS int64) error {
	var out any
	if a.output != "table" {
		j, err := stableJSON(t.job)
		if err != nil {
			return err
		}
		holds, err := stableJSON(&recordv1.Board{AsOf: t.job.GetAsOf(), Holds: t.own})
		if err != nil {
			return err
		}
		plan, err := stableJSON(t.plan)
		if err != nil {
			return err
		}
		out = struct {
			Job      json.RawMessage `json:"job"`
			OwnLocks json.RawMessage `json:"own_locks"`
			Plan     json.RawMessage `json:"plan"`
			Changed  []string        `json:"changed"`
			LastLook int64           `json:"last_look_unix_ms"`
			Not      string          `json:"not_permission"`
		}{j, holds, plan, append([]string{}, t.changed...), t.last.At, NotPermission}
	}
	return a.print(out, func(p *page) {
		p.kept = msec(keptMS)
		p.trip(t)
	})
}

func (p *page) trip(t *trip) {
	j := t.job
	p.asOf(j.GetAsOf())
	p.alarms(j.GetAlarms())
	p.inside([]*recordv1.JobView{j}, j.GetSignedOn())
	p.line("\njob %s on %s: %s", j.GetId(), j.GetZone(), stageWord(j.GetStage()))
	p.notFor(t.me, j)
	if j.GetPurpose() != "" {
		p.line("%s", j.GetPurpose())
	}
	if !ledger.Concerns(j, t.me) {
		p.loud("NOT ON THE CREW:", "you are on no crew of this job")
	}
	if j.GetWaiver() != "" {
		p.line("%s", j.GetWaiver())
	}
	p.procedureOf(j)
	p.conditions("missing before work, and who supplies it", j.GetToStart())
	p.list("computed on drawings", j.GetDrawings())
	switch {
	case t.last.At == 0:
		p.section("since you last looked: no earlier look at this job is kept on this machine")
	case len(t.changed) == 0:
		p.section(fmt.Sprintf("since you last looked (%s): nothing of plan, drawings, points, people", p.a.when(t.last.At)))
	default:
		p.list(fmt.Sprintf("CHANGED since you last looked (%s)", p.a.when(t.last.At)), t.changed)
	}
	p.points("points of the plan", j.GetPoints())
	p.keyless(j.GetPoints(), j.GetHolds())
	if len(t.own) == 0 {
		p.section("your own locks still on anywhere: none recorded")
	}
	p.holds("your own locks still on anywhere", t.own)
	p.members(j)
	p.dangers(t)
	if t.plan != nil {
		p.carry(t.plan.GetLines())
		if !t.plan.GetIsolates() {
			p.loud("NOT CUT OFF:", "energy still reaches the zone past the points of this plan")
		}
	} else {
		p.section("locks and hardware to bring: NOT KNOWN, " + t.planWhy)
	}
	p.section("responsible: " + orDash(j.GetResponsible()) + suffix("; coordinates all crews: ", j.GetCoordinator()))
	p.section("to connect from outside the yard")
	for _, y := range t.yards {
		p.line("  %s at %s", y.ID, y.Address)
	}
	if permits(j) {
		p.caution()
	}
	p.line("\n%s", NotPermission)
}

// dangers are stored energy, permits, fumigation and what was told of hazards. What
// is not recorded is said, for an empty list would read as all clear.
func (p *page) dangers(t *trip) {
	p.section("stored energy and waits")
	switch {
	case t.plan == nil:
		p.loud("  NOT KNOWN:", "%s", t.planWhy)
	case len(t.plan.GetStores()) == 0:
		p.line("  none recorded on the drawings")
	}
	for _, s := range t.plan.GetStores() {
		p.line("  %s (%s): wait %d s, then %s%s", s.GetStore(), mediumWord(s.GetMedium()), s.GetWaitSeconds(), s.GetRelease(), suffix("; ", s.GetHazard()))
		if s.GetBuildsUp() {
			p.line("    can build up again: look every %d s", s.GetRecheckSeconds())
		}
	}
	if len(t.job.GetPermits()) == 0 {
		p.section("permits for bin entry and hot work: none recorded for this job")
	}
	p.permits(t.job.GetPermits())
	p.section("fumigation")
	for _, a := range t.fumes {
		p.loud("  FUMIGANT:", "%s", a)
	}
	if len(t.fumes) == 0 {
		p.line("  none recorded at any yard; read the placards all the same")
	}
	p.section("hazards told to your employer, 1910.272(i) (unchecked)")
	for _, e := range t.told {
		p.line("  %s, %s, %s: %s", e.GetYard(), e.GetEmployer(), p.a.when(e.GetDateUnixMs()), strings.Join(e.GetHazards(), "; "))
		p.line("    in an emergency: %s", e.GetEmergency())
	}
	if len(t.told) == 0 {
		p.line("  dust and other hazards: none recorded")
		if t.outside {
			p.loud("  NOT EXCHANGED:", "no exchange of procedures and hazards is recorded for your employer: ask before you drive")
		}
	}
}
