package replica_test

import (
	"fmt"
	"strings"
	"time"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Short ways to say an act.

func actPoint(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: point, Holes: 6}}}
}

func actPadlock(serial, owner string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: &recordv1.RegisterPadlock{Serial: serial, Owner: owner, KeysCut: 1}}}
}

func actIsolate(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: point}}}
}

func place(ref string) *recordv1.JournalRef {
	out := &recordv1.JournalRef{}
	yard, rest, _ := strings.Cut(ref, "/")
	out.Yard = yard
	_, _ = fmt.Sscanf(rest, "%d/%d", &out.Epoch, &out.Seq)
	return out
}

func actRelease(hold string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: place(hold)}}}
}

func actSignOn(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: job}}}
}

func actSignOff(on string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_SignOff{SignOff: &recordv1.SignOff{SignOn: place(on)}}}
}

func actNotice(job string, when recordv1.NoticeWhen, people ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Notice{Notice: &recordv1.Notice{Job: job, When: when, People: people, Means: "in person"}}}
}

func actClear(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: job, ToolsOut: true, GuardsOn: true, PeopleClear: true}}}
}

func actRequest(id, job string, in time.Duration, points ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Request{Request: &recordv1.Request{Id: id, Job: job, Points: points, DeadlineUnixMs: time.Now().Add(in).UnixMilli()}}}
}

func actEnergise(request, point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: request, Point: point}}}
}

func actClosed(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{Point: point}}}
}

// The two points of the drawing below.
const (
	feeder = "stonebend/mcc-1/feeder"
	second = "millrow/panel-2/second"
)

// drawn registers people, and a motor at stonebend with one feed of its own and a
// second one from millrow, both drawn, and a job on its zone.
func (c *cluster) drawn() {
	c.t.Helper()
	worker := []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}
	c.joinPerson(&recordv1.Person{Id: "ravi", Name: "Ravi", Roles: worker})
	c.joinPerson(&recordv1.Person{Id: "lena", Name: "Lena", Roles: worker})
	c.joinPerson(&recordv1.Person{Id: "dov", Name: "Dov", Roles: []recordv1.Role{recordv1.Role_ROLE_AFFECTED}})
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	breaker := func(panel, device string) *recordv1.Device {
		return &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: panel, Device: device, Lockable: true, Holes: 6}
	}
	mill := &recordv1.Drawing{Yard: "millrow", Revision: 1, Title: "Millrow",
		Nodes: []*recordv1.Node{{Name: "service", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Label: "480 V service"}, {Name: "out", Kind: recordv1.NodeKind_NODE_KIND_BUS}},
		Links: []*recordv1.Link{{Name: "second", From: "service", To: "out", Medium: el, Device: breaker("panel-2", "second")}}}
	stone := &recordv1.Drawing{Yard: "stonebend", Revision: 1, Title: "Stonebend",
		Nodes: []*recordv1.Node{{Name: "service", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Label: "480 V service"}, {Name: "leg-motor", Kind: recordv1.NodeKind_NODE_KIND_MACHINE}},
		Links: []*recordv1.Link{{Name: "feeder", From: "service", To: "leg-motor", Medium: el, Device: breaker("mcc-1", "feeder")},
			{Name: "tie", From: "millrow/out", To: "leg-motor", Medium: el}},
		Zones: []*recordv1.Zone{{Name: "leg-boot", Parts: []*recordv1.ExposedPart{{Node: "leg-motor", Media: []recordv1.Medium{el}}}}}}
	for _, d := range []*recordv1.Drawing{mill, stone} {
		c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: c.marshal(d)}}})
	}
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: "boot-1", Zone: "stonebend/leg-boot",
		Plan: []string{feeder, second}, Responsible: "ravi", Crew: []string{"lena"}, Affected: []string{"dov"}, Purpose: "clear the plugged boot"}}})
	c.do("ravi", "stonebend", actIsolate(feeder))
	c.do("ravi", "millrow", actIsolate(second))
}

// cleared records what a request asks for once everybody is off.
func (c *cluster) cleared() {
	c.t.Helper()
	c.do("ravi", "stonebend", actClear("boot-1"))
	c.do("nia", "stonebend", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
}
