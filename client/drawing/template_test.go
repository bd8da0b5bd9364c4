package drawing

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const used = `yard: stonebend
revision: 1
title: uses
stock:
  - {hardware: breaker clip, count: 4}
templates:
  - name: siren
    about: a siren on a breaker
    parameters: [name, feed]
    defaults: {label: <name>, volts: "120", clip: "", wait: 5s, lockable: true}
    nodes:
      - {name: <name>-siren, kind: machine, label: <label> siren, volts: <volts>}
    links:
      - {from: <feed>, to: <name>-siren, medium: electricity, device: {kind: breaker, panel: sirens, device: <name>, lockable: <lockable>, hardware: <clip>}}
nodes:
  - {name: bus-1, kind: source}
use:
  - {template: siren, name: north, feed: bus-1}
  - {template: siren, name: south, feed: bus-1, label: the loud, volts: 24.5, clip: breaker clip, lockable: false}
  - {template: starter, name: leg-9, feed: bus-1, panel: mcc-9}
`

func TestUse(t *testing.T) {
	s, err := Parse("used.yaml", []byte(used))
	if err != nil {
		t.Fatal(err)
	}
	d := s.Drawing
	want := &recordv1.Drawing{
		Yard: "stonebend", Revision: 1, Title: "uses",
		Stock: []*recordv1.Stock{{Hardware: recordv1.Hardware_HARDWARE_BREAKER_CLIP, Count: 4}},
		Nodes: []*recordv1.Node{
			{Name: "bus-1", Kind: recordv1.NodeKind_NODE_KIND_SOURCE},
			{Name: "north-siren", Kind: recordv1.NodeKind_NODE_KIND_MACHINE, Label: "north siren", Volts: 120},
			{Name: "south-siren", Kind: recordv1.NodeKind_NODE_KIND_MACHINE, Label: "the loud siren", Volts: 24.5},
		},
		Links: []*recordv1.Link{
			{Name: "bus-1--north-siren", From: "bus-1", To: "north-siren", Medium: recordv1.Medium_MEDIUM_ELECTRICITY,
				Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "sirens", Device: "north", Lockable: true}},
			{Name: "bus-1--south-siren", From: "bus-1", To: "south-siren", Medium: recordv1.Medium_MEDIUM_ELECTRICITY,
				Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "sirens", Device: "south", Hardware: recordv1.Hardware_HARDWARE_BREAKER_CLIP}},
		},
	}
	rest := proto.Clone(d).(*recordv1.Drawing)
	rest.Nodes, rest.Links = rest.Nodes[:3], rest.Links[:2]
	if !proto.Equal(rest, want) {
		t.Errorf("got\n%v\nwant\n%v", rest, want)
	}
	if len(d.Nodes) != 7 || d.Nodes[5].Name != "leg-9-motor" || d.Links[2].Device.Panel != "mcc-9" {
		t.Errorf("the starter gave %v and %v", d.Nodes[3:], d.Links[2:])
	}
	// What an expansion made stands where its use does.
	for field, line := range map[string]int{"nodes[0].name": 16, "nodes[1].name": 18, "nodes[2]": 19, "links[0].device.kind": 18, "links[3].to": 20, "stock[0].count": 5} {
		if got, _ := s.Locate(field); got != line {
			t.Errorf("%s is in line %d, want %d", field, got, line)
		}
	}
}

