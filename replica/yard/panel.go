package yard

import (
	"fmt"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// PanelView is what the person at a panel sees of a point.
type PanelView struct {
	// Position counts what is written here and not yet in the ledger. It is
	// unspecified out of SERVING, and for a point nobody knows.
	Position recordv1.Position
	// Moved and Run are given back with an act at this panel, or at a box here
	// that takes or gives the point's key; Run is empty out of SERVING.
	Moved ledger.Moved
	Run   string
	// GoAhead is true only while the person at this panel may close the point.
	GoAhead bool
	// Request is what the go-ahead belongs to, or the open request for the point.
	Request string
	// WhyNot lists what stands against a go-ahead.
	WhyNot []string
}

// Run names this run of the replica for acts at a point's panel, since it last
// came into service, since the handle was last recorded as moved, and since the
// ledger took the Energise asked for here. A closing done under a go-ahead does
// not change what an Isolate signs, so without this an opening from before it
// could still be sent after it. An opening begun once the ledger has the Energise,
// and sent after another person closed under its go-ahead, no run tells apart.
func (y *Yard) Run(point string) string {
	return fmt.Sprintf("%s.%d.%d.%v", y.run, y.stint, y.handle[point], y.taken(point))
}

// taken reports whether the ledger has the own Energise of a point, so that its
// go-ahead may have been shown. It stays so until the handle is recorded as moved.
func (y *Yard) taken(point string) bool {
	a, asked := y.asked[point]
	if !asked || y.view == nil {
		return false
	}
	p := y.view.Points[point]
	return p != nil && p.Live && p.Moved == a.At
}

// Panel shows a point to the person at its panel.
func (y *Yard) Panel(point string) PanelView {
	if ok, why := y.Serving(); !ok {
		return PanelView{WhyNot: []string{"this yard's machine is out of service: " + why}}
	}
	c := y.scene()
	p := c.v.Points[point]
	if p == nil {
		return PanelView{WhyNot: []string{"no such point is registered: read the label again"}}
	}
	v := PanelView{Position: recordv1.Position_POSITION_LIVE, Moved: c.moved(point), Run: y.Run(point), Request: c.fenced(point)}
	if !c.live(point) {
		v.Position = recordv1.Position_POSITION_OPEN
		if c.barrier(point) {
			v.Position = recordv1.Position_POSITION_OPEN_AND_HELD
		}
	}
	if p.Yard != y.h.Yard {
		v.WhyNot = []string{"its home yard is " + p.Yard + ": only its own panel gives the word"}
		return v
	}
	a, asked := y.asked[point]
	if !asked {
		v.WhyNot = append(v.WhyNot, "nobody has asked to energise it here since the replica came into service, or the handle was moved since")
	} else {
		v.Request = a.Request
		v.WhyNot = append(v.WhyNot, c.unaccepted(point, a)...)
	}
	v.WhyNot = append(v.WhyNot, c.standing(point, c.v.Reqs[a.Request])...)
	v.WhyNot = append(v.WhyNot, c.chokes(point)...)
	if y.apart != "" {
		v.WhyNot = append(v.WhyNot, y.apart)
	}
	v.GoAhead = len(v.WhyNot) == 0
	return v
}

// unaccepted lists what is missing of "this own Energise was accepted, and its
// request still stands" in view. That the point was not moved since, and is live,
// follows from note having forgotten the Energise otherwise, and that the ledger
// took it from its accepting it; they stay as second defences.
func (c *scene) unaccepted(point string, a ask) []string {
	var out []string
	p, q := c.v.Points[point], c.v.Reqs[a.Request]
	if c.moved(point) != a.At {
		out = append(out, "the point was switched or found closed since")
	}
	if p.Moved != a.At {
		out = append(out, "the ledger has not taken the energising yet")
	}
	if q == nil {
		return append(out, "request "+a.Request+" is over")
	}
	if !slices.Contains(q.Energised, point) {
		out = append(out, "the ledger has not accepted the energising")
	}
	if q.State != recordv1.RequestState_REQUEST_STATE_APPROVED && q.State != recordv1.RequestState_REQUEST_STATE_DONE {
		out = append(out, "request "+a.Request+" is "+ledger.RequestWord(q.State))
	}
	if !p.Live {
		out = append(out, "the ledger has it as open")
	}
	return out
}
