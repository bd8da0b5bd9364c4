package drawing

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

type schemaNode struct {
	Properties map[string]schemaNode `json:"properties"`
	Defs       map[string]schemaNode `json:"$defs"`
	AnyOf      []schemaNode          `json:"anyOf"`
	Enum       []string              `json:"enum"`
	Ref        string                `json:"$ref"`
	Additional any                   `json:"additionalProperties"`
}

func (s schemaNode) keys() []string {
	var out []string
	for k := range s.Properties {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// The schema and the parser know the same fields and the same words.
func TestSchemaAgrees(t *testing.T) {
	var s schemaNode
	if err := json.Unmarshal(Schema, &s); err != nil {
		t.Fatal(err)
	}
	groups := map[string][]string{"stock": stockFields, "node": nodeFields, "store": storeFields, "link": linkFields, "device": deviceFields, "zone": zoneFields, "part": partFields, "template": templateFields}
	check := func(name string, got schemaNode, fields []string) {
		want := slices.Sorted(slices.Values(fields))
		if !slices.Equal(got.keys(), want) {
			t.Errorf("the schema's %s has %v, the parser's %v", name, got.keys(), want)
		}
		if got.Additional != false {
			t.Errorf("the schema's %s takes unknown fields", name)
		}
	}
	check("drawing", s, drawingFields)
	for name, fields := range groups {
		check(name, s.Defs[name], fields)
	}
	for _, kind := range figureNames {
		check(kind, s.Defs["store"].Properties[kind], keys(figures[kind]))
	}
	if _, ok := s.Defs["use"].Properties[useField]; !ok {
		t.Error("the schema's use names no template")
	}
	for name, test := range map[string]struct {
		at schemaNode
		w  words
	}{
		"medium": {s.Defs["medium"], mediumWords}, "node": {s.Defs["node"].Properties["kind"], nodeWords}, "device": {s.Defs["device"].Properties["kind"], deviceWords},
		"hardware": {s.Defs["device"].Properties["hardware"], hardwareWords}, "stock": {s.Defs["stock"].Properties["hardware"], hardwareWords},
		"start": {s.Defs["node"].Properties["start"], startWords}, "isolation": {s.Defs["zone"].Properties["isolation"], isolationWords},
	} {
		list := test.at.Enum
		for _, x := range test.at.AnyOf {
			list = append(list, x.Enum...)
		}
		want := test.w.list()
		for _, word := range test.w.list() {
			if strings.Contains(word, " ") {
				want = append(want, strings.ReplaceAll(word, " ", "-"))
			}
		}
		slices.Sort(list)
		slices.Sort(want)
		if !slices.Equal(list, want) {
			t.Errorf("the schema's %s words are %v, the parser's %v", name, list, want)
		}
	}
}
