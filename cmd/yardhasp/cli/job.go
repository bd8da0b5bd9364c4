package cli

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func msec(n int64) time.Duration { return time.Duration(n) * time.Millisecond }

func (a *App) jobCmd() *cobra.Command {
	return a.group("job", "Jobs: list, show, open, crews, close", "", append([]*cobra.Command{a.jobList(), a.jobShow(), a.jobOpen(), a.jobClose()}, a.crewCmds()...)...)
}

func (a *App) jobList() *cobra.Command {
	var read readFlags
	var f filter
	c := &cobra.Command{Use: "list", Short: "The open jobs", Args: args(0, 0),
		Example: "  yardhasp job list\n  yardhasp job list --at stonebend --state stopped"}
	f.add(c, enumWords("STAGE_", recordv1.Stage_name))
	read.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		how, err := read.how(c)
		if err == nil {
			err = f.knownState(c, "STAGE_", recordv1.Stage_value)
		}
		if err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			b, err := cl.Board(ctx, how, "")
			if err == nil {
				err = knownYard(c, b.GetAsOf(), f.at)
			}
			if err != nil {
				return err
			}
			client.WithholdBoard(b)
			whole := proto.CloneOf(b)
			f.cut(b)
			// Only what the list shows, in the shape of a board.
			return a.print(&recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Alarms: b.GetAlarms(), Jobs: b.GetJobs()}, func(p *page) { p.jobs(whole, f) })
		})
	}
	return c
}

// jobs lists those that a filter picks; whoever must get out is named all the same.
func (p *page) jobs(b *recordv1.Board, f filter) {
	p.asOf(b.GetAsOf())
	p.listed(f)
	p.alarms(b.GetAlarms())
	p.inside(b.GetJobs(), b.GetSignedOn())
	f.cut(b)
	var rows [][]string
	may := false
	for _, j := range b.GetJobs() {
		may = may || permits(j)
		rows = append(rows, []string{j.GetId(), j.GetZone(), stageWord(j.GetStage()), missing(j), j.GetResponsible(), j.GetPurpose()})
	}
	if len(rows) == 0 {
		p.line("\nno job is open%s", forWhat(f))
	}
	p.table("jobs", []string{"JOB", "ZONE", "STAGE", "MISSING", "RESPONSIBLE", "PURPOSE"}, rows)
	if may {
		p.caution()
	}
	p.line("\n%s", NotPermission)
}

// missing names what a job lacks before its work, each kind once.
func missing(j *recordv1.JobView) string {
	var out []string
	for _, c := range j.GetToStart() {
		if w := strings.ToLower(strings.ReplaceAll(c.GetCode(), "_", " ")); !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return orDash(strings.Join(out, ", "))
}

func (a *App) jobShow() *cobra.Command {
	var read readFlags
	c := &cobra.Command{Use: "show JOB", Short: "One job: what is missing, and who supplies it", Args: args(1, 1),
		Long:    "What to read before driving out: how the answer is known, which yards were not\nheard from, what is missing before work and who supplies it, every point of the\nplan, your own locks, the drawings, who is responsible.",
		Example: "  yardhasp job show boot-7\n  yardhasp job show boot-7 --confirmed"}
	read.add(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		how, err := read.how(c)
		if err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			j, err := cl.Job(ctx, args[0], how)
			if err != nil {
				return err
			}
			if err := a.mayRead(ctx, cl, j); err != nil {
				return err
			}
			client.WithholdJob(j)
			return a.print(j, func(p *page) { p.job(j, cl.Profile().Person) })
		})
	}
	return c
}

