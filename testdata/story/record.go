package story

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var acts = (&recordv1.Record{}).ProtoReflect().Descriptor().Oneofs().ByName("act").Fields()

// act is the contract's field for a kind of act, nil when there is none.
func act(kind string) protoreflect.FieldDescriptor { return acts.ByName(protoreflect.Name(kind)) }

// Context gives the meaning of texts of a story in a world.
type Context interface {
	// Now is the time from which +2h counts, Unix ms.
	Now() int64
	// Bytes returns the bytes that a text means in a field of a kind: a key by its
	// name, a procedure's text, its hash.
	Bytes(kind, field, text string) ([]byte, error)
}

// reader makes messages of the contract from the words of a line.
type reader struct {
	ctx   Context
	file  *File
	names map[string]string // from the story, mostly references
	marks map[string]Mark
	place string
	kind  string
}

// Record is the record of one act from a line, without the names of a story: "lock
// eastfork/mcc/leg job=j1". It has no signer.
func (f *File) Record(ctx Context, line string) (*recordv1.Record, error) {
	st, err := parseLine("an act", line)
	if err != nil {
		return nil, err
	}
	if st.want != nil {
		return nil, fault(st.Place, "an act that stands alone expects nothing: %s", line)
	}
	r := &reader{ctx: ctx, file: f, place: st.Place}
	return r.record(st.verb, st.args, st.fields)
}

// known reports whether a verb is an act.
func (f *File) known(verb string) bool {
	_, short := f.short[verb]
	return short || act(kindOf(verb)) != nil
}

func (r *reader) record(verb string, args []value, fields []field) (*recordv1.Record, error) {
	kind := kindOf(verb)
	var from []field
	if s, ok := r.file.short[verb]; ok {
		kind, from = s.kind, s.fields
	}
	f := act(kind)
	if f == nil {
		return nil, fault(r.place, "there is no act %s", verb)
	}
	r.kind = kind
	rec := &recordv1.Record{}
	m := rec.ProtoReflect().Mutable(f).Message()
	for _, part := range [][]field{r.file.usual[kind], from} {
		if err := r.set(m, part); err != nil {
			return nil, err
		}
	}
	if err := r.fill(m, &message{args, fields}, from); err != nil {
		return nil, err
	}
	return rec, nil
}

// fill puts the values without a key into the fields in their order. It skips the
// fields that a key of this line or of the short act names. Then it sets the fields
// that have a key.
func (r *reader) fill(m protoreflect.Message, in *message, taken []field) error {
	given := func(f protoreflect.FieldDescriptor) bool {
		is := func(x field) bool { return keyOf(f) == strings.Split(x.key, ".")[0] }
		return slices.ContainsFunc(in.fields, is) || slices.ContainsFunc(taken, is)
	}
	var order []protoreflect.FieldDescriptor
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		if o := f.ContainingOneof(); (o == nil || o.IsSynthetic()) && !given(f) {
			order = append(order, f)
		}
	}
	slices.SortFunc(order, func(a, b protoreflect.FieldDescriptor) int { return int(a.Number() - b.Number()) })
	for i, v := range in.args {
		if i == len(order) {
			return fault(r.place, "%s takes no value %q: %d are enough", m.Descriptor().Name(), v.text, len(order))
		}
		if err := r.put(m, order[i], v); err != nil {
			return err
		}
	}
	return r.set(m, in.fields)
}

// keyOf is the key for a field: its name with hyphens, for a time without the unit.
func keyOf(f protoreflect.FieldDescriptor) string {
	return strings.ReplaceAll(strings.TrimSuffix(string(f.Name()), "_unix_ms"), "_", "-")
}

