package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (w *world) job(id, responsible string, plan ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: id, Zone: zone, Plan: plan, Responsible: responsible, Affected: []string{"dov"}, Purpose: "clear the boot"}}}
}

// TestProcedureRequired: the first procedure published turns the rule on for its
// yard; from then on a job opens against the approved version or may not start,
// 1910.147(c)(4)(i).
func TestProcedureRequired(t *testing.T) {
	w := drawn(t)
	w.must(w.journal("stonebend", "mara", w.job("before", "ravi", feeder, control)))
	w.must(w.direct("mara", actProcedure(1)))
	o := w.must(w.journal("stonebend", "mara", w.job("between", "ravi", feeder, control)))
	if !flagged(o, ledger.NoProcedure) || !has(w.s.MissingForWork(w.s.Jobs["between"]), ledger.NoProcedure, zone) {
		t.Error("published and not approved, and a job may start on it")
	}
	if has(w.s.MissingForWork(w.s.Jobs["before"]), ledger.NoProcedure, "") {
		t.Error("a job that was open before the rule was on is stopped by it")
	}
	w.refusedWith(w.direct("mara", actApprove(1)), ledger.OwnProcedure)
	w.refusedWith(w.direct("ravi", actApprove(1)), ledger.NotPermitted)
	other := actApprove(1)
	other.GetApproveProcedure().TextHash = make([]byte, 32)
	w.refusedWith(w.direct("nia", other), ledger.NotTextThatWaits)
	w.must(w.direct("nia", actApprove(1)))
	if has(w.s.MissingForWork(w.s.Jobs["between"]), ledger.NoProcedure, "") {
		t.Error("approved, and it does not count")
	}
	if !has(w.s.MissingForWork(w.s.Jobs["before"]), ledger.RetrainOn, "ravi") {
		t.Error("ravi is responsible there, has a procedure now, and was not taught it")
	}
	read := w.job("after", "ravi", feeder, control)
	read.GetOpenJob().ProcedureVersion = 2
	w.refusedWith(w.journal("stonebend", "mara", read), ledger.NotVersionInUse)
	read.GetOpenJob().ProcedureVersion = 1
	if o := w.must(w.journal("stonebend", "mara", read)); flagged(o, ledger.NoProcedure) || w.s.Jobs["after"].Procedure != 1 {
		t.Errorf("opened against version 1: %v", o.GetFlags())
	}
	w.must(w.journal("stonebend", "mara", w.job("half", "ravi", feeder)))
	if !has(w.s.MissingForWork(w.s.Jobs["half"]), ledger.NotTheProcedure, zone) {
		t.Error("the plan leaves out a point of the procedure, and nobody says so")
	}
	// On once, it is never off, nor put off.
	from := w.s.Required["stonebend"].From
	w.refusedWith(w.direct("nia", actRequire("stonebend", from+1)), ledger.AlreadyRequired)
	w.must(w.direct("nia", actRequire("stonebend", from-day)))
	if !has(w.s.MissingForWork(w.s.Jobs["after"]), ledger.RetrainOn, "ravi") {
		t.Error("ravi was not taught version 1 and may work")
	}
	w.must(w.direct("nia", actRequire("eastfork", w.now+day)))
	if w.s.Required["eastfork"] == nil {
		t.Error("a manager can't turn it on without a procedure")
	}
}

// TestProcedureIncomplete: one whose points do not isolate the zone is refused,
// 1910.147(c)(4)(ii)(B); versions count up one by one.
func TestProcedureIncomplete(t *testing.T) {
	w := drawn(t)
	half := actProcedure(1)
	half.GetPublishProcedure().Points = []string{feeder}
	w.refusedWith(w.direct("mara", half), ledger.ProcedureIncomplete)
	w.refusedWith(w.direct("mara", actProcedure(2)), ledger.NotNextVersion)
	none := actProcedure(1)
	none.GetPublishProcedure().Machines = nil
	w.refusedWith(w.direct("mara", none), ledger.BadField)
	if len(w.s.Procs) > 0 || len(w.s.Required) > 0 {
		t.Error("a refused procedure leaves a trace")
	}
}

