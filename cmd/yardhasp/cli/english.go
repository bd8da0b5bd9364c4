package cli

import (
	"bytes"
	"encoding/json"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"

	"yardhasp/client/words"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// english is a finding as people read it. In JSON it stands beside code and
// arguments, which are what a program goes by.
type english struct {
	Says   string `json:"says"`
	Remedy string `json:"remedy"`
	Who    string `json:"who"`
	Next   string `json:"next"`
	Clause string `json:"clause"`
}

var findingName = (&recordv1.Finding{}).ProtoReflect().Descriptor().FullName()

// withEnglish adds to every finding in a message, written as JSON, what it says. The
// fields keep their order.
func withEnglish(raw json.RawMessage, of protoreflect.MessageDescriptor) (json.RawMessage, error) {
	d := json.NewDecoder(bytes.NewReader(raw))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return raw, err // null: a message that is not there
	}
	var out bytes.Buffer
	out.WriteByte('{')
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return nil, err
		}
		var v json.RawMessage
		if err := d.Decode(&v); err != nil {
			return nil, err
		}
		name, _ := key.(string)
		if f := of.Fields().ByName(protoreflect.Name(name)); f != nil && f.Message() != nil && !f.IsMap() {
			if v, err = fieldInEnglish(v, f); err != nil {
				return nil, err
			}
		}
		if out.Len() > 1 {
			out.WriteByte(',')
		}
		out.WriteString(`"` + name + `":`)
		out.Write(v)
	}
	if of.FullName() == findingName {
		e, err := englishOf(raw)
		if err != nil {
			return nil, err
		}
		out.WriteString(`,"english":`)
		out.Write(e)
	}
	out.WriteByte('}')
	return out.Bytes(), nil
}

// fieldInEnglish is withEnglish for a field: one message or a list of them.
func fieldInEnglish(v json.RawMessage, f protoreflect.FieldDescriptor) (json.RawMessage, error) {
	if !f.IsList() {
		return withEnglish(v, f.Message())
	}
	var items []json.RawMessage
	if err := json.Unmarshal(v, &items); err != nil {
		return nil, err
	}
	var out bytes.Buffer
	out.WriteByte('[')
	for i, item := range items {
		said, err := withEnglish(item, f.Message())
		if err != nil {
			return nil, err
		}
		if i > 0 {
			out.WriteByte(',')
		}
		out.Write(said)
	}
	out.WriteByte(']')
	return out.Bytes(), nil
}

func englishOf(raw json.RawMessage) (json.RawMessage, error) {
	f := &recordv1.Finding{}
	if err := protojson.Unmarshal(raw, f); err != nil {
		return nil, err
	}
	w := words.English
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	err := e.Encode(english{w.Says(f), w.Remedy(f), w.Who(f), w.Next(f), w.Clause(f)})
	return bytes.TrimSpace(out.Bytes()), err
}
