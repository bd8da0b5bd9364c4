package record

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// read takes from a record what it is about, and its fields. It looks at names and
// values of fields, not at the kind. So it also reads a kind that is added later.
func (c *Collector) read(ev *Event, rec *recordv1.Record, s *ledger.State) {
	act := actOf(rec)
	if act == nil {
		return
	}
	c.walk(ev, act, s)
	ev.Details = append(ev.Details, details("", act)...)
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_OpenJob:
		put(&ev.Jobs, a.OpenJob.GetId())
		if ev.Accepted {
			yards := About{}
			put(&yards.Yards, ledger.YardOf(a.OpenJob.GetZone()))
			for _, p := range a.OpenJob.GetPlan() {
				put(&yards.Yards, ledger.YardOf(p))
			}
			c.jobs[a.OpenJob.GetId()] = yards
		}
	case *recordv1.Record_Invite:
		put(&ev.People, a.Invite.GetPerson().GetId())
		put(&ev.Yards, a.Invite.GetYard().GetId())
	case *recordv1.Record_PublishDrawing:
		var d recordv1.Drawing
		if proto.Unmarshal(a.PublishDrawing.GetDrawing(), &d) == nil {
			put(&ev.Yards, d.GetYard())
			ev.Details = append(ev.Details, Field{"drawing", fmt.Sprintf("%s revision %d", d.GetYard(), d.GetRevision())})
		}
	case *recordv1.Record_Request:
		if ev.Accepted {
			c.asked[a.Request.GetId()] = About{Jobs: []string{a.Request.GetJob()}, Points: append([]string{}, ev.Points...), Yards: append([]string{}, ev.Yards...)}
		}
	case *recordv1.Record_Isolate, *recordv1.Record_Closed, *recordv1.Record_FoundClosed, *recordv1.Record_FoundStarted,
		*recordv1.Record_BoxAdd, *recordv1.Record_BoxRemove, *recordv1.Record_Lock, *recordv1.Record_FoundLock:
		ev.ofPlans(s)
	}
	for _, j := range ev.Jobs {
		ev.add(c.jobs[j])
	}
}

// ofPlans handles an act at a panel that names no job. It belongs to the history of
// every open job whose plan has the point.
func (ev *Event) ofPlans(s *ledger.State) {
	if len(ev.Jobs) > 0 {
		return
	}
	for id, j := range s.Jobs {
		if !j.Closed.Set() && slices.ContainsFunc(j.Plan, func(p string) bool { return slices.Contains(ev.Points, p) }) {
			put(&ev.Jobs, id)
		}
	}
}

// actOf is the one act of a record.
func actOf(rec *recordv1.Record) protoreflect.Message {
	m := rec.ProtoReflect()
	fd := m.WhichOneof(m.Descriptor().Oneofs().ByName("act"))
	if fd == nil {
		return nil
	}
	return m.Get(fd).Message()
}

// walk sorts every name in a message. It knows a reference by its type, a job, request
// or padlock by the name of its field, and a person, point or box because the state has
// it.
func (c *Collector) walk(ev *Event, m protoreflect.Message, s *ledger.State) {
	if r, ok := m.Interface().(*recordv1.JournalRef); ok {
		put(&ev.Locks, ledger.RefOf(r))
		ev.add(c.byRef[ledger.RefOf(r)])
		return
	}
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.Kind() == protoreflect.MessageKind && fd.IsList():
			for i := range v.List().Len() {
				c.walk(ev, v.List().Get(i).Message(), s)
			}
		case fd.Kind() == protoreflect.MessageKind:
			c.walk(ev, v.Message(), s)
		case fd.Kind() == protoreflect.StringKind && fd.IsList():
			for i := range v.List().Len() {
				c.name(ev, string(fd.Name()), v.List().Get(i).String(), s)
			}
		case fd.Kind() == protoreflect.StringKind:
			c.name(ev, string(fd.Name()), v.String(), s)
		}
		return true
	})
}

