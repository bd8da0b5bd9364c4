package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"

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

// boardOf is the part of a board to show: what a filter picks, or every point.
type boardOf struct {
	filter
	all bool
}

func (a *App) boardCmd() *cobra.Command {
	var read readFlags
	var of boardOf
	var offline, watch bool
	var every time.Duration
	c := &cobra.Command{Use: "board", Short: "Everything that is locked, open or asked for", Args: args(0, 0),
		Long:    "Alarms always stand on it, whatever it is cut down to. With --watch it is drawn again\nat every record and at least every --every, until it is interrupted: for a screen in\nthe scale house, with a profile of its own that nobody signs with.",
		Example: "  yardhasp board\n  yardhasp board --at millrow --person ravi\n  yardhasp board --offline\n  yardhasp board --watch --at stonebend --profile screen.yaml"}
	of.add(c, "")
	c.Flags().BoolVar(&of.all, "all", false, "list every point, also those that are live with nothing on them")
	c.Flags().BoolVar(&offline, "offline", false, "show the last board read on this machine; ask nobody")
	c.Flags().BoolVar(&watch, "watch", false, "draw it again at every change, until interrupted")
	c.Flags().DurationVar(&every, "every", 15*time.Second, "with --watch: draw again after `so long` at the latest")
	read.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		how, err := read.how(c)
		switch {
		case err != nil:
			return err
		case watch && offline:
			return usage(c, "--watch asks the yards, --offline asks nobody: leave one out")
		case watch && a.output != "table":
			return usage(c, "--watch draws a screen: for programs there is \"yardhasp watch -o json\"")
		case watch && every < time.Second:
			return usage(c, "--every %s is less than a second", every)
		case watch:
			return a.watchBoard(c, how, of, every)
		case offline:
			return a.lastBoard(c, of)
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			b, err := cl.Board(ctx, how, of.at)
			if err != nil {
				return err
			}
			if err := knownYard(c, b.GetAsOf(), of.at); err != nil {
				return err
			}
			return a.showBoard(b, 0, of)
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
	return usage(c, "--at %q is none of the co-op's yards: %s", only, orDash(strings.Join(ids, ", ")))
}

func (a *App) lastBoard(c *cobra.Command, of boardOf) error {
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
	if err := knownYard(c, b.GetAsOf(), of.at); err != nil {
		return err
	}
	return a.showBoard(b, a.Now().UnixMilli()-saved.UnixMilli(), of)
}

func (a *App) showBoard(b *recordv1.Board, keptMS int64, of boardOf) error {
	client.WithholdBoard(b)
	if a.output != "table" {
		of.cut(b)
	}
	return a.print(b, func(p *page) {
		p.kept, p.of = msec(keptMS), of
		p.board(b)
	})
}

func (p *page) board(b *recordv1.Board) {
	p.asOf(b.GetAsOf())
	p.shown(p.of.filter)
	p.outsider(b)
	p.alarms(b.GetAlarms())
	p.writtenHere(b)
	// Whoever must get out is named before anything is left out.
	p.inside(b.GetJobs(), b.GetSignedOn())
	p.permitsOut(b.GetPermits())
	p.due(b.GetDue(), false)
	p.of.cut(b)
	may := false
	for _, j := range b.GetJobs() {
		may = may || permits(j)
		if len(j.GetToStart()) == 0 {
			p.section(fmt.Sprintf("job %s on %s: %s", j.GetId(), j.GetZone(), stageWord(j.GetStage())))
			continue
		}
		p.conditions(fmt.Sprintf("job %s on %s: %s. Missing before work:", j.GetId(), j.GetZone(), stageWord(j.GetStage())), j.GetToStart())
	}
	may = p.permits(b.GetPermits()) || may
	may = p.requests(b.GetRequests()) || may
	p.holds("locks on", b.GetHolds())
	p.signedOn(b.GetSignedOn())
	busy := b.GetPoints()
	if !p.of.all {
		busy = slices.DeleteFunc(slices.Clone(busy), idle)
	}
	p.points("points", busy)
	p.keyless(busy, b.GetHolds())
	var rows [][]string
	for _, x := range b.GetBoxes() {
		rows = append(rows, []string{x.GetBox(), orDash(strings.Join(x.GetPoints(), ", ")), orDash(strings.Join(x.GetHolds(), ", ")), holesLeft(x.GetHoles(), x.GetHolesLeft())})
	}
	p.table("boxes", []string{"BOX", "HOLDS THE KEYS OF", "LOCKS ON IT", "HOLES LEFT"}, rows)
	if len(b.GetJobs())+len(b.GetRequests())+len(b.GetHolds())+len(b.GetSignedOn())+len(b.GetPermits())+len(rows)+len(busy)+len(b.GetWrittenHere()) == 0 {
		p.line("\nno lock, opening, job or request is recorded%s; that does not say that no lock hangs", forWhat(p.of.filter))
	}
	switch n := len(b.GetPoints()) - len(busy); {
	case n == 1:
		p.line("\n1 more point is LIVE with nothing recorded on it: --all lists it")
	case n > 1:
		p.line("\n%d more points are LIVE with nothing recorded on them: --all lists them", n)
	}
	if may {
		p.caution()
	}
	p.line("\n%s", NotPermission)
}

// writtenHere lists what only the yard that answers knows.
func (p *page) writtenHere(b *recordv1.Board) {
	var rows [][]string
	for _, w := range b.GetWrittenHere() {
		worth := "NOT A PROMISE"
		if w.GetWorth() != nil {
			worth = p.a.words().Says(w.GetWorth())
		}
		rows = append(rows, []string{w.GetRef(), strings.ReplaceAll(w.GetKind(), "_", " "), w.GetSigner(), orDash(w.GetAbout()), p.a.when(w.GetSinceUnixMs()), worth})
	}
	p.table("written down at "+b.GetAsOf().GetYard()+" only: NOBODY ELSE KNOWS", []string{"RECORD", "WHAT", "BY", "ABOUT", "SINCE", "WORTH"}, rows)
}

// idle is a point of which there is nothing to say but that it is live.
func idle(v *recordv1.PointView) bool {
	return v.GetPosition() == recordv1.Position_POSITION_LIVE && len(v.GetHolds())+len(v.GetBoxes()) == 0 && v.GetRequest() == ""
}

// inside calls people out who are signed on to a job whose conditions for work are
// not met, at whatever stage the job is.
func (p *page) inside(jobs []*recordv1.JobView, ss []*recordv1.SignOnView) {
	for _, j := range jobs {
		if who := insiders(j, ss); len(who) > 0 {
			p.loud("GET OUT:", "%s signed on to %s, whose conditions for work are not met", strings.Join(who, ", "), j.GetId())
		}
	}
}

// permits reports whether a job's screen says that something may be done.
func permits(j *recordv1.JobView) bool {
	return j.GetStage() == recordv1.Stage_STAGE_WORK_MAY_START || j.GetStage() == recordv1.Stage_STAGE_APPROVED || slices.ContainsFunc(j.GetPermits(), inForce)
}

// requests prints them and reports whether one is approved.
func (p *page) requests(rs []*recordv1.RequestView) (approved bool) {
	var rows [][]string
	for _, r := range rs {
		approved = approved || r.GetState() == recordv1.RequestState_REQUEST_STATE_APPROVED
		state := stateWord(r.GetState())
		if r.GetBecause() != nil {
			state += ": " + p.a.words().Says(r.GetBecause())
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
		case h.GetEquipment():
			worth = "NO: EQUIPMENT LOCK, protects nobody; look again by " + p.a.lastDay(h.GetReviewUnixMs())
		case h.GetTagOnly() && h.GetGuards():
			worth = "TAG ONLY: " + tagWords(h.GetTag())
		case h.GetTagOnly():
			worth = "NO: TAG ONLY: " + tagWords(h.GetTag())
		case h.GetStoodClear() != "":
			worth = "NO: stood clear for " + h.GetStoodClear()
		case !h.GetGuards():
			worth = "NO: not recorded open"
		}
		rows = append(rows, []string{h.GetRef(), who, h.GetTarget(), strings.Join(h.GetCovers(), ", "), orDash(h.GetJob()), orDash(h.GetPadlock()), p.a.when(h.GetSinceUnixMs()), worth})
	}
	p.table(title, []string{"LOCK", "WHOSE", "HANGS ON", "COVERS", "JOB", "PADLOCK", "SINCE", "GUARDS"}, rows)
	for _, h := range hs {
		for _, f := range h.GetStanding() {
			p.loud("FLAGGED", "now: %s: %s", h.GetRef(), p.a.words().WithClause(f))
		}
		for _, f := range h.GetFlags() {
			if !slices.ContainsFunc(h.GetStanding(), func(g *recordv1.Finding) bool { return g.GetCode() == f.GetCode() && g.GetSubject() == f.GetSubject() }) {
				p.loud("FLAGGED", "when it was recorded: %s: %s", h.GetRef(), p.a.words().WithClause(f))
			}
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
		left := holesLeft(v.GetHoles(), v.GetHolesLeft())
		if v.GetNotLockable() {
			left = "TAG ONLY: takes no lock"
		}
		rows = append(rows, []string{v.GetPoint(), orDash(v.GetLabel()), positionWord(v.GetPosition()), orDash(strings.Join(v.GetHolds(), ", ")), orDash(strings.Join(v.GetBoxes(), ", ")), orDash(v.GetRequest()), left})
	}
	p.table(title, []string{"POINT", "LABEL", "POSITION", "LOCKS", "BOXES", "REQUEST", "HOLES LEFT"}, rows)
}
