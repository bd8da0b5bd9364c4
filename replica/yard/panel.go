package yard

import (
	"fmt"
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// What stands against a go-ahead at a panel.
var (
	// OutOfService: the yard's machine can promise nothing now.
	OutOfService = code.New("OUT_OF_SERVICE", code.Row{Args: "yard because:why"})
	// OnlyAtHome: only the point's home yard gives the go-ahead.
	OnlyAtHome = code.New("GO_AHEAD_ONLY_AT_HOME", code.Row{Args: "point home"})
	// NotAskedHere: nobody has asked since the machine came into service, or the
	// handle was moved after the asking.
	NotAskedHere = code.New("NOT_ASKED_HERE", code.Row{Args: "point", Next: "yardhasp energise {point} --request REQUEST"})
	// MovedSinceAsked: the handle was moved, or somebody saw it closed, after the
	// asking.
	MovedSinceAsked = code.New("MOVED_SINCE_ASKED", code.Row{Args: "point"})
	// EnergiseNotTaken: the ledger does not have the Energise yet.
	// EnergiseNotAccepted: the ledger has refused it.
	EnergiseNotTaken    = code.New("ENERGISE_NOT_TAKEN", code.Row{Args: "point"})
	EnergiseNotAccepted = code.New("ENERGISE_NOT_ACCEPTED", code.Row{Args: "point request"})
	// OpenInLedger: by the ledger, nobody was allowed to close the point.
	OpenInLedger = code.New("OPEN_IN_LEDGER", code.Row{Args: "point"})
)

// PanelView is what the person at a panel sees of a point.
type PanelView struct {
	// Position takes in what is written here and is not in the ledger yet. It is
	// unspecified while the yard is not serving, and for an unknown point.
	Position recordv1.Position
	// The client gives Moved and Run back with an act at this panel. It does the same
	// at a box of this yard when the point's key goes in or out. Run is empty while
	// the yard is not serving.
	Moved ledger.Moved
	Run   string
	// GoAhead is true only while the person at this panel may close the point.
	GoAhead bool
	// Request is the request that was asked for at this panel. If nobody has asked, it
	// is the open request for the point.
	Request string
	// Against lists what stands against a go-ahead.
	Against []*recordv1.Finding
}

// Run names a span of time for acts at a point's panel. A new span begins when the
// replica starts, when it comes into service, when the handle is recorded as moved,
// and when the ledger takes the Energise that was asked for here.
//
// What an Isolate signs does not change when somebody closes the point under a
// go-ahead. Without the run, an opening done before that closing could still be sent
// after it. One case stays: an opening begins once the ledger has the Energise,
// another person closes under that go-ahead, and then the opening is sent. No run
// tells that opening from a later one.
func (y *Yard) Run(point string) string {
	return fmt.Sprintf("%s.%d.%d.%v", y.run, y.servings, y.handle[point], y.taken(point))
}

// taken reports whether the ledger has this yard's own Energise of a point. From then
// on somebody may have seen its go-ahead. It stays so until the handle is recorded as
// moved.
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
		return PanelView{Against: []*recordv1.Finding{OutOfService.About(y.h.Yard, y.h.Yard, why)}}
	}
	c := y.scene()
	p := c.v.Points[point]
	if p == nil {
		return PanelView{Against: []*recordv1.Finding{ledger.UnknownPoint.About(point, point)}}
	}
	v := PanelView{Position: recordv1.Position_POSITION_LIVE, Moved: c.moved(point), Run: y.Run(point), Request: c.fenced(point)}
	if !c.live(point) {
		v.Position = recordv1.Position_POSITION_OPEN
		if c.barrier(point) {
			v.Position = recordv1.Position_POSITION_OPEN_AND_HELD
		}
	}
	if p.Yard != y.h.Yard {
		v.Against = []*recordv1.Finding{OnlyAtHome.About(point, point, p.Yard)}
		return v
	}
	a, asked := y.asked[point]
	if !asked {
		v.Against = append(v.Against, NotAskedHere.About(point, point))
	} else {
		v.Request = a.Request
		v.Against = append(v.Against, c.unaccepted(point, a)...)
	}
	v.Against = append(v.Against, c.standing(point, c.v.Reqs[a.Request])...)
	v.Against = append(v.Against, c.chokes(point)...)
	if y.diverged != nil {
		v.Against = append(v.Against, y.diverged)
	}
	v.GoAhead = len(v.Against) == 0
	return v
}

// unaccepted lists what is missing for this: the ledger accepted this yard's own
// Energise, and its request still stands.
//
// Two checks are second defences only. If the point had been moved since, note would
// have forgotten the Energise. If the point were not live, the ledger would not have
// accepted it.
func (c *scene) unaccepted(point string, a ask) []*recordv1.Finding {
	var out []*recordv1.Finding
	p, q := c.v.Points[point], c.v.Reqs[a.Request]
	if c.moved(point) != a.At {
		out = append(out, MovedSinceAsked.About(point, point))
	}
	if p.Moved != a.At {
		out = append(out, EnergiseNotTaken.About(point, point))
	}
	if q == nil {
		return append(out, ledger.UnknownRequest.About(a.Request, a.Request))
	}
	if !slices.Contains(q.Energised, point) {
		out = append(out, EnergiseNotAccepted.About(point, point, a.Request))
	}
	if q.State != recordv1.RequestState_REQUEST_STATE_APPROVED && q.State != recordv1.RequestState_REQUEST_STATE_DONE {
		out = append(out, notApproved(q))
	}
	if !p.Live {
		out = append(out, OpenInLedger.About(point, point))
	}
	return out
}

// notApproved says how far the request has come.
func notApproved(q *ledger.Request) *recordv1.Finding {
	return ledger.NotApproved.About(q.ID, q.ID, ledger.RequestWord(q.State), []*recordv1.Finding{})
}
