package drawing

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const small = `# the work house
yard: stonebend
revision: 3
title: Stonebend elevator, work house
nodes:
  - {name: utility, kind: source, label: "480 V service", place: yard pole}
  - {name: leg-2, kind: machine}
  - name: buckets
    kind: store
    store: {medium: motion, joules: 63300, wait: 1m30s, release: "set the clamp"}
  - {name: start, kind: control, starts: [leg-2]}
links:
  - {name: feed, from: utility, to: leg-2, medium: electricity, device: {kind: breaker, panel: main, device: main-1, lockable: true, holes: 2}}
  - {from: leg-2, to: buckets, medium: motion}
  - {from: leg-2, to: buckets, medium: fuel-gas, one_way: check}
  - {from: start, to: millrow/cp, medium: electricity, device: {kind: push-button, leaves_conductor_closed: true, label: START}}
zones:
- name: boot
  label: leg boot
  isolation: single
  waived_by: nia-okoro
  waived_why: |
    opened from outside
  entered: false
  parts:
    - {node: leg-2, media: [motion, grain]}
`

func TestParse(t *testing.T) {
	got, err := Parse("small.yaml", []byte(small))
	if err != nil {
		t.Fatal(err)
	}
	want := &recordv1.Drawing{
		Yard: "stonebend", Revision: 3, Title: "Stonebend elevator, work house",
		Nodes: []*recordv1.Node{
			{Name: "utility", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Label: "480 V service", Place: "yard pole"},
			{Name: "leg-2", Kind: recordv1.NodeKind_NODE_KIND_MACHINE},
			{Name: "buckets", Kind: recordv1.NodeKind_NODE_KIND_STORE, Store: &recordv1.Store{
				Medium: recordv1.Medium_MEDIUM_MOTION, Joules: 63300, WaitSeconds: 90, Release: "set the clamp"}},
			{Name: "start", Kind: recordv1.NodeKind_NODE_KIND_CONTROL, Starts: []string{"leg-2"}},
		},
		Links: []*recordv1.Link{
			{Name: "feed", From: "utility", To: "leg-2", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Device: &recordv1.Device{
				Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "main", Device: "main-1", Lockable: true, Holes: 2}},
			{Name: "leg-2--buckets", From: "leg-2", To: "buckets", Medium: recordv1.Medium_MEDIUM_MOTION},
			{Name: "leg-2--buckets-2", From: "leg-2", To: "buckets", Medium: recordv1.Medium_MEDIUM_FUEL_GAS, OneWay: "check"},
			{Name: "start--millrow-cp", From: "start", To: "millrow/cp", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Device: &recordv1.Device{
				Kind: recordv1.DeviceKind_DEVICE_KIND_PUSH_BUTTON, LeavesConductorClosed: true, Label: "START"}},
		},
		Zones: []*recordv1.Zone{{Name: "boot", Label: "leg boot", Isolation: recordv1.Isolation_ISOLATION_SINGLE,
			WaivedBy: "nia-okoro", WaivedWhy: "opened from outside\n",
			Parts: []*recordv1.ExposedPart{{Node: "leg-2", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_MOTION, recordv1.Medium_MEDIUM_GRAIN}}}}},
	}
	if !proto.Equal(got.Drawing, want) {
		t.Errorf("got\n%v\nwant\n%v", got.Drawing, want)
	}
}

