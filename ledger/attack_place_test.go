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
