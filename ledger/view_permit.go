package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The contract shows these as texts, not as values.
var (
	contactWords     = map[recordv1.Contact]string{recordv1.Contact_CONTACT_SIGHT: "sight", recordv1.Contact_CONTACT_VOICE: "voice", recordv1.Contact_CONTACT_SIGNAL_LINE: "signal line"}
	ventilationWords = map[recordv1.Ventilation]string{recordv1.Ventilation_VENTILATION_NONE: "none", recordv1.Ventilation_VENTILATION_NATURAL: "natural", recordv1.Ventilation_VENTILATION_FORCED: "forced"}
)

// lineText says what keeps people from sinking. It is "" for hot work.
func (p *WorkPermit) lineText() string {
	switch {
	case !p.binEntry():
		return ""
	case p.Line == recordv1.Line_LINE_HARNESS_AND_LIFELINE:
		return "body harness with lifeline"
	case p.Line == recordv1.Line_LINE_BOATSWAINS_CHAIR:
		return "boatswain's chair"
	case p.Line == recordv1.Line_LINE_OTHER:
		return "instead of a line: " + p.LineReason
	}
	return "none: " + p.LineReason
}

// PermitView shows one permit as it stands at a moment, in Unix ms, if nothing is
// recorded until then. Its time runs out and its air tests get too old on the reader's
// clock too. It is nil when there is no permit of this name.
func (s *State) PermitView(id string, at int64) *recordv1.PermitView {
	p := s.WorkPermits[id]
	if p == nil {
		return nil
	}
	at = max(at, s.Time)
	st, missing := s.stateOf(p, at)
	v := &recordv1.PermitView{Id: id, Kind: p.Kind, Job: p.Job, Zone: p.Zone, State: st, IssuedBy: p.By.By, IssuedUnixMs: p.By.Time, EndsUnixMs: p.Ends,
		Named: slices.Clone(p.Named), Watchers: slices.Clone(p.Watchers), Missing: missing, Because: slices.Clone(p.Because), Line: p.lineText(), RescueEquipment: p.Rescue, Ventilation: ventilationWords[p.Ventilation], AtUnixMs: at, Caution: Caution}
	for _, ref := range sorted(p.ClosedPaths) {
		v.ClosedPaths = append(v.ClosedPaths, ref+": "+p.ClosedPaths[ref])
	}
	if st == recordv1.PermitState_PERMIT_STATE_SUSPENDED && len(missing) == 0 {
		// The permit stays suspended even if what lapsed was mended. An empty list would
		// read as permission.
		v.Missing = append(s.permitConditions(p, at), p.notInForce(st, nil))
	}
	if st == recordv1.PermitState_PERMIT_STATE_ENDED && len(missing) == 0 {
		v.Missing = []*recordv1.Finding{p.notInForce(st, nil)}
	}
	if p.binEntry() {
		for _, so := range s.insideAt(p.Zone) {
			v.Inside = append(v.Inside, &recordv1.InsideView{Ref: so.Ref, Person: so.Person, SinceUnixMs: so.On.Time, Unnamed: !slices.Contains(p.Named, so.Person)})
		}
	}
	duty := recordv1.Duty_DUTY_OBSERVER
	if !p.binEntry() {
		duty = recordv1.Duty_DUTY_FIRE_WATCH
	}
	for _, w := range s.watchesOf(p.Job, duty, at) {
		v.Watches = append(v.Watches, &recordv1.WatchView{Ref: w.Ref, Person: w.Person, Duty: w.Duty, Station: w.Station, Contact: contactWords[w.Contact], SinceUnixMs: w.On.Time})
	}
	s.airView(v, p, at)
	if p.Done.Set() && p.open() {
		v.FireWatchUntilUnixMs = s.Time + s.fireWatchLeft(p)
		if s.fireWatchLeft(p) > 0 {
			v.Missing = append(v.Missing, s.hotCloseConditions(p, &recordv1.ClosePermit{SuppressionOnAgain: true})...)
		}
	}
	return v
}

// airView adds the tests of the air and how old they are.
func (s *State) airView(v *recordv1.PermitView, p *WorkPermit, at int64) {
	j, air := s.Jobs[p.Job], s.Air[p.Job]
	if j == nil || air == nil {
		return
	}
	need := s.airNeeds(p)
	if p.State == recordv1.PermitState_PERMIT_STATE_IN_FORCE {
		v.AirDueUnixMs = s.airDue(j, need)
	}
	for _, k := range sorted(air.Tests) {
		t := air.Tests[k]
		l := t.limit()
		v.Air = append(v.Air, &recordv1.AirView{Level: t.Level, Agent: t.Agent, Value: l.Text(t.Thousandths), Limit: l.LimitText(), Source: l.Source, By: t.At.By,
			Instrument: t.Instrument, TakenUnixMs: t.At.Time, AgeSeconds: max(0, at-t.At.Time) / 1000, OutOfLimits: t.outside(),
			Lapsed: at > t.At.Time+need.every*1000 || need.since.Set() && t.At.Time <= need.since.Time || s.voided(j, &Proof{At: t.At}) != nil})
	}
}

// permitAlarmOf reports whether an alarm is about a permit of the job, or about a
// fumigant that can reach its zone.
func (s *State) permitAlarmOf(j *Job, a Alarm) bool {
	switch c := code.Code(a.Code); {
	case slices.Contains(permitAlarms, c):
		p := s.WorkPermits[a.Subject]
		return p != nil && p.Job == j.ID
	case c == Fumigated:
		at, near := s.fumigantsNear(j.Zone)
		return slices.ContainsFunc(append(at, near...), func(f *Fumigation) bool { return f.Ref == a.Subject })
	}
	return false
}

// permitViews shows the permits of a job, or all that are not closed when job is "".
func (s *State) permitViews(job string, at int64, here func(ids ...string) bool) []*recordv1.PermitView {
	var out []*recordv1.PermitView
	for _, id := range sorted(s.WorkPermits) {
		if p := s.WorkPermits[id]; p.Job == job || job == "" && p.open() && here(p.Zone) {
			out = append(out, s.PermitView(id, at))
		}
	}
	return out
}
