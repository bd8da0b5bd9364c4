package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func testApp(env map[string]string) (*App, *bytes.Buffer) {
	var out bytes.Buffer
	return &App{Out: &out, Err: &out, Env: func(k string) string { return env[k] }, Now: func() time.Time { return time.UnixMilli(1790000400000) }, output: "table", color: "auto"}, &out
}

func screen(draw func(p *page)) string {
	a, _ := testApp(nil)
	p := &page{a: a}
	draw(p)
	return p.buf.String()
}

// The caution stands wherever a screen says that a plan isolates, that work may
// start, that a request is approved or that a go-ahead shows (design.md, rule 7).
func TestCaution(t *testing.T) {
	board := &recordv1.Board{AsOf: asOf(true), Jobs: []*recordv1.JobView{mayStart(true)}}
	asked := mayStart(true)
	asked.Stage = recordv1.Stage_STAGE_RELEASED
	for name, draw := range map[string]func(p *page){
		"a plan":                 func(p *page) { p.plan(&servicev1.PlanResponse{Isolates: true}, false) },
		"work may start":         func(p *page) { p.job(mayStart(true), "ann-dahl") },
		"work may start, board":  func(p *page) { p.board(board) },
		"work may start, jobs":   func(p *page) { p.jobs(board, filter{}) },
		"a request is approved":  func(p *page) { p.job(asked, "ann-dahl") },
		"an approval on a board": func(p *page) { p.board(&recordv1.Board{AsOf: asOf(true), Requests: asked.Requests}) },
		"a go-ahead":             func(p *page) { p.panel(&servicev1.GetPanelResponse{AsOf: asOf(true), GoAhead: true}) },
		"a permit":               func(p *page) { p.permitPage(&recordv1.Board{AsOf: asOf(true)}, permitInForce()) },
		"permits":                func(p *page) { p.permitList(permitBoard(true)) },
		"permits on a board":     func(p *page) { p.board(permitBoard(true)) },
		"a job's permit": func(p *page) {
			p.job(&recordv1.JobView{AsOf: asOf(true), Permits: permitBoard(true).Permits}, "ann-dahl")
		},
		"a permit's receipt":      func(p *page) { p.receipt("issue_permit", &servicev1.Receipt{}) },
		"a request's receipt":     func(p *page) { p.receipt("request", &servicev1.Receipt{}) },
		"an energising's receipt": func(p *page) { p.receipt("energise", &servicev1.Receipt{}) },
	} {
		if got := screen(draw); strings.Count(got, ledger.Caution) != 1 {
			t.Errorf("%s: the caution stands %d times, want once:\n%s", name, strings.Count(got, ledger.Caution), got)
		}
	}
}

func permitBoard(confirmed bool) *recordv1.Board {
	return &recordv1.Board{AsOf: asOf(confirmed), Permits: []*recordv1.PermitView{permitInForce(), permitSuspended()}}
}

// Whoever is inside under a permit that does not hold is called out on every
// screen that shows it, and whoever is inside under one that does is not.
func TestPermitCallsOut(t *testing.T) {
	for name, got := range map[string]string{
		"board":  screen(func(p *page) { p.board(permitBoard(true)) }),
		"list":   screen(func(p *page) { p.permitList(permitBoard(true)) }),
		"permit": screen(func(p *page) { p.permitPage(permitBoard(true), permitSuspended()) }),
		"job": screen(func(p *page) {
			p.job(&recordv1.JobView{AsOf: asOf(true), Permits: permitBoard(true).Permits}, "ann-dahl")
		}),
	} {
		if strings.Count(got, "GET OUT: ben-ito of eastfork/bin-4: permit crust-4-a is SUSPENDED, everybody out") != 1 || strings.Count(got, "GET OUT:") != 1 {
			t.Errorf("%s:\n%s", name, got)
		}
	}
}

