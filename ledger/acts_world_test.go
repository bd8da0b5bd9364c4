package ledger_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	main1 = "stonebend/mcc-1/main"
	room  = "stonebend/mcc-room"
)

// captured sends an act through a yard's journal with a capture time of its own.
func (w *world) captured(yard, signer string, at int64, act *recordv1.Record) *recordv1.Outcome {
	w.t.Helper()
	r := w.record(signer, act)
	r.CapturedUnixMs = at
	return w.envelope(yard, &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: signed(w.t, seal.RecordDomain, marshal(w.t, r), w.keys[signer])}})
}

// behind sends an act through the journal of a yard that had seen the ledger only
// up to size: written while cut off, arriving late.
func (w *world) behind(yard, signer string, size uint64, act *recordv1.Record) *recordv1.Outcome {
	w.t.Helper()
	w.basedOn[yard] = size
	defer delete(w.basedOn, yard)
	return w.journal(yard, signer, act)
}

func actJob(id, responsible, zone string, plan ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: id, Zone: zone, Plan: plan,
		Responsible: responsible, Affected: []string{"dov"}, Purpose: "service"}}}
}

func actClose(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: job}}}
}

func actTried(hold string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_TriedHandle{TriedHandle: &recordv1.TriedHandle{Hold: ref(hold)}}}
}

func actFoundLive(job, part string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: job, Part: part, What: "a lamp lit"}}}
}

func actCorrect(found string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_CorrectFoundLive{CorrectFoundLive: &recordv1.CorrectFoundLive{Found: ref(found), Cause: "a second feed, taken off"}}}
}

func actFoundClosed(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: point}}}
}

func actGrounds(job string, fitted, removed uint32) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: job, ToolsOut: true, GuardsOn: true, PeopleClear: true,
		GroundsFitted: fitted, GroundsRemoved: removed}}}
}

// mayStart reports whether the ledger says that work on boot-1 may start.
func (w *world) mayStart() bool {
	return len(w.s.MissingForWork(w.s.Jobs["boot-1"])) == 0
}

// approve asks for a start and has every yard confirm it.
func (w *world) approve(id, job string, points ...string) {
	w.t.Helper()
	w.must(w.direct("mara", actRequest(id, job, w.now+1e8, points...)))
	for _, y := range w.s.Reqs[id].Involved {
		w.must(w.fence(y, id))
	}
	if st := w.s.Reqs[id].State; st != recordv1.RequestState_REQUEST_STATE_APPROVED {
		w.t.Fatalf("request %s is %v", id, st)
	}
}

// withMain is the stonebend drawing with a main breaker ahead of the feeder, and
// a second zone, the motor control room, on the bus between the two.
func withMain(revision uint32) *recordv1.Drawing {
	stone, _ := drawings()
	d := proto.CloneOf(stone)
	d.Revision = revision
	d.Nodes = append(d.Nodes, &recordv1.Node{Name: "bus", Kind: recordv1.NodeKind_NODE_KIND_BUS})
	i := slices.IndexFunc(d.Links, func(l *recordv1.Link) bool { return l.GetName() == "feeder" })
	d.Links[i].From = "bus"
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	d.Links = append(d.Links, &recordv1.Link{Name: "main", From: "service", To: "bus", Medium: el,
		Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc-1", Device: "main", Lockable: true, Holes: 6}})
	d.Zones = append(d.Zones, &recordv1.Zone{Name: "mcc-room", Parts: []*recordv1.ExposedPart{{Node: "bus", Media: []recordv1.Medium{el}}}})
	return d
}

// drawnWithMain is drawn with that drawing, walked.
func drawnWithMain(t testing.TB) *world {
	w := drawn(t)
	w.must(w.publish("nia", withMain(2)))
	w.must(w.walk("ravi", "stonebend"))
	return w
}
