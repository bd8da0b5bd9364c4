package cli

import (
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Whoever reads a job's stage works there: a start that is asked for, approved or
// done must not read as leave to work (common practice, no source).
func TestStartIsNoLeaveToWork(t *testing.T) {
	for n, name := range recordv1.Stage_name {
		s := recordv1.Stage(n)
		starts := s == recordv1.Stage_STAGE_REQUESTED || s == recordv1.Stage_STAGE_APPROVED || s == recordv1.Stage_STAGE_ENERGISED
		if strings.Contains(stageWord(s), "keep out") != starts {
			t.Errorf("%s reads %q", name, stageWord(s))
		}
	}
	if got := stateWord(recordv1.RequestState_REQUEST_STATE_APPROVED); !strings.Contains(got, "NOT a go-ahead") {
		t.Errorf("an approved request reads %q", got)
	}
}

// 29 CFR 1910.147(d)(6): isolation is verified before work starts. People who are
// signed on to a job that lacks something are called out on every screen.
func TestInside(t *testing.T) {
	in := []*recordv1.SignOnView{{Person: "ben-ito", Job: "boot-7"}, {Person: "ben-ito", Job: "boot-7"}, {Person: "ann-dahl", Job: "pit-2"}}
	noLock := ledger.NoLock.About("boot-7", "ben-ito", "stonebend/mcc-1/leg-2", "boot-7", "1910.147(f)(3)(ii)(D)")
	lacks := func(f *recordv1.Finding) *recordv1.JobView {
		return &recordv1.JobView{Id: "boot-7", AsOf: asOf(true), SignedOn: in, ToStart: []*recordv1.Finding{f}}
	}
	for name, c := range map[string]struct {
		j    *recordv1.JobView
		want int
	}{
		"something is missing":                   {lacks(noLock), 1},
		"nothing but a quorum is missing":        {lacks(client.Unconfirmed.About("boot-7", "boot-7")), 0},
		"nothing is missing":                     {mayStart(true), 0},
		"something is missing and nobody inside": {&recordv1.JobView{Id: "boot-9", AsOf: asOf(true), ToStart: lacks(noLock).ToStart}, 0},
	} {
		b := &recordv1.Board{AsOf: asOf(true), Jobs: []*recordv1.JobView{c.j}, SignedOn: in}
		for screenName, got := range map[string]string{
			"board": screen(func(p *page) { p.board(b) }),
			"jobs":  screen(func(p *page) { p.jobs(b, filter{}) }),
			"job":   screen(func(p *page) { p.job(c.j, "ann-dahl") }),
		} {
			if strings.Count(got, "GET OUT: ben-ito signed on to boot-7,") != c.want {
				t.Errorf("%s, %s:\n%s", name, screenName, got)
			}
		}
	}
}

// The locks must not scroll away behind points of which there is nothing to say;
// those are counted, and never hidden once anything but LIVE is said of them.
func TestBoardPoints(t *testing.T) {
	at := func(name string, pos recordv1.Position, edit func(*recordv1.PointView)) *recordv1.PointView {
		v := &recordv1.PointView{Point: "eastfork/mcc/" + name, Position: pos}
		if edit != nil {
			edit(v)
		}
		return v
	}
	live := recordv1.Position_POSITION_LIVE
	b := &recordv1.Board{AsOf: asOf(true), Points: []*recordv1.PointView{
		at("idle", live, nil),
		at("unknown", recordv1.Position_POSITION_UNSPECIFIED, nil),
		at("open", recordv1.Position_POSITION_OPEN, nil),
		at("locked", live, func(v *recordv1.PointView) { v.Holds = []string{"eastfork/1/1"} }),
		at("boxed", live, func(v *recordv1.PointView) { v.Boxes = []string{"eastfork/box-1"} }),
		at("asked", live, func(v *recordv1.PointView) { v.Request = "r-1" }),
	}}
	got := screen(func(p *page) { p.board(b) })
	for _, name := range []string{"unknown", "open", "locked", "boxed", "asked"} {
		if !strings.Contains(got, "eastfork/mcc/"+name) {
			t.Errorf("%s is not shown:\n%s", name, got)
		}
	}
	if strings.Contains(got, "mcc/idle") || !strings.Contains(got, "1 more point is LIVE") {
		t.Errorf("the idle point:\n%s", got)
	}
	if got := screen(func(p *page) { p.of.all = true; p.board(b) }); !strings.Contains(got, "mcc/idle") || strings.Contains(got, "more points") {
		t.Errorf("with --all:\n%s", got)
	}
	if got := screen(func(p *page) { p.board(&recordv1.Board{AsOf: asOf(true)}) }); !strings.Contains(got, "no lock, opening, job or request is recorded") {
		t.Errorf("an empty board:\n%s", got)
	}
}

// A yard mistyped must not read as a yard where nothing is locked, and a part of a
// board not as the whole.
func TestBoardOfOneYard(t *testing.T) {
	c := &cobra.Command{Use: "board"}
	for only, ok := range map[string]bool{"": true, "millrow": true, "milrow": false} {
		err := knownYard(c, asOf(true), only)
		if (err == nil) != ok {
			t.Errorf("--at %q: %v", only, err)
		}
		if err != nil && !strings.Contains(err.Error(), "eastfork, millrow") {
			t.Errorf("--at %q names no yard: %v", only, err)
		}
	}
	b := &recordv1.Board{AsOf: asOf(true)}
	if got := screen(func(p *page) { p.of.at = "millrow"; p.board(b) }); !strings.Contains(got, "ONLY yard millrow is shown") {
		t.Error(got)
	}
	if got := screen(func(p *page) { p.board(b) }); strings.Contains(got, "ONLY") {
		t.Error(got)
	}
}

// The first line of a receipt is what a tired person reads: a record that was kept
// and counts for nothing says so there, and no sign-on reads as leave to enter
// unless it is confirmed and clean (protocol.md section 4).
func TestReceiptWarns(t *testing.T) {
	flagged := &recordv1.Outcome{Accepted: true, Flags: []*recordv1.Finding{ledger.NotOnCrew.About("boot-7", "ben-ito", "boot-7")}}
	changed := &recordv1.Outcome{Accepted: true, Flags: flagged.Flags, Did: []*recordv1.Finding{ledger.WentIn.About("boot-7", "ben-ito", "boot-7")}}
	clean := &recordv1.Outcome{Accepted: true, Did: changed.Did}
	confirmed := servicev1.Status_STATUS_CONFIRMED
	for _, c := range []struct {
		kind   string
		status servicev1.Status
		out    *recordv1.Outcome
		want   string
		there  bool
	}{
		{"reading", confirmed, flagged, "CONFIRMED, DOES NOT COUNT,", true},
		{"reading", confirmed, changed, "DOES NOT COUNT", false},
		{"lock", confirmed, flagged, "DOES NOT COUNT", false},
		{"sign_on", confirmed, changed, "KEEP OUT:", true},
		{"sign_on", confirmed, clean, "KEEP OUT", false},
		{"sign_on", servicev1.Status_STATUS_WRITTEN, nil, "KEEP OUT:", true},
		{"sign_on", servicev1.Status_STATUS_NOT_SENT, nil, "KEEP OUT:", true},
		{"sign_off", servicev1.Status_STATUS_WRITTEN, nil, "UNPROTECTED", true},
		{"sign_off", confirmed, clean, "UNPROTECTED", false},
		{"release", servicev1.Status_STATUS_NOT_SENT, nil, "UNPROTECTED", true},
		{"request", confirmed, clean, "DO NOT CLOSE:", true},
		{"energise", confirmed, clean, "DO NOT CLOSE", true},
		{"isolate", confirmed, clean, "DO NOT CLOSE", false},
		{"issue_permit", confirmed, clean, "BEFORE ANYBODY GOES IN OR STRIKES AN ARC:", true},
		// A lock that is off, or whose holder stood clear, is answered without a promise.
		{"lock", confirmed, clean, "CONFIRMED, NO PROTECTION,", true},
	} {
		got := screen(func(p *page) { p.receipt(c.kind, &servicev1.Receipt{Status: c.status, Outcome: c.out}) })
		if strings.Contains(got, c.want) != c.there {
			t.Errorf("%s %s: %q there %v:\n%s", c.kind, c.status, c.want, !c.there, got)
		}
	}
}

// A limit given as a day reads as that day (dateArg), a time ahead says how long is
// left, and another year than this one is named.
func TestEnds(t *testing.T) {
	a, _ := testApp(nil)
	end, err := dateArg(nil, "until", "2027-06-30")
	if err != nil {
		t.Fatal(err)
	}
	if got := a.lastDay(end); got != "2027-06-30" {
		t.Errorf("a day reads %s", got)
	}
	a.TTY = true
	now := a.Now()
	for _, c := range []struct {
		ahead time.Duration
		want  string
	}{
		{30 * time.Second, ", in less than 1 min"},
		{61 * time.Minute, ", in 61 min"},
		{47 * time.Hour, ", in 47 h"},
		{49 * time.Hour, ", in 2 days"},
		{-2 * time.Minute, ", 2 min ago"},
	} {
		if got := a.ends(now.Add(c.ahead).UnixMilli()); !strings.HasSuffix(got, c.want) {
			t.Errorf("%s ahead reads %s, want %s", c.ahead, got, c.want)
		}
	}
	if got := a.ends(now.AddDate(1, 0, 0).UnixMilli()); !strings.Contains(got, " 2027 ") {
		t.Errorf("next year reads %s", got)
	}
	if a.ends(0) != "never" || a.lastDay(0) != "never" {
		t.Errorf("no time reads %s, %s", a.ends(0), a.lastDay(0))
	}
}

// A panel's own machine asks nobody: it must not read as if the others were down.
func TestPanelAsksNobody(t *testing.T) {
	v := &servicev1.GetPanelResponse{Yard: "eastfork", AsOf: &recordv1.AsOf{Yards: []*recordv1.YardContact{{Yard: "millrow", LastHeardUnixMs: 1790000399000}}}}
	got := screen(func(p *page) { p.panel(v) })
	if strings.Contains(got, "NOT HEARD FROM") || !strings.Contains(got, "no other yard was asked: millrow (last heard 2026-09-21T14:19:59Z)") {
		t.Error(got)
	}
}

// Below its quorum a ledger has nothing left that may fail.
func TestMayFail(t *testing.T) {
	for _, c := range []struct {
		quorum bool
		n      uint32
		want   string
	}{{false, 0, "TOO FEW ARE ALIVE"}, {true, 0, "NOT ONE more may fail"}, {true, 1, "one more may fail"}, {true, 2, "2 more may fail"}} {
		if got := mayFail(&servicev1.GetMembersResponse{HasQuorum: c.quorum, MayFail: c.n}); got != c.want {
			t.Errorf("%+v reads %q", c, got)
		}
	}
}