// The place of a field is where its text begins in the file.
func TestLocate(t *testing.T) {
	s, err := Parse("small.yaml", []byte(small))
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		field  string
		line   int
		begins string
	}{
		{"yard", 2, "stonebend"},
		{"revision", 3, "3"},
		{"nodes", 5, "nodes:"},
		{"nodes[0]", 6, "{name: utility"},
		{"nodes[0].label", 6, `"480 V service"`},
		{"nodes[2]", 8, "name: buckets"},
		{"nodes[2].kind", 9, "store"},
		{"nodes[2].store", 10, "store: {"},
		{"nodes[2].store.wait_seconds", 10, "1m30s"},
		{"nodes[2].store.wait", 10, "1m30s"},
		{"nodes[3].starts[0]", 11, "leg-2]"},
		{"links[0].device", 13, "device: {"},
		{"links[0].device.device", 13, "main-1"},
		{"links[2].one_way", 15, "check"},
		{"zones", 17, "zones:"},
		{"zones[0].waived_why", 22, "|"},
		{"zones[0].parts", 25, "parts:"},
		{"zones[0].parts[0].node", 26, "leg-2"},
		{"zones[0].parts[0].media[1]", 26, "grain]"},
		// What the file doesn't have, by the nearest thing around it.
		{"links[1].name", 14, "{from: leg-2"},
		{"links[1].device.kind", 14, "{from: leg-2"},
		{"links[99].from", 12, "links:"},
		{"links[x].from", 12, "links:"},
		{"zones[0].parts[7]", 25, "parts:"},
		{"nodes[", 5, "nodes:"},
		{"nodes[-1]", 5, "nodes:"},
		{"nothing", 1, "#"},
		{"", 1, "#"},
	}
	lines := strings.Split(small, "\n")
	for _, test := range tests {
		line, col := s.Locate(test.field)
		if want := strings.Index(lines[test.line-1], test.begins) + 1; line != test.line || !strings.HasPrefix(lines[line-1][col-1:], test.begins) {
			t.Errorf("Locate(%q) = %d:%d, want %d:%d", test.field, line, col, test.line, want)
		}
	}
	const want = `small.yaml:13:24: no node has this name
    13 |   - {name: feed, from: utility, to: leg-2, medium: electricity, device: {kind: breaker, panel: main,
       |                        ^`
	if got := s.Place("links[0].from", "no node has this name").Error(); got != want {
		t.Errorf("Place gives\n%s\nwant\n%s", got, want)
	}
}

// wrongFile is a file that is no drawing, and what each error of it begins with, one a
// line.
type wrongFile struct{ name, file, want string }

// Fields, lists and values that a drawing has otherwise or not at all.
var wrongFields = []wrongFile{
	{"unknown field", "yard: x\nnodes:\n  - {name: a, feds: b}\n", `3:15: unknown field "feds"`},
	{"unknown top field", "yard: x\nnode: []\n", `2:1: unknown field "node"`},
	{"field twice", "nodes:\n  - {name: a}\n  - {name: b, kind: bus,\n     name: c}\n", `4:6: a node has "name" twice, first in line 3`},
	{"field twice at the top", "yard: x\nrevision: 1\nyard: x\n", `3:7: a drawing has "yard" twice, first in line 1`},
	{"list twice", "nodes:\n  - {name: a}\nyard: x\nnodes:\n  - {name: b}\n", `4:1: a drawing has "nodes" twice, first in line 1`},
	{"empty list and list", "nodes: []\nnodes:\n  - {name: b}\n", `2:1: a drawing has "nodes" twice, first in line 1`},
	{"number for a name", "nodes:\n  - {name: 12}\n", "2:12: name must be text, not a number; put it in quotes"},
	{"list for a name", "nodes:\n  - {name: [a]}\n", "2:12: name must be text, not a list"},
	{"no name", "nodes:\n  - {name: }\n", "2:11: name is empty"},
	{"text for a list", "nodes:\n  - {name: a, starts: b}\n", "2:23: starts must be a list, not text"},
	{"text for a node", "nodes:\n  - a\n", "2:5: a node must be fields such as {name: x}, not text"},
	{"empty list key", "yard: x\nnodes:\n", "2:8: nodes must be a list, not nothing"},
	{"unknown kind", "nodes:\n  - {name: a, kind: motor}\n", `2:21: unknown kind of node "motor"; it is one of: source, bus, machine, store, control`},
	{"upper case", "nodes:\n  - {name: a, kind: Source}\n", `2:21: unknown kind of node "Source"`},
	{"contract's own word", "links:\n  - {medium: MEDIUM_GRAIN}\n", `2:14: unknown medium "MEDIUM_GRAIN"`},
	{"the unset word", "links:\n  - {medium: unspecified}\n", `2:14: unknown medium "unspecified"`},
	{"number for a word", "links:\n  - {medium: 3}\n", "2:14: medium must be a word, not a number"},
	{"yes", "zones:\n  - {name: a, entered: yes}\n", "2:24: entered must be true or false"},
	{"quoted true", "zones:\n  - {name: a, entered: \"true\"}\n", "2:24: entered must be true or false"},
	{"negative holes", "links:\n  - {device: {holes: -1}}\n", "2:22: holes must be a whole number"},
	{"too many holes", "links:\n  - {device: {holes: 4294967296}}\n", "2:22: holes must be a whole number"},
	{"holes in part", "links:\n  - {device: {holes: 1.5}}\n", "2:22: holes must be a whole number"},
	// YAML 1.1 reads 010 as eight, YAML 1.2 as ten.
	{"leading zero", "revision: 010\n", "1:11: revision must be a whole number"},
	{"hexadecimal", "revision: 0x10\n", "1:11: revision must be a whole number"},
	{"underscore", "nodes:\n  - {store: {joules: 63_300}}\n", "2:22: joules must be a number"},
	{"negative energy", "nodes:\n  - {store: {joules: -5}}\n", "2:22: joules must be a number from 0 up"},
	{"infinite energy", "nodes:\n  - {store: {joules: .inf}}\n", "2:22: joules must be a number"},
	{"not a number", "nodes:\n  - {store: {joules: .nan}}\n", "2:22: joules must be a number"},
	{"too much energy", "nodes:\n  - {store: {joules: 1e999}}\n", "2:22: joules must be a number"},
	{"quoted number", "nodes:\n  - {store: {joules: \"5\"}}\n", "2:22: joules must be a number"},
	{"wait without unit", "nodes:\n  - {store: {wait: 10}}\n", "2:20: wait must be a duration with its unit"},
	{"wait in days", "nodes:\n  - {store: {wait: 1d}}\n", "2:20: wait must be a duration with its unit"},
	{"wait below a second", "nodes:\n  - {store: {wait: 1500ms}}\n", "2:20: wait must be whole seconds; round it up"},
	{"negative wait", "nodes:\n  - {store: {wait: -1s}}\n", "2:20: wait can't be less than nothing"},
	{"wait too long", "nodes:\n  - {store: {wait: 2000000h}}\n", "2:20: wait can be 4294967295 seconds at most"},
}