// No unconfirmed screen and no other yard's word on a panel, in any format, holds a word that could be read as
// permission (design.md). The words are those of protocol.md section 4.
func TestUnconfirmedHoldsNoPermission(t *testing.T) {
	permission := regexp.MustCompile(`(?i)may.start|approved|in.force|go.ahead show|go.ahead for|close now|isolates|nothing is missing`)
	for _, format := range []string{"table", "json", "yaml"} {
		a, out := testApp(nil)
		a.output = format
		b := &recordv1.Board{AsOf: asOf(false), Jobs: []*recordv1.JobView{mayStart(false)}, Requests: mayStart(false).Requests}
		if err := a.showBoard(b, 0, boardOf{}); err != nil {
			t.Fatal(err)
		}
		j := mayStart(false)
		client.WithholdJob(j)
		if err := a.print(j, func(p *page) { p.job(j, "ann-dahl") }); err != nil {
			t.Fatal(err)
		}
		if err := a.showBoard(permitBoard(false), 0, boardOf{}); err != nil {
			t.Fatal(err)
		}
		v := &servicev1.GetPanelResponse{Point: "millrow/mcc-1/fan", Yard: "eastfork", AsOf: asOf(false), GoAhead: true, Means: told("close now")}
		client.WithholdPanel(v)
		if err := a.print(v, func(p *page) { p.panel(v) }); err != nil {
			t.Fatal(err)
		}
		// What ledger.Caution says is no permission, and it is a field of the contract.
		got := strings.ReplaceAll(out.String(), ledger.Caution, "")
		if found := permission.FindString(got); found != "" {
			t.Errorf("%s: %q is on an unconfirmed screen:\n%s", format, found, got)
		}
		if format == "table" && strings.Count(got, "UNCONFIRMED:") != 3 {
			t.Errorf("not every screen says UNCONFIRMED:\n%s", got)
		}
	}
}

// Only two statuses promise anything (protocol.md section 4); under any other the
// list of points is not shown as promised.
func TestPromisedOnlyWherePromised(t *testing.T) {
	promises := map[servicev1.Status]bool{servicev1.Status_STATUS_CONFIRMED: true, servicev1.Status_STATUS_HELD_LOCALLY: true}
	for n, name := range servicev1.Status_name {
		s := servicev1.Status(n)
		got := screen(func(p *page) {
			p.receipt("lock", &servicev1.Receipt{Status: s, Promised: []string{"millrow/mcc-1/fan"}})
		})
		if strings.Contains(got, "promised") != promises[s] {
			t.Errorf("%s:\n%s", name, got)
		}
	}
}

// The first line of every screen says how the answer is known.
func TestAsOfComesFirst(t *testing.T) {
	for _, confirmed := range []bool{true, false} {
		want := map[bool]string{true: "as of ", false: "UNCONFIRMED: "}[confirmed]
		b := &recordv1.Board{AsOf: asOf(confirmed), Alarms: []*recordv1.Finding{ledger.PointClosed.About("x", "x", "y")}, Jobs: []*recordv1.JobView{{Id: "j", AsOf: asOf(confirmed)}}}
		for name, draw := range map[string]func(p *page){
			"board":  func(p *page) { p.board(b) },
			"jobs":   func(p *page) { p.jobs(b, filter{}) },
			"job":    func(p *page) { p.job(b.Jobs[0], "ann-dahl") },
			"people": func(p *page) { p.people(b) },
			"status": func(p *page) { p.status(&servicev1.GetMembersResponse{AsOf: asOf(confirmed)}) },
			"plan":   func(p *page) { p.plan(&servicev1.PlanResponse{AsOf: asOf(confirmed)}, false) },
		} {
			if got := screen(draw); !strings.HasPrefix(got, want) {
				t.Errorf("%s, confirmed %v, begins %.40q, want %q", name, confirmed, got, want)
			}
		}
	}
}

// An answer without any word of how it is known is taken as unconfirmed.
func TestNoAsOfIsUnconfirmed(t *testing.T) {
	if got := screen(func(p *page) { p.board(&recordv1.Board{}) }); !strings.HasPrefix(got, "UNCONFIRMED:") {
		t.Errorf("begins %.40q", got)
	}
}

