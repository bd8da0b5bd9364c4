package sample

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Names in Week.
const (
	Leg  = "stonebend/head-house/leg-2"
	Fan  = "millrow/mcc-1/fan"
	Zone = "stonebend/leg-2-boot"
	Part = "stonebend/leg-2-motor"
	Job  = "boot-1"
)

// Week is a history with one of each thing a report shows: locks on and off,
// readings that count and that don't, a hand-over, a removal that was acknowledged
// and one that was not, training, a refusal. Two entries are for another yard.
func Week() (*World, error) {
	w := Found()
	w.JoinYard("millrow", "Mill Row")
	w.JoinPerson(Person("ravi", "Ravi Thole", recordv1.Role_ROLE_AUTHORISED))
	w.JoinPerson(Person("lena", "Lena Brandt", recordv1.Role_ROLE_AUTHORISED))
	w.JoinPerson(Person("dov", "Dov Amsel", recordv1.Role_ROLE_AFFECTED))
	w.JoinPerson(Person("ines", "Ines Fox", recordv1.Role_ROLE_MANAGER))
	for _, p := range []string{"ravi", "lena"} {
		w.Direct(&recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: &recordv1.RegisterPadlock{Serial: p + "-1", Owner: p, KeysCut: 1, Spare: recordv1.SpareKey_SPARE_KEY_NONE_CUT}}}, "nia")
	}
	w.Direct(&recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: w.marshal(drawing())}}}, "nia")
	w.Direct(&recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: Fan, Holes: 2}}}, "nia")
	w.Direct(&recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "lena", UntilUnixMs: Start + 2*365*86_400_000, Qualified: true}}}, "nia")
	w.Journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: Job, Zone: Zone, Plan: []string{Leg},
		Responsible: "ravi", Crew: []string{"lena"}, Affected: []string{"dov"}, Purpose: "=clear the plugged boot"}}})
	w.Journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: Leg, Moved: &recordv1.Moved{}}}})
	first := w.Journal("stonebend", "ravi", lock(Leg, "ravi-1", Job))
	w.Journal("stonebend", "ravi", reading(0.4, true))
	w.Journal("stonebend", "ravi", reading(0.2, false))
	w.Journal("stonebend", "ravi", &recordv1.Record{Act: &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: Job}}})
	second := w.Journal("stonebend", "lena", lock(Leg, "lena-1", Job))
	w.Direct(&recordv1.Record{Act: &recordv1.Record_HandOver{HandOver: &recordv1.HandOver{Pairs: []*recordv1.HandOver_Pair{{Off: first, On: second}}, Others: []string{"lena"}}}}, "ravi", "lena")
	w.removal(second)
	w.Direct(&recordv1.Record{Act: &recordv1.Record_AcknowledgeRemoval{AcknowledgeRemoval: &recordv1.AcknowledgeRemoval{Hold: second}}}, "lena")
	// At the other yard: a lock that is taken off by its owner, and one removed.
	third := w.Journal("millrow", "lena", lock(Fan, "lena-1", ""))
	w.Journal("millrow", "lena", &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: third}}})
	fourth := w.Journal("millrow", "ravi", lock(Fan, "ravi-1", ""))
	w.removal(fourth)
	w.Journal("stonebend", "ravi", lock(Leg, "ravi-1", Job))
	// Refused: the hold has ended.
	w.Journal("millrow", "lena", &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: third}}})
	for i, o := range w.Outs {
		if o.GetAccepted() == (i == len(w.Outs)-1) && w.Err == nil {
			w.Err = fmt.Errorf("entry %d (%s), accepted %v: %v", i, o.GetKind(), o.GetAccepted(), o.GetConditions())
		}
	}
	return w, w.Err
}

func (w *World) removal(hold *recordv1.JournalRef) {
	w.Direct(&recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: hold, Second: "ines", NotHere: "gate log read, both yards walked", TriedToReach: "called twice, asked at home"}}}, "nia", "ines")
}

func lock(point, padlock, job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: point}}, Padlock: padlock, Job: job}}}
}

// reading is one of the motor, with an instrument that was proved after it or not.
func reading(volts float64, after bool) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Reading{Reading: &recordv1.Reading{Job: Job, Part: Part, Medium: recordv1.Medium_MEDIUM_ELECTRICITY,
		Kind: recordv1.ReadingKind_READING_KIND_METER, Value: volts, Instrument: "meter 4", ProvedBefore: true, ProvedAfter: after, PhaseToPhase: true, PhaseToGround: true}}}
}

func drawing() *recordv1.Drawing {
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	return &recordv1.Drawing{Yard: "stonebend", Revision: 1, Title: "leg 2",
		Nodes: []*recordv1.Node{{Name: "utility", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Volts: 480}, {Name: "leg-2-motor", Kind: recordv1.NodeKind_NODE_KIND_MACHINE, Volts: 480}},
		Links: []*recordv1.Link{{Name: "feeder", From: "utility", To: "leg-2-motor", Medium: el,
			Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_DISCONNECT, Panel: "head-house", Device: "leg-2", Lockable: true, Holes: 4}}},
		Zones: []*recordv1.Zone{{Name: "leg-2-boot", Label: "boot of leg 2", Parts: []*recordv1.ExposedPart{{Node: "leg-2-motor", Media: []recordv1.Medium{el}}}}}}
}
