package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// shift is what to know when a shift begins.
type shift struct {
	Yard    string         `json:"yard"`
	Person  string         `json:"person"`
	Known   string         `json:"known"`
	Unsafe  []string       `json:"unsafe"`
	Locks   []string       `json:"locks"`
	Waits   []string       `json:"waits"`
	Mine    []string       `json:"mine"`
	Caution string         `json:"caution"`
	asOf    *recordv1.AsOf // how it is known, in full
}

func (a *App) shiftCmd() *cobra.Command {
	var read readFlags
	var at string
	c := &cobra.Command{Use: "shift", Short: "What to know when your shift begins: what is unsafe, what waits, what you hold", Args: args(0, 0),
		Long:    "First what is unsafe in your yard: alarms, stopped jobs, people inside whose\nconditions aren't met, locks that guard nothing, what is overdue. Then whose locks are\non and for how long, what waits for whom, and what you hold at any yard.\n\"nothing recorded\" is what the ledger has, never that nothing is there.",
		Example: "  yardhasp shift\n  yardhasp shift --at millrow"}
	c.Flags().StringVar(&at, "at", "", "another `yard` than your own")
	read.add(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		how, err := read.how(c)
		if err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			v, err := a.shift(ctx, c, cl, how, at)
			if err != nil {
				return err
			}
			return a.print(v, func(p *page) { p.shift(v) })
		})
	}
	return c
}

func (a *App) shift(ctx context.Context, c *cobra.Command, cl *client.Client, how servicev1.Consistency, at string) (*shift, error) {
	if at == "" {
		at = cl.Profile().Yard
	}
	b, err := cl.Board(ctx, how, "")
	if err == nil {
		err = knownYard(c, b.GetAsOf(), at)
	}
	if err != nil {
		return nil, err
	}
	kept, err := cl.Outbox()
	if err != nil {
		return nil, err
	}
	client.WithholdBoard(b)
	return a.shiftOf(b, kept, at, cl.Profile().Person), nil
}

// shiftOf sorts a whole board for one person at one yard.
func (a *App) shiftOf(b *recordv1.Board, kept []client.Kept, yard, me string) *shift {
	now := b.GetAsOf().GetReadUnixMs()
	v := &shift{Yard: yard, Person: me, Known: "unconfirmed", Unsafe: []string{}, Locks: []string{}, Waits: []string{}, Mine: []string{}, Caution: ledger.Caution, asOf: b.GetAsOf()}
	if b.GetAsOf().GetConfirmed() {
		v.Known = "confirmed by a quorum"
	}
	here := filter{at: yard}
	var waiting []string
	for _, f := range b.GetAlarms() {
		v.Unsafe = append(v.Unsafe, "ALARM: "+a.alarm(f))
		if code.Is(f, ledger.NotAcknowledged) {
			waiting = append(waiting, "removal not acknowledged: "+a.alarm(f))
		}
	}
	for _, j := range b.GetJobs() {
		if !here.ofJob(j) {
			continue
		}
		if j.GetStage() == recordv1.Stage_STAGE_STOPPED {
			v.Unsafe = append(v.Unsafe, fmt.Sprintf("STOPPED: job %s on %s: %s", j.GetId(), j.GetZone(), missing(j)))
		}
		if who := insiders(j, b.GetSignedOn()); len(who) > 0 {
			v.Unsafe = append(v.Unsafe, fmt.Sprintf("GET OUT: %s signed on to %s, whose conditions for work are not met", strings.Join(who, ", "), j.GetId()))
		}
	}
	for _, h := range b.GetHolds() {
		if h.GetHolder() == me && !h.GetFound() {
			v.Mine = append(v.Mine, fmt.Sprintf("lock %s on %s for %s, on %s", h.GetRef(), h.GetTarget(), orDash(h.GetJob()), lasted(now, h.GetSinceUnixMs())))
		}
		if !here.hold(h) {
			continue
		}
		v.Locks = append(v.Locks, fmt.Sprintf("%s on %s for %s, on %s (%s)", ownerOf(h), h.GetTarget(), orDash(h.GetJob()), lasted(now, h.GetSinceUnixMs()), h.GetRef()))
		switch {
		case h.GetStoodClear() != "":
			v.Unsafe = append(v.Unsafe, fmt.Sprintf("GUARDS NOTHING: lock %s of %s on %s stood clear for %s", h.GetRef(), ownerOf(h), h.GetTarget(), h.GetStoodClear()))
		case !h.GetGuards():
			v.Unsafe = append(v.Unsafe, fmt.Sprintf("GUARDS NOTHING: lock %s of %s on %s, which is not recorded open", h.GetRef(), ownerOf(h), h.GetTarget()))
		}
		if h.GetFound() {
			waiting = append(waiting, fmt.Sprintf("lock %s found on %s waits for its owner to be identified", h.GetRef(), h.GetTarget()))
		}
	}
	for _, x := range b.GetPoints() {
		if here.at == "" || ledger.YardOf(x.GetPoint()) == here.at {
			v.Unsafe = append(v.Unsafe, keyless([]*recordv1.PointView{x}, b.GetHolds())...)
		}
	}
	a.overdue(v, b, here, now)
	v.Waits = append(a.requestsWait(b, here), waiting...)
	v.Waits = append(v.Waits, jobsWait(b, here)...)
	if len(kept) > 0 {
		v.Waits = append(v.Waits, fmt.Sprintf("%d records are kept on this machine only, nobody else knows; the oldest, a %s, since %s: \"yardhasp outbox send\"",
			len(kept), strings.ReplaceAll(kept[0].Kind, "_", " "), a.when(kept[0].Since.UnixMilli())))
	}
	for _, s := range b.GetSignedOn() {
		if s.GetPerson() == me {
			v.Mine = append(v.Mine, fmt.Sprintf("signed on to %s %s (%s)", s.GetJob(), lasted(now, s.GetSinceUnixMs()), s.GetRef()))
		}
	}
	return v
}

