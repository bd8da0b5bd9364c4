package story

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// drawing plays a line that changes a yard's drawing and publishes it:
//
//	drawing nia stonebend 2 nodes={bus bus},{fan machine} links={feeder from=bus} without=zones/leg-pit
//
// A node, link or zone with a known name is changed. One with a new name is added.
// "without" removes things. The number is the revision.
func (p *playing) drawing(st *Step) (string, error) {
	if len(st.args) != 3 || len(st.fields) == 0 && st.want == nil {
		return "", fault(st.Place, "write drawing PERSON YARD REVISION and what changes")
	}
	yard := p.r.named(st.args[1])
	d, err := p.w.Drawing(yard)
	if err != nil {
		return "", err
	}
	if d == nil {
		d = &recordv1.Drawing{Yard: yard}
	}
	if err := p.r.set(d.ProtoReflect(), []field{{"revision", st.args[2]}}); err != nil {
		return "", err
	}
	act := *st
	act.fields = nil
	bare := &reader{ctx: p.w, file: &File{}, place: st.Place} // the names in a drawing are not names of the story
	for _, f := range st.fields {
		if err := bare.change(d, f, &act); err != nil {
			return "", err
		}
	}
	raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(d)
	if err != nil {
		return "", err
	}
	a, as, keep, err := p.act(&act, true)
	if err != nil {
		return "", err
	}
	a.Signer = p.r.named(st.args[0])
	a.Record = &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: raw}}}
	return p.send(a, as, keep, st.want)
}

func (r *reader) change(d *recordv1.Drawing, f field, act *Step) error {
	all := f.val.list
	if all == nil {
		all = []value{f.val}
	}
	m := d.ProtoReflect()
	switch f.key {
	case "nodes", "links", "zones", "stock":
		l := m.Mutable(m.Descriptor().Fields().ByName(protoreflect.Name(f.key))).List()
		for _, v := range all {
			if v.msg == nil {
				return fault(r.place, "%s: write each in braces, its name first", f.key)
			}
			if err := r.element(l, v.msg); err != nil {
				return err
			}
		}
	case "without":
		for _, v := range all {
			if !leaveOut(m, v.text) {
				return fault(r.place, "without: the drawing has no %s; write links/NAME", v.text)
			}
		}
	default:
		act.fields = append(act.fields, f)
	}
	return nil
}

// element changes the element with that name, or adds one.
func (r *reader) element(l protoreflect.List, in *message) error {
	for i := range l.Len() {
		e := l.Get(i).Message()
		if len(in.args) > 0 && e.Get(e.Descriptor().Fields().ByNumber(1)).String() == in.args[0].text {
			return r.fill(e, in, nil)
		}
	}
	e := l.NewElement()
	if err := r.fill(e.Message(), in, nil); err != nil {
		return err
	}
	l.Append(e)
	return nil
}

func leaveOut(m protoreflect.Message, what string) bool {
	for _, key := range []string{"nodes", "links", "zones"} {
		f := m.Descriptor().Fields().ByName(protoreflect.Name(key))
		l := m.Mutable(f).List()
		for i := range l.Len() {
			e := l.Get(i).Message()
			if key+"/"+e.Get(e.Descriptor().Fields().ByNumber(1)).String() != what {
				continue
			}
			var keep []protoreflect.Value
			for j := range l.Len() {
				if j != i {
					keep = append(keep, l.Get(j))
				}
			}
			l.Truncate(0)
			for _, k := range keep {
				l.Append(k)
			}
			return true
		}
	}
	return false
}