// TestProcedureStale: a revision that changes what isolates the zone ends its use;
// the next version, approved, marks its users for retraining.
func TestProcedureStale(t *testing.T) {
	w := drawn(t)
	w.must(w.direct("mara", actProcedure(1)))
	w.must(w.direct("nia", actApprove(1)))
	w.must(w.journal("stonebend", "mara", w.job("boot-1", "ravi", feeder, control)))
	w.must(w.publish("nia", withMain(2)))
	if !has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.ProcedureStale, zone) {
		t.Error("the drawing changed under the procedure, and it is still good for work")
	}
	w.must(w.direct("nia", actTraining("ravi", classAuthorised, w.now, w.now+100*day, zone)))
	w.must(w.direct("mara", actProcedure(2)))
	w.must(w.publish("nia", withSecondCut(3)))
	w.refusedWith(w.direct("nia", actApprove(2)), ledger.ProcedureStale)
	w.must(w.publish("nia", withMain(4)))
	w.must(w.direct("nia", actTraining("ravi", classAuthorised, w.now, w.now+100*day, zone)))
	w.must(w.direct("mara", actProcedure(3)))
	if has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.RetrainOn, "ravi") {
		t.Error("a version that nobody approved marks its users")
	}
	w.must(w.direct("nia", actApprove(3)))
	cs := w.s.MissingForWork(w.s.Jobs["boot-1"])
	if has(cs, ledger.ProcedureStale, "") || !has(cs, ledger.RetrainOn, "ravi") {
		t.Errorf("version 3 approved: %v", cs)
	}
}

// TestEightConditions: without a procedure all eight of 1910.147(c)(4)(i) must hold;
// 1, 2, 3 and 5 are computed, 4, 6, 7 and 8 attested.
func TestEightConditions(t *testing.T) {
	w := drawn(t)
	w.must(w.direct("nia", actRequire("stonebend", 1)))
	w.must(w.journal("stonebend", "mara", w.job("boot-1", "ravi", feeder, control)))
	o := w.direct("mara", actAttest("boot-1"))
	w.refusedWith(o, ledger.ConditionFails) // stored energy and two sources reach the boot
	if n := len(o.GetConditions()); n < 3 {
		t.Errorf("%d of the computed conditions fail, want 1, 2, 3 and 5 named: %v", n, o.GetConditions())
	}
	// A fan with one feed, no store and no control: here they hold.
	w.must(w.publish("nia", withFan(2)))
	w.must(w.walk("ravi", "stonebend"))
	fan := w.job("fan-1", "ravi", fanFeed)
	fan.GetOpenJob().Zone = fanZone
	w.must(w.journal("stonebend", "mara", fan))
	j := w.s.Jobs["fan-1"]
	if !has(w.s.MissingForWork(j), ledger.NoProcedure, fanZone) {
		t.Fatal("no procedure, nothing attested, and no word of it")
	}
	for number, leave := range map[int]func(a *recordv1.AttestException){
		4: func(a *recordv1.AttestException) { a.LockedDuringWork = false }, 6: func(a *recordv1.AttestException) { a.ExclusiveControl = false },
		7: func(a *recordv1.AttestException) { a.NoHazardForOthers = false }, 8: func(a *recordv1.AttestException) { a.NoAccident = false },
	} {
		a := actAttest("fan-1")
		leave(a.GetAttestException())
		if o := w.direct("mara", a); !has(o.GetConditions(), ledger.NotAttested, "fan-1") {
			t.Errorf("condition %d is not attested, and it passes", number)
		}
	}
	w.must(w.direct("mara", actAttest("fan-1")))
	if cs := w.s.MissingForWork(j); has(cs, ledger.NoProcedure, "") || has(cs, ledger.ExceptionFails, "") {
		t.Errorf("all eight hold: %v", cs)
	}
	// A second person's lock ends the exclusive control.
	w.must(w.journal("stonebend", "ravi", w.actIsolate(fanFeed)))
	h := w.must(w.journal("stonebend", "tomas", actLock(fanFeed, "tomas-1", "fan-1"))).GetRef()
	if !has(w.s.MissingForWork(j), ledger.ExceptionFails, fanZone) {
		t.Error("tomas has a lock on it too, and the exception still holds")
	}
	w.must(w.journal("stonebend", "tomas", actRelease(h)))
	if has(w.s.MissingForWork(j), ledger.ExceptionFails, "") {
		t.Error("tomas is off again, and the exception does not hold")
	}
	// So does a box: its key is not on the one who works.
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "stonebend/box-9", Holes: 4}}}))
	w.must(w.journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: "stonebend/box-9", Point: fanFeed}}}))
	h = w.must(w.journal("stonebend", "ravi", actLockBox("stonebend/box-9", "ravi-1", "fan-1"))).GetRef()
	if !has(w.s.MissingForWork(j), ledger.ExceptionFails, fanZone) {
		t.Error("the key is in a box, and the exception still holds")
	}
	w.must(w.journal("stonebend", "ravi", actRelease(h)))
	if has(w.s.MissingForWork(j), ledger.ExceptionFails, "") {
		t.Error("nobody uses the box any more, and the exception does not hold")
	}
	// A second feed ends the computed half.
	w.must(w.publish("nia", withSecondFeed(3)))
	if !has(w.s.MissingForWork(j), ledger.ExceptionFails, fanZone) {
		t.Error("a second source reaches the fan, and the exception still holds")
	}
}

