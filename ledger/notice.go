package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	noticeClause = "1910.147(c)(9)"
	clearClause  = "1910.147(e)(1)"
	groundClause = "1910.333(b)(2)(v)"
)

var _ = declare(
	kind((*recordv1.Record).GetShutDown, Kind{Name: "shut_down", Called: "shut down", Class: Asserts, May: whoHas(authorised, affected, supervisor), Clause: "1910.147(d)(2)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(n *recordv1.ShutDown) About { return About{Job: n.GetJob()} },
		func(f *fields, a *recordv1.ShutDown) { f.name("job", a.GetJob()) },
		(*step).shutDown),
	kind((*recordv1.Record).GetNotice, Kind{Name: "notice", Called: "notice", Class: Asserts, May: whoHas(authorised, supervisor, manager), Clause: noticeClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(n *recordv1.Notice) About { return About{Job: n.GetJob()} },
		func(f *fields, a *recordv1.Notice) {
			f.name("job", a.GetJob())
			f.oneOf("when", recordv1.NoticeWhen_name, int32(a.GetWhen()))
			f.some("people", len(a.GetPeople()))
			f.names("people", a.GetPeople())
			f.optionalText("means", a.GetMeans())
		},
		(*step).notice),
	kind((*recordv1.Record).GetClearArea, Kind{Name: "clear_area", Called: "clear area", Class: Asserts, May: whoHas(authorised, supervisor), Clause: clearClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.ClearArea) About { return About{Job: c.GetJob()} },
		func(f *fields, a *recordv1.ClearArea) { f.name("job", a.GetJob()) },
		(*step).clearArea),
)

var (
	NotToldBefore = code.New("NOT_TOLD_BEFORE", code.Row{Args: "person job responsible", Clause: noticeClause, Who: "{responsible}", Next: "yardhasp notice {job} --before --told {person}"})
	NotToldAfter  = code.New("NOT_TOLD_AFTER", code.Row{Args: "person job responsible", Clause: "1910.147(e)(2)(ii)", Who: "{responsible}", Next: "yardhasp notice {job} --after --told {person}"})
	// StrangerTold: the notice names a person who is not enrolled.
	StrangerTold = code.New("STRANGER_TOLD", code.Row{Args: "person job", Clause: noticeClause})
	ToldBefore   = code.New("TOLD_BEFORE", code.Row{Args: "job people"})
	ToldAfter    = code.New("TOLD_AFTER", code.Row{Args: "job people"})
	NotShutDown  = code.New("NOT_SHUT_DOWN", code.Row{Args: "zone job responsible", Clause: "1910.147(d)(2)", Who: "{responsible}", Next: "yardhasp shut-down {job}"})
	ShutDownDone = code.New("SHUT_DOWN", code.Row{Args: "job"})

	// NotClear: nobody recorded a clear area since the last person or lock went on.
	NotClear = code.New("NOT_CLEAR", code.Row{Args: "job responsible", Clause: clearClause, Who: "{responsible}", Next: "yardhasp clear {job} --tools-out --guards-on --people-clear"})
	// GroundsLeft: nobody counted these temporary grounds and jumpers as removed.
	GroundsLeft = code.New("GROUNDS", code.Row{Args: "grounds:number job responsible", Clause: groundClause, Who: "{responsible}", Next: "yardhasp clear {job} --tools-out --guards-on --people-clear --grounds-fitted FITTED --grounds-removed REMOVED"})
	// FoundNotClear: somebody looked, and the area was not clear.
	FoundNotClear = code.New("FOUND_NOT_CLEAR", code.Row{Args: "job because:why", Clause: clearClause})
	ToolsIn       = code.New("TOOLS_IN", code.Row{Clause: clearClause})
	GuardsOff     = code.New("GUARDS_OFF", code.Row{Clause: clearClause})
	PeopleNear    = code.New("PEOPLE_NOT_CLEAR", code.Row{Clause: clearClause})
	// OtherLookUnknown: the writer did not know of another look at the area.
	OtherLookUnknown = code.New("OTHER_LOOK_UNKNOWN", code.Row{Args: "job"})
	AreaClear        = code.New("AREA_CLEAR", code.Row{Args: "job"})
)

func (x *step) shutDown(n *recordv1.ShutDown) {
	if j := x.job(n.GetJob()); j != nil && x.ok {
		j.ShutDown = x.mark
		x.did(ShutDownDone, j.ID, j.ID)
	}
}

func (x *step) notice(n *recordv1.Notice) {
	j := x.job(n.GetJob())
	if j == nil || !x.ok {
		return
	}
	told, said := j.ToldBefore, ToldBefore
	if n.GetWhen() == recordv1.NoticeWhen_NOTICE_WHEN_AFTER {
		told, said = j.ToldAfter, ToldAfter
	}
	for _, p := range n.GetPeople() {
		if x.s.People[p] == nil {
			x.note(StrangerTold, p, p, j.ID)
		}
		if slices.Contains(j.Affected, p) {
			told[p] = x.mark
		}
	}
	x.did(said, j.ID, j.ID, n.GetPeople())
}

// noticeConditions checks that everybody affected was told and that the machine was shut
// down in the orderly way, both since the points were last closed.
func (s *State) noticeConditions(j *Job) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, p := range j.Affected {
		if m, told := j.ToldBefore[p]; !told || !s.closedBefore(j, m) {
			cs = append(cs, NotToldBefore.About(p, p, j.ID, j.Responsible))
		}
	}
	if !j.ShutDown.Set() || !s.closedBefore(j, j.ShutDown) {
		cs = append(cs, NotShutDown.About(j.Zone, j.Zone, j.ID, j.Responsible))
	}
	return cs
}

// clearArea records that somebody looked over the area. Anybody may say that it is not
// clear. Only a person who may clear it can say that it is clear, and must know of every
// earlier look. Grounds that one look counted as fitted stay counted.
func (x *step) clearArea(c *recordv1.ClearArea) {
	j := x.job(c.GetJob())
	if j == nil {
		return
	}
	knew := j.Looked.seenBy(x.mark)
	left := int64(max(c.GetGroundsFitted(), j.GroundsFitted)) - int64(c.GetGroundsRemoved())
	wrong := x.s.signedOnConditions(j)
	for _, l := range []struct {
		bad  bool
		what *recordv1.Finding
	}{
		{!c.GetToolsOut(), ToolsIn.About(j.ID)}, {!c.GetGuardsOn(), GuardsOff.About(j.ID)}, {!c.GetPeopleClear(), PeopleNear.About(j.ID)},
		{left != 0, GroundsLeft.About(j.ID, left, j.ID, j.Responsible)},
		{!knew, OtherLookUnknown.About(j.ID, j.ID)},
	} {
		if l.bad {
			wrong = append(wrong, l.what)
		}
	}
	if len(wrong) == 0 && !x.ok {
		return
	}
	j.Looked.add(x.mark)
	if x.ok {
		j.GroundsFitted = max(c.GetGroundsFitted(), j.GroundsFitted)
		if knew || left > j.GroundsLeft {
			j.GroundsLeft = left
		}
	}
	if len(wrong) > 0 {
		j.Cleared = Mark{}
		x.note(FoundNotClear, j.ID, j.ID, wrong)
		return
	}
	j.Cleared = x.mark
	x.did(AreaClear, j.ID, j.ID)
}

// cleared reports whether a complete look over the area came after the last person and
// lock went on, by somebody who knew of them.
func (j *Job) cleared() bool {
	return j.Cleared.Set() && j.LastOn.before(j.Cleared) && j.LastHold.before(j.Cleared)
}

// clearConditions lists what 1910.147(e)(1) and 1910.333(b)(2)(v) ask of a job.
func (j *Job) clearConditions() []*recordv1.Finding {
	var cs []*recordv1.Finding
	if !j.cleared() {
		cs = append(cs, NotClear.About(j.ID, j.ID, j.Responsible))
	}
	if j.GroundsLeft != 0 {
		cs = append(cs, GroundsLeft.About(j.ID, j.GroundsLeft, j.ID, j.Responsible))
	}
	return cs
}

// releaseConditions lists what 1910.147(e)(1), (e)(2) and 1910.333(b)(2)(v) ask of a job
// before a point that concerns it may be energised. A test is requested before the
// holders stand clear. People can be told only after the last lock came off, so for a
// test this is checked at the energise.
func (s *State) releaseConditions(j *Job, asking bool) []*recordv1.Finding {
	cs := append(j.clearConditions(), s.signedOnConditions(j)...)
	for _, p := range j.Affected {
		if m, told := j.ToldAfter[p]; !asking && (!told || !j.LastOff.before(m) || !j.LastHold.before(m)) {
			cs = append(cs, NotToldAfter.About(p, p, j.ID, j.Responsible))
		}
	}
	return append(cs, j.foundConditions()...)
}
