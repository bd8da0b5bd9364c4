package cli

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// What each filter leaves of a board, by hand: shiftBoard has two jobs, four locks.
func TestCut(t *testing.T) {
	for _, c := range []struct {
		f                    filter
		jobs, holds, ons, rs string
	}{
		{filter{}, "boot-1 far-1", "eastfork/1/2 eastfork/1/3 eastfork/1/4 millrow/1/1", "ravi ann-dahl", "r-1 r-2 r-3"},
		{filter{at: "millrow"}, "far-1", "millrow/1/1", "ann-dahl", ""},
		{filter{person: "ravi"}, "", "eastfork/1/2", "ravi", ""},
		{filter{person: "mara"}, "", "", "", "r-1 r-2 r-3"},
		{filter{job: "boot-1"}, "boot-1", "eastfork/1/2", "ravi", ""},
		{filter{at: "eastfork", job: "far-1"}, "", "", "", ""},
		{filter{state: "stopped"}, "boot-1 far-1", "eastfork/1/2 eastfork/1/3 eastfork/1/4 millrow/1/1", "ravi ann-dahl", ""},
		{filter{state: "awaiting"}, "", "eastfork/1/2 eastfork/1/3 eastfork/1/4 millrow/1/1", "ravi ann-dahl", "r-1 r-2"},
	} {
		b := proto.CloneOf(shiftBoard())
		c.f.cut(b)
		var jobs, holds, ons, rs []string
		for _, v := range b.Jobs {
			jobs = append(jobs, v.Id)
		}
		for _, v := range b.Holds {
			holds = append(holds, v.Ref)
		}
		for _, v := range b.SignedOn {
			ons = append(ons, v.Person)
		}
		for _, v := range b.Requests {
			rs = append(rs, v.Id)
		}
		for _, x := range [][2]string{{strings.Join(jobs, " "), c.jobs}, {strings.Join(holds, " "), c.holds}, {strings.Join(ons, " "), c.ons}, {strings.Join(rs, " "), c.rs}} {
			if x[0] != x[1] {
				t.Errorf("%+v: %q, want %q", c.f, x[0], x[1])
			}
		}
		if len(b.Alarms) != 1 {
			t.Errorf("%+v: the alarm is left out", c.f)
		}
	}
}

// A point is shown with the lock on it or with the job it belongs to.
func TestCutPoints(t *testing.T) {
	board := func() *recordv1.Board {
		return &recordv1.Board{Jobs: []*recordv1.JobView{{Id: "j", Plan: []string{"a/b/c"}}}, Holds: []*recordv1.HoldView{{Ref: "a/1/1", Holder: "ravi", Target: "a/box", Covers: []string{"a/b/d"}}},
			Points: []*recordv1.PointView{{Point: "a/b/c"}, {Point: "a/b/d", Holds: []string{"a/1/1"}}}, Boxes: []*recordv1.BoxView{{Box: "a/box", Holds: []string{"a/1/1"}}}}
	}
	for _, c := range []struct {
		f             filter
		points, boxes int
	}{{filter{}, 2, 1}, {filter{job: "j"}, 1, 0}, {filter{person: "ravi"}, 1, 1}, {filter{at: "b"}, 0, 0}, {filter{person: "lena"}, 0, 0}} {
		b := board()
		c.f.cut(b)
		if len(b.Points) != c.points || len(b.Boxes) != c.boxes {
			t.Errorf("%+v: %d points, %d boxes", c.f, len(b.Points), len(b.Boxes))
		}
	}
}

// Whoever must get out is named on a screen that is cut down to something else.
func TestGetOutIsNeverCut(t *testing.T) {
	for name, got := range map[string]string{
		"board": screen(func(p *page) { p.of.at = "millrow"; p.board(shiftBoard()) }),
		"jobs":  screen(func(p *page) { p.jobs(shiftBoard(), filter{at: "millrow"}) }),
	} {
		if !strings.Contains(got, "GET OUT: ravi signed on to boot-1") || strings.Contains(got, "eastfork/mcc-1/leg") {
			t.Errorf("%s:\n%s", name, got)
		}
	}
}

// The flags of every listing have one text each: one meaning.
func TestFilterFlagsAlike(t *testing.T) {
	a, _ := testApp(nil)
	root := a.root()
	for _, path := range []string{"board", "job list", "request list", "watch", "history"} {
		c, _, err := root.Find(strings.Fields(path))
		if err != nil {
			t.Fatal(err)
		}
		for name, text := range map[string]string{"at": atHelp, "person": personHelp, "job": jobHelp} {
			if f := c.Flags().Lookup(name); f == nil || f.Usage != text {
				t.Errorf("%s: --%s is missing or means something else", path, name)
			}
		}
		if c.Flags().Lookup("state") == nil != (path == "board") {
			t.Errorf("%s: --state", path)
		}
		// --yard stays what it is: whom to ask first.
		if f := c.Flag("yard"); f == nil || !strings.Contains(f.Usage, "ask first") {
			t.Errorf("%s: --yard", path)
		}
	}
}
