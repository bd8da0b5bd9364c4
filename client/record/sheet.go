package record

import (
	"slices"
	"strings"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Reading is one measurement or try, with the instrument used.
type Reading struct {
	Job, Part, Medium, Kind string
	// Value is the highest value read, in Unit. A try and a look have no unit.
	Value        float64
	Unit         string
	Instrument   string
	ProvedBefore bool
	ProvedAfter  bool
	Moved        bool
	By           string
	AtUnixMs     int64
	// Counts is false for a reading that was refused, flagged or found something live.
	// If it is true, the reading counted when it was recorded; it may not count now.
	Counts bool

	of *Event
}

// Removal is the removal of an absent person's lock, with the three duties of
// 1910.147(e)(3): (i) verified not at the facility, (ii) reasonable efforts to reach the
// person, (iii) told before working again.
type Removal struct {
	Lock, Holder, Target string
	By, Second           string
	AtUnixMs             int64
	NotHere, Tried       string
	// ToldUnixMs is when the person confirmed that they know. 0: not yet. OwnerUnknown
	// says that there is nobody to tell.
	ToldUnixMs   int64
	OwnerUnknown bool

	of *Event
}

// HandOver is one pair in a hand-over of locks, 1910.147(f)(4).
type HandOver struct {
	Off, OffHolder, On, OnHolder, Target string
	AtUnixMs                             int64

	of *Event
}

// Training is one certificate of training, 1910.147(c)(7)(iv): the employee's name and
// the dates.
type Training struct {
	Person, By            string
	AtUnixMs, UntilUnixMs int64
	Qualified             bool
	of                    *Event
}

// sheets collects what certificates are made of.
type sheets struct {
	readings  []*Reading
	removals  []*Removal
	handOvers []*HandOver
	training  []*Training
	zones     map[string]string // job -> zone
}

// add takes an accepted entry. It looks holds up in the state after the entry, where a
// hold that ended recently still stands.
func (x *sheets) add(ev *Event, rec *recordv1.Record, s *ledger.State) {
	at := earlier(ev.CapturedUnixMs, ev.TimeUnixMs)
	holder := func(ref string) (who, target string) {
		if h := s.Holds[ref]; h != nil {
			return h.Holder, h.Target()
		}
		return "", ""
	}
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_Reading:
		r := a.Reading
		x.readings = append(x.readings, &Reading{Job: r.GetJob(), Part: r.GetPart(), Medium: mediumWord(r.GetMedium()), Kind: kindWord(r.GetKind()), Value: r.GetValue(), Unit: unitOf(r.GetKind()),
			Instrument: r.GetInstrument(), ProvedBefore: r.GetProvedBefore(), ProvedAfter: r.GetProvedAfter(), Moved: r.GetMoved(), By: ev.Signer, AtUnixMs: at,
			Counts: ev.Accepted && len(ev.Flags) == 0 && !r.GetMoved() && ev.took, of: ev})
	case *recordv1.Record_OpenJob:
		if ev.Accepted {
			x.zones[a.OpenJob.GetId()] = a.OpenJob.GetZone()
		}
	case *recordv1.Record_Removal:
		if ev.Accepted {
			v := &Removal{Lock: ledger.RefOf(a.Removal.GetHold()), By: ev.Signer, Second: a.Removal.GetSecond(), AtUnixMs: ev.TimeUnixMs, NotHere: a.Removal.GetNotHere(), Tried: a.Removal.GetTriedToReach(), of: ev}
			v.Holder, v.Target = holder(v.Lock)
			v.OwnerUnknown = v.Holder == ""
			x.removals = append(x.removals, v)
		}
	case *recordv1.Record_AcknowledgeRemoval:
		for _, v := range x.removals {
			if ev.Accepted && v.Lock == ledger.RefOf(a.AcknowledgeRemoval.GetHold()) {
				v.ToldUnixMs = ev.TimeUnixMs
			}
		}
	case *recordv1.Record_HandOver:
		for _, p := range a.HandOver.GetPairs() {
			if ev.Accepted {
				v := &HandOver{Off: ledger.RefOf(p.GetOff()), On: ledger.RefOf(p.GetOn()), AtUnixMs: ev.TimeUnixMs, of: ev}
				v.OffHolder, v.Target = holder(v.Off)
				v.OnHolder, _ = holder(v.On)
				x.handOvers = append(x.handOvers, v)
			}
		}
	case *recordv1.Record_RecordTraining:
		if ev.Accepted {
			t := a.RecordTraining
			x.training = append(x.training, &Training{Person: t.GetPerson(), By: ev.Signer, AtUnixMs: ev.TimeUnixMs, UntilUnixMs: t.GetUntilUnixMs(), Qualified: t.GetQualified(), of: ev})
		}
	case *recordv1.Record_Invite:
		// The manager who invites a person vouches for the training that the invitation
		// names.
		if p := a.Invite.GetPerson(); ev.Accepted && p.GetTrainedUntilUnixMs() != 0 {
			x.training = append(x.training, &Training{Person: p.GetId(), By: ev.Signer, AtUnixMs: ev.TimeUnixMs, UntilUnixMs: p.GetTrainedUntilUnixMs(), Qualified: p.GetQualified(), of: ev})
		}
	}
}

func earlier(a, b int64) int64 {
	if a == 0 {
		return b
	}
	return min(a, b)
}

func mediumWord(m recordv1.Medium) string {
	if m == recordv1.Medium_MEDIUM_UNSPECIFIED {
		return ""
	}
	return enumWord("Medium", m.String())
}

func kindWord(k recordv1.ReadingKind) string { return enumWord("ReadingKind", k.String()) }

// unitOf is the unit of a kind of reading (record.proto, Reading).
func unitOf(k recordv1.ReadingKind) string {
	switch k {
	case recordv1.ReadingKind_READING_KIND_METER:
		return "V"
	case recordv1.ReadingKind_READING_KIND_GAUGE:
		return "kPa"
	case recordv1.ReadingKind_READING_KIND_THERMOMETER:
		return "°C"
	case recordv1.ReadingKind_READING_KIND_GAS:
		return "ppm"
	}
	return ""
}

// Machine is what the ledger can tell for the certificate of a periodic inspection,
// 1910.147(c)(6)(ii): the machine (a work zone) and the employees who worked there under
// lock. No record of this release has its date and inspector.
type Machine struct {
	Zone string
	// Employees are those who locked for jobs on the zone or signed on to them.
	Employees []string
}

// machines lists zones of the picked entries and who worked there.
func (x *sheets) machines(events []*Event) []Machine {
	by := map[string][]string{}
	for _, e := range events {
		for _, j := range e.Jobs {
			z := x.zones[j]
			if z == "" || !e.Accepted {
				continue
			}
			list := by[z]
			if e.Kind == "lock" || e.Kind == "sign_on" {
				put(&list, e.Signer)
			}
			by[z] = list
		}
	}
	var out []Machine
	for z, who := range by {
		out = append(out, Machine{z, who})
	}
	slices.SortFunc(out, func(a, b Machine) int { return strings.Compare(a.Zone, b.Zone) })
	return out
}
