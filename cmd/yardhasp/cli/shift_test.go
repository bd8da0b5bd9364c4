package cli

import (
	"slices"
	"strings"
	"testing"
	"time"

	"yardhasp/client"
	"yardhasp/client/record/sample"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// shiftBoard is a board with one of each thing a shift must hear of; asOf reads at
// 1790000400000 ms.
func shiftBoard() *recordv1.Board {
	const read, hour = 1790000400000, 3_600_000
	lacks := []*recordv1.Finding{
		ledger.NotShutDown.About("eastfork/leg-boot", "eastfork/leg-boot", "boot-1", "ravi"),
		ledger.NotToldBefore.About("dov", "dov", "boot-1", "mara"),
		ledger.NotShutDown.About("eastfork/leg-boot", "eastfork/leg-boot", "boot-1", "ravi")}
	closed := ledger.FoundClosed.About("millrow/mcc-1/fan", "millrow/mcc-1/fan", "dov", nil, nil, nil)
	return &recordv1.Board{AsOf: asOf(true), Alarms: []*recordv1.Finding{closed},
		Jobs: []*recordv1.JobView{
			{Id: "boot-1", Zone: "eastfork/leg-boot", Stage: recordv1.Stage_STAGE_STOPPED, ToStart: lacks},
			{Id: "far-1", Zone: "millrow/pit", Stage: recordv1.Stage_STAGE_STOPPED, ToStart: lacks}},
		SignedOn: []*recordv1.SignOnView{{Ref: "eastfork/1/5", Person: "ravi", Job: "boot-1", SinceUnixMs: read - 3*hour},
			{Ref: "millrow/1/5", Person: "ann-dahl", Job: "far-1", SinceUnixMs: read - hour}},
		Holds: []*recordv1.HoldView{
			{Ref: "eastfork/1/2", Holder: "ravi", Target: "eastfork/mcc-1/leg", Covers: []string{"eastfork/mcc-1/leg"}, Job: "boot-1", Guards: true, SinceUnixMs: read - 50*hour},
			{Ref: "eastfork/1/3", Holder: "lena", Target: "eastfork/mcc-1/fan", Covers: []string{"eastfork/mcc-1/fan"}, SinceUnixMs: read - hour},
			{Ref: "eastfork/1/4", Found: true, Target: "eastfork/mcc-1/leg", Covers: []string{"eastfork/mcc-1/leg"}, Guards: true, SinceUnixMs: read - hour},
			{Ref: "millrow/1/1", Holder: "ann-dahl", Target: "millrow/mcc-1/fan", Covers: []string{"millrow/mcc-1/fan"}, Guards: true, SinceUnixMs: read - hour}},
		Requests: []*recordv1.RequestView{
			{Id: "r-1", Requester: "mara", Points: []string{"eastfork/mcc-1/dryer"}, State: recordv1.RequestState_REQUEST_STATE_AWAITING, Involved: []string{"eastfork", "millrow"}, Confirmed: []string{"eastfork"}, DeadlineUnixMs: read + hour},
			{Id: "r-2", Requester: "mara", Points: []string{"eastfork/mcc-1/dryer"}, State: recordv1.RequestState_REQUEST_STATE_AWAITING, DeadlineUnixMs: read - hour},
			{Id: "r-3", Requester: "mara", Points: []string{"eastfork/mcc-1/dryer"}, State: recordv1.RequestState_REQUEST_STATE_VOID, DeadlineUnixMs: read - hour}},
		People: []*recordv1.PersonView{{Id: "ravi", TrainedUntilUnixMs: read - 1}, {Id: "lena", TrainedUntilUnixMs: read + 1}, {Id: "ann-dahl"}}}
}

// Each section, item by item; another yard's locks and jobs are left out, its alarms
// are not.
func TestShiftSections(t *testing.T) {
	a, _ := testApp(nil)
	kept := []client.Kept{{Kind: "found_lock", Since: time.UnixMilli(1790000000000)}}
	v := a.shiftOf(shiftBoard(), kept, "eastfork", "ann-dahl")
	for name, c := range map[string]struct{ got, want []string }{
		"unsafe": {v.Unsafe, []string{
			"ALARM: " + a.alarm(shiftBoard().Alarms[0]),
			"STOPPED: job boot-1 on eastfork/leg-boot: not shut down, not told before",
			"GET OUT: ravi signed on to boot-1, whose conditions for work are not met",
			"GUARDS NOTHING: lock eastfork/1/3 of lena on eastfork/mcc-1/fan, which is not recorded open",
			"OVERDUE: training of ravi, who is locked or signed on here, 1910.147(c)(7) (unchecked)",
			"OVERDUE: request r-2 for eastfork/mcc-1/dryer ended 2026-09-21T13:20:00Z and still stands"}},
		"locks": {v.Locks, []string{
			"ravi on eastfork/mcc-1/leg for boot-1, on for 2 days (eastfork/1/2)",
			"lena on eastfork/mcc-1/fan for -, on for 60 min (eastfork/1/3)",
			"OWNER NOT KNOWN on eastfork/mcc-1/leg for -, on for 60 min (eastfork/1/4)"}},
		"waits": {v.Waits, []string{
			"request r-1 by mara for eastfork/mcc-1/dryer: awaiting, waits for millrow, ends 2026-09-21T15:20:00Z",
			"request r-2 by mara for eastfork/mcc-1/dryer: awaiting, waits for -, ends 2026-09-21T13:20:00Z",
			"lock eastfork/1/4 found on eastfork/mcc-1/leg waits for its owner to be identified",
			"job boot-1 waits before work for ravi (2), mara (1)",
			"1 records are kept on this machine only, nobody else knows; the oldest, a found lock, since 2026-09-21T14:13:20Z: \"yardhasp outbox send\""}},
		"mine": {v.Mine, []string{
			"lock millrow/1/1 on millrow/mcc-1/fan for -, on for 60 min",
			"signed on to far-1 for 60 min (millrow/1/5)"}},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%s:\n  got  %q\n  want %q", name, c.got, c.want)
		}
	}
}