// https://no-color.org: set to anything but nothing, no colour by default; a flag
// given on the command line is the user's later word.
func TestColoured(t *testing.T) {
	for _, c := range []struct {
		color string
		tty   bool
		env   map[string]string
		want  bool
	}{
		{"auto", true, nil, true},
		{"auto", false, nil, false},
		{"auto", true, map[string]string{"NO_COLOR": "1"}, false},
		{"auto", true, map[string]string{"NO_COLOR": ""}, true},
		{"auto", true, map[string]string{"CLICOLOR": "0"}, false},
		{"auto", true, map[string]string{"CLICOLOR": "1"}, true},
		{"never", true, nil, false},
		{"always", false, map[string]string{"NO_COLOR": "1"}, true},
	} {
		a, _ := testApp(c.env)
		a.color, a.TTY = c.color, c.tty
		if got := a.coloured(); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Times: RFC 3339 in UTC where no person reads; the age on a terminal.
func TestWhen(t *testing.T) {
	a, _ := testApp(nil)
	if got := a.when(1790000000000); got != "2026-09-21T14:13:20Z" { // GNU date
		t.Errorf("off a terminal: %s", got)
	}
	a.TTY = true
	if got := a.when(1790000000000); !strings.HasSuffix(got, ", 6 min ago") {
		t.Errorf("on a terminal: %s", got)
	}
	if a.when(0) != "never" {
		t.Errorf("no time: %s", a.when(0))
	}
}

// JSON is the same bytes each time, and every field is there.
func TestStableJSON(t *testing.T) {
	v := &recordv1.AsOf{Size: 1 << 60}
	got, err := stableJSON(v)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(got, &m); err != nil {
		t.Fatal(err)
	}
	// Above 2^53 a number would lose digits in many readers.
	because, there := m["because"]
	if m["size"] != "1152921504606846976" || m["confirmed"] != false || !there || because != nil {
		t.Errorf("%s", got)
	}
	if !bytes.HasPrefix(got, []byte("{\n  \"size\": \"1152921504606846976\",\n  \"root\": \"\",\n")) {
		t.Errorf("spacing or order is not ours:\n%s", got)
	}
}

// Every command has a line of help, an answer to --help, and --output.
func TestEveryCommand(t *testing.T) {
	a, _ := testApp(nil)
	count := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for _, s := range c.Commands() {
			walk(s)
		}
		if c.IsAdditionalHelpTopicCommand() || c.Name() == "help" {
			return
		}
		count++
		if c.Short == "" || strings.HasSuffix(c.Short, ".") {
			t.Errorf("%s: its line of help is %q", c.CommandPath(), c.Short)
		}
		if c.Flag("output") == nil {
			t.Errorf("%s has no --output", c.CommandPath())
		}
	}
	walk(a.root())
	if count < 55 {
		t.Errorf("%d commands", count)
	}
}

// An interrupt is no error to tell of; its code is the shell's, 128 + SIGINT.
func TestInterrupted(t *testing.T) {
	a, out := testApp(map[string]string{"YARDHASP_PROFILE": "nowhere.yaml"})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if code := a.Run(ctx, []string{"board"}); code != 130 || out.Len() != 0 {
		t.Errorf("code %d, printed %q", code, out)
	}
}

// A closing that counts for nothing leaves the point open on every screen: whoever
// closed it is told what to record, and one that counts says nothing of it.
func TestClosingWithoutGoAhead(t *testing.T) {
	const word = "IF THE HANDLE IS CLOSED: record it now with \"yardhasp found-closed\""
	kept := &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Outcome: &recordv1.Outcome{Flags: []*recordv1.Finding{ledger.StaleClosing.About("stonebend/mcc/main", "stonebend/mcc/main")}}}
	if got := screen(func(p *page) { p.receipt("closed", kept) }); !strings.Contains(got, word) {
		t.Errorf("kept and not counted:\n%s", got)
	}
	counts := &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Outcome: &recordv1.Outcome{Did: []*recordv1.Finding{ledger.PointClosed.About("stonebend/mcc/main", "stonebend/mcc/main", "mara")}}}
	if got := screen(func(p *page) { p.receipt("closed", counts) }); strings.Contains(got, word) {
		t.Errorf("counted:\n%s", got)
	}
}
