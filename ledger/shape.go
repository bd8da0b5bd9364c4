package ledger

import (
	"math"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// BadField is one field of a record that is not valid. Each such field is named.
var BadField = code.New("BAD_FIELD", code.Row{Args: "field:text form:word", Who: "the-signer", Answer: code.Malformed})

// fields checks the shape of a record, field by field. It needs no state.
type fields struct{ bad []*recordv1.Finding }

// Check lists what is wrong with the shape of a record. It is empty when nothing is. It
// looks at no state.
func Check(r *recordv1.Record) []*recordv1.Finding {
	f := &fields{}
	f.name("signer", r.GetSigner())
	f.name("ticket.device", r.GetTicket().GetDevice())
	f.counted("ticket.counter", r.GetTicket().GetCounter())
	f.moment("captured_unix_ms", r.GetCapturedUnixMs())
	k := KindFor(r)
	if k == nil {
		return append(f.bad, UnknownKind.About("", ""))
	}
	k.Shape(f, r)
	return f.bad
}

// must notes a field that does not have its form. form is a catalogue word such as
// "form-point".
func (f *fields) must(ok bool, field, form string) {
	if !ok {
		f.bad = append(f.bad, BadField.About(field, field, form))
	}
}

// name: an id, as Name.
func (f *fields) name(field, v string) { f.must(Name(v), field, "form-name") }

func (f *fields) optionalName(field, v string) { f.must(optional(v), field, "form-name") }

// names: ids, each once. The list may be empty.
func (f *fields) names(field string, v []string) { f.must(list(v, Name), field, "form-names") }

// point: "yard/panel/device".
func (f *fields) point(field, v string) { f.must(PointName(v), field, "form-point") }

// points: points, each once. The list may be empty.
func (f *fields) points(field string, v []string) { f.must(list(v, PointName), field, "form-points") }

// box: "yard/name".
func (f *fields) box(field, v string) { f.must(Names(v, 2), field, "form-box") }

// place: a zone or a node, "yard/name".
func (f *fields) place(field, v string) { f.must(Names(v, 2), field, "form-place") }

// places: zones or nodes, each once. The list may be empty.
func (f *fields) places(field string, v []string) {
	f.must(list(v, func(p string) bool { return Names(p, 2) }), field, "form-places")
}

// target: a point or a box.
func (f *fields) target(field string, t *recordv1.Target) { f.must(targetOK(t), field, "form-target") }

// ref: a journal reference.
func (f *fields) ref(field string, r *recordv1.JournalRef) { f.must(refOK(r), field, "form-record") }

// refText: a journal reference written as text.
func (f *fields) refText(field, v string) { f.must(refText(v), field, "form-record") }

// text: a text that must not be empty.
func (f *fields) text(field, v string) { f.must(text(v), field, "form-text") }

// optionalText: a text that may be empty.
func (f *fields) optionalText(field, v string) { f.must(plain(v), field, "form-plain") }

// bytes32: 32 bytes, an Ed25519 key or a SHA-256 hash.
func (f *fields) bytes32(field string, v []byte) { f.must(len(v) == 32, field, "form-32-bytes") }

// moment: a time in Unix ms, after 1970.
func (f *fields) moment(field string, ms int64) { f.must(ms > 0, field, "form-moment") }

// number: a finite number.
func (f *fields) number(field string, v float64) {
	f.must(!math.IsNaN(v) && !math.IsInf(v, 0), field, "form-number")
}

// counted: a count from 1.
func (f *fields) counted(field string, n uint64) { f.must(n > 0, field, "form-counted") }

// some: a list that must not be empty.
func (f *fields) some(field string, n int) { f.must(n > 0, field, "form-some") }

// oneOf: a value of an enumeration in the contract, not zero.
func (f *fields) oneOf(field string, names map[int32]string, v int32) {
	f.must(v != 0 && names[v] != "", field, "form-known")
}

// optionalOneOf: a value of an enumeration in the contract, or zero.
func (f *fields) optionalOneOf(field string, names map[int32]string, v int32) {
	f.must(names[v] != "", field, "form-known")
}

// others: the people who sign beside the signer. Each is named once and is not the
// signer.
func (f *fields) others(field, signer string, people ...string) {
	f.must(others(signer, people...), field, "form-others")
}
