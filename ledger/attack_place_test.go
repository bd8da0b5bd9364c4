package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestFumigatedUnderAnotherName: a place is recorded under a fumigant by the name of
// another zone that shares a machine with the work: it is the same place.
func TestFumigatedUnderAnotherName(t *testing.T) {
	w := drawn(t)
	stone, _ := drawings()
	d := proto.CloneOf(stone)
	d.Revision = 2
	d.Zones = append(d.Zones, &recordv1.Zone{Name: "leg-pit", Parts: []*recordv1.ExposedPart{{Node: "leg", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_MOTION}}}})
	w.must(w.publish("nia", d))
	w.openJob()
	f := w.must(w.journal("stonebend", "mara", actFumigated("stonebend/leg-pit"))).GetRef()
	if cs := w.s.StartConditions(w.s.Jobs["boot-1"]); !has(cs, "FUMIGATED", "stonebend/leg-pit") {
		t.Errorf("the leg is under a fumigant, by the name of its pit, and boot-1 doesn't hear of it: %v", cs)
	}
	w.must(w.journal("stonebend", "mara", actFumigantCleared(f, 0)))
	if cs := w.s.StartConditions(w.s.Jobs["boot-1"]); has(cs, "FUMIGATED", "") {
		t.Error("cleared, and boot-1 waits for it")
	}
}

// TestFumigatedZoneLeftTheDrawing: a revision drops the zone by whose name a place was
// recorded under a fumigant. The gas is where it was (1910.272(g)(1)(iii)).
func TestFumigatedZoneLeftTheDrawing(t *testing.T) {
	w := drawn(t)
	stone, _ := drawings()
	d := proto.CloneOf(stone)
	d.Revision = 2
	d.Zones = append(d.Zones, &recordv1.Zone{Name: "leg-pit", Parts: []*recordv1.ExposedPart{{Node: "leg", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_MOTION}}}})
	w.must(w.publish("nia", d))
	w.openJob()
	f := w.must(w.journal("stonebend", "mara", actFumigated("stonebend/leg-pit"))).GetRef()
	d = proto.CloneOf(stone)
	d.Revision = 3
	w.must(w.publish("nia", d))
	if cs := w.s.StartConditions(w.s.Jobs["boot-1"]); !has(cs, "FUMIGATED", "stonebend/leg-pit") {
		t.Error("the leg is under a fumigant, and boot-1 does not hear of it any more")
	}
	w.must(w.journal("stonebend", "mara", actFumigantCleared(f, 0)))
	if cs := w.s.StartConditions(w.s.Jobs["boot-1"]); has(cs, "FUMIGATED", "") {
		t.Error("cleared, and boot-1 waits for it")
	}
}

// TestFumigatedBinRenamed: a bin under a fumigant gets another name. Nobody enters it
// with a closed way to its old name (1910.272(g)(1)(iii)).
func TestFumigatedBinRenamed(t *testing.T) {
	w, _, _ := readyBin(t)
	w.must(w.publish("nia", withOldBin()))
	f := w.must(w.journal("eastfork", "dov", actFumigated("eastfork/old-name"))).GetRef()
	d := binDrawing()
	d.Revision = 3
	w.must(w.publish("nia", d))
	w.must(w.walk("ravi", "eastfork"))
	w.testAir(values(ph3, 0)...)
	b := bin()
	b.ClosedPaths = []*recordv1.ClosedPath{{Fumigation: f, How: "gate blanked and taped"}}
	w.refusedWith(w.issueBin("in-1", b), "FUMIGATED")
}

// withOldBin has bin 3 under a second name.
func withOldBin() *recordv1.Drawing {
	d := binDrawing()
	d.Revision = 2
	d.Zones = append(d.Zones, &recordv1.Zone{Name: "old-name", Parts: []*recordv1.ExposedPart{{Node: "grain-3", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_GRAIN}}}})
	return d
}
