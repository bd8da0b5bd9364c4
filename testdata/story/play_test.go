package story

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// fake is a world that answers what its test says, and notes what it was asked.
type fake struct {
	texts
	answer Answer
	err    error
	did    []string
	later  int // questions before the answer comes
	drawn  *recordv1.Drawing
}

func (f *fake) note(format string, args ...any) { f.did = append(f.did, fmt.Sprintf(format, args...)) }

func (f *fake) Given(word string) (map[string]string, error) {
	f.note("given %s", word)
	return map[string]string{"his": "y/1/2"}, f.err
}

func (f *fake) Pass(d time.Duration) error { f.note("pass %s", d); return f.err }

func (f *fake) Mark() (Mark, error) { return Mark{Size: 7, Time: 500}, f.err }

func (f *fake) Do(a *Act) (Answer, error) {
	behind := uint64(0)
	if a.Behind != nil {
		behind = *a.Behind
	}
	f.note("%s does %v at %q behind %d captured %d ago %s by %v grant %d", a.Signer, a.Record.GetAct() != nil, a.At, behind, a.Captured, a.Ago, a.SignedBy, a.Grant)
	return f.answer, f.err
}

func (f *fake) Sign(a *Act) (any, error) { f.note("%s signs", a.Signer); return a.Signer, f.err }

func (f *fake) Send(a *Act, signed any) (Answer, error) {
	f.note("sent %v at %q", signed, a.At)
	return f.answer, f.err
}

func (f *fake) Confirm(yard, request string, behind *uint64) ([]Answer, error) {
	f.note("%s confirms %s behind %v", yard, request, behind != nil)
	return []Answer{f.answer}, f.err
}

func (f *fake) Ask(what string, args []string) (Answer, error) {
	if f.later--; f.later >= 0 {
		return Answer{Says: "not yet"}, nil
	}
	f.note("%s %v", what, args)
	return f.answer, f.err
}

func (f *fake) Proofs(string) ([]*recordv1.Reading, error) {
	return []*recordv1.Reading{{Part: "a"}, {Part: "b"}}, f.err
}

func (f *fake) Drawing(yard string) (*recordv1.Drawing, error) { return f.drawn, f.err }

// told is a test that keeps what it is told and goes on.
type told struct{ bad []string }

type ended struct{}

func (t *told) Helper() {}
func (t *told) Errorf(format string, args ...any) {
	t.bad = append(t.bad, fmt.Sprintf(format, args...))
}
func (t *told) Fatalf(format string, args ...any) { t.Errorf(format, args...); panic(ended{}) }

// play plays the lines of one story and gives what went wrong.
func play(t *testing.T, w World, lines string) (bad []string) {
	t.Helper()
	f := must(t, "name feeder a/b/c\n"+whole+lines+"\nlast -> LAST, no NEVER")
	to := &told{}
	defer func() {
		if r := recover(); r != nil && r != (ended{}) {
			panic(r)
		}
		bad = to.bad
	}()
	s := f.Stories[0]
	s.Steps = s.Steps[:len(s.Steps)-1]
	Play(to, w, s)
	return
}

var taken, refused = Answer{Accepted: true, Ref: "y/1/9", Flags: []Finding{{"A_FLAG", "a/b/c"}}}, Answer{Conditions: []Finding{{"A_CODE", "a/b/c"}, {"OTHER", ""}}}

