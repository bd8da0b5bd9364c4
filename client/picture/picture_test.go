package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/client/drawing"
	"yardhasp/ledger"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/testdata/coop"
)

func yards(t *testing.T) []*recordv1.Drawing {
	t.Helper()
	var out []*recordv1.Drawing
	for _, yard := range []string{"stonebend", "millrow", "eastfork"} {
		data, err := coop.Files.ReadFile(yard + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		s, err := drawing.Parse(yard, data)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, s.Drawing)
	}
	return out
}

func graph(t *testing.T, ds []*recordv1.Drawing) *energy.Graph {
	t.Helper()
	g, problems := energy.Build(ds)
	if g == nil {
		t.Fatal(problems)
	}
	return g
}

// words are the texts of a picture, and an error if it isn't XML.
func words(data []byte) ([]string, error) {
	var out []string
	d := xml.NewDecoder(bytes.NewReader(data))
	inText := false
	for {
		tok, err := d.Token()
		switch {
		case errors.Is(err, io.EOF):
			return out, nil
		case err != nil:
			return nil, err
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			inText = tok.Name.Local == "text"
		case xml.CharData:
			if inText && strings.TrimSpace(string(tok)) != "" {
				out = append(out, string(tok))
			}
		case xml.EndElement:
			inText = false
		}
	}
}

// Every zone of the co-op has a picture with its locks and parts told by words,
// the same at every try and whatever the order of the files, and nothing in it
// lies on anything else.
func TestZones(t *testing.T) {
	ds := yards(t)
	g := graph(t, ds)
	other := slices.Clone(ds)
	slices.Reverse(other)
	for _, zone := range g.Zones() {
		plan, err := g.Plan(zone, 0)
		if err != nil {
			t.Fatal(err)
		}
		svg, err := SVG(g, ds, plan)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := SVG(graph(t, other), other, plan); err != nil || !bytes.Equal(svg, again) {
			t.Errorf("%s: another order of the drawings gives another picture (%v)", zone, err)
		}
		texts, err := words(svg)
		if err != nil {
			t.Fatalf("%s: %v", zone, err)
		}
		all := strings.Join(texts, "\n")
		for i, p := range plan.Points {
			if !strings.Contains(all, fmt.Sprintf("LOCK %d: ", i+1)) || !strings.Contains(all, fmt.Sprintf("Lock %d: %s", i+1, p)) {
				t.Errorf("%s: lock %d, %s, is not in the picture", zone, i+1, p)
			}
		}
		z, _ := g.Zone(zone)
		if got := strings.Count(all, "EXPOSED PART"); got != len(z.Parts) {
			t.Errorf("%s: %d times EXPOSED PART for %d parts", zone, got, len(z.Parts))
		}
		for _, w := range []string{"SOURCE, LIVE", "cut off", OnlyDrawn, caution()[0], caution()[1], "Would be cut off, on these drawings"} {
			if !strings.Contains(all, w) {
				t.Errorf("%s: the picture doesn't say %q", zone, w)
			}
		}
		s, err := newScene(g, ds, plan)
		if err != nil {
			t.Fatal(err)
		}
		noOverlaps(t, zone, s.layout())
	}
}

func noOverlaps(t *testing.T, zone string, l *layout) {
	t.Helper()
	for i := range l.boxes {
		a := &l.boxes[i]
		if a.x-a.w/2 < 0 || a.y-a.h/2 < 0 || a.x+a.w/2 > l.width || a.y+a.h/2 > l.height {
			t.Errorf("%s: box %d lies outside the picture", zone, i)
		}
		for j := range i {
			b := &l.boxes[j]
			// A hundredth for rounding.
			if min(a.x+a.w/2, b.x+b.w/2)-max(a.x-a.w/2, b.x-b.w/2) > 0.01 && min(a.y+a.h/2, b.y+b.h/2)-max(a.y-a.h/2, b.y-b.h/2) > 0.01 {
				t.Errorf("%s: boxes %d and %d lie on each other", zone, j, i)
			}
		}
	}
	for _, w := range l.lines {
		way := l.route(w)
		first, last := &l.boxes[w.over[0]], &l.boxes[w.over[len(w.over)-1]]
		for k := 1; k < len(way); k++ {
			for i := range l.boxes {
				b := &l.boxes[i]
				if b != first && b != last && (b.node >= 0 || b.tie >= 0) && crosses(way[k-1], way[k], b.x-b.w/2+1, b.y-b.h/2+1, b.x+b.w/2-1, b.y+b.h/2-1) {
					t.Errorf("%s: a line runs through box %d", zone, i)
				}
			}
		}
	}
}

// A set that leaves the control live says so, with the way it comes.
func TestNotCutOff(t *testing.T) {
	ds := yards(t)
	g := graph(t, ds)
	plan, err := g.Describe("stonebend/leg-2-boot", []string{"stonebend/head-house/leg-2-disconnect", "stonebend/boot-pit/bin-3-pan", "millrow/bridge/transfer-pan"}, 0)
	if err != nil {
		t.Fatal(err)
	}
	svg, err := SVG(g, ds, plan)
	if err != nil {
		t.Fatal(err)
	}
	texts, err := words(svg)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"NOT CUT OFF: energy still reaches what says EXPOSED PART and LIVE", "millrow/control-transformer", "millrow/utility", "stonebend/leg-2-control", "LOCK 3: open the disconnect"} {
		if !slices.Contains(texts, want) {
			t.Errorf("the picture doesn't say %q", want)
		}
	}
	if strings.Contains(strings.Join(texts, "\n"), "Would be cut off, on these drawings") {
		t.Error("the picture says cut off")
	}
	// The live control box is joined by a thick line, the dead motor by none.
	s, err := newScene(g, ds, plan)
	if err != nil {
		t.Fatal(err)
	}
	states := map[string]string{}
	for _, n := range s.nodes {
		states[n.id] = n.word()
	}
	if states["stonebend/leg-2-control"] != "LIVE" || states["stonebend/leg-2-motor"] != "cut off" {
		t.Errorf("control terminals %q, motor %q", states["stonebend/leg-2-control"], states["stonebend/leg-2-motor"])
	}
}

