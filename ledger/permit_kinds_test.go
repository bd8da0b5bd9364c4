package ledger

import (
	"slices"
	"strings"
	"testing"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestPermitFields: of a record whose fields are all wrong each one is named, and
// nothing is said of one that is in order.
func TestPermitFields(t *testing.T) {
	long := strings.Repeat("x", MaxText+1)
	for _, c := range []struct {
		bad, good *recordv1.Record
		fields    []string
	}{
		{issue(&recordv1.IssuePermit{}), issue(&recordv1.IssuePermit{Id: "in-1", Job: "crust-3", EndsUnixMs: 1, What: &recordv1.IssuePermit_BinEntry{BinEntry: &recordv1.BinEntry{}}}),
			[]string{"id", "job", "ends_unix_ms", "what"}},
		{issue(&recordv1.IssuePermit{Id: "in-1", Job: "crust-3", EndsUnixMs: 1, What: &recordv1.IssuePermit_BinEntry{BinEntry: &recordv1.BinEntry{
			Entrants: []string{"lena", "lena"}, Observers: []string{"-"}, HungGrain: 9, Line: 9, Ventilation: 9, LineReason: "a\nb", RescueEquipment: long,
			AirEverySeconds: minAirEvery - 1, Expected: []recordv1.AirAgent{99}, ClosedPaths: []*recordv1.ClosedPath{{Fumigation: "eastfork/1/7"}}}}}),
			issue(&recordv1.IssuePermit{Id: "in-1", Job: "crust-3", EndsUnixMs: 1, What: &recordv1.IssuePermit_BinEntry{BinEntry: &recordv1.BinEntry{
				Entrants: []string{"lena"}, AirEverySeconds: maxAirEvery, Expected: []recordv1.AirAgent{recordv1.AirAgent_AIR_AGENT_PHOSPHINE},
				ClosedPaths: []*recordv1.ClosedPath{{Fumigation: "eastfork/1/7", How: "blanked"}}}}}),
			[]string{"entrants", "observers", "hung_grain", "line", "ventilation", "line_reason", "rescue_equipment", "air_every_seconds", "expected", "closed_paths"}},
		{issue(&recordv1.IssuePermit{Id: "weld-1", Job: "boot-1", EndsUnixMs: 1, What: &recordv1.IssuePermit_HotWork{HotWork: &recordv1.HotWork{
			Workers: []string{"Lena"}, FireWatch: []string{""}, Place: long, Extinguisher: "\x1b[2J"}}}),
			issue(&recordv1.IssuePermit{Id: "weld-1", Job: "boot-1", EndsUnixMs: 1, What: &recordv1.IssuePermit_HotWork{HotWork: &recordv1.HotWork{Workers: []string{"lena"}}}}),
			[]string{"workers", "fire_watch", "place", "extinguisher"}},
		{&recordv1.Record{Act: &recordv1.Record_ClosePermit{ClosePermit: &recordv1.ClosePermit{}}}, &recordv1.Record{Act: &recordv1.Record_ClosePermit{ClosePermit: &recordv1.ClosePermit{Permit: "in-1"}}},
			[]string{"permit"}},
		{air(&recordv1.AirReading{Job: "a/b", Zone: "bin-3", Instrument: "\n"}), air(&recordv1.AirReading{Job: "crust-3", Zone: "eastfork/bin-3", Level: 1, Values: []*recordv1.AirValue{{Agent: 1, Thousandths: 20_900}}}),
			[]string{"job", "zone", "level", "values", "instrument"}},
		{air(&recordv1.AirReading{Job: "crust-3", Zone: "eastfork/bin-3", Level: 1, Values: []*recordv1.AirValue{{Agent: 1}, {Agent: 1}}}), nil, []string{"values"}},
		{air(&recordv1.AirReading{Job: "crust-3", Zone: "eastfork/bin-3", Level: 1, Values: []*recordv1.AirValue{{Agent: 1, Thousandths: -1}}}), nil, []string{"values"}},
		{&recordv1.Record{Act: &recordv1.Record_StandWatch{StandWatch: &recordv1.StandWatch{Contact: 9}}},
			&recordv1.Record{Act: &recordv1.Record_StandWatch{StandWatch: &recordv1.StandWatch{Job: "crust-3", Duty: 1, Station: "roof door"}}},
			[]string{"job", "duty", "station", "contact"}},
		{&recordv1.Record{Act: &recordv1.Record_LeaveWatch{LeaveWatch: &recordv1.LeaveWatch{Watch: "eastfork/01/7"}}}, &recordv1.Record{Act: &recordv1.Record_LeaveWatch{LeaveWatch: &recordv1.LeaveWatch{Watch: "eastfork/1/7"}}},
			[]string{"watch"}},
		{&recordv1.Record{Act: &recordv1.Record_HotWorkDone{HotWorkDone: &recordv1.HotWorkDone{Permit: "a b"}}}, &recordv1.Record{Act: &recordv1.Record_HotWorkDone{HotWorkDone: &recordv1.HotWorkDone{Permit: "weld-1"}}},
			[]string{"permit"}},
		{fumigated(&recordv1.FumigationRecorded{Place: "bin-4", Connected: []string{"x"}, Placard: long, UntilUnixMs: -1, Fumigant: recordv1.AirAgent_AIR_AGENT_OXYGEN}),
			fumigated(&recordv1.FumigationRecorded{Place: "eastfork/bin-4", Fumigant: recordv1.AirAgent_AIR_AGENT_PHOSPHINE}),
			[]string{"place", "connected", "placard", "until_unix_ms", "fumigant"}},
		{&recordv1.Record{Act: &recordv1.Record_FumigationCleared{FumigationCleared: &recordv1.FumigationCleared{Thousandths: -1, Instrument: long}}},
			&recordv1.Record{Act: &recordv1.Record_FumigationCleared{FumigationCleared: &recordv1.FumigationCleared{Fumigation: "eastfork/1/7", Applicator: "by the log"}}},
			[]string{"fumigation", "thousandths", "instrument", "applicator"}},
	} {
		for _, r := range []*recordv1.Record{c.bad, c.good} {
			if r == nil {
				continue
			}
			want := c.fields
			if r == c.good {
				want = nil
			}
			name := KindOf(r)
			rows := declared
			k := slices.IndexFunc(rows, func(k Kind) bool { return k.Name == name })
			if k < 0 {
				t.Fatalf("%s has no row", name)
			}
			var f fields
			rows[k].Shape(&f, r)
			var got []string
			for _, b := range f.bad {
				if err := code.Check(b); err != nil || !code.Is(b, BadField) {
					t.Errorf("%s: %v, %v", name, b, err)
				}
				got = append(got, b.GetSubject())
			}
			if !slices.Equal(slices.Sorted(slices.Values(got)), slices.Sorted(slices.Values(want))) {
				t.Errorf("%s: the fields %v are wrong; named are %v", name, want, got)
			}
		}
	}
}

func issue(i *recordv1.IssuePermit) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_IssuePermit{IssuePermit: i}}
}

func air(a *recordv1.AirReading) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_AirReading{AirReading: a}}
}

func fumigated(f *recordv1.FumigationRecorded) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FumigationRecorded{FumigationRecorded: f}}
}