func TestUseErrors(t *testing.T) {
	head := strings.Split(used, "use:\n")[0] + "use:\n"
	tests := []struct{ name, entry, text string }{
		{"unknown template", "{template: sirn, name: a, feed: b}", `unknown template "sirn"; there are: starter,`},
		{"none named", "{name: a}", `unknown template ""`},
		{"missing", "{template: siren, name: a}", `template "siren" needs feed`},
		{"unknown parameter", "{template: siren, name: a, feed: b, fead: c}", `template "siren" has no parameter "fead"; it has: name, feed, label`},
		{"twice", "{template: siren, name: a, name: b, feed: c}", `has "name" twice`},
		{"list", "{template: siren, name: [a], feed: c}", "name must be a text"},
		{"inside", "{template: siren, name: a, feed: c, volts: high}", `volts must be a number from 0 up, such as 63300 or 0.5 (in template "siren", line 12)`},
		{"inside, built in", "{template: starter, name: a, feed: c, panel: d, holes: -1}", `holes must be a whole number`},
		{"too long", "{template: siren, name: a, feed: " + strings.Repeat("x", 3000) + "}", "it may have 2000"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, err := Parse("used.yaml", []byte(head+"  - "+test.entry+"\n"))
			var errs Errors
			if !errors.As(err, &errs) || !strings.Contains(errs[0].Text, test.text) {
				t.Fatalf("got %v, want %q", err, test.text)
			}
			if errs[0].Line != 18 {
				t.Errorf("the error is in line %d, want the use's, 18", errs[0].Line)
			}
		})
	}
	_, err := Parse("used.yaml", []byte(strings.Replace(used, "label: <label> siren", "label: <lable> siren", 1)))
	if err == nil || !strings.Contains(err.Error(), `used.yaml:18:5: <lable> is no parameter of the template (in template "siren", line 12)`) {
		t.Errorf("got %v", err)
	}
	_, err = Parse("used.yaml", []byte(strings.Replace(used, "name: siren", "name: starter", 1)))
	if err == nil || !strings.Contains(err.Error(), `used.yaml:7:5: there is a template "starter" already`) {
		t.Errorf("got %v", err)
	}
}

// A short file can't stand for a drawing without end.
func TestUsesAreBounded(t *testing.T) {
	var b strings.Builder
	b.WriteString("templates:\n  - name: many\n    parameters: [name]\n    nodes:\n")
	b.WriteString(strings.Repeat("      - {name: <name>, kind: bus}\n", 4000))
	b.WriteString("use:\n" + strings.Repeat("  - {template: many, name: a}\n", 130))
	_, err := Parse("many.yaml", []byte(b.String()))
	if err == nil || !strings.Contains(err.Error(), "split the drawing between yards") {
		t.Errorf("got %.300v", err)
	}
	b.Reset()
	b.WriteString("templates:\n  - name: wide\n    parameters: [x]\n    nodes:\n" + strings.Repeat("      - {name: a, label: <x><x>}\n", 1000))
	b.WriteString("use:\n" + strings.Repeat("  - {template: wide, x: "+strings.Repeat("y", 1900)+"}\n", 30))
	if _, err := Parse("wide.yaml", []byte(b.String())); err == nil || !strings.Contains(err.Error(), "bytes of text; split the drawing") {
		t.Errorf("got %.300v", err)
	}
	_, err = Parse("long.yaml", []byte("templates:\n  - name: long\n    parameters: [x]\n    nodes:\n      - {label: \""+strings.Repeat("<x>", 1000)+"\"}\nuse:\n  - {template: long, x: "+strings.Repeat("y", 100)+"}\n"))
	if err == nil || !strings.Contains(err.Error(), "it may have 4000") {
		t.Errorf("got %.300v", err)
	}
}

// Every built-in template can be used with what it needs, and says what it is.
func TestBuiltInTemplates(t *testing.T) {
	if _, err := builtIn(); err != nil {
		t.Fatal(err)
	}
	list := Templates()
	if len(list) < 10 {
		t.Fatalf("%d templates", len(list))
	}
	for _, tmpl := range list {
		if tmpl.About == "" {
			t.Errorf("%s says nothing of itself", tmpl.Name)
		}
		var b strings.Builder
		b.WriteString("yard: x\nuse:\n  - template: " + tmpl.Name + "\n")
		for _, p := range tmpl.Needs {
			value := "7" // a number does for a name and for a figure
			switch p {
			case "label_wait", "run_down", "cool":
				value = "7s"
			}
			b.WriteString("    " + p + ": " + value + "\n")
		}
		s, err := Parse("x.yaml", []byte(b.String()))
		if err != nil {
			t.Errorf("%s: %v", tmpl.Name, err)
			continue
		}
		for _, n := range s.Drawing.Nodes {
			if !strings.HasPrefix(n.Name, "7") {
				t.Errorf("%s: node %q doesn't begin with the name given", tmpl.Name, n.Name)
			}
		}
		for _, l := range s.Drawing.Links {
			if !strings.HasPrefix(l.Name, "7") {
				t.Errorf("%s: link %q doesn't begin with the name given", tmpl.Name, l.Name)
			}
		}
	}
}
