package faults_test

import (
	"time"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func clears(yard string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: job(yard), ToolsOut: true, GuardsOn: true, PeopleClear: true}}}
}

func tells(yard string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Notice{Notice: &recordv1.Notice{Job: job(yard), When: recordv1.NoticeWhen_NOTICE_WHEN_AFTER, People: []string{manager}, Means: "in person"}}}
}

func asksFor(id, yard string, within time.Duration) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Request{Request: &recordv1.Request{Id: id, Job: job(yard), Points: []string{point(yard)}, DeadlineUnixMs: time.Now().Add(within).UnixMilli()}}}
}

func energises(id, yard string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: id, Point: point(yard)}}}
}