// Text that is not YAML, or YAML that no drawing uses.
var wrongText = []wrongFile{
	{"anchor", "nodes:\n  - &a {name: a}\n", "2:5: anchors and aliases"},
	{"alias", "nodes:\n  - *a\n", "2:5: anchors and aliases"},
	{"merge key", "nodes:\n  - {<<: {name: a}}\n", "2:6: merge keys"},
	{"tag", "nodes:\n  - {name: !!str 12}\n", "2:12: tags"},
	{"asked key", "? yard\n", "1:1: keys written with ?"},
	{"two drawings", "yard: x\n---\nyard: y\n", "2:1: a file holds one drawing"},
	{"directive", "%YAML 1.2\n---\nyard: x\n", "1:1: YAML directives are not read"},
	{"tab", "nodes:\n\t- {name: a}\n", "2:1: indent with spaces"},
	{"empty", "", "1:1: the file is empty"},
	{"comments only", "# nothing\n\n", "1:1: the file is empty"},
	{"list", "- {name: a}\n", "1:1: a drawing is made of fields, not a list"},
	{"indented", "  yard: x\n", "1:3: the drawing's own fields begin in the first column"},
	{"open bracket", "nodes:\n  - {name: a\n  - {name: b}\n", "3:3: a dash begins an entry"},
	{"open quote", "title: \"abc\nyard: x\n", "1:8: not YAML: could not find end character"},
	{"not UTF-8", "yard: x\ntitle: a\xff\n", "2:9: this is not UTF-8"},
	{"control character", "title: a\x07\n", "1:9: control character 0x07"},
	{"lone carriage return", "yard: x\rrevision: 1\n", "1:8: a carriage return stands alone"},
	{"line separator", "title: a\u2028b\n", "1:9: invisible character 0x2028"},
	{"deep brackets", "nodes: " + strings.Repeat("[", 17), "1:24: more than 16 brackets"},
	{"deep dashes", "nodes:\n  " + strings.Repeat("- ", 17) + "a\n", "2:35: a dash begins an entry"},
	{"deep blocks", "nodes:\n  " + strings.Repeat("- ", 101) + "a\n", "2:1: the line begins 204 columns in"},
}

// Errors that are far apart, or hard to place.
var wrongPlaces = []wrongFile{
	{"several", "yard: 1\nnodes:\n  - {kind: x}\n  - {name: a}\nlinks:\n  - {froom: a}\n",
		"1:7: yard must be text\n3:12: unknown kind of node \"x\"\n6:6: unknown field \"froom\""},
	{"after a multi-line entry", "zones:\n  - name: a\n    waived_why: |\n      one\n      two\n    label: >\n      x\n\n    entred: true\n", "9:5: unknown field \"entred\""},
	{"after a wide character", "nodes:\n  - {name: \"ü😀\", feds: b}\n", "2:18: unknown field \"feds\""},
}

