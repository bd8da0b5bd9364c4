package demo

import (
	"fmt"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// ref reads a journal reference, "yard/epoch/number".
func ref(text string) *recordv1.JournalRef {
	r := &recordv1.JournalRef{}
	yard, rest, _ := strings.Cut(text, "/")
	r.Yard = yard
	_, _ = fmt.Sscanf(rest, "%d/%d", &r.Epoch, &r.Seq) // the client refuses a malformed one
	return r
}

func actIsolate(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: point}}}
}

func actBoxAdd(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: lockBox, Point: point}}}
}

func actBoxRemove(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: lockBox, Point: point}}}
}

func actLock(padlock string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: &recordv1.Target{On: &recordv1.Target_Box{Box: lockBox}}, Padlock: padlock, Job: jobID}}}
}

func actRelease(hold string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: ref(hold)}}}
}

func actSignOn() *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: jobID}}}
}

func actSignOff(on string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_SignOff{SignOff: &recordv1.SignOff{SignOn: ref(on)}}}
}

func actNotice(when recordv1.NoticeWhen) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Notice{Notice: &recordv1.Notice{Job: jobID, When: when, People: []string{"dov"}, Means: "in person, at the scale house"}}}
}

func actShutDown() *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ShutDown{ShutDown: &recordv1.ShutDown{Job: jobID}}}
}

func actStored(store, how string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_StoredReleased{StoredReleased: &recordv1.StoredReleased{Job: jobID, Store: store, How: how}}}
}

func actClear() *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: jobID, ToolsOut: true, GuardsOn: true, PeopleClear: true}}}
}

func actRequest(id string, deadline int64, points []string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Request{Request: &recordv1.Request{Id: id, Job: jobID, Points: points, DeadlineUnixMs: deadline}}}
}

func actEnergise(request, point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: request, Point: point}}}
}

func actClosed(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{Point: point}}}
}
