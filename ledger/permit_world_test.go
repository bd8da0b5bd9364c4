package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// A bin of ours at eastfork: a spout and a fan's duct with blanks in them, a sweep
// auger behind two breakers, and a tunnel to the next bin.

const (
	binZone = "eastfork/bin-3"
	binJob  = "crust-3"
)

var (
	binPlan = []string{"eastfork/deck/spout-blank", "eastfork/fan/duct-blank", "eastfork/mcc-1/main", "eastfork/mcc-1/sweep", "eastfork/tunnel/tunnel-blank"}
	top     = recordv1.AirLevel_AIR_LEVEL_TOP
	middle  = recordv1.AirLevel_AIR_LEVEL_MIDDLE
	bottom  = recordv1.AirLevel_AIR_LEVEL_BOTTOM
	atWork  = recordv1.AirLevel_AIR_LEVEL_WORK
	oxygen  = recordv1.AirAgent_AIR_AGENT_OXYGEN
	burns   = recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS
	co      = recordv1.AirAgent_AIR_AGENT_CARBON_MONOXIDE
	co2     = recordv1.AirAgent_AIR_AGENT_CARBON_DIOXIDE
	ph3     = recordv1.AirAgent_AIR_AGENT_PHOSPHINE
	h2s     = recordv1.AirAgent_AIR_AGENT_HYDROGEN_SULFIDE
)

const minute = int64(60_000)

func binDrawing() *recordv1.Drawing {
	el, gr, air := recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_AIR
	dev := func(k recordv1.DeviceKind, panel, device string) *recordv1.Device {
		return &recordv1.Device{Kind: k, Panel: panel, Device: device, Lockable: true, Holes: 6}
	}
	blank, breaker := recordv1.DeviceKind_DEVICE_KIND_BLANK, recordv1.DeviceKind_DEVICE_KIND_BREAKER
	return &recordv1.Drawing{Yard: "eastfork", Revision: 1, Title: "Eastfork bins",
		Nodes: []*recordv1.Node{
			{Name: "service", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}, {Name: "panel", Kind: recordv1.NodeKind_NODE_KIND_BUS},
			{Name: "sweep-motor", Kind: recordv1.NodeKind_NODE_KIND_MACHINE}, {Name: "spout", Kind: recordv1.NodeKind_NODE_KIND_SOURCE},
			{Name: "fan", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}, {Name: "grain-3", Kind: recordv1.NodeKind_NODE_KIND_BUS},
			{Name: "grain-4", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}, {Name: "office", Kind: recordv1.NodeKind_NODE_KIND_BUS},
		},
		Links: []*recordv1.Link{
			{Name: "main", From: "service", To: "panel", Medium: el, Device: dev(breaker, "mcc-1", "main")},
			{Name: "sweep", From: "panel", To: "sweep-motor", Medium: el, Device: dev(breaker, "mcc-1", "sweep")},
			{Name: "office-cable", From: "panel", To: "office", Medium: el},
			{Name: "fill", From: "spout", To: "grain-3", Medium: gr, Device: dev(blank, "deck", "spout-blank")},
			{Name: "duct", From: "fan", To: "grain-3", Medium: air, Device: dev(blank, "fan", "duct-blank")},
			{Name: "tunnel", From: "grain-4", To: "grain-3", Medium: gr, Device: dev(blank, "tunnel", "tunnel-blank"), OneWay: "grain runs down the tunnel"},
		},
		Zones: []*recordv1.Zone{
			{Name: "bin-3", Label: "inside bin 3", Entered: true, Parts: []*recordv1.ExposedPart{{Node: "grain-3", Media: []recordv1.Medium{gr, air}}, {Node: "sweep-motor", Media: []recordv1.Medium{el}}}},
			{Name: "bin-4", Label: "inside bin 4", Entered: true, Parts: []*recordv1.ExposedPart{{Node: "grain-4", Media: []recordv1.Medium{gr}}}},
			{Name: "desk", Label: "wiring of the office", Parts: []*recordv1.ExposedPart{{Node: "office", Media: []recordv1.Medium{el}}}},
		}}
}

// isolatedBin has the job on bin 3 as far as everything proved: lena and tomas are
// to go in, mara watches, ravi is responsible.
func isolatedBin(t testing.TB) (w *world, holds map[string]string) {
	return firstIsolatedBin.copied(t, newIsolatedBin)
}

func newIsolatedBin(t testing.TB) (w *world, holds map[string]string) {
	w = coop(t)
	w.joinPerson(person("olga", false, authorised))
	for _, who := range []string{"ravi", "lena", "tomas", "mara", "olga"} {
		w.must(w.direct("nia", actTraining(who, recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY, w.now, w.now+1e12)))
		w.must(w.direct("nia", actTraining(who, recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE, w.now, w.now+1e12)))
	}
	w.must(w.publish("nia", binDrawing()))
	w.must(w.walk("ravi", "eastfork"))
	w.must(w.journal("eastfork", "mara", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
		Id: binJob, Zone: binZone, Plan: binPlan, Responsible: "ravi", Crew: []string{"lena", "tomas", "olga"}, Affected: []string{"dov"}, Purpose: "break the crust in bin 3"}}}))
	w.must(w.journal("eastfork", "mara", actNotice(binJob, recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	w.must(w.journal("eastfork", "ravi", actShutDown(binJob)))
	holds = map[string]string{}
	for _, p := range binPlan {
		w.must(w.journal("eastfork", "ravi", w.actIsolate(p)))
		for _, who := range []string{"ravi", "lena", "tomas"} {
			holds[who+" "+p] = w.must(w.journal("eastfork", who, actLock(p, "", binJob))).GetRef()
		}
	}
	w.proveBin()
	return w, holds
}

func (w *world) proveBin() {
	w.t.Helper()
	proofs, err := w.s.Graph().Proofs(binZone, binPlan...)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, p := range proofs {
		w.must(w.journal("eastfork", "ravi", actReading(binJob, p.Part, p.Medium, p.Kind, 0)))
	}
}

// clean is air with nothing wrong: 20.9 % is that of the open air, from memory.
func clean() []*recordv1.AirValue { return values(oxygen, 20_900, burns, 0, co, 0, co2, 400_000) }

// values are pairs of an agent and thousandths.
func values(pairs ...any) []*recordv1.AirValue {
	var out []*recordv1.AirValue
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, &recordv1.AirValue{Agent: pairs[i].(recordv1.AirAgent), Thousandths: int64(pairs[i+1].(int))})
	}
	return out
}

