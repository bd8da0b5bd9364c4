package ledger_test

import (
	"maps"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

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
		t.Fatalf("work may not start: %v", w.s.StartConditions(w.s.Jobs["boot-1"]))
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

// TestNarrowUnderPermit: whom a permit puts at work in a zone is there, signed on or
// not, until it is said to be over: nothing is taken out of the zone's reach
// (decisions.md 9; 1910.272(f), (g)(1)(i)).
func TestNarrowUnderPermit(t *testing.T) {
	w, hold := legReady(t)
	w.must(w.journal("stonebend", "ravi", actAir("boot-1", zone, atWork, values(burns, 0)...)))
	w.must(w.journal("stonebend", "tomas", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH)))
	work := hot()
	work.Workers = []string{"ravi"}
	w.must(w.issueHot("weld-1", work))
	w.must(w.journal("stonebend", "ravi", actRelease(hold)))
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "room-1", w.now+1e7, control)), "REACHES_HOT_WORK")
	w.refusedWith(w.journal("stonebend", "mara", actNarrow(zone, control)), "PERMIT_OPEN")
	w.must(w.journal("stonebend", "ravi", actHotDone("weld-1")))
	w.must(w.journal("stonebend", "mara", actNarrow(zone, control)))
}

// TestNarrowBinUnderPermit: the same for a bin whose entry nobody has closed.
func TestNarrowBinUnderPermit(t *testing.T) {
	w, holds, _ := readyBin(t)
	w.must(w.issueBin("in-1", bin()))
	old := binDrawing()
	old.Revision = 2
	old.Links = append(old.Links, &recordv1.Link{Name: "old-fill", From: "spout", To: "grain-3", Medium: recordv1.Medium_MEDIUM_GRAIN,
		Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BLANK, Panel: "deck", Device: "old-blank", Lockable: true, Holes: 6}})
	w.must(w.publish("nia", old))
	now := binDrawing()
	now.Revision = 3
	w.must(w.publish("nia", now))
	w.must(w.walk("ravi", "eastfork"))
	for _, ref := range slices.Sorted(maps.Values(holds)) {
		w.must(w.journal("eastfork", w.s.Holds[ref].Holder, actRelease(ref)))
	}
	w.refusedWith(w.journal("eastfork", "mara", actNarrow(binZone, "eastfork/deck/old-blank")), "PERMIT_OPEN")
	w.must(w.direct("nia", actClosePermit("in-1")))
	w.must(w.journal("eastfork", "mara", actNarrow(binZone, "eastfork/deck/old-blank")))
}

// TestNarrowUnexplainedStart: what ran without the ledger behind a point, cause not
// found, goes on standing against work where an older drawing shows it
// (1910.147(d)(6)).
func TestNarrowUnexplainedStart(t *testing.T) {
	w, hold := legReady(t)
	w.must(w.journal("stonebend", "ravi", actRelease(hold)))
	st := w.must(w.journal("eastfork", "dov", actFoundStarted("the leg jerked when the panel was switched", control))).GetRef()
	if cs := w.s.StartConditions(w.s.Jobs["boot-1"]); !has(cs, "FOUND_STARTED", st) {
		t.Fatalf("conditions %v", cs)
	}
	w.refusedWith(w.journal("stonebend", "mara", actNarrow(zone, control)), "FOUND_STARTED")
	w.must(w.journal("stonebend", "ravi", actCorrect(st)))
	w.must(w.journal("stonebend", "mara", actNarrow(zone, control)))
}

