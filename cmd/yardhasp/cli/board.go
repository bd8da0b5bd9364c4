package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// readFlags are how a read is to be known.
type readFlags struct{ confirmed, local bool }

func (r *readFlags) add(c *cobra.Command) {
	c.Flags().BoolVar(&r.confirmed, "confirmed", false, "fail unless a quorum confirms the answer")
	c.Flags().BoolVar(&r.local, "local", false, "take what the yard has, unconfirmed, at once")
}

func (r *readFlags) how(c *cobra.Command) (servicev1.Consistency, error) {
	switch {
	case r.confirmed && r.local:
		return 0, usage(c, "--confirmed and --local exclude each other")
	case r.confirmed:
		return servicev1.Consistency_CONSISTENCY_CONFIRMED, nil
	case r.local:
		return servicev1.Consistency_CONSISTENCY_LOCAL, nil
	}
	return servicev1.Consistency_CONSISTENCY_UNSPECIFIED, nil
}

// boardOf is the part of a board to show: one yard only, or every point.
type boardOf struct {
	only string
	all  bool
}

func (a *App) boardCmd() *cobra.Command {
	var read readFlags
	var only string
	var offline, all bool
	c := &cobra.Command{Use: "board", Short: "Everything that is locked, open or asked for", Args: args(0, 0),
		Example: "  yardhasp board\n  yardhasp board --only millrow\n  yardhasp board --offline"}
	c.Flags().StringVar(&only, "only", "", "show this `yard` only")
	c.Flags().BoolVar(&all, "all", false, "list every point, also those that are live with nothing on them")
	c.Flags().BoolVar(&offline, "offline", false, "show the last board read on this machine; ask nobody")
	read.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		how, err := read.how(c)
		if err != nil {
			return err
		}
		if offline && only != "" {
			return usage(c, "--offline shows the whole board: leave out --only")
		}
		if offline {
			return a.lastBoard(all)
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			b, err := cl.Board(ctx, how, only)
			if err != nil {
				return err
			}
			if err := knownYard(c, b.GetAsOf(), only); err != nil {
				return err
			}
			return a.showBoard(b, 0, boardOf{only, all})
		})
	}
	return c
}

// knownYard refuses a yard that the ledger does not have: a board of no yard would
// read as if nothing were locked there.
func knownYard(c *cobra.Command, v *recordv1.AsOf, only string) error {
	var ids []string
	for _, y := range v.GetYards() {
		ids = append(ids, y.GetYard())
	}
	if only == "" || slices.Contains(ids, only) {
		return nil
	}
	return usage(c, "--only %q is none of the co-op's yards: %s", only, orDash(strings.Join(ids, ", ")))
}

func (a *App) lastBoard(all bool) error {
	prof, err := a.profile()
	if err != nil {
		return err
	}
	dir, err := prof.StateDir()
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
	return a.showBoard(b, a.Now().UnixMilli()-saved.UnixMilli(), boardOf{all: all})
}

func (a *App) showBoard(b *recordv1.Board, keptMS int64, of boardOf) error {
	client.WithholdBoard(b)
	return a.print(b, func(p *page) {
		p.kept, p.of = msec(keptMS), of
		p.board(b)
	})
}

func (p *page) board(b *recordv1.Board) {
	p.asOf(b.GetAsOf())
	if p.of.only != "" {
		p.loud("ONLY", "%s is shown: what is locked, open or asked for elsewhere is not", p.of.only)
	}
	p.outsider(b)
	p.alarms(b.GetAlarms())
	p.inside(b.GetJobs(), b.GetSignedOn())
	p.due(b.GetDue(), false)
	may := false
	for _, j := range b.GetJobs() {
		may = may || permits(j)
		if len(j.GetToStart()) == 0 {
			p.section(fmt.Sprintf("job %s on %s: %s", j.GetId(), j.GetZone(), stageWord(j.GetStage())))
			continue
		}
		p.conditions(fmt.Sprintf("job %s on %s: %s. Missing before work:", j.GetId(), j.GetZone(), stageWord(j.GetStage())), j.GetToStart())
	}
	may = p.requests(b.GetRequests()) || may
	p.holds("locks on", b.GetHolds())
	p.signedOn(b.GetSignedOn())
	busy := b.GetPoints()
	if !p.of.all {
		busy = slices.DeleteFunc(slices.Clone(busy), idle)
	}
	p.points("points", busy)
	var rows [][]string
	for _, x := range b.GetBoxes() {
		rows = append(rows, []string{x.GetBox(), orDash(strings.Join(x.GetPoints(), ", ")), orDash(strings.Join(x.GetHolds(), ", "))})
	}
	p.table("boxes", []string{"BOX", "HOLDS THE KEYS OF", "LOCKS ON IT"}, rows)
	if len(b.GetJobs())+len(b.GetRequests())+len(b.GetHolds())+len(b.GetSignedOn())+len(rows)+len(busy) == 0 {
		p.line("\nno lock, opening, job or request is recorded; that does not say that no lock hangs")
	}
	if n := len(b.GetPoints()) - len(busy); n > 0 {
		p.line("\n%d more points are LIVE with nothing recorded on them: --all lists them", n)
	}
	if may {
		p.caution()
	}
	p.line("\n%s", NotPermission)
}