// TestExpected: an outcome is held against what a line expects, by code and subject.
func TestExpected(t *testing.T) {
	asked := Answer{Says: "in force", Conditions: []Finding{{"A_CODE", "x"}}}
	for _, c := range []struct {
		answer Answer
		line   string
		ok     bool
	}{
		{taken, "lock ravi feeder", true}, {refused, "lock ravi feeder", false},
		{taken, "lock ravi feeder -> ok", true}, {refused, "lock ravi feeder -> ok", false},
		{taken, "lock ravi feeder -> ok only", false}, {Answer{Accepted: true}, "lock ravi feeder -> ok only", true},
		{taken, "lock ravi feeder -> ok, no A_FLAG", false}, {taken, "lock ravi feeder -> ok, no A_FLAG x", true},
		{taken, "lock ravi feeder -> flagged A_FLAG", true}, {taken, "lock ravi feeder -> flagged OTHER", false},
		{taken, "lock ravi feeder -> flagged A_FLAG feeder", true}, {taken, "lock ravi feeder -> flagged A_FLAG x", false},
		{taken, "lock ravi feeder -> refused A_FLAG", false}, {refused, "lock ravi feeder -> flagged A_CODE", false},
		{refused, "lock ravi feeder -> refused A_CODE", true}, {refused, "lock ravi feeder -> refused NO_CODE", false},
		{refused, "lock ravi feeder -> refused A_CODE feeder, OTHER", true}, {refused, "lock ravi feeder -> refused A_CODE, NO_CODE", false},
		{refused, "lock ravi feeder -> refused only A_CODE", false}, {refused, "lock ravi feeder -> refused only A_CODE, OTHER", true},
		{refused, "lock ravi feeder -> refused A_CODE, no OTHER", false}, {refused, "lock ravi feeder -> refused A_CODE, no THIRD", true},
		{taken, "lock ravi feeder -> in force", false},
		{asked, "permit p -> in force", true}, {asked, "permit p -> suspended", false},
		{asked, "permit p -> in force A_CODE x", true}, {asked, "permit p -> A_CODE x", true}, {asked, "permit p -> A_CODE y", false},
		{asked, "permit p -> only A_CODE", true}, {asked, "permit p -> in force, no A_CODE", false}, {asked, "permit p -> only OTHER", false},
		{refused, "confirm y r -> refused A_CODE", true}, {taken, "confirm y r -> refused A_CODE", false},
		{taken, "prove ravi j", true}, {refused, "prove ravi j", false},
	} {
		if bad := play(t, &fake{answer: c.answer}, c.line); (len(bad) == 0) != c.ok {
			t.Errorf("%s, answered %+v: %q", c.line, c.answer, bad)
		} else if !c.ok && !strings.HasPrefix(bad[0], "s.story:4: ") {
			t.Errorf("%s: no place in %q", c.line, bad)
		}
	}
}

// TestPlayed: what a line asks of the world.
func TestPlayed(t *testing.T) {
	w := &fake{answer: taken}
	bad := play(t, w, `given there
mark seen
time +2h
lock ravi feeder at=y behind=seen captured=seen+1s ago=5m signed-by=ravi,lena grant=held-locally promised=feeder as=new
release ravi new
release ravi his
lock lena feeder keep=later
send later at=z as=hers
release lena hers
confirm every r behind=seen
work j feeder -> A_CODE`)
	if len(bad) != 1 || !strings.Contains(bad[0], "A_CODE  is not there") {
		t.Errorf("%q", bad)
	}
	want := []string{"given there", "pass 2h0m0s",
		`ravi does true at "y" behind 7 captured 1500 ago 5m0s by [ravi lena] grant 1`,
		`ravi does true at "" behind 0 captured 0 ago 0s by [] grant 0`, `ravi does true at "" behind 0 captured 0 ago 0s by [] grant 0`,
		"lena signs", `sent lena at "z"`, `lena does true at "" behind 0 captured 0 ago 0s by [] grant 0`, "every confirms r behind true", "work [j a/b/c]"}
	if got := strings.Join(w.did, "\n"); got != strings.Join(want, "\n") {
		t.Errorf("the world was asked\n%s\nwant\n%s", got, strings.Join(want, "\n"))
	}
}

