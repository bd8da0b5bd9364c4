package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
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
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "FUMIGATED", "stonebend/leg-pit") {
		t.Errorf("the leg is under a fumigant, by the name of its pit, and boot-1 doesn't hear of it: %v", cs)
	}
	w.must(w.journal("stonebend", "mara", actFumigantCleared(f, 0)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, "FUMIGATED", "") {
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
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "FUMIGATED", "stonebend/leg-pit") {
		t.Error("the leg is under a fumigant, and boot-1 does not hear of it any more")
	}
	w.must(w.journal("stonebend", "mara", actFumigantCleared(f, 0)))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, "FUMIGATED", "") {
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

// besideBin has everything for a permit on bin 3, and a job of tomas on the same grain
// under a second name, which is not drawn as entered.
func besideBin(t testing.TB) *world {
	w, _, _ := readyBin(t)
	w.must(w.publish("nia", withOldBin()))
	w.must(w.walk("ravi", "eastfork"))
	w.must(w.journal("eastfork", "mara", actJob("crust-old", "tomas", "eastfork/old-name", binPlan...)))
	return w
}

// TestSameBinAnotherName: who stands in the grain of a bin is in that bin, whatever
// the zone is called: no work there without a permit, none is issued or closed with
// somebody inside, and bad air is heard of (1910.272(g)(1)(i), (iii)).
func TestSameBinAnotherName(t *testing.T) {
	w := besideBin(t)
	if cs := w.s.MissingForWork(w.s.Jobs["crust-old"]); !has(cs, ledger.PermitElsewhere, "eastfork/old-name") {
		t.Errorf("missing in the bin by its second name: %v", cs)
	}
	on := w.must(w.journal("eastfork", "tomas", actSignOn("crust-old")))
	if !flagged(on, ledger.PermitElsewhere) {
		t.Error("tomas is in the bin, and it is not flagged")
	}
	w.refusedWith(w.issueBin("in-1", bin()), "STILL_INSIDE")
	w.must(w.journal("eastfork", "tomas", actSignOff(on.GetRef())))
	w.must(w.issueBin("in-2", bin()))
	on = w.must(w.journal("eastfork", "olga", actSignOn("crust-old")))
	if st := w.permitState("in-2"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("with olga inside, whom it does not name, the permit is %v", st)
	}
	w.refusedWith(w.direct("nia", actClosePermit("in-2")), "STILL_INSIDE")
	w.must(w.journal("eastfork", "olga", actSignOff(on.GetRef())))
	w.must(w.direct("nia", actClosePermit("in-2")))
	// Work on the sweep's motor alone needs no permit.
	d := withOldBin()
	d.Revision = 3
	d.Zones = append(d.Zones, &recordv1.Zone{Name: "sweep-drive", Parts: []*recordv1.ExposedPart{{Node: "sweep-motor", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_ELECTRICITY}}}})
	w.must(w.publish("nia", d))
	w.must(w.journal("eastfork", "mara", actJob("sweep-1", "tomas", "eastfork/sweep-drive", "eastfork/mcc-1/sweep")))
	if cs := w.s.MissingForWork(w.s.Jobs["sweep-1"]); has(cs, ledger.PermitElsewhere, "") {
		t.Error("work on the motor of the sweep asks for a permit")
	}
}

// TestBadAirOfTheSameBin: out of limits by the bin's second name.
func TestBadAirOfTheSameBin(t *testing.T) {
	w := besideBin(t)
	w.testAir()
	w.must(w.issueBin("in-1", bin()))
	w.must(w.journal("eastfork", "olga", actAir("no-such", "eastfork/old-name", bottom, values(oxygen, 17_000)...)))
	if st := w.permitState("in-1"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("with 17 %% of oxygen in the bin the permit is %v", st)
	}
}

// TestJoinedUnderAnotherName: a record says that a fumigated place is joined to a bin,
// by the bin's second name: it is joined to the bin (1910.272(g)(1)(iii)).
func TestJoinedUnderAnotherName(t *testing.T) {
	w := besideBin(t)
	w.must(w.journal("eastfork", "dov", actFumigated("eastfork/office", "eastfork/old-name")))
	w.testAir(values(ph3, 0)...)
	w.refusedWith(w.issueBin("in-1", bin()), "FUMIGANT_NEAR")
	d := binDrawing()
	d.Revision = 3
	w.must(w.publish("nia", d))
	w.must(w.walk("ravi", "eastfork"))
	w.refusedWith(w.issueBin("in-2", bin()), "FUMIGANT_NEAR")
}

// TestJoinedThroughAnotherBin: the place is joined to bin 4, as a record says, and bin
// 4 to bin 3, as the drawing shows: the gas has its way (1910.272(g)(1)(iii)).
func TestJoinedThroughAnotherBin(t *testing.T) {
	w, _, _ := readyBin(t)
	f := w.must(w.journal("eastfork", "dov", actFumigated("eastfork/office", "eastfork/bin-4"))).GetRef()
	w.testAir(values(ph3, 0)...)
	w.refusedWith(w.issueBin("in-1", bin()), "FUMIGANT_NEAR")
	w.must(w.journal("eastfork", "mara", actFumigantCleared(f, 0)))
	w.must(w.issueBin("in-2", bin()))
}

// TestInsideABinRenamed: lena and tomas are inside when a revision gives the bin another
// name. No permit for it is issued or closed by that name while they are
// (1910.272(g)(1)(i)).
func TestInsideABinRenamed(t *testing.T) {
	w, _, ons, _ := inside(t)
	d := binDrawing()
	d.Revision = 2
	d.Zones[0].Name = "bin-3a"
	w.must(w.publish("nia", d))
	w.must(w.journal("eastfork", "mara", actJob("crust-new", "ravi", "eastfork/bin-3a", binPlan...)))
	ask := func(id string) *recordv1.Outcome {
		return w.direct("nia", actIssueBin(id, "crust-new", w.now+60*minute, bin()))
	}
	w.refusedWith(ask("in-2"), "STILL_INSIDE")
	for _, who := range []string{"lena", "tomas"} {
		w.must(w.journal("eastfork", who, actSignOff(ons[who])))
	}
	if o := ask("in-3"); has(o.GetConditions(), "STILL_INSIDE", "") {
		t.Error("everybody is out, and counts as inside")
	}
}
