package ledger_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func actNarrow(zone string, points ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_NarrowZone{NarrowZone: &recordv1.NarrowZone{Zone: zone, Points: points, Why: "traced: the cable ends in the old panel"}}}
}

// uncabled is drawnWithMain, and then a revision of stonebend without the cable by
// which millrow's control voltage reached the leg; boot-1 works at the leg, room-1 in
// the motor control room, with that point in its plan.
func uncabled(t testing.TB) *world {
	w := drawnWithMain(t)
	d := proto.CloneOf(withMain(3))
	d.Links = slices.DeleteFunc(d.Links, func(l *recordv1.Link) bool { return l.GetFrom() == "millrow/control-out" })
	w.must(w.publish("nia", d))
	w.must(w.journal("stonebend", "mara", actJob("boot-1", "ravi", zone, feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	w.must(w.journal("stonebend", "mara", actJob("room-1", "tomas", room, main1, control)))
	w.must(w.journal("stonebend", "mara", actNotice("room-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.journal("stonebend", "tomas", actClear("room-1")))
	return w
}

// TestNarrowZone: what an older drawing alone shows goes on counting for the people
// in a zone until the zone's yard says otherwise (decisions.md 9), somebody other
// than who walked the drawing (common practice, no source).
func TestNarrowZone(t *testing.T) {
	w := uncabled(t)
	w.refusedWith(w.journal("stonebend", "mara", actNarrow(zone, control)), ledger.NotWalked)
	w.must(w.walk("ravi", "stonebend"))
	if v := w.s.JobView("boot-1", w.now); !slices.Equal(v.GetOlderPoints(), []string{control}) {
		t.Fatalf("the job shows %v by older drawings alone", v.GetOlderPoints())
	}
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	w.refusedWith(w.direct("mara", actRequest("start-1", "room-1", w.now+1e7, control)), ledger.ReachesPeople)
	w.refusedWith(w.journal("stonebend", "mara", actNarrow(zone, control)), ledger.StillAt)
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	w.must(w.journal("stonebend", "mara", actNarrow(zone, control)))
	if v := w.s.JobView("boot-1", w.now); len(v.GetOlderPoints()) > 0 || slices.Contains(w.s.Reach[zone], control) {
		t.Fatalf("the zone is still reached by %v, the job shows %v", w.s.Reach[zone], v.GetOlderPoints())
	}
	w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
	w.must(w.direct("mara", actRequest("start-2", "room-1", w.now+1e7, control)))
	if y := w.s.Reqs["start-2"].Involved; !slices.Equal(y, []string{"millrow"}) {
		t.Errorf("the start waits for %v", y)
	}
	// A later drawing shows the cable again.
	w.must(w.publish("nia", withMain(4)))
	if !slices.Contains(w.s.Reach[zone], control) || w.s.Reqs["start-2"].Open() {
		t.Errorf("the zone is reached by %v, and the request is open: %v", w.s.Reach[zone], w.s.Reqs["start-2"].Open())
	}
}

// TestNarrowRefused: each thing that stands against it, alone.
func TestNarrowRefused(t *testing.T) {
	for name, c := range map[string]struct {
		so   func(w *world)
		by   string
		act  *recordv1.Record
		code code.Code
	}{
		"a yard that is not the zone's":          {nil, "mara", actNarrow("millrow/office", control), ledger.ZoneNotHome},
		"a zone that is not drawn":               {nil, "mara", actNarrow("stonebend/attic", control), ledger.ReachUnknown},
		"a point that reaches it":                {nil, "mara", actNarrow(zone, feeder, control), ledger.StillReaches},
		"a point that no drawing showed":         {nil, "mara", actNarrow(zone, "millrow/panel-2/none"), ledger.NeverReached},
		"somebody holds a lock for work there":   {func(w *world) { w.must(w.journal("eastfork", "lena", actLock(feeder, "lena-1", "boot-1"))) }, "mara", actNarrow(zone, control), ledger.StillAt},
		"somebody holds a lock and names no job": {func(w *world) { w.must(w.journal("eastfork", "lena", actLock(feeder, "lena-1", ""))) }, "mara", actNarrow(zone, control), ledger.StillAt},
		"somebody is on a job that nobody knows": {func(w *world) { w.must(w.journal("eastfork", "lena", actSignOn("bot-1"))) }, "mara", actNarrow(zone, control), ledger.StillAt},
		"somebody is on by a job that is closed": {func(w *world) {
			seen := w.s.Size()
			w.must(w.journal("stonebend", "ravi", actClose("boot-1")))
			w.must(w.behind("millrow", "lena", seen, actSignOn("boot-1")))
		}, "mara", actNarrow(zone, control), ledger.StillAt},
		"the leg is choked": {func(w *world) { w.must(w.journal("stonebend", "dov", actChoked(zone))) }, "mara", actNarrow(zone, control), ledger.Choked},
		"another drawing is not walked": {func(w *world) {
			_, mill := drawings()
			mill = proto.CloneOf(mill)
			mill.Revision = 2
			w.must(w.publish("nia", mill))
		}, "mara", actNarrow(zone, control), ledger.NotWalked},
		"the drawing was found wrong": {func(w *world) {
			w.must(w.journal("stonebend", "dov", &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: "boot-1", Part: motor, What: "the motor hums"}}}))
		}, "mara", actNarrow(zone, control), ledger.SuspectDrawing},
		"who walked it signs": {func(w *world) {
			w.joinPerson(person("quinn", true, supervisor))
			w.must(w.walk("quinn", "stonebend"))
		}, "quinn", actNarrow(zone, control), ledger.OwnWalk},
		"who gave the key of who walked it signs": {func(w *world) {
			w.reissue("nia", "ravi")
			w.must(w.walk("ravi", "stonebend"))
		}, "nia", actNarrow(zone, control), ledger.OneHand},
		"somebody without the role": {nil, "tomas", actNarrow(zone, control), ledger.NotPermitted},
	} {
		t.Run(name, func(t *testing.T) {
			w := uncabled(t)
			w.must(w.walk("ravi", "stonebend"))
			if c.so != nil {
				c.so(w)
			}
			w.refusedWith(w.journal("stonebend", c.by, c.act), c.code)
			if !slices.Contains(w.s.Reach[zone], control) {
				t.Error("a refused record narrowed the zone")
			}
		})
	}
}

// legReady is uncabled with the drawing walked and everything proved for boot-1, by
// ravi, at the leg; it names his lock.
func legReady(t testing.TB) (w *world, hold string) {
	w = uncabled(t)
	w.must(w.walk("ravi", "stonebend"))
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	w.must(w.journal("stonebend", "ravi", actShutDown("boot-1")))
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	hold = w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1"))).GetRef()
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.proveLeg()
	if !w.mayStart() {
		t.Fatalf("work may not start: %v", w.s.MissingForWork(w.s.Jobs["boot-1"]))
	}
	return w, hold
}

func (w *world) proveLeg() {
	w.t.Helper()
	proofs, err := w.s.Graph().Proofs(zone, feeder)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, p := range proofs {
		w.must(w.journal("stonebend", "ravi", actReading("boot-1", p.Part, p.Medium, p.Kind, 0)))
	}
}