// TestNarrowKeepsReadingsVoid: a reading that a correction elsewhere made void stays
// void once that yard is out of the zone's reach (1910.147(d)(6)).
func TestNarrowKeepsReadingsVoid(t *testing.T) {
	w, hold := legReady(t)
	w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", "room-1")))
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.proveLeg()
	seen := w.s.Size()
	st := w.must(w.journal("eastfork", "dov", actFoundStarted("the leg jerked when the panel was switched", control))).GetRef()
	w.must(w.journal("stonebend", "ravi", actCorrect(st)))
	void := func() {
		t.Helper()
		cs := w.s.StartConditions(w.s.Jobs["boot-1"])
		if !has(cs, "NOT_PROVED", motor) || !has(cs, "STORED", bucket) {
			t.Errorf("conditions %v", cs)
		}
	}
	void()
	w.must(w.journal("stonebend", "ravi", actRelease(hold)))
	w.must(w.journal("stonebend", "mara", actNarrow(zone, control)))
	void()
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
	void()
	// Nor does one that a yard took before all this and sends late.
	proofs, err := w.s.Graph().Proofs(zone, feeder)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range proofs {
		w.must(w.behind("eastfork", "ravi", seen, actReading("boot-1", p.Part, p.Medium, p.Kind, 0)))
	}
	w.must(w.behind("eastfork", "ravi", seen, actStored("boot-1", bucket)))
	void()
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.proveLeg()
	if !w.mayStart() {
		t.Errorf("proved again: %v", w.s.StartConditions(w.s.Jobs["boot-1"]))
	}
}

// TestNarrowOldWord: a narrowing signed or written before the walk of the drawing
// that it rests on is known there says nothing of that drawing (decisions.md 9, 18).
func TestNarrowOldWord(t *testing.T) {
	w := uncabled(t)
	seen, at := w.s.Size(), w.now
	w.must(w.walk("ravi", "stonebend"))
	w.refusedWith(w.behind("stonebend", "mara", seen, actNarrow(zone, control)), "NOT_SEEN")
	w.refusedWith(w.captured("stonebend", "mara", at, actNarrow(zone, control)), "NOT_SEEN")
	// The cable is found, drawn, and left out again by another hand.
	seen = w.s.Size()
	w.must(w.publish("nia", withMain(4)))
	d := proto.CloneOf(withMain(5))
	d.Links = slices.DeleteFunc(d.Links, func(l *recordv1.Link) bool { return l.GetFrom() == "millrow/control-out" })
	w.must(w.publish("nia", d))
	w.must(w.walk("ravi", "stonebend"))
	w.refusedWith(w.behind("stonebend", "mara", seen, actNarrow(zone, control)), "NOT_SEEN")
	w.must(w.journal("stonebend", "mara", actNarrow(zone, control)))
}

// TestNarrowOwnWalkBetween: who walked the drawing that the way led through does not
// narrow alone, though zone and point are of other yards (common practice, no source).
func TestNarrowOwnWalkBetween(t *testing.T) {
	w := drawnWithMain(t)
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	w.joinPerson(person("quinn", true, supervisor))
	d := withMain(3)
	i := slices.IndexFunc(d.Links, func(l *recordv1.Link) bool { return l.GetFrom() == "millrow/control-out" })
	d.Links[i].From = "eastfork/junction"
	east := &recordv1.Drawing{Yard: "eastfork", Revision: 1, Title: "Eastfork junction",
		Nodes: []*recordv1.Node{{Name: "junction", Kind: recordv1.NodeKind_NODE_KIND_BUS}},
		Links: []*recordv1.Link{{Name: "through", From: "millrow/control-out", To: "junction", Medium: el}}}
	w.must(w.publish("nia", east))
	w.must(w.publish("nia", d))
	w.must(w.walk("ravi", "stonebend"))
	east = proto.CloneOf(east)
	east.Revision, east.Links = 2, nil
	w.must(w.publish("quinn", east))
	w.must(w.walk("quinn", "eastfork"))
	if !slices.Equal(w.s.OlderPoints(zone), []string{control}) {
		t.Fatalf("older points %v", w.s.OlderPoints(zone))
	}
	w.refusedWith(w.journal("stonebend", "quinn", actNarrow(zone, control)), "OWN_WALK")
	w.must(w.journal("stonebend", "mara", actNarrow(zone, control)))
}
