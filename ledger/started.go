package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Started is a start made without the ledger, until its cause is corrected.
type Started struct {
	Ref    string   `json:"ref"`
	Points []string `json:"points,omitempty"`
	What   string   `json:"what"`
	At     Mark     `json:"at"`
}

// foundStarted: something was started without the ledger. It is raised at every
// yard and never becomes an approval. The points homed at the yard whose journal
// takes it are live from then on. Of another yard's points it says nothing: whether
// a point is live is a function of its home journal alone (protocol.md C4), and
// that yard records it found closed; until then no work may start behind them.
func (x *step) foundStarted(f *recordv1.FoundStarted) {
	s := x.s
	st := &Started{Ref: x.out.Ref, Points: slices.Sorted(slices.Values(f.GetPoints())), What: f.GetWhat(), At: x.mark}
	text := fmt.Sprintf("STARTED WITHOUT THE LEDGER, found by %s: %s", x.who.ID, st.What)
	for _, id := range st.Points {
		p := s.Points[id]
		switch {
		case p == nil:
			x.flag("UNKNOWN_POINT", id, "no such point is registered: it is named in the alarm only", "")
		case p.Yard != x.env.GetYard():
			x.flag("NOT_HOME", id, id+" is live by this only once its home yard "+p.Yard+" records it found closed", "")
		default:
			x.foundClosedBy(p, x.who.ID)
		}
		text += "; " + id
		for _, h := range s.HoldsOn(id) {
			text += fmt.Sprintf(", %s has a lock on it", holderName(h))
		}
	}
	s.Started[st.Ref] = st
	s.alarm("FOUND_STARTED", st.Ref, text, x.mark)
	x.change("%s", text)
}

// startedCorrected ends the alarm of a start made without the ledger. Readings from
// before, on the drawings of the yards whose points it named, count no more.
func (x *step) startedCorrected(ref string) bool {
	st := x.s.Started[ref]
	if st == nil {
		return false
	}
	for _, p := range st.Points {
		if d := x.s.Plans[YardOf(p)]; d != nil {
			d.Mended = x.mark
		}
	}
	delete(x.s.Started, ref)
	x.s.clearAlarm("FOUND_STARTED", ref)
	return true
}

// startedFor lists the starts made without the ledger that concern a job: by a
// point of its plan, or by one that may reach its zone.
func (s *State) startedFor(j *Job) []*Started {
	var out []*Started
	for _, ref := range sorted(s.Started) {
		if st := s.Started[ref]; overlap(st.Points, j.Plan) || overlap(st.Points, s.reachOf(j.Zone)) {
			out = append(out, st)
		}
	}
	return out
}

// text is the condition in words.
func (st *Started) text() string {
	return fmt.Sprintf("STARTED WITHOUT THE LEDGER (%s): %s: %s", st.Ref, st.What, strings.Join(st.Points, ", "))
}
