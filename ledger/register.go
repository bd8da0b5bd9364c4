package ledger

import (
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetRegisterPoint, Kind{Name: "register_point", Called: "point add", Class: Lifts, May: whoHas(supervisor, manager), Clause: noClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(p *recordv1.RegisterPoint) About { return About{Point: p.GetPoint()} },
		func(f *fields, a *recordv1.RegisterPoint) {
			f.point("point", a.GetPoint())
			f.optionalText("label", a.GetLabel())
		},
		(*step).registerPoint),
	kind((*recordv1.Record).GetRegisterBox, Kind{Name: "register_box", Called: "box add", Class: Lifts, May: whoHas(supervisor, manager), Clause: "1910.147(f)(3)", By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(b *recordv1.RegisterBox) About { return About{Box: b.GetBox()} },
		func(f *fields, a *recordv1.RegisterBox) {
			f.box("box", a.GetBox())
			f.optionalText("label", a.GetLabel())
		},
		(*step).registerBox),
)

var (
	PointExists     = code.New("POINT_EXISTS", code.Row{Args: "point", Answer: code.Taken})
	PointRegistered = code.New("POINT_REGISTERED", code.Row{Args: "point"})
	BoxExists       = code.New("BOX_EXISTS", code.Row{Args: "box", Answer: code.Taken})
	BoxRegistered   = code.New("BOX_REGISTERED", code.Row{Args: "box"})
)

func (x *step) registerPoint(p *recordv1.RegisterPoint) {
	id, yard := p.GetPoint(), YardOf(p.GetPoint())
	switch {
	case x.s.Points[id] != nil:
		x.deny(PointExists, id, id)
	case x.s.Yards[yard] == nil:
		x.deny(UnknownYard, yard, yard)
	default:
		x.s.addPoint(id, p.GetHoles(), p.GetLabel())
		x.did(PointRegistered, id, id)
	}
}

// addPoint registers a point. Nobody has opened it yet, so it is live.
func (s *State) addPoint(id string, holes uint32, label string) {
	s.Points[id] = &Point{ID: id, Yard: YardOf(id), Holes: max(holes, 1), Label: label, Live: true}
}

func (x *step) registerBox(b *recordv1.RegisterBox) {
	id, yard := b.GetBox(), YardOf(b.GetBox())
	switch {
	case x.s.Boxes[id] != nil:
		x.deny(BoxExists, id, id)
	case x.s.Yards[yard] == nil:
		x.deny(UnknownYard, yard, yard)
	default:
		x.s.Boxes[id] = &Box{ID: id, Yard: yard, Label: b.GetLabel(), Holes: max(b.GetHoles(), 1), Points: map[string]Mark{}}
		x.did(BoxRegistered, id, id)
	}
}