// withSecondCut puts a further point in the way of the leg.
func withSecondCut(revision uint32) *recordv1.Drawing {
	d, _ := drawings()
	d.Revision = revision
	d.Nodes = append(d.Nodes, &recordv1.Node{Name: "leg-line", Kind: recordv1.NodeKind_NODE_KIND_BUS})
	d.Links[0].To = "leg-line"
	d.Links = append(d.Links, &recordv1.Link{Name: "local", From: "leg-line", To: "leg-motor", Medium: recordv1.Medium_MEDIUM_ELECTRICITY,
		Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_DISCONNECT, Panel: "local", Device: "leg", Lockable: true, Holes: 4}})
	return d
}

const (
	fanZone = "stonebend/vent-room"
	fanFeed = "stonebend/mcc-1/vent"
)

// withFan adds a vent with one feed to the drawing of Stonebend.
func withFan(revision uint32) *recordv1.Drawing {
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	d, _ := drawings()
	d.Revision = revision
	d.Nodes = append(d.Nodes, &recordv1.Node{Name: "vent-supply", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}, &recordv1.Node{Name: "vent", Kind: recordv1.NodeKind_NODE_KIND_MACHINE})
	d.Links = append(d.Links, &recordv1.Link{Name: "vent-feed", From: "vent-supply", To: "vent", Medium: el, OneWay: "a heater gives nothing back",
		Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc-1", Device: "vent", Lockable: true, Holes: 4}})
	d.Zones = append(d.Zones, &recordv1.Zone{Name: "vent-room", Parts: []*recordv1.ExposedPart{{Node: "vent", Media: []recordv1.Medium{el}}}})
	return d
}

func withSecondFeed(revision uint32) *recordv1.Drawing {
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	d := withFan(revision)
	d.Nodes = append(d.Nodes, &recordv1.Node{Name: "vent-generator", Kind: recordv1.NodeKind_NODE_KIND_SOURCE})
	d.Links = append(d.Links, &recordv1.Link{Name: "vent-second", From: "vent-generator", To: "vent", Medium: el,
		Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc-2", Device: "vent", Lockable: true, Holes: 4}})
	return d
}
