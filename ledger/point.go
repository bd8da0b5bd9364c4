package ledger

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// home finds a point and checks that this is its home yard's journal.
func (x *step) home(id string) *Point {
	p := x.s.Points[id]
	if p == nil {
		x.refuse("UNKNOWN_POINT", id, "no such point is registered", "read the label at the panel again", x.who.ID, "")
		return nil
	}
	if p.Yard != x.env.GetYard() {
		x.refuse("NOT_HOME", id, "a point is opened and closed only at its home yard "+p.Yard, "record it there, at the panel", x.who.ID, "")
		return nil
	}
	return p
}

// isolate: the point was opened. A stale one, written before a later closing was
// known, is a note without effect (decisions.md 3).
func (x *step) isolate(i *recordv1.Isolate) {
	p := x.home(i.GetPoint())
	if p == nil {
		return
	}
	if m := (Moved{i.GetMoved().GetEpoch(), i.GetMoved().GetSeq()}); m != p.Moved {
		x.flag("STALE_OPENING", p.ID, "the point was switched or found closed since: this opening does not count. Open it again at the panel", "1910.147(d)(3)")
		return
	}
	if !x.ok {
		return
	}
	p.Live, p.Opened = false, x.mark
	x.change("%s opened by %s", p.ID, x.who.ID)
	x.s.clearAlarm("FOUND_CLOSED", p.ID)
}

// closedNote: the point was closed under a go-ahead.
func (x *step) closedNote(c *recordv1.Closed) {
	p := x.home(c.GetPoint())
	if p == nil {
		return
	}
	m := Moved{c.GetMoved().GetEpoch(), c.GetMoved().GetSeq()}
	if m == p.Moved && !p.Live && p.Opened.Set() && p.Opened.before(x.mark) {
		// Opened, not energised since, and closed all the same: no late word of a closing before.
		x.flag("NO_GO_AHEAD", p.ID, p.ID+" was closed with no go-ahead: it counts as found closed", "1910.147(e)(3)")
		x.foundClosedBy(p, x.who.ID)
		return
	}
	if m != p.Moved || !p.Live {
		x.flag("STALE_CLOSING", p.ID, "this closing does not belong to the last energising: record it as found closed if the handle is closed", "")
		return
	}
	x.change("%s closed by %s", p.ID, x.who.ID)
}

// foundClosed: reality beats the ledger.
func (x *step) foundClosed(f *recordv1.FoundClosed) {
	p := x.home(f.GetPoint())
	if p == nil {
		return
	}
	x.foundClosedBy(p, x.who.ID)
}

// foundClosedBy makes a point live because somebody saw its handle closed.
func (x *step) foundClosedBy(p *Point, who string) {
	was := p.Live
	p.Live = true
	x.change("%s found closed by %s: it is live", p.ID, who)
	if was {
		return
	}
	p.Closed = x.mark
	text := fmt.Sprintf("%s was found closed by %s although it was recorded open", p.ID, who)
	for _, h := range x.s.HoldsOn(p.ID) {
		text += fmt.Sprintf("; %s has a lock on it", holderName(h))
	}
	for _, e := range x.s.Exposed([]string{p.ID}, nil) {
		if h := x.s.Holds[e.Ref]; h == nil || !x.s.covers(h, p.ID) {
			text += "; " + namesOr(e.People, "somebody") + " in " + e.Zone
		}
	}
	x.s.alarm("FOUND_CLOSED", p.ID, text, x.mark)
}