func (r *reader) set(m protoreflect.Message, fields []field) error {
	for _, in := range fields {
		key, rest, deeper := strings.Cut(in.key, ".")
		var f protoreflect.FieldDescriptor
		for i := range m.Descriptor().Fields().Len() {
			if x := m.Descriptor().Fields().Get(i); keyOf(x) == key {
				f = x
			}
		}
		switch {
		case f == nil:
			return fault(r.place, "%s has no %s", m.Descriptor().Name(), key)
		case deeper && (f.Kind() != protoreflect.MessageKind || f.IsList()):
			return fault(r.place, "%s of %s has no fields of its own", key, m.Descriptor().Name())
		case deeper:
			if err := r.set(m.Mutable(f).Message(), []field{{rest, in.val}}); err != nil {
				return err
			}
		default:
			if err := r.put(m, f, in.val); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *reader) put(m protoreflect.Message, f protoreflect.FieldDescriptor, v value) error {
	if !f.IsList() {
		if v.list != nil {
			return fault(r.place, "%s takes one value, not a list", keyOf(f))
		}
		got, err := r.one(f, v, m.NewField)
		if err == nil {
			m.Set(f, got)
		}
		return err
	}
	all := v.list
	if all == nil && (v.quoted || v.text != "none") {
		all = []value{v}
	}
	m.Clear(f)
	l := m.Mutable(f).List()
	elem := func(protoreflect.FieldDescriptor) protoreflect.Value { return l.NewElement() }
	for _, x := range all {
		if x.msg == nil && !x.quoted && strings.Contains(r.named(x), ",") { // the name of a list
			for _, w := range strings.Split(r.named(x), ",") {
				got, err := r.one(f, value{text: w}, elem)
				if err != nil {
					return err
				}
				l.Append(got)
			}
			continue
		}
		got, err := r.one(f, x, elem)
		if err != nil {
			return err
		}
		l.Append(got)
	}
	return nil
}

// named is the text that a value names, or else the value's own text.
func (r *reader) named(v value) string {
	if v.quoted {
		return v.text
	}
	if t, ok := r.names[v.text]; ok {
		return t
	}
	if t, ok := r.file.names[v.text]; ok {
		return t
	}
	return v.text
}

// one reads one value of a field; fresh makes an empty message for it.
func (r *reader) one(f protoreflect.FieldDescriptor, v value, fresh func(protoreflect.FieldDescriptor) protoreflect.Value) (protoreflect.Value, error) {
	none := protoreflect.Value{}
	wrong := func(what string) (protoreflect.Value, error) {
		return none, fault(r.place, "%s: %q is no %s", keyOf(f), v.text, what)
	}
	if f.Kind() == protoreflect.MessageKind {
		return r.message(f, v, fresh(f).Message())
	}
	if v.msg != nil {
		return none, fault(r.place, "%s is no message: write it without braces", keyOf(f))
	}
	t := r.named(v)
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(t), nil
	case protoreflect.BytesKind:
		b, err := r.ctx.Bytes(r.kind, string(f.Name()), t)
		if err != nil {
			return none, fault(r.place, "%s: %v", keyOf(f), err)
		}
		return protoreflect.ValueOfBytes(b), nil
	case protoreflect.BoolKind:
		if t != "yes" && t != "no" {
			return wrong("yes or no")
		}
		return protoreflect.ValueOfBool(t == "yes"), nil
	case protoreflect.EnumKind:
		e := f.Enum()
		e0 := string(e.Values().Get(0).Name())
		x := e.Values().ByName(protoreflect.Name(strings.TrimSuffix(e0, "UNSPECIFIED") + strings.ToUpper(strings.ReplaceAll(t, "-", "_"))))
		if x == nil {
			return wrong(string(e.Name()))
		}
		return protoreflect.ValueOfEnum(x.Number()), nil
	case protoreflect.Int64Kind:
		if strings.HasSuffix(string(f.Name()), "_unix_ms") {
			at, err := r.time(t)
			return protoreflect.ValueOfInt64(at), err
		}
		if n, err := strconv.ParseInt(t, 10, 64); err == nil {
			return protoreflect.ValueOfInt64(n), nil
		}
	case protoreflect.Uint64Kind:
		if n, err := strconv.ParseUint(t, 10, 64); err == nil {
			return protoreflect.ValueOfUint64(n), nil
		}
	case protoreflect.Uint32Kind:
		if n, err := strconv.ParseUint(t, 10, 32); err == nil {
			return protoreflect.ValueOfUint32(uint32(n)), nil
		}
	case protoreflect.DoubleKind:
		if n, err := strconv.ParseFloat(t, 64); err == nil {
			return protoreflect.ValueOfFloat64(n), nil
		}
	default:
		return none, fault(r.place, "%s is of a type that stories can't write yet: %s", keyOf(f), f.Kind())
	}
	return wrong("number")
}

// message reads a message in braces. Two messages have a text of their own: what a
// lock hangs on, and a place in a journal.
func (r *reader) message(f protoreflect.FieldDescriptor, v value, m protoreflect.Message) (protoreflect.Value, error) {
	if v.msg != nil {
		err := r.fill(m, v.msg, nil)
		return protoreflect.ValueOfMessage(m), err
	}
	t := r.named(v)
	set := func(x interface{ ProtoReflect() protoreflect.Message }) (protoreflect.Value, error) {
		return protoreflect.ValueOfMessage(x.ProtoReflect()), nil
	}
	switch m.Interface().(type) {
	case *recordv1.Target:
		switch strings.Count(t, "/") {
		case 2:
			return set(&recordv1.Target{On: &recordv1.Target_Point{Point: t}})
		case 1:
			return set(&recordv1.Target{On: &recordv1.Target_Box{Box: t}})
		}
		return protoreflect.Value{}, fault(r.place, "%s: %q is no point (yard/panel/device) and no box (yard/name)", keyOf(f), t)
	case *recordv1.JournalRef:
		ref, err := Ref(t)
		if err != nil {
			return protoreflect.Value{}, fault(r.place, "%s: %v", keyOf(f), err)
		}
		return set(ref)
	}
	return protoreflect.Value{}, fault(r.place, "%s: write the %s in braces", keyOf(f), m.Descriptor().Name())
}

// Ref reads a place in a journal, "yard/epoch/seq". It is an error if a part is
// missing or is no number.
func Ref(text string) (*recordv1.JournalRef, error) {
	p := strings.Split(text, "/")
	if len(p) == 3 {
		epoch, err1 := strconv.ParseUint(p[1], 10, 64)
		seq, err2 := strconv.ParseUint(p[2], 10, 64)
		if err1 == nil && err2 == nil {
			return &recordv1.JournalRef{Yard: p[0], Epoch: epoch, Seq: seq}, nil
		}
	}
	return nil, fmt.Errorf("%q is no record that was named and no place yard/epoch/seq", text)
}

// time reads +2h, -30m, now, a mark, a mark with an offset, or milliseconds.
func (r *reader) time(t string) (int64, error) {
	if n, err := strconv.ParseInt(t, 10, 64); err == nil && !strings.HasPrefix(t, "+") {
		return n, nil
	}
	from := r.ctx.Now()
	base, off := t, ""
	if i := strings.LastIndexAny(t, "+-"); i >= 0 {
		if _, isMark := r.marks[t]; !isMark {
			base, off = t[:i], t[i:]
		}
	}
	if m, ok := r.marks[base]; ok {
		from = m.Time
	} else if base != "" && base != "now" {
		return 0, fault(r.place, "%q is no time: write +2h, -30m, now, or a mark", t)
	}
	if off == "" {
		return from, nil
	}
	d, err := duration(off)
	if err != nil {
		return 0, fault(r.place, "%v", err)
	}
	return from + d.Milliseconds(), nil
}

// duration reads 2h30m or 10d, with or without a sign.
func duration(t string) (time.Duration, error) {
	if n, isDays := strings.CutSuffix(t, "d"); isDays {
		if days, err := strconv.Atoi(n); err == nil {
			return time.Duration(days) * 24 * time.Hour, nil
		}
	}
	d, err := time.ParseDuration(t)
	if err != nil {
		return 0, fmt.Errorf("%q is no time: write 90s, 30m, 2h or 10d", t)
	}
	return d, nil
}