func actAir(job, zone string, level recordv1.AirLevel, vs ...*recordv1.AirValue) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_AirReading{AirReading: &recordv1.AirReading{Job: job, Zone: zone, Level: level, Values: vs,
		Instrument: "gas meter 2", ProvedBefore: true, ProvedAfter: true}}}
}

// testAir tests bin 3 at all three levels, by ravi.
func (w *world) testAir(more ...*recordv1.AirValue) {
	w.t.Helper()
	for _, l := range []recordv1.AirLevel{top, middle, bottom} {
		w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, l, append(clean(), more...)...)))
	}
}

func actStand(job string, d recordv1.Duty) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_StandWatch{StandWatch: &recordv1.StandWatch{Job: job, Duty: d, Station: "at the roof door",
		Contact: recordv1.Contact_CONTACT_SIGHT, Equipped: true, RescueTrained: true}}}
}

func actLeave(watch string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_LeaveWatch{LeaveWatch: &recordv1.LeaveWatch{Watch: watch}}}
}

func bin() *recordv1.BinEntry {
	return &recordv1.BinEntry{Entrants: []string{"lena", "tomas"}, Observers: []string{"mara", "olga"}, HungGrain: recordv1.Look_LOOK_CLEAR, FromAbove: true,
		Line: recordv1.Line_LINE_HARNESS_AND_LIFELINE, StopsAtWaist: true, RescueEquipment: "tripod and winch at the roof door, litter, grain panels",
		Ventilation: recordv1.Ventilation_VENTILATION_NATURAL, NobodyWalksGrain: true}
}

func actIssueBin(id, job string, ends int64, b *recordv1.BinEntry) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_IssuePermit{IssuePermit: &recordv1.IssuePermit{Id: id, Job: job, EndsUnixMs: ends, What: &recordv1.IssuePermit_BinEntry{BinEntry: b}}}}
}

func actClosePermit(id string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClosePermit{ClosePermit: &recordv1.ClosePermit{Permit: id}}}
}

func actHotDone(id string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_HotWorkDone{HotWorkDone: &recordv1.HotWorkDone{Permit: id}}}
}

func actFumigated(place string, connected ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FumigationRecorded{FumigationRecorded: &recordv1.FumigationRecorded{Place: place, Fumigant: ph3, Connected: connected, Placard: "on the door"}}}
}

func actFumigantCleared(ref string, thousandths int64) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FumigationCleared{FumigationCleared: &recordv1.FumigationCleared{Fumigation: ref, Thousandths: thousandths,
		Instrument: "gas meter 2", ProvedBefore: true, ProvedAfter: true, Applicator: "the applicator, by the log of the airing"}}}
}

// issueBin has nia issue a permit for four hours.
func (w *world) issueBin(id string, b *recordv1.BinEntry) *recordv1.Outcome {
	w.t.Helper()
	return w.direct("nia", actIssueBin(id, binJob, w.now+240*minute, b))
}

// readyBin has everything for a permit; watch is mara's.
func readyBin(t testing.TB) (w *world, holds map[string]string, watch string) {
	w, holds = isolatedBin(t)
	w.testAir()
	watch = w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER))).GetRef()
	return w, holds, watch
}

// inside has lena and tomas inside under permit in-1.
func inside(t testing.TB) (w *world, holds, ons map[string]string, watch string) {
	w, holds, watch = readyBin(t)
	w.must(w.issueBin("in-1", bin()))
	ons = map[string]string{}
	for _, who := range []string{"lena", "tomas"} {
		o := w.must(w.journal("eastfork", who, actSignOn(binJob)))
		if len(o.GetFlags()) > 0 {
			t.Fatalf("%s enters under a permit in force and is flagged: %v", who, o.GetFlags())
		}
		ons[who] = o.GetRef()
	}
	return w, holds, ons, watch
}

// permitState is how a permit stands now.
func (w *world) permitState(id string) recordv1.PermitState {
	return w.s.PermitView(id, w.now).GetState()
}

// outAlarm is the alarm about a permit, nil for none.
func (w *world) outAlarm() *recordv1.Finding {
	for _, a := range w.s.Alarms {
		if code.Is(a.Finding, ledger.HotWorkStopped, ledger.NoFireWatchAfter, ledger.EverybodyOut, ledger.DoNotEnter) {
			return a.Finding
		}
	}
	return nil
}

// calls reports whether a finding has the code, and its argument names all of these
// people.
func calls(f *recordv1.Finding, c code.Code, arg string, people ...string) bool {
	named := code.Names(f, arg)
	return code.Is(f, c) && !slices.ContainsFunc(people, func(p string) bool { return !slices.Contains(named, p) })
}

// clauseOf is the clause of a finding.
func clauseOf(f *recordv1.Finding) string { return code.ClauseOf(f) }

// answerable reports whether a finding says which clause it comes from and who can
// supply what is missing.
func answerable(f *recordv1.Finding) bool {
	r, _ := code.Of(f).Row()
	return clauseOf(f) != "" && r.Who != ""
}