// Unsafe comes before what waits; the as-of line before both; an empty section says
// what is recorded, and nothing on the screen says safe.
func TestShiftScreen(t *testing.T) {
	a, _ := testApp(nil)
	got := screen(func(p *page) { p.shift(a.shiftOf(shiftBoard(), nil, "eastfork", "ann-dahl")) })
	at := -1
	for _, want := range []string{"as of ", "unsafe at eastfork", "STOPPED: job boot-1", "locks on at eastfork", "what waits, and for whom", "what ann-dahl holds, at any yard", ledger.Caution, NotPermission} {
		i := strings.Index(got, want)
		if i <= at && want != "as of " || i < 0 {
			t.Fatalf("%q is missing or out of order:\n%s", want, got)
		}
		at = i
	}
	empty := screen(func(p *page) {
		p.shift(a.shiftOf(&recordv1.Board{AsOf: asOf(true)}, nil, "eastfork", "ann-dahl"))
	})
	if strings.Count(empty, "\n  nothing recorded\n") != 4 {
		t.Errorf("not every empty section says so:\n%s", empty)
	}
	if strings.Contains(strings.ReplaceAll(strings.ToLower(empty+got), "unsafe", ""), "safe") {
		t.Error("the screen says safe")
	}
}

// Of the two removals of sample.Week one was acknowledged: the other waits for its
// holder's word, and says by which command they give it.
func TestShiftFindsUntold(t *testing.T) {
	w, err := sample.Week()
	if err != nil {
		t.Fatal(err)
	}
	a, _ := testApp(nil)
	b := w.State.Board("", w.Now)
	b.AsOf = asOf(true)
	v := a.shiftOf(b, nil, "millrow", "lena")
	n := 0
	for _, x := range v.Waits {
		if strings.HasPrefix(x, "removal not acknowledged: ") && strings.Contains(x, sample.Fan) && strings.Contains(x, "\"yardhasp removal acknowledge ") {
			n++
		}
	}
	if n != 1 {
		t.Errorf("%d removals wait for their holder's word, want 1: %q", n, v.Waits)
	}
}
