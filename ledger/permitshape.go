package ledger

import (
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// permitAct, permitShape: to go, with dispatch.go and check.go.

// permitAct takes an act about permits; false when it is none.
func (x *step) permitAct() bool {
	switch a := x.rec.GetAct().(type) {
	case *recordv1.Record_IssuePermit:
		x.issuePermit(a.IssuePermit)
	case *recordv1.Record_ClosePermit:
		x.closePermit(a.ClosePermit)
	case *recordv1.Record_AirReading:
		x.airReading(a.AirReading)
	case *recordv1.Record_StandWatch:
		x.standWatch(a.StandWatch)
	case *recordv1.Record_LeaveWatch:
		x.leaveWatch(a.LeaveWatch)
	case *recordv1.Record_HotWorkDone:
		x.hotWorkDone(a.HotWorkDone)
	case *recordv1.Record_FumigationRecorded:
		x.fumigationRecorded(a.FumigationRecorded)
	case *recordv1.Record_FumigationCleared:
		x.fumigationCleared(a.FumigationCleared)
	default:
		return false
	}
	return true
}

// known reports whether an enum value is one of the contract's, zero left out.
func known(names map[int32]string, v int32) bool { return v != 0 && names[v] != "" }

// permitShape says what is wrong with the shape of an act about permits, "" when
// nothing or when it is none.
func permitShape(r *recordv1.Record) (bad string, mine bool) {
	const refForm = "name the record as yard/epoch/number, as its receipt shows it"
	no := func(ok bool, what string) (string, bool) {
		if ok {
			return "", true
		}
		return what, true
	}
	switch a := r.GetAct().(type) {
	case *recordv1.Record_IssuePermit:
		return issueShape(a.IssuePermit), true
	case *recordv1.Record_ClosePermit:
		return no(Name(a.ClosePermit.GetPermit()), "name the permit")
	case *recordv1.Record_AirReading:
		return airShape(a.AirReading), true
	case *recordv1.Record_StandWatch:
		w := a.StandWatch
		_, contact := recordv1.Contact_name[int32(w.GetContact())]
		return no(Name(w.GetJob()) && known(recordv1.Duty_name, int32(w.GetDuty())) && text(w.GetStation()) && contact, "a watch needs a job, what it is for and where it is stood")
	case *recordv1.Record_LeaveWatch:
		return no(refText(a.LeaveWatch.GetWatch()), refForm)
	case *recordv1.Record_HotWorkDone:
		return no(Name(a.HotWorkDone.GetPermit()), "name the permit")
	case *recordv1.Record_FumigationRecorded:
		f := a.FumigationRecorded
		place := func(p string) bool { return Names(p, 2) }
		return no(place(f.GetPlace()) && list(f.GetConnected(), place) && plain(f.GetPlacard()) && f.GetUntilUnixMs() >= 0 && fumigantOK(f.GetFumigant()),
			"a fumigation names its place and what is joined to it as yard/zone or yard/node, each once")
	case *recordv1.Record_FumigationCleared:
		c := a.FumigationCleared
		return no(refText(c.GetFumigation()) && c.GetThousandths() >= 0 && plain(c.GetInstrument()) && text(c.GetApplicator()), refForm+"; say what was read and who cleared it")
	}
	return "", false
}

func issueShape(i *recordv1.IssuePermit) string {
	if !Name(i.GetId()) || !Name(i.GetJob()) || i.GetEndsUnixMs() <= 0 {
		return "a permit needs an id, a job and an end"
	}
	switch w := i.GetWhat().(type) {
	case *recordv1.IssuePermit_BinEntry:
		b := w.BinEntry
		_, look := recordv1.Look_name[int32(b.GetHungGrain())]
		_, line := recordv1.Line_name[int32(b.GetLine())]
		_, air := recordv1.Ventilation_name[int32(b.GetVentilation())]
		if !list(b.GetEntrants(), Name) || !list(b.GetObservers(), Name) {
			return "entrants and observers are named by id, each once"
		}
		if !look || !line || !air || !plain(b.GetLineReason()) || !plain(b.GetRescueEquipment()) {
			return "the permit holds a word that is not known or a text that can't be shown"
		}
		if every := b.GetAirEverySeconds(); every != 0 && (every < minAirEvery || every > maxAirEvery) {
			return "the air is tested again every 60 to 1800 seconds"
		}
		if len(b.GetExpected()) > len(AirLimits) || len(b.GetClosedPaths()) > MaxList {
			return "the lists of the permit are too long"
		}
		for _, a := range b.GetExpected() {
			if !agentOK(a) {
				return "the permit expects something in the air that no release knows"
			}
		}
		for _, c := range b.GetClosedPaths() {
			if !refText(c.GetFumigation()) || !text(c.GetHow()) {
				return "a closed way names the fumigation's record, yard/epoch/number, and says how it is closed"
			}
		}
		return ""
	case *recordv1.IssuePermit_HotWork:
		h := w.HotWork
		if !list(h.GetWorkers(), Name) || !list(h.GetFireWatch(), Name) {
			return "workers and fire watch are named by id, each once"
		}
		if !plain(h.GetPlace()) || !plain(h.GetExtinguisher()) {
			return "the permit holds a text that can't be shown"
		}
		return ""
	}
	return "a permit is for bin entry or for hot work"
}

func airShape(r *recordv1.AirReading) string {
	if !Name(r.GetJob()) || !Names(r.GetZone(), 2) || !known(recordv1.AirLevel_name, int32(r.GetLevel())) || len(r.GetValues()) == 0 || !plain(r.GetInstrument()) {
		return "a test of the air needs a job, its zone, the level and what was read"
	}
	seen := map[recordv1.AirAgent]bool{}
	for _, v := range r.GetValues() {
		if !agentOK(v.GetAgent()) || seen[v.GetAgent()] || v.GetThousandths() < 0 {
			return "the air is tested for each known agent once, with a value from 0"
		}
		seen[v.GetAgent()] = true
	}
	return ""
}
