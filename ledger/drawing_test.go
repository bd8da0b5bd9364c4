package ledger_test

import (
	"crypto/sha256"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	feeder  = "stonebend/mcc-1/feeder"
	control = "millrow/panel-2/control"
	zone    = "stonebend/leg-boot"
	motor   = "stonebend/leg-motor"
	coil    = "stonebend/coil"
	bucket  = "stonebend/loaded-buckets"
	start1  = "stonebend/start"
)

// drawings: a leg at stonebend fed through mcc-1, whose contactor's control
// voltage comes from millrow.
func drawings() (stone, mill *recordv1.Drawing) {
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	breaker := func(panel, device string) *recordv1.Device {
		return &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: panel, Device: device, Lockable: true, Holes: 6}
	}
	mill = &recordv1.Drawing{Yard: "millrow", Revision: 1, Title: "Millrow control house",
		Nodes: []*recordv1.Node{
			{Name: "control-supply", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Label: "120 V control supply"},
			{Name: "control-out", Kind: recordv1.NodeKind_NODE_KIND_BUS},
		},
		Links: []*recordv1.Link{{Name: "control-feed", From: "control-supply", To: "control-out", Medium: el, Device: breaker("panel-2", "control")}},
	}
	stone = &recordv1.Drawing{Yard: "stonebend", Revision: 1, Title: "Stonebend work house",
		Nodes: []*recordv1.Node{
			{Name: "service", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Label: "480 V service"},
			{Name: "leg-motor", Kind: recordv1.NodeKind_NODE_KIND_MACHINE},
			{Name: "leg", Kind: recordv1.NodeKind_NODE_KIND_MACHINE},
			{Name: "coil", Kind: recordv1.NodeKind_NODE_KIND_CONTROL, Starts: []string{"leg-motor"}},
			{Name: "start", Kind: recordv1.NodeKind_NODE_KIND_CONTROL, Starts: []string{"leg-motor"}},
			{Name: "loaded-buckets", Kind: recordv1.NodeKind_NODE_KIND_STORE, Store: &recordv1.Store{Medium: recordv1.Medium_MEDIUM_MOTION, Joules: 63300, WaitSeconds: 60, Release: "set the belt clamp"}},
		},
		Links: []*recordv1.Link{
			{Name: "feeder", From: "service", To: "leg-motor", Medium: el, Device: breaker("mcc-1", "feeder")},
			{Name: "shaft", From: "leg-motor", To: "leg", Medium: recordv1.Medium_MEDIUM_MOTION},
			{Name: "back-run", From: "loaded-buckets", To: "leg", Medium: recordv1.Medium_MEDIUM_MOTION},
			{Name: "control-cable", From: "millrow/control-out", To: "start", Medium: el},
			{Name: "button", From: "start", To: "coil", Medium: el, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_PUSH_BUTTON, Panel: "local", Device: "start"}},
		},
		Zones: []*recordv1.Zone{{Name: "leg-boot", Label: "boot of the leg", Parts: []*recordv1.ExposedPart{
			{Node: "leg", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_MOTION}},
			{Node: "leg-motor", Media: []recordv1.Medium{el}},
			{Node: "coil", Media: []recordv1.Medium{el}},
		}}},
	}
	return stone, mill
}

func (w *world) publish(by string, d *recordv1.Drawing) *recordv1.Outcome {
	w.t.Helper()
	return w.direct(by, &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: marshal(w.t, d)}}})
}

func (w *world) walk(by, yard string) *recordv1.Outcome {
	w.t.Helper()
	d := w.s.Drawings[yard]
	h := sha256.Sum256(d.Bytes)
	return w.direct(by, &recordv1.Record{Act: &recordv1.Record_WalkDrawing{WalkDrawing: &recordv1.WalkDrawing{Yard: yard, Revision: d.Revision, DrawingHash: h[:]}}})
}

// drawn is coop with both drawings published, walked by ravi, and padlocks.
func drawn(t testing.TB) *world {
	w, _ := firstDrawn.copied(t, func(t testing.TB) (*world, map[string]string) { return newDrawn(t), nil })
	return w
}

func newDrawn(t testing.TB) *world {
	w := coop(t)
	stone, mill := drawings()
	w.must(w.publish("nia", mill))
	w.must(w.publish("nia", stone))
	w.must(w.walk("ravi", "millrow"))
	w.must(w.walk("ravi", "stonebend"))
	for _, p := range []string{"ravi", "tomas", "lena", "mara"} {
		for _, n := range []string{"1", "2"} {
			w.must(w.direct("nia", actPadlock(p+"-"+n, p)))
		}
	}
	return w
}

func (w *world) openJob() {
	w.t.Helper()
	w.must(w.journal("stonebend", "mara", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
		Id: "boot-1", Zone: zone, Plan: []string{feeder, control}, Responsible: "ravi", Crew: []string{"lena"}, Affected: []string{"dov"}, Purpose: "clear the plugged boot"}}}))
}

func actReading(job, part string, m recordv1.Medium, k recordv1.ReadingKind, value float64) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Reading{Reading: &recordv1.Reading{Job: job, Part: part, Medium: m, Kind: k, Value: value,
		Instrument: "meter 4", ProvedBefore: true, ProvedAfter: true, PhaseToPhase: true, PhaseToGround: true}}}
}

// prove takes every reading the plan asks for, by ravi.
func (w *world) prove() {
	w.t.Helper()
	proofs, err := w.s.Graph().Proofs(zone, feeder, control)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, p := range proofs {
		w.must(w.journal("stonebend", "ravi", actReading("boot-1", p.Part, p.Medium, p.Kind, 0)))
	}
}

// isolated is drawn with the job taken as far as locks on: told, shut down, both
// points open, ravi and lena locked on both.
func isolated(t testing.TB) (w *world, holds map[string]string) {
	return firstIsolated.copied(t, func(t testing.TB) (*world, map[string]string) {
		w := drawn(t)
		return w, w.isolate()
	})
}

// isolate opens the job and takes it as far as locks on; it names the locks.
func (w *world) isolate() (holds map[string]string) {
	w.t.Helper()
	w.openJob()
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	w.must(w.journal("stonebend", "ravi", actShutDown("boot-1")))
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	holds = map[string]string{}
	for _, h := range []struct{ yard, who, point, lock string }{
		{"stonebend", "ravi", feeder, "ravi-1"}, {"millrow", "ravi", control, "ravi-2"},
		{"stonebend", "lena", feeder, "lena-1"}, {"millrow", "lena", control, "lena-2"},
	} {
		holds[h.who+" "+h.point] = w.must(w.journal(h.yard, h.who, actLock(h.point, h.lock, "boot-1"))).GetRef()
	}
	return holds
}

// ready is isolated with the store waited out and every reading taken: work may
// start.
func ready(t testing.TB) (w *world, holds map[string]string) { return firstReady.copied(t, newReady) }

func newReady(t testing.TB) (w *world, holds map[string]string) {
	w, holds = isolated(t)
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.prove()
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
		t.Fatalf("work may not start: %v", cs)
	}
	return w, holds
}

// released is ready with the area cleared, everybody off, and dov told.
func released(t testing.TB) *world {
	w, holds := ready(t)
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	for _, k := range []string{"ravi " + feeder, "ravi " + control, "lena " + feeder, "lena " + control} {
		who := k[:4]
		w.must(w.journal("eastfork", who, actRelease(holds[k])))
	}
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	return w
}
