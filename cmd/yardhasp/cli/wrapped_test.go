package cli

import (
	"bytes"
	"strings"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Many conditions stand by who supplies them, numbered through; few stand in the
// order of the work, each with its who.
func TestConditionsGrouped(t *testing.T) {
	a, _ := testApp(nil)
	lock := func(person, point string) *recordv1.Finding {
		return ledger.NotTried.About(point, point, person, "eastfork/1/8")
	}
	ravi, mara, again := lock("ravi", "eastfork/mcc-1/fan"), lock("mara", "eastfork/mcc-1/fan"), lock("ravi", "eastfork/mcc-1/leg")
	nobody := ledger.NotAwaiting.About("r-1", "r-1")
	few := a.conditionsText([]*recordv1.Finding{ravi, mara, again})
	if strings.Contains(few, "from ") || strings.Count(few, "who:") != 3 {
		t.Errorf("three:\n%s", few)
	}
	many := strings.Join(strings.Fields(a.conditionsText([]*recordv1.Finding{ravi, mara, again, nobody})), " ")
	at := 0
	for _, want := range []string{"from ravi: 1.", "2.", "from mara: 3.", "from nobody named: 4."} {
		i := strings.Index(many[at:], want)
		if i < 0 {
			t.Fatalf("four: %q is not there, or not in its place:\n%s", want, many)
		}
		at += i
	}
}

// Long texts keep to the terminal, to 80 columns where its width isn't known; what
// follows hangs under the text.
func TestConditionsWrapped(t *testing.T) {
	long := strings.Repeat("the reading is older than the opening ", 5)
	for width, most := range map[int]int{0: 80, 60: 60, 120: 120, 3: 80} {
		a, _ := testApp(nil)
		a.Width = width
		got := a.conditionsText([]*recordv1.Finding{{Code: "OF_A_NEWER_RELEASE",
			Args: []*recordv1.Arg{{Name: "because", Kind: recordv1.ArgKind_ARG_KIND_TEXT, Text: long}}}})
		longest := 0
		for i, l := range strings.Split(strings.TrimSuffix(got, "\n"), "\n") {
			longest = max(longest, utf8.RuneCountInString(l))
			if i > 0 && !strings.HasPrefix(l, "     ") {
				t.Errorf("width %d: line %d doesn't hang: %q", width, i+1, l)
			}
		}
		if longest > most || longest < most-10 {
			t.Errorf("width %d: the longest line has %d characters", width, longest)
		}
		if !strings.Contains(strings.Join(strings.Fields(got), " "), strings.TrimSpace(long)) {
			t.Errorf("width %d: words were lost:\n%s", width, got)
		}
	}
}

// --units us puts the customary value beside; without it nothing is added.
func TestUnitsOnScreens(t *testing.T) {
	v := &servicev1.PlanResponse{AsOf: asOf(true), Stores: []*servicev1.StoreView{{Store: "stonebend/vessel", Joules: 9e7, Limit: "below 7 kPa gauge", HowWorkedOut: "2.5 P V, 0.5 m3 at 690 kPa gauge"}}}
	for units, want := range map[string][]string{
		"si": {"  90 MJ  ", "below 7 kPa gauge", "0.5 m3 at 690 kPa gauge"},
		// 9e7 / 1.355818, 7 and 690 / 6.894757 to four digits (bc).
		"us": {"90 MJ (66380000 ft-lb)", "below 7 kPa (1.015 psi) gauge", "690 kPa (100.1 psi) gauge"},
	} {
		a, _ := testApp(nil)
		a.units = units
		p := &page{a: a}
		p.plan(v, false)
		for _, w := range want {
			if !strings.Contains(p.buf.String(), w) {
				t.Errorf("%s: lacks %q:\n%s", units, w, p.buf.String())
			}
		}
		if units == "si" && strings.Contains(p.buf.String(), "psi") {
			t.Error("psi without being asked for")
		}
	}
}

// A long wait says so on a terminal, and ends its line; off a terminal, and in less
// than a second, nothing is said.
func TestProgress(t *testing.T) {
	for name, c := range map[string]struct {
		tty  bool
		wait time.Duration
		want string
	}{
		"long": {true, 2500 * time.Millisecond, "\rreading: 1s\rreading: 2s\n"}, "short": {true, 900 * time.Millisecond, ""}, "no terminal": {false, 5 * time.Second, ""},
	} {
		synctest.Test(t, func(t *testing.T) {
			a, _ := testApp(nil)
			var errs bytes.Buffer
			a.Err, a.ErrTTY = &errs, c.tty
			done := a.progress("reading")
			<-time.After(c.wait)
			done()
			if errs.String() != c.want {
				t.Errorf("%s: %q, want %q", name, errs.String(), c.want)
			}
		})
	}
	synctest.Test(t, func(t *testing.T) {
		a, _ := testApp(nil)
		var errs, file bytes.Buffer
		a.Err, a.ErrTTY, a.Now = &errs, true, time.Now
		w := &counting{Writer: &file, a: a, what: "written"}
		for range 3 {
			if _, err := w.Write(make([]byte, 1024)); err != nil {
				t.Fatal(err)
			}
			<-time.After(600 * time.Millisecond)
		}
		w.done()
		// At 0 and at 1.2 s; the second write comes too soon.
		if file.Len() != 3072 || errs.String() != "\rwritten: 1 KiB\rwritten: 3 KiB\n" {
			t.Errorf("%d bytes, %q", file.Len(), errs.String())
		}
	})
}