func TestErrors(t *testing.T) {
	for _, test := range slices.Concat(wrongFields, wrongText, wrongPlaces) {
		t.Run(test.name, func(t *testing.T) {
			s, err := Parse("f.yaml", []byte(test.file))
			var errs Errors
			if !errors.As(err, &errs) || s != nil {
				t.Fatalf("Parse gave %v, %v, want Errors", s, err)
			}
			var got []string
			for _, e := range errs {
				got = append(got, fmt.Sprintf("%d:%d: %s", e.Line, e.Col, e.Text))
			}
			want := strings.Split(test.want, "\n")
			if len(got) != len(want) {
				t.Fatalf("got %d errors:\n%s\nwant %d", len(got), strings.Join(got, "\n"), len(want))
			}
			for i := range want {
				if !strings.HasPrefix(got[i], want[i]) {
					t.Errorf("got  %s\nwant %s", got[i], want[i])
				}
			}
		})
	}
}

func TestErrorText(t *testing.T) {
	_, err := Parse("stonebend.yaml", []byte("nodes:\n  - {name: a, feds: b}\n  - {name: a, kind: x}\n"))
	const want = `stonebend.yaml:2:15: unknown field "feds"; a node has: name, kind, label, place, volts, interlock, feeds_back, store, starts, start
     2 |   - {name: a, feds: b}
       |               ^
stonebend.yaml:3:21: unknown kind of node "x"; it is one of: source, bus, machine, store, control
     3 |   - {name: a, kind: x}
       |                     ^`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	// Far into a long line the excerpt shows the place, not the line's beginning.
	_, err = Parse("x.yaml", []byte("nodes:\n  - {label: \""+strings.Repeat("é", 5000)+"\", feds: b}\n"))
	var errs Errors
	if !errors.As(err, &errs) {
		t.Fatal(err)
	}
	lines := strings.Split(errs[0].Excerpt, "\n")
	if len(lines) != 2 {
		t.Fatalf("excerpt %q", errs[0].Excerpt)
	}
	caret := strings.Index(lines[1], "^")
	if shown := []rune(lines[0]); len(shown) > 120 || !strings.HasPrefix(string(shown[caret:]), "feds") {
		t.Errorf("excerpt\n%s", errs[0].Excerpt)
	}
}

func TestOtherForms(t *testing.T) {
	want, err := Parse("x.yaml", []byte("yard: x\nnodes:\n  - {name: a, kind: bus}\n  - {name: b}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{
		"---\nyard: x\nnodes:\n- {name: a, kind: bus}\n- {name: b}",
		"\ufeffyard: x\nnodes: # two\n\n    # here\n    - {name: a, kind: bus}\n# there\n    - name: b\n",
		"nodes: [{name: a, kind: bus}, {name: b}]\nyard: 'x'\n",
		`{"yard": "x", "nodes": [{"name": "a", "kind": "bus"}, {"name": "b"}]}`,
		"{\n\"yard\": \"x\",\n\"nodes\": [\n{\"name\": \"a\", \"kind\": \"bus\"},\n{\"name\": \"b\"}\n]\n}\n",
		"yard: x\nnodes:\n  [{name: a, kind: bus},\n   {name: b}]\n",
		"yard: x\nnodes:\n  -\n    name: a\n    kind: bus\n  - {name: b,\n     }\n",
	} {
		got, err := Parse("x.yaml", []byte(file))
		if err != nil || !proto.Equal(got.Drawing, want.Drawing) {
			t.Errorf("%q gives %v, %v", file, got, err)
		}
	}
}

func TestLinkNamesAreNeverTakenTwice(t *testing.T) {
	s, err := Parse("x.yaml", []byte(`links:
  - {from: a, to: b}
  - {name: a--b-2, from: c, to: d}
  - {from: a, to: b}
  - {from: a, to: b}
  - {from: a}
`))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, l := range s.Drawing.Links {
		got = append(got, l.Name)
	}
	if want := "a--b a--b-2 a--b-3 a--b-4 "; strings.Join(got, " ") != want {
		t.Errorf("names %q, want %q", strings.Join(got, " "), want)
	}
}

// Every word of the contract's enums can be written, with spaces or hyphens.
func TestEveryWord(t *testing.T) {
	for n, name := range recordv1.DeviceKind_name {
		word := deviceWords.write(n)
		if n == 0 {
			continue
		}
		for _, w := range []string{word, strings.ReplaceAll(word, " ", "-")} {
			s, err := Parse("x.yaml", []byte("links:\n  - {device: {kind: "+w+"}}\n"))
			if err != nil {
				t.Errorf("%s: %v", name, err)
			} else if got := s.Drawing.Links[0].Device.Kind.String(); got != name {
				t.Errorf("%q is read as %s, want %s", w, got, name)
			}
		}
	}
}