// Names and labels can't break out of the text they stand in.
func TestTextIsEscaped(t *testing.T) {
	elec := recordv1.Medium_MEDIUM_ELECTRICITY
	evil := `</text><script>"x" & 'y' \N]]>`
	d := &recordv1.Drawing{Yard: "x", Revision: 1,
		Nodes: []*recordv1.Node{{Name: "s", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Label: evil}, {Name: "m", Kind: recordv1.NodeKind_NODE_KIND_MACHINE, Label: evil, Place: evil}},
		Links: []*recordv1.Link{{Name: "l", From: "s", To: "m", Medium: elec, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "p", Device: "d", Lockable: true, Label: evil}}},
		Zones: []*recordv1.Zone{{Name: "z", Label: evil, Parts: []*recordv1.ExposedPart{{Node: "m", Media: []recordv1.Medium{elec}}}}}}
	ds := []*recordv1.Drawing{d}
	g := graph(t, ds)
	plan, err := g.Plan("x/z", 0)
	if err != nil {
		t.Fatal(err)
	}
	svg, err := SVG(g, ds, plan)
	if err != nil {
		t.Fatal(err)
	}
	texts, err := words(svg)
	if err != nil {
		t.Fatalf("the picture is no XML: %v", err)
	}
	if strings.Contains(string(svg), "<script") || !slices.ContainsFunc(texts, func(s string) bool { return strings.Contains(s, `<script>`) }) {
		t.Error("the label is not in the picture as text")
	}
	dot, err := DOT(g, ds, plan)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(dot, []byte(`\\N`)) {
		t.Error("a backslash of a label begins an escape of Graphviz")
	}
	inString := false
	for i := 0; i < len(dot); i++ {
		switch c := dot[i]; {
		case c == '\\' && inString:
			i++
		case c == '"':
			inString = !inString
		case (c == '<' || c == '\'') && !inString:
			t.Fatalf("the text for Graphviz breaks out of its string at %d: %.80s", i, dot[i:])
		}
	}
	if inString {
		t.Error("a string in the text for Graphviz doesn't end")
	}
}

func TestRefusals(t *testing.T) {
	ds := yards(t)
	g := graph(t, ds)
	if _, err := SVG(nil, ds, energy.Plan{Zone: "stonebend/leg-2-boot"}); err == nil {
		t.Error("drew without a graph")
	}
	if _, err := DOT(g, ds, energy.Plan{Zone: "stonebend/none"}); err == nil || !strings.Contains(err.Error(), `"stonebend/none"`) {
		t.Errorf("got %v", err)
	}
}

// A dead side too large to draw is cut, and the picture says so.
func TestLargeDeadSide(t *testing.T) {
	elec := recordv1.Medium_MEDIUM_ELECTRICITY
	d := &recordv1.Drawing{Yard: "x", Revision: 1,
		Nodes: []*recordv1.Node{{Name: "s", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}, {Name: "m", Kind: recordv1.NodeKind_NODE_KIND_MACHINE}},
		Links: []*recordv1.Link{{Name: "l", From: "s", To: "m", Medium: elec, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "p", Device: "d", Lockable: true}}},
		Zones: []*recordv1.Zone{{Name: "z", Parts: []*recordv1.ExposedPart{{Node: "m", Media: []recordv1.Medium{elec}}}}}}
	for i := range 2 * most {
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: fmt.Sprintf("b%d", i), Kind: recordv1.NodeKind_NODE_KIND_BUS})
		d.Links = append(d.Links, &recordv1.Link{Name: fmt.Sprintf("k%d", i), From: "m", To: fmt.Sprintf("b%d", i), Medium: elec})
	}
	ds := []*recordv1.Drawing{proto.Clone(d).(*recordv1.Drawing)}
	g := graph(t, ds)
	plan, err := g.Plan("x/z", 0)
	if err != nil {
		t.Fatal(err)
	}
	svg, err := SVG(g, ds, plan)
	if err != nil {
		t.Fatal(err)
	}
	if want := fmt.Sprintf("%d more nodes of the dead side are not drawn", most+1); !strings.Contains(string(svg), want) {
		t.Errorf("the picture doesn't say %q", want)
	}
}

func TestWait(t *testing.T) {
	for seconds, want := range map[uint32]string{600: "10 min", 75: "1 min 15 s", 3600: "1 h", 9000: "2 h 30 min", 30: "30 s"} {
		if got := wait(seconds); got != want {
			t.Errorf("%d s are %q, want %q", seconds, got, want)
		}
	}
}

// TestCautionIsWhole: the lines of a picture are the ledger's caution, unshortened.
func TestCautionIsWhole(t *testing.T) {
	if got := strings.Join(caution(), " "); got != ledger.Caution {
		t.Errorf("a picture says %q, the ledger %q", got, ledger.Caution)
	}
}