func (c *Collector) name(ev *Event, field, v string, s *ledger.State) {
	switch field {
	case "job":
		put(&ev.Jobs, v)
	case "request":
		ev.add(c.asked[v])
	case "padlock", "serial":
		put(&ev.Locks, v)
	case "yard":
		put(&ev.Yards, v)
	}
	if s.People[v] != nil {
		put(&ev.People, v)
	}
	if s.Points[v] != nil || s.Boxes[v] != nil {
		put(&ev.Points, v)
	}
	// A zone, a part, a store or a point: the yard comes first, then the name.
	if y, _, ok := strings.Cut(v, "/"); ok && s.Yards[y] != nil {
		put(&ev.Yards, y)
	}
}

// refsIn lists the journal references that a record names.
func refsIn(rec *recordv1.Record) []string {
	var out []string
	var walk func(m protoreflect.Message)
	walk = func(m protoreflect.Message) {
		if r, ok := m.Interface().(*recordv1.JournalRef); ok {
			out = append(out, ledger.RefOf(r))
			return
		}
		m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			switch {
			case fd.Kind() != protoreflect.MessageKind || fd.IsMap():
			case fd.IsList():
				for i := range v.List().Len() {
					walk(v.List().Get(i).Message())
				}
			default:
				walk(v.Message())
			}
			return true
		})
	}
	if rec != nil {
		if act := actOf(rec); act != nil {
			walk(act)
		}
	}
	return out
}

// details lists a message's fields in the contract's order. A yes or no is always
// written: that an instrument was not proved matters most when nobody said so.
func details(prefix string, m protoreflect.Message) []Field {
	var out []Field
	if r, ok := m.Interface().(*recordv1.JournalRef); ok {
		return []Field{{strings.TrimSuffix(prefix, " "), ledger.RefOf(r)}}
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		name := prefix + strings.ReplaceAll(string(fd.Name()), "_", " ")
		if !m.Has(fd) && (fd.Kind() != protoreflect.BoolKind || fd.IsList()) {
			continue
		}
		switch v := m.Get(fd); {
		case fd.IsList():
			out = append(out, listed(name, fd, v.List())...)
		case fd.Kind() == protoreflect.MessageKind:
			out = append(out, details(name+" ", v.Message())...)
		default:
			if text := scalar(fd, v); text != "" {
				out = append(out, Field{name, text})
			}
		}
	}
	return out
}

func listed(name string, fd protoreflect.FieldDescriptor, list protoreflect.List) []Field {
	var out []Field
	var words []string
	for i := range list.Len() {
		if fd.Kind() == protoreflect.MessageKind {
			out = append(out, details(fmt.Sprintf("%s %d ", name, i+1), list.Get(i).Message())...)
		} else if text := scalar(fd, list.Get(i)); text != "" {
			words = append(words, text)
		}
	}
	if len(words) > 0 {
		out = append(out, Field{name, strings.Join(words, ", ")})
	}
	return out
}

// scalar is a value in words. Bytes are shown by their size, times in full.
func scalar(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch fd.Kind() {
	case protoreflect.BoolKind:
		if v.Bool() {
			return "yes"
		}
		return "no"
	case protoreflect.EnumKind:
		ev := fd.Enum().Values().ByNumber(v.Enum())
		if ev == nil || v.Enum() == 0 {
			return ""
		}
		return enumWord(string(fd.Enum().Name()), string(ev.Name()))
	case protoreflect.BytesKind:
		return fmt.Sprintf("%d bytes", len(v.Bytes()))
	case protoreflect.Int64Kind:
		if strings.HasSuffix(string(fd.Name()), "unix_ms") {
			return stamp(v.Int())
		}
	}
	return v.String()
}

// enumWord is "fuel gas" for MEDIUM_FUEL_GAS of Medium.
func enumWord(enum, name string) string {
	var prefix strings.Builder
	for i, r := range enum {
		if i > 0 && r >= 'A' && r <= 'Z' {
			prefix.WriteByte('_')
		}
		prefix.WriteRune(r)
	}
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, strings.ToUpper(prefix.String())+"_"), "_", " "))
}