// TestBadSteps: lines that can be read and not played say what is wrong with them.
func TestBadSteps(t *testing.T) {
	for line, says := range map[string]string{
		"given":                             "write given WORD",
		"given a b":                         "write given WORD",
		"given a -> ok":                     "given expects nothing",
		"time":                              "write time +2h",
		"time soon":                         `"soon" is no time`,
		"mark a at=b":                       "write mark NAME",
		"confirm y":                         "write confirm YARD REQUEST",
		"send":                              "write send NAME",
		"send it":                           "nothing was kept as it",
		"lock":                              "who does it?",
		"lock {a}":                          "who does it?",
		"lock ravi":                         "",
		"lock ravi a/b/c behind=seen":       "behind: there is no mark seen",
		"lock ravi a/b/c ago=soon":          `"soon" is no time`,
		"lock ravi a/b/c captured=soon":     `"soon" is no time`,
		"lock ravi a/b/c grant=all":         `"all" is no grant`,
		"lock ravi a/b/c keep=k -> ok":      "what is kept is neither taken nor named",
		"lock ravi a/b/c keep=k as=h":       "what is kept is neither taken nor named",
		"lock ravi a/b/c at=a,b":            "Lock has no at",
		"lok ravi a/b/c":                    "there is no act lok",
		"wrk j at=b -> A_CODE":              "there is no act wrk",
		"prove ravi":                        "write prove PERSON JOB",
		"prove ravi j as=all":               "prove is several readings",
		"prove ravi j job=k":                "prove takes no job",
		"drawing nia y":                     "write drawing PERSON",
		"drawing nia y 2":                   "write drawing PERSON",
		"drawing nia y two nodes={a}":       `revision: "two" is no number`,
		"drawing nia y 2 nodes=a":           "nodes: write each in braces",
		"drawing nia y 2 nodes={a knd=bus}": "Node has no knd",
		"drawing nia y 2 without=nodes/a":   "without: the drawing has no nodes/a",
		"drawing nia y 2 title=a":           "drawing takes no title",
	} {
		bad := play(t, &fake{answer: taken, drawn: &recordv1.Drawing{}}, line)
		if says == "" && len(bad) > 0 || says != "" && (len(bad) != 1 || !strings.Contains(bad[0], says)) {
			t.Errorf("%s: %q, want %q", line, bad, says)
		}
	}
	if bad := play(t, &fake{answer: taken}, "lock ravi a/b/c as=h\nlock lena a/b/c as=h"); len(bad) != 1 || !strings.Contains(bad[0], "h is a name already") {
		t.Errorf("a name given twice: %q", bad)
	}
	for _, line := range []string{"given a", "time 1s", "mark a", "lock ravi a/b/c", "lock ravi a/b/c keep=k", "confirm y r", "work j -> A_CODE", "prove ravi j", "drawing nia y 2 nodes={a}"} {
		if bad := play(t, &fake{err: errors.New("the world says no")}, line); len(bad) != 1 || !strings.Contains(bad[0], "the world says no") {
			t.Errorf("%s: %q", line, bad)
		}
	}
}

// slow is a world in which an answer comes by and by.
type slow struct{ *fake }

func (slow) Until(so func() bool) {
	for range 5 {
		if so() {
			return
		}
	}
}

func TestWaits(t *testing.T) {
	for later, ok := range map[int]bool{0: true, 3: true, 9: false} {
		if bad := play(t, slow{&fake{answer: Answer{Says: "on"}, later: later}}, "hold h -> on"); (len(bad) == 0) != ok {
			t.Errorf("true after %d looks: %q", later, bad)
		}
	}
	if bad := play(t, &fake{answer: Answer{Says: "on"}, later: 1}, "hold h -> on"); len(bad) != 1 {
		t.Errorf("a world that does not wait: %q", bad)
	}
}

// knowing is a world that knows one code.
type knowing struct{ *fake }

func (knowing) Known(code string) bool { return code == "A_CODE" }

// TestKnown: a code that does not exist is a mistake, expected or not expected.
func TestKnown(t *testing.T) {
	for line, ok := range map[string]bool{"work j -> A_CODE": true, "work j -> A_CODE, no B_CODE": false, "work j -> only A_CODE, B_CODE": false, "work j -> no A_CODE": false} {
		bad := play(t, knowing{&fake{answer: Answer{Conditions: []Finding{{"A_CODE", ""}}}}}, line)
		if (len(bad) == 0) != ok || !ok && strings.Contains(line, "B_") && !strings.Contains(bad[0], "there is no code B_CODE") {
			t.Errorf("%s: %q", line, bad)
		}
	}
}

// TestDrawing: a drawing is changed by name, and what is not named stays.
func TestDrawing(t *testing.T) {
	d := &recordv1.Drawing{Yard: "y", Revision: 1, Nodes: []*recordv1.Node{{Name: "a", Label: "first"}, {Name: "b"}},
		Links: []*recordv1.Link{{Name: "feeder", From: "a", To: "b"}, {Name: "l"}}}
	bad := play(t, &fake{answer: taken, drawn: d}, "drawing nia y 2 nodes={a bus},{c source} links={feeder to=c} zones={z parts={c electricity,grain}} without=links/l,nodes/b as=d")
	if len(bad) > 0 {
		t.Fatal(bad)
	}
	if d.Revision != 2 || len(d.Nodes) != 2 || d.Nodes[0].Label != "first" || d.Nodes[0].Kind != recordv1.NodeKind_NODE_KIND_BUS || d.Nodes[1].Name != "c" ||
		len(d.Links) != 1 || d.Links[0].Name != "feeder" || d.Links[0].From != "a" || d.Links[0].To != "c" || len(d.Zones) != 1 || len(d.Zones[0].Parts[0].Media) != 2 {
		t.Errorf("%v", d)
	}
}