// job is the contractor's check before driving out.
func (p *page) job(j *recordv1.JobView, me string) {
	p.asOf(j.GetAsOf())
	p.alarms(j.GetAlarms())
	for _, f := range j.GetChokes() {
		p.loud("DO NOT JOG:", "%s", p.a.words().WithClause(f))
	}
	p.inside([]*recordv1.JobView{j}, j.GetSignedOn())
	p.permitsOut(j.GetPermits())
	p.line("\njob %s on %s: %s", j.GetId(), j.GetZone(), stageWord(j.GetStage()))
	p.notFor(me, j)
	if j.GetPurpose() != "" {
		p.line("%s", j.GetPurpose())
	}
	if j.GetWaiver() != "" {
		p.line("%s", j.GetWaiver())
	}
	p.procedureOf(j)
	p.conditions("missing before work, and who supplies it", j.GetToStart())
	p.older(j.GetZone(), j.GetOlderPoints())
	p.permits(j.GetPermits())
	p.points("points of the plan", j.GetPoints())
	p.keyless(j.GetPoints(), j.GetHolds())
	var own, others []*recordv1.HoldView
	for _, h := range j.GetHolds() {
		if h.GetHolder() == me && !h.GetFound() && !h.GetEquipment() {
			own = append(own, h)
		} else {
			others = append(others, h)
		}
	}
	if len(own) == 0 {
		p.line("\nYOU HAVE NO LOCK ON THIS JOB")
	}
	p.holds("your own locks, still on", own)
	p.holds("locks of others", others)
	p.signedOn(j.GetSignedOn())
	p.members(j)
	approved := p.requests(j.GetRequests())
	p.conditions("missing before a request to re-energise would be taken", j.GetToEnergise())
	p.list("computed on drawings", j.GetDrawings())
	p.line("\nresponsible: %s", orDash(j.GetResponsible()))
	p.line("crew: %s", orDash(strings.Join(j.GetCrew(), ", ")))
	p.line("to be told: %s", orDash(strings.Join(j.GetAffected(), ", ")))
	if permits(j) || approved {
		p.caution()
	}
	p.line("\n%s", NotPermission)
}

// notFor stands right under "work may start" where the one who reads it has no lock
// of their own that guards every point of the plan: it may start for others.
func (p *page) notFor(me string, j *recordv1.JobView) {
	if j.GetStage() != recordv1.Stage_STAGE_WORK_MAY_START {
		return
	}
	var lacks []string
	for _, v := range j.GetPoints() {
		mine := func(h *recordv1.HoldView) bool {
			return h.GetHolder() == me && !h.GetFound() && !h.GetEquipment() && h.GetGuards() && h.GetStoodClear() == "" && slices.Contains(h.GetCovers(), v.GetPoint())
		}
		if !slices.ContainsFunc(j.GetHolds(), mine) {
			lacks = append(lacks, v.GetPoint())
		}
	}
	if len(lacks) > 0 {
		p.loud("NOT FOR YOU:", "%s has no lock of their own on %s: hang it before you sign on", me, strings.Join(lacks, ", "))
	}
}

func (a *App) jobOpen() *cobra.Command {
	j := &recordv1.OpenJob{}
	c := &cobra.Command{Use: "open JOB", Short: "Open a job on a zone with a plan", Args: args(1, 1),
		Long:    "Opens against the zone's approved procedure. Where procedures are required and there\nis none, the job is opened and work may not start: see \"yardhasp procedure --help\".",
		Example: "  yardhasp job open boot-7 --zone stonebend/leg-2-boot --plan stonebend/mcc-1/leg-2 \\\n    --responsible ann-dahl --affected joe-lund --purpose \"clear the plugged boot\""}
	f := c.Flags()
	f.StringVar(&j.Zone, "zone", "", "`zone`, as yard/zone")
	f.StringSliceVar(&j.Plan, "plan", nil, "`point` of the plan, as yard/panel/device; more than one with commas or again")
	f.StringVar(&j.Responsible, "responsible", "", "responsible authorised employee, `person` id")
	f.StringSliceVar(&j.Crew, "crew", nil, "`person` ids of the crew")
	f.StringSliceVar(&j.Affected, "affected", nil, "`person` ids to be told before and after")
	f.StringVar(&j.Purpose, "purpose", "", "what the job is, in words")
	f.Uint32Var(&j.ProcedureVersion, "procedure", 0, "`version` of the zone's procedure that you read; refused when another one is in use")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "zone", "plan", "responsible", "purpose"); err != nil {
			return err
		}
		j.Id = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: j}})
	}
	return c
}

func (a *App) jobClose() *cobra.Command {
	return &cobra.Command{Use: "close JOB", Short: "End a job", Args: args(1, 1), RunE: func(c *cobra.Command, args []string) error {
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: args[0]}}})
	}}
}
