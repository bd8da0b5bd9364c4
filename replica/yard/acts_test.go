package yard

import (
	"fmt"
	"strings"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/testdata/story"
)

// usual is what the acts of these tests say unless a test says otherwise.
var usual = func() *story.File {
	f, err := story.Parse("usual", `
usual open-job responsible=wanda crew=walt affected=abe purpose="change a chain"
usual clear-area tools-out=yes guards-on=yes people-clear=yes
usual notice when=after people=abe
usual found-closed seen="handle up"
usual register-box holes=6
usual withdraw why="not yet"
usual revoke-key why=lost
usual narrow-zone why="the shaft is cut"
usual removal not-here="asked at every yard" tried-to-reach="rang twice"
short test request kind=test
`)
	if err != nil {
		panic(err)
	}
	return f
}()

// named finds what the texts of an act stand for: a key is that of a name.
type named struct{}

func (named) Now() int64 { return 0 }

func (named) Bytes(_, _, text string) ([]byte, error) { return public(text), nil }

// says makes an act of the line that says it (testdata/story): says("lock %s", leg).
func says(format string, args ...any) func(*recordv1.Record) {
	return func(r *recordv1.Record) {
		var texts []any
		for _, a := range args {
			switch a := a.(type) {
			case []string:
				texts = append(texts, strings.Join(append(a, "none")[:max(1, len(a))], ","))
			case *recordv1.Target:
				texts = append(texts, a.GetPoint()+a.GetBox())
			case *recordv1.JournalRef:
				texts = append(texts, ledger.RefOf(a))
			default:
				texts = append(texts, a)
			}
		}
		act, err := usual.Record(named{}, fmt.Sprintf(format, texts...))
		if err != nil {
			panic(err) // a test's own line
		}
		r.Act = act.GetAct()
	}
}

// movedAs is a record of a point's handle, as its panel shows the point now.
func movedAs(kind, p string, v PanelView) func(*recordv1.Record) {
	return says("%s %s moved={%d %d}", kind, p, v.Moved.Epoch, v.Moved.Seq)
}

func onPoint(p string) *recordv1.Target {
	return &recordv1.Target{On: &recordv1.Target_Point{Point: p}}
}

func onBox(b string) *recordv1.Target { return &recordv1.Target{On: &recordv1.Target_Box{Box: b}} }

func lockAct(t *recordv1.Target) func(*recordv1.Record) {
	return says("lock %s", t)
}

func (st *site) lock(by string, t *recordv1.Target) *Reply {
	st.w.t.Helper()
	return st.note(by, lockAct(t))
}

func (st *site) release(by string, hold uint64) *Reply {
	st.w.t.Helper()
	return st.note(by, says("release %s/1/%d", st.id, hold))
}

// open opens a point at its panel, as the panel shows it now.
func (st *site) open(p string) *Reply {
	st.w.t.Helper()
	v := st.y.Panel(p)
	r, err := st.capture(st.w.sign("wanda", movedAs("isolate", p, v)), v.Run)
	if err != nil {
		st.w.t.Fatal(err)
	}
	return r
}

func (st *site) foundClosed(p string) *Reply {
	st.w.t.Helper()
	return st.note("walt", says("found-closed %s", p))
}

func (st *site) energise(p, request string) (*Reply, error) {
	return st.capture(st.w.sign("walt", says("energise %s %s", request, p)), st.y.Panel(p).Run)
}

func (st *site) signOn(by, job string) *Reply {
	st.w.t.Helper()
	return st.note(by, says("sign-on %s", job))
}

// boxed is a key going into a box or out of it.
func boxed(add bool, b, p string) func(*recordv1.Record) {
	return says("%s %s %s", map[bool]string{true: "box-add", false: "box-remove"}[add], b, p)
}

func (st *site) boxAct(add bool, b, p string) (*Reply, error) {
	return st.capture(st.w.sign("wanda", boxed(add, b, p)), st.y.Panel(p).Run)
}

// job opens a job through a yard's journal.
func (st *site) job(id, zone string, plan ...string) {
	st.w.t.Helper()
	st.note("wanda", says("open-job %s %s %s", id, zone, plan))
	st.w.settle()
	if st.w.s.Jobs[id] == nil {
		st.w.t.Fatalf("job %s was not opened: %v", id, st.w.last.GetConditions())
	}
}

// opened opens points at their home yards and lets everybody know.
func (w *world) opened(points ...string) {
	w.t.Helper()
	for _, p := range points {
		w.yards[ledger.YardOf(p)].open(p)
	}
	w.settle()
	for _, p := range points {
		if w.s.Points[p].Live {
			w.t.Fatalf("%s is still live: %v", p, w.last)
		}
	}
}

// clear records what a request asks for of a job.
func (w *world) clear(job string) {
	w.t.Helper()
	e := w.yards["eastfork"]
	e.note("wanda", says("clear-area %s", job))
	e.note("wanda", says("notice %s", job))
	w.settle()
}

// request commits a request, which nobody has attested yet.
func (w *world) request(id, job string, points ...string) {
	w.t.Helper()
	w.direct("wanda", says("request %s %s %s %d", id, job, points, w.now+3_600_000))
}

// approved brings a world to where request r1 for points of job j1 is approved
// and known everywhere: the points are open, the area is clear.
func approved(t testing.TB, zone string, points ...string) *world {
	t.Helper()
	w := newWorld(t)
	w.yards["eastfork"].job("j1", zone, points...)
	w.opened(points...)
	w.clear("j1")
	w.request("r1", "j1", points...)
	w.catchUp()
	w.settle()
	if got := w.s.Reqs["r1"].State; got != recordv1.RequestState_REQUEST_STATE_APPROVED {
		t.Fatalf("the request is %v", got)
	}
	return w
}

func wantGrant(t testing.TB, r *Reply, want recordv1.Grant, promised ...string) {
	t.Helper()
	if r.Grant != want || fmt.Sprint(r.Promised) != fmt.Sprint(promised) {
		t.Errorf("granted %v for %v (%v), want %v for %v", r.Grant, r.Promised, r.Because, want, promised)
	}
}

func wantRefused(t testing.TB, err error, code code.Code) {
	t.Helper()
	r, ok := err.(*Refused)
	if !ok || !r.Has(code) {
		t.Errorf("error %v, want a refusal with %s", err, code)
	}
}
