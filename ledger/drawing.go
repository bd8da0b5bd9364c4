package ledger

import (
	"crypto/sha256"
	"encoding/hex"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/code"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetPublishDrawing, Kind{Name: "publish_drawing", Called: "drawing publish", Class: Lifts, May: whoHas(supervisor, manager), Clause: noClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(*recordv1.PublishDrawing) About { return About{} },
		func(f *fields, a *recordv1.PublishDrawing) { f.some("drawing", len(a.GetDrawing())) },
		(*step).publishDrawing),
	kind((*recordv1.Record).GetWalkDrawing, Kind{Name: "walk_drawing", Called: "drawing walk", Class: Lifts, May: whoIsQualified(), Clause: walkClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(*recordv1.WalkDrawing) About { return About{} },
		func(f *fields, a *recordv1.WalkDrawing) {
			f.name("yard", a.GetYard())
			f.bytes32("drawing_hash", a.GetDrawingHash())
		},
		(*step).walkDrawing),
)

var (
	DrawingUnreadable = code.New("DRAWING_UNREADABLE", code.Row{Who: "the-signer", Answer: code.Malformed})
	// RevisionOutOfTurn: a published drawing must have the next revision number.
	RevisionOutOfTurn = code.New("REVISION_OUT_OF_TURN", code.Row{Args: "yard revision:number next:number", Who: "the-signer", Next: "yardhasp drawing show {yard}"})
	// DrawingWrong is a fault that the engine finds in a drawing.
	DrawingWrong   = code.New("DRAWING", code.Row{Args: "field:text problem:text", Who: "the-signer", Next: "yardhasp drawing check FILE"})
	DrawingCurrent = code.New("DRAWING_CURRENT", code.Row{Args: "yard revision:number"})
	UnknownDrawing = code.New("UNKNOWN_DRAWING", code.Row{Args: "yard", Who: "supervisor-manager", Next: "yardhasp drawing publish FILE", Answer: code.Unknown})
	// WalkedAnother: the walked drawing is not the current one.
	WalkedAnother = code.New("WALKED_ANOTHER", code.Row{Args: "yard revision:number current:number", Clause: walkClause, Who: "a-qualified-person", Next: "yardhasp drawing walk {yard} --revision {current}"})
	DrawingWalked = code.New("DRAWING_WALKED", code.Row{Args: "yard revision:number person"})
	// VoidByDrawing says why a request ended.
	VoidByDrawing = code.New("VOID_BY_DRAWING", code.Row{Args: "yard"})
)

// maxProblems is the number of faults that one refusal of a drawing lists.
const maxProblems = 50

// publishDrawing makes a revision current. It voids the requests made on the previous
// revision. The set of points that may reach a zone can only grow here. It shrinks only
// in the journal of the zone's yard (decisions.md 9, narrowZone).
func (x *step) publishDrawing(p *recordv1.PublishDrawing) {
	s := x.s
	var d recordv1.Drawing
	if err := proto.Unmarshal(p.GetDrawing(), &d); err != nil || hasUnknown(d.ProtoReflect()) {
		x.deny(DrawingUnreadable, "drawing")
		return
	}
	yard, old := d.GetYard(), s.Drawings[d.GetYard()]
	if x.checkDrawing(&d, old); x.refused() {
		return
	}
	sum := sha256.Sum256(p.GetDrawing())
	before, drawn := s.isolations(), s.Graph()
	s.Drawings[yard] = &Drawing{Yard: yard, Revision: d.GetRevision(), Bytes: p.GetDrawing(), Hash: hex.EncodeToString(sum[:]), Recorded: x.mark}
	if old != nil {
		s.Drawings[yard].Suspect, s.Drawings[yard].Mended = old.Suspect, old.Mended
	}
	if err := s.redraw(); err != nil {
		s.Drawings[yard] = old
		if old == nil {
			delete(s.Drawings, yard)
		}
		_ = s.redraw()
		x.deny(DrawingWrong, yard, yard, err.Error())
		return
	}
	for _, pt := range s.graph.Points() {
		if s.Points[pt.ID] == nil && s.Yards[pt.Yard] != nil {
			s.addPoint(pt.ID, pt.Holes, pt.Label)
		}
	}
	tied := s.places
	s.remember()
	s.joinPlaces()
	s.widen(tied)
	x.did(DrawingCurrent, yard, yard, d.GetRevision())
	x.isolationChanged(before, yard, d.GetRevision())
	x.renamed(drawn, d.GetRevision())
	for _, id := range sorted(s.Reqs) {
		if s.Reqs[id].open() {
			x.void(s.Reqs[id], VoidByDrawing.About(id, yard))
		}
	}
}

// checkDrawing refuses a drawing of an unknown yard, and one that is not the next
// revision. It also refuses a drawing that the engine finds wrong beside those of the
// other yards.
func (x *step) checkDrawing(d *recordv1.Drawing, old *Drawing) {
	s, yard := x.s, d.GetYard()
	next := uint32(1)
	if old != nil {
		next = old.Revision + 1
	}
	switch {
	case s.Yards[yard] == nil:
		x.deny(UnknownYard, yard, yard)
		return
	case d.GetRevision() != next:
		x.deny(RevisionOutOfTurn, yard, yard, d.GetRevision(), next)
		return
	}
	others := []*recordv1.Drawing{}
	for _, y := range sorted(s.Drawings) {
		if y != yard {
			if o, err := s.Drawings[y].Drawing(); err == nil {
				others = append(others, o)
			}
		}
	}
	for _, pr := range energy.Check(d, others) {
		if !pr.Warning && len(x.out.Conditions) < maxProblems {
			x.deny(DrawingWrong, pr.Field, pr.Field, pr.Text)
		}
	}
}

// walkDrawing records that a qualified person compared the current drawing with the
// steel.
func (x *step) walkDrawing(w *recordv1.WalkDrawing) {
	d := x.s.Drawings[w.GetYard()]
	switch {
	case d == nil:
		x.deny(UnknownDrawing, w.GetYard(), w.GetYard())
	case d.Revision != w.GetRevision() || d.Hash != hex.EncodeToString(w.GetDrawingHash()):
		x.deny(WalkedAnother, d.Yard, d.Yard, w.GetRevision(), d.Revision)
	default:
		d.Walked = x.mark
		x.did(DrawingWalked, d.Yard, d.Yard, d.Revision, x.who.ID)
	}
}
