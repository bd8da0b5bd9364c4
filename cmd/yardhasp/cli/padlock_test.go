package cli

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"yardhasp/client/words"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// said is the act of a record about padlocks, tags, chokes or what reaches a zone as
// JSON, so that a script sees what was sent; "" for any other.
func said(rec *recordv1.Record) string {
	var act proto.Message
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_RegisterPadlock:
		act = a.RegisterPadlock
	case *recordv1.Record_MoveKey:
		act = a.MoveKey
	case *recordv1.Record_IssuePadlock:
		act = a.IssuePadlock
	case *recordv1.Record_ReportPadlock:
		act = a.ReportPadlock
	case *recordv1.Record_ClearPadlock:
		act = a.ClearPadlock
	case *recordv1.Record_ReviewLock:
		act = a.ReviewLock
	case *recordv1.Record_DescribePoint:
		act = a.DescribePoint
	case *recordv1.Record_FoundChoked:
		act = a.FoundChoked
	case *recordv1.Record_ClearChoke:
		act = a.ClearChoke
	case *recordv1.Record_NarrowZone:
		act = a.NarrowZone
	case *recordv1.Record_Release:
		if a.Release.GetWhy() == "" {
			return ""
		}
		act = a.Release
	case *recordv1.Record_Lock:
		if a.Lock.GetTag() == nil && !a.Lock.GetEquipment() {
			return ""
		}
		act = a.Lock
	default:
		return ""
	}
	raw, err := protojson.Marshal(act)
	if err != nil {
		return err.Error()
	}
	var b bytes.Buffer
	if err := json.Compact(&b, raw); err != nil {
		return err.Error()
	}
	return "SAID " + b.String()
}

// What a lock must not be taken for stands where it shows: an equipment lock and a
// tag alone (standards of 1910.147(d)(4)(i) and (c)(3)), a full hasp, a padlock
// that breaks a rule now, and a choked leg.
func TestLockScreens(t *testing.T) {
	tag := &recordv1.Tag{Only: true, Legend: recordv1.Legend_LEGEND_DO_NOT_OPERATE, Means: []recordv1.ExtraMeans{recordv1.ExtraMeans_EXTRA_MEANS_HANDLE_TAKEN_OFF}}
	lost := ledger.KeyLost.About("p-1", "p-1", "dropped in the pit")
	job := &recordv1.JobView{AsOf: asOf(true), Id: "boot-7", Stage: recordv1.Stage_STAGE_OPENED, Chokes: []*recordv1.Finding{ledger.Choked.About("stonebend/leg-2-boot", "stonebend/leg-2-boot", "stonebend/1/9", "choked", "")},
		Points: []*recordv1.PointView{{Point: "stonebend/mcc-1/a", Holes: 2, HolesLeft: 0}, {Point: "stonebend/mcc-1/b", Holes: 2, HolesLeft: -1},
			{Point: "stonebend/mcc-1/c", Holes: 2, HolesLeft: 1}, {Point: "stonebend/old/knife", NotLockable: true}},
		Holds: []*recordv1.HoldView{
			{Ref: "stonebend/1/1", Holder: "ann-dahl", Target: "stonebend/mcc-1/a", Equipment: true, ReviewUnixMs: 1801440000000},
			{Ref: "stonebend/1/2", Holder: "ben-ito", Target: "stonebend/old/knife", TagOnly: true, Guards: true, Tag: tag},
			{Ref: "stonebend/1/3", Holder: "ben-ito", Target: "stonebend/mcc-1/c", TagOnly: true, Tag: &recordv1.Tag{Only: true}},
			{Ref: "stonebend/1/4", Holder: "ben-ito", Target: "stonebend/mcc-1/a", Guards: true, Padlock: "p-1", Standing: []*recordv1.Finding{lost}, Flags: []*recordv1.Finding{lost}},
		}}
	got := screen(func(p *page) { p.job(job, "ann-dahl") })
	for _, want := range []string{
		"DO NOT JOG: CHOKED: stonebend/leg-2-boot (stonebend/1/9)", "(1910.272(q)(1))",
		"YOU HAVE NO LOCK ON THIS JOB", // her equipment lock is none
		// 1801440000 is 2027-02-01T00:00:00Z (GNU date): the end of 31 January.
		"NO: EQUIPMENT LOCK, protects nobody; look again by 2027-01-31",
		"TAG ONLY: do not operate; handle taken off",
		"NO: TAG ONLY: no legend; NO extra means",
		"NONE: full", "NONE, 1 more lock than holes", "TAG ONLY: takes no lock",
		"FLAGGED now: stonebend/1/4: " + words.English.Says(lost),
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q does not stand on the screen:\n%s", want, got)
		}
	}
	if strings.Contains(got, "when it was recorded") {
		t.Errorf("one flag is shown twice:\n%s", got)
	}
}
