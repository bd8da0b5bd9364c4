package ledger

import (
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetIsolate, Kind{Name: "isolate", Called: "isolate", Class: Asserts, May: whoHas(authorised, supervisor), Clause: "1910.147(d)(3)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtPoint, Elsewhere: HomeOnly, Panel: AtPanel, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: TrainingNeeded},
		func(i *recordv1.Isolate) About { return About{Point: i.GetPoint()} },
		func(f *fields, i *recordv1.Isolate) { f.point("point", i.GetPoint()) },
		(*step).isolate),
	kind((*recordv1.Record).GetClosed, Kind{Name: "closed", Called: "closed", Class: Asserts, May: whoHas(authorised, supervisor), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtPoint, Elsewhere: HomeOnly, Panel: AtPanel, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.Closed) About { return About{Point: c.GetPoint()} },
		func(f *fields, c *recordv1.Closed) { f.point("point", c.GetPoint()) },
		(*step).closedNote),
	kind((*recordv1.Record).GetFoundClosed, Kind{Name: "found_closed", Called: "found closed", Class: Protects, May: anybody(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtPoint, Elsewhere: HomeOnly, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.FoundClosed) About { return About{Point: c.GetPoint()} },
		func(f *fields, c *recordv1.FoundClosed) {
			f.point("point", c.GetPoint())
			f.optionalText("seen", c.GetSeen())
		},
		(*step).foundClosed),
	kind((*recordv1.Record).GetDescribePoint, Kind{Name: "describe_point", Called: "point describe", Class: Lifts, May: whoHas(supervisor, manager), Clause: "1910.147(c)(2)", By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(d *recordv1.DescribePoint) About { return About{Point: d.GetPoint()} },
		func(f *fields, d *recordv1.DescribePoint) {
			f.point("point", d.GetPoint())
			f.optionalName("demonstration", d.GetDemonstration())
			f.must(!d.GetNotLockable() || d.GetDemonstration() == "", "demonstration", "form-no-demonstration")
			f.text("why", d.GetWhy())
		},
		(*step).describePoint),
)

var (
	UnknownPoint = code.New("UNKNOWN_POINT", code.Row{Args: "point", Who: "the-signer", Answer: code.Unknown})
	// PointNotHome: only the journal of the point's home yard may say where its handle
	// is.
	PointNotHome = code.New("POINT_NOT_HOME", code.Row{Args: "point home", Who: "the-signer"})

	PointOpened = code.New("OPENED", code.Row{Args: "point person"})
	PointClosed = code.New("CLOSED", code.Row{Args: "point person"})
	// CountsAsLive is the change that every record of a closed handle makes. FoundClosed
	// is the alarm when the point was recorded open.
	CountsAsLive = code.New("COUNTS_AS_LIVE", code.Row{Args: "point finders"})
	FoundClosed  = code.New("FOUND_CLOSED", code.Row{Args: "point finders holders found_locks others:why", Who: "authorised-supervisor", Next: "yardhasp isolate {point}"})

	// StaleOpening: the point was closed since the opening was signed.
	StaleOpening = code.New("STALE_OPENING", code.Row{Args: "point", Clause: "1910.147(d)(3)", Who: "the-signer", Next: "yardhasp isolate {point}"})
	// NoGoAhead: the point was open, and nobody had allowed closing it.
	NoGoAhead    = code.New("NO_GO_AHEAD", code.Row{Args: "point person", Clause: removalClause})
	StaleClosing = code.New("STALE_CLOSING", code.Row{Args: "point", Who: "the-signer", Next: "yardhasp found-closed {point}"})

	// DrawnLockable: the drawing shows that the device takes a lock, so no record can
	// replace the lock by a tag.
	DrawnLockable = code.New("DRAWN_LOCKABLE", code.Row{Args: "point", Clause: "1910.147(c)(2)(i)", Who: "supervisor-manager", Next: "yardhasp drawing publish FILE"})
	// NewTakesNoLock: new equipment must take a lock.
	NewTakesNoLock    = code.New("NEW_TAKES_NO_LOCK", code.Row{Args: "point", Clause: "1910.147(c)(2)(iii) (unchecked)"})
	PointTakesNoLock  = code.New("POINT_TAKES_NO_LOCK", code.Row{Args: "point"})
	PointTakesALock   = code.New("POINT_TAKES_A_LOCK", code.Row{Args: "point"})
	PointDemonstrated = code.New("POINT_DEMONSTRATED", code.Row{Args: "point demonstration"})
)

// home finds a point and checks that this is the journal of its home yard.
func (x *step) home(id string) *Point {
	p := x.s.Points[id]
	if p == nil {
		x.deny(UnknownPoint, id, id)
		return nil
	}
	if p.Yard != x.env.GetYard() {
		x.deny(PointNotHome, id, id, p.Yard)
		return nil
	}
	return p
}

// isolate records that a point was opened. A stale record has no effect and becomes a
// note: it was written before a later closing was known (decisions.md 3).
func (x *step) isolate(i *recordv1.Isolate) {
	p := x.home(i.GetPoint())
	if p == nil {
		return
	}
	if m := (Moved{i.GetMoved().GetEpoch(), i.GetMoved().GetSeq()}); m != p.Moved {
		x.note(StaleOpening, p.ID, p.ID)
		return
	}
	if !x.ok {
		return
	}
	p.Live, p.Opened = false, x.mark
	x.did(PointOpened, p.ID, p.ID, x.who.ID)
	x.s.lower(FoundClosed, p.ID)
}

// closedNote records that a point was closed under a go-ahead.
func (x *step) closedNote(c *recordv1.Closed) {
	p := x.home(c.GetPoint())
	if p == nil {
		return
	}
	m := Moved{c.GetMoved().GetEpoch(), c.GetMoved().GetSeq()}
	if m == p.Moved && !p.Live && p.Opened.Set() && p.Opened.before(x.mark) {
		// The point was opened and not energised since, and was closed all the same.
		// This is not a late record of an earlier closing.
		x.note(NoGoAhead, p.ID, p.ID, x.who.ID)
		x.foundClosedBy(p, x.who.ID)
		return
	}
	if m != p.Moved || !p.Live {
		x.note(StaleClosing, p.ID, p.ID)
		return
	}
	x.did(PointClosed, p.ID, p.ID, x.who.ID)
}

// foundClosed records a handle seen closed. What somebody saw outweighs the ledger.
func (x *step) foundClosed(f *recordv1.FoundClosed) {
	p := x.home(f.GetPoint())
	if p == nil {
		return
	}
	x.foundClosedBy(p, x.who.ID)
}

// foundClosedBy makes a point live because somebody saw its handle closed.
func (x *step) foundClosedBy(p *Point, finders ...string) {
	was := p.Live
	p.Live = true
	x.did(CountsAsLive, p.ID, p.ID, finders)
	if was {
		return
	}
	p.Closed = x.mark
	holders, foundLocks := ownersOf(x.s.HoldsOn(p.ID))
	var others []*recordv1.Finding
	for _, e := range x.s.Exposed([]string{p.ID}, nil) {
		if h := x.s.Holds[e.Ref]; h == nil || !x.s.covers(h, p.ID) {
			others = append(others, e.Finding())
		}
	}
	x.s.raise(p.ID, FoundClosed.About(p.ID, p.ID, finders, holders, foundLocks, others), x.mark)
}

// describePoint records whether a point's device takes a lock.
func (x *step) describePoint(d *recordv1.DescribePoint) {
	p := x.s.Points[d.GetPoint()]
	if p == nil {
		x.deny(UnknownPoint, d.GetPoint(), d.GetPoint())
		return
	}
	if _, drawn := x.s.Graph().Point(p.ID); drawn && d.GetNotLockable() {
		x.deny(DrawnLockable, p.ID, p.ID)
		return
	}
	p.NotLockable, p.Demonstration = d.GetNotLockable(), d.GetDemonstration()
	if p.NotLockable && d.GetInstalledUnixMs() >= lockableSince {
		x.note(NewTakesNoLock, p.ID, p.ID)
	}
	switch {
	case p.NotLockable:
		x.did(PointTakesNoLock, p.ID, p.ID)
	case p.Demonstration != "":
		x.did(PointDemonstrated, p.ID, p.ID, p.Demonstration)
	default:
		x.did(PointTakesALock, p.ID, p.ID)
	}
}
