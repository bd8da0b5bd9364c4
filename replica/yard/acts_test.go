package yard

import (
	"fmt"
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func onPoint(p string) *recordv1.Target {
	return &recordv1.Target{On: &recordv1.Target_Point{Point: p}}
}

func onBox(b string) *recordv1.Target { return &recordv1.Target{On: &recordv1.Target_Box{Box: b}} }

func lockAct(t *recordv1.Target) func(*recordv1.Record) {
	return func(r *recordv1.Record) { r.Act = &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: t}} }
}

func (st *site) lock(by string, t *recordv1.Target) *Reply {
	st.w.t.Helper()
	return st.note(by, lockAct(t))
}

func (st *site) release(by string, hold uint64) *Reply {
	st.w.t.Helper()
	return st.note(by, func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Release{Release: &recordv1.Release{Hold: &recordv1.JournalRef{Yard: st.id, Epoch: 1, Seq: hold}}}
	})
}

func isolateAct(p string, v PanelView) func(*recordv1.Record) {
	return func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: p, Moved: &recordv1.Moved{Epoch: v.Moved.Epoch, Seq: v.Moved.Seq}}}
	}
}

// open opens a point at its panel, as the panel shows it now.
func (st *site) open(p string) *Reply {
	st.w.t.Helper()
	v := st.y.Panel(p)
	r, err := st.capture(st.w.sign("wanda", isolateAct(p, v)), v.Run)
	if err != nil {
		st.w.t.Fatal(err)
	}
	return r
}

func (st *site) foundClosed(p string) *Reply {
	st.w.t.Helper()
	return st.note("walt", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: p, Seen: "handle up"}}
	})
}

func (st *site) energise(p, request string) (*Reply, error) {
	return st.capture(st.w.sign("walt", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: request, Point: p}}
	}), st.y.Panel(p).Run)
}

func (st *site) signOn(by, job string) *Reply {
	st.w.t.Helper()
	return st.note(by, func(r *recordv1.Record) { r.Act = &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: job}} })
}

func (st *site) boxAct(add bool, b, p string) (*Reply, error) {
	return st.capture(st.w.sign("wanda", func(r *recordv1.Record) {
		if add {
			r.Act = &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: b, Point: p}}
		} else {
			r.Act = &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: b, Point: p}}
		}
	}), st.y.Panel(p).Run)
}

// job opens a job through a yard's journal.
func (st *site) job(id, zone string, plan ...string) {
	st.w.t.Helper()
	st.note("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: id, Zone: zone, Plan: plan, Responsible: "wanda",
			Crew: []string{"walt"}, Affected: []string{"abe"}, Purpose: "change a chain"}}
	})
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
	e.note("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: job, ToolsOut: true, GuardsOn: true, PeopleClear: true}}
	})
	e.note("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Notice{Notice: &recordv1.Notice{Job: job, When: recordv1.NoticeWhen_NOTICE_WHEN_AFTER, People: []string{"abe"}}}
	})
	w.settle()
}

// request commits a request, which nobody has attested yet.
func (w *world) request(id, job string, points ...string) {
	w.t.Helper()
	w.direct("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Request{Request: &recordv1.Request{Id: id, Job: job, Points: points, DeadlineUnixMs: w.now + 3_600_000}}
	})
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
		t.Errorf("granted %v for %v (%s), want %v for %v", r.Grant, r.Promised, r.Why, want, promised)
	}
}

func wantRefused(t testing.TB, err error, code string) {
	t.Helper()
	r, ok := err.(*Refused)
	if !ok || !r.Has(code) {
		t.Errorf("error %v, want a refusal with %s", err, code)
	}
}