// overdue is what a time limit has passed of.
func (a *App) overdue(v *shift, b *recordv1.Board, here filter, now int64) {
	busy := map[string]bool{}
	for _, h := range b.GetHolds() {
		busy[h.GetHolder()] = busy[h.GetHolder()] || here.hold(h)
	}
	jobs := map[string]*recordv1.JobView{}
	for _, j := range b.GetJobs() {
		jobs[j.GetId()] = j
	}
	for _, s := range b.GetSignedOn() {
		busy[s.GetPerson()] = busy[s.GetPerson()] || here.signOn(s, jobs[s.GetJob()])
	}
	for _, p := range b.GetPeople() {
		if busy[p.GetId()] && p.GetTrainedUntilUnixMs() <= now {
			v.Unsafe = append(v.Unsafe, fmt.Sprintf("OVERDUE: training of %s, who is locked or signed on here, 1910.147(c)(7) (unchecked)", p.GetId()))
		}
	}
	for _, r := range b.GetRequests() {
		if here.request(r) && open(r) && r.GetDeadlineUnixMs() <= now {
			v.Unsafe = append(v.Unsafe, fmt.Sprintf("OVERDUE: request %s for %s ended %s and still stands", r.GetId(), strings.Join(r.GetPoints(), ", "), a.when(r.GetDeadlineUnixMs())))
		}
	}
}

// open takes a state that was withheld as open.
func open(r *recordv1.RequestView) bool {
	switch r.GetState() {
	case recordv1.RequestState_REQUEST_STATE_DONE, recordv1.RequestState_REQUEST_STATE_VOID, recordv1.RequestState_REQUEST_STATE_EXPIRED, recordv1.RequestState_REQUEST_STATE_WITHDRAWN:
		return false
	}
	return true
}

func (a *App) requestsWait(b *recordv1.Board, here filter) []string {
	out := []string{}
	for _, r := range b.GetRequests() {
		if here.request(r) && open(r) {
			out = append(out, fmt.Sprintf("request %s by %s for %s: %s, waits for %s, ends %s", r.GetId(), r.GetRequester(), strings.Join(r.GetPoints(), ", "), stateWord(r.GetState()), waitsFor(r), a.ends(r.GetDeadlineUnixMs())))
		}
	}
	return out
}

// jobsWait says for whom each job waits before its work, by how many conditions.
func jobsWait(b *recordv1.Board, here filter) []string {
	var out []string
	for _, j := range b.GetJobs() {
		if !here.ofJob(j) || len(j.GetToStart()) == 0 {
			continue
		}
		count := map[string]int{}
		var order []string
		for _, c := range j.GetToStart() {
			who := words.English.Who(c)
			if who == "" {
				who = "nobody named"
			}
			if count[who] == 0 {
				order = append(order, who)
			}
			count[who]++
		}
		for i, who := range order {
			order[i] = fmt.Sprintf("%s (%d)", who, count[who])
		}
		out = append(out, fmt.Sprintf("job %s waits before work for %s", j.GetId(), strings.Join(order, ", ")))
	}
	return out
}

func ownerOf(h *recordv1.HoldView) string {
	if h.GetFound() {
		return "OWNER NOT KNOWN"
	}
	return h.GetHolder()
}

// lasted is how long something has been so, at the yard's reading.
func lasted(now, since int64) string {
	switch d := time.Duration(now-since) * time.Millisecond; {
	case since <= 0:
		return "for a time not known"
	case d < 2*time.Hour:
		return fmt.Sprintf("for %d min", max(0, int(d.Minutes())))
	case d < 48*time.Hour:
		return fmt.Sprintf("for %d h", int(d.Hours()))
	default:
		return fmt.Sprintf("for %d days", int(d.Hours()/24))
	}
}

func (p *page) shift(v *shift) {
	p.asOf(v.asOf)
	for _, s := range []struct {
		title string
		items []string
		loud  bool
	}{
		{"unsafe at " + v.Yard + ", and alarms of every yard", v.Unsafe, true},
		{"locks on at " + v.Yard, v.Locks, false},
		{"what waits, and for whom", v.Waits, false},
		{"what " + v.Person + " holds, at any yard", v.Mine, false},
	} {
		p.section(s.title)
		if len(s.items) == 0 {
			p.line("  nothing recorded")
		}
		for _, i := range s.items {
			if word, rest, ok := strings.Cut(i, ":"); ok && s.loud {
				i = p.a.loud(word+":") + rest
			}
			p.wrapped("  - ", "    ", i)
		}
	}
	p.caution()
	p.line("\n%s", NotPermission)
}

// insiders are those signed on to a job whose conditions for work are not met; that
// an answer is not confirmed is no condition of the job.
func insiders(j *recordv1.JobView, ss []*recordv1.SignOnView) []string {
	if !slices.ContainsFunc(j.GetToStart(), func(c *recordv1.Finding) bool { return !code.Is(c, client.Unconfirmed) }) {
		return nil
	}
	var who []string
	for _, s := range ss {
		if s.GetJob() == j.GetId() && !slices.Contains(who, s.GetPerson()) {
			who = append(who, s.GetPerson())
		}
	}
	return who
}