// idle is a point of which there is nothing to say but that it is live.
func idle(v *recordv1.PointView) bool {
	return v.GetPosition() == recordv1.Position_POSITION_LIVE && len(v.GetHolds())+len(v.GetBoxes()) == 0 && v.GetRequest() == ""
}

// inside calls people out who are signed on to a job whose conditions for work are
// not met, at whatever stage the job is.
func (p *page) inside(jobs []*recordv1.JobView, ss []*recordv1.SignOnView) {
	for _, j := range jobs {
		lacks := slices.ContainsFunc(j.GetToStart(), func(c *recordv1.Condition) bool { return c.GetCode() != "UNCONFIRMED" })
		var who []string
		for _, s := range ss {
			if s.GetJob() == j.GetId() && !slices.Contains(who, s.GetPerson()) {
				who = append(who, s.GetPerson())
			}
		}
		if lacks && len(who) > 0 {
			p.loud("GET OUT:", "%s signed on to %s, whose conditions for work are not met", strings.Join(who, ", "), j.GetId())
		}
	}
}

// permits reports whether a job's screen says that something may be done.
func permits(j *recordv1.JobView) bool {
	return j.GetStage() == recordv1.Stage_STAGE_WORK_MAY_START || j.GetStage() == recordv1.Stage_STAGE_APPROVED
}

// requests prints them and reports whether one is approved.
func (p *page) requests(rs []*recordv1.RequestView) (approved bool) {
	var rows [][]string
	for _, r := range rs {
		approved = approved || r.GetState() == recordv1.RequestState_REQUEST_STATE_APPROVED
		state := stateWord(r.GetState())
		if r.GetWhy() != "" {
			state += ": " + r.GetWhy()
		}
		rows = append(rows, []string{r.GetId() + forWord(r.GetKind()), r.GetJob(), r.GetRequester(), state, strings.Join(r.GetPoints(), ", "), waitsFor(r), p.a.ends(r.GetDeadlineUnixMs())})
	}
	p.table("requests to re-energise", []string{"REQUEST", "JOB", "BY", "STATE", "POINTS", "WAITS FOR", "ENDS"}, rows)
	return approved
}

func forWord(k recordv1.RequestKind) string {
	switch k {
	case recordv1.RequestKind_REQUEST_KIND_TEST:
		return " (test)"
	case recordv1.RequestKind_REQUEST_KIND_POSITIONING:
		return " (positioning)"
	}
	return ""
}

func waitsFor(r *recordv1.RequestView) string {
	var out []string
	for _, y := range r.GetInvolved() {
		if !strings.Contains(" "+strings.Join(r.GetConfirmed(), " ")+" ", " "+y+" ") {
			out = append(out, y)
		}
	}
	for _, h := range r.GetNotClear() {
		out = append(out, "lock "+h+" to stand clear")
	}
	return orDash(strings.Join(out, ", "))
}

func (p *page) holds(title string, hs []*recordv1.HoldView) {
	var rows [][]string
	for _, h := range hs {
		who := h.GetHolder()
		if h.GetFound() {
			who = "OWNER NOT KNOWN"
		}
		worth := "yes"
		switch {
		case h.GetStoodClear() != "":
			worth = "NO: stood clear for " + h.GetStoodClear()
		case !h.GetGuards():
			worth = "NO: not recorded open"
		}
		rows = append(rows, []string{h.GetRef(), who, h.GetTarget(), strings.Join(h.GetCovers(), ", "), orDash(h.GetJob()), orDash(h.GetPadlock()), p.a.when(h.GetSinceUnixMs()), worth})
	}
	p.table(title, []string{"LOCK", "WHOSE", "HANGS ON", "COVERS", "JOB", "PADLOCK", "SINCE", "GUARDS"}, rows)
	for _, h := range hs {
		for _, f := range h.GetFlags() {
			p.loud("FLAGGED", "when it was recorded: %s: %s%s", h.GetRef(), f.GetText(), inBrackets(f.GetClause()))
		}
	}
}

func (p *page) signedOn(ss []*recordv1.SignOnView) {
	var rows [][]string
	for _, s := range ss {
		rows = append(rows, []string{s.GetRef(), s.GetPerson(), s.GetName(), s.GetJob(), p.a.when(s.GetSinceUnixMs())})
	}
	p.table("people signed on", []string{"SIGN-ON", "PERSON", "NAME", "JOB", "SINCE"}, rows)
}

func (p *page) points(title string, ps []*recordv1.PointView) {
	var rows [][]string
	for _, v := range ps {
		rows = append(rows, []string{v.GetPoint(), orDash(v.GetLabel()), positionWord(v.GetPosition()), orDash(strings.Join(v.GetHolds(), ", ")), orDash(strings.Join(v.GetBoxes(), ", ")), orDash(v.GetRequest())})
	}
	p.table(title, []string{"POINT", "LABEL", "POSITION", "LOCKS", "BOXES", "REQUEST"}, rows)
}
