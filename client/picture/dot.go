package picture

import (
	"bytes"
	"fmt"
	"strings"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// DOT gives the same picture as text in Graphviz's language, for people who want another
// layout. It fails as SVG does.
func DOT(g *energy.Graph, drawings []*recordv1.Drawing, plan energy.Plan) ([]byte, error) {
	s, err := newScene(g, drawings, plan)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	line := func(format string, v ...any) { fmt.Fprintf(&b, format+"\n", v...) }
	line("digraph zone {")
	line("  graph [rankdir=TB, labelloc=t, label=%s];", quoted(append(s.heading(), s.footing()...)))
	line("  node [fontname=\"DejaVu Sans\", fontsize=11];")
	for i := range s.nodes {
		t := &s.nodes[i]
		look := map[recordv1.NodeKind]string{
			recordv1.NodeKind_NODE_KIND_SOURCE: "shape=hexagon", recordv1.NodeKind_NODE_KIND_MACHINE: "shape=box, style=rounded",
			recordv1.NodeKind_NODE_KIND_STORE: "shape=box, peripheries=2", recordv1.NodeKind_NODE_KIND_CONTROL: "shape=octagon",
		}[t.kind]
		if look == "" {
			look = "shape=box"
		}
		if t.part {
			look += ", penwidth=4"
		}
		line("  n%d [%s, label=%s];", i, look, quoted(texts(t.lines())))
	}
	for i := range s.ties {
		t := &s.ties[i]
		look := "shape=plaintext"
		switch {
		case t.lock > 0:
			look = "shape=box, style=filled, fillcolor=black, fontcolor=white"
		case t.link.GetDevice() != nil:
			look = "shape=box, style=filled, fillcolor=gray90"
		}
		line("  l%d [%s, label=%s];", i, look, quoted(texts(t.lines())))
		head := "none"
		if t.link.GetOneWay() != "" {
			head = "normal"
		}
		line("  n%d -> l%d [dir=none, %s];", t.from, i, stroke(&s.nodes[t.from]))
		line("  l%d -> n%d [arrowhead=%s, %s];", i, t.to, head, stroke(&s.nodes[t.to]))
	}
	line("}")
	return b.Bytes(), nil
}

func stroke(t *thing) string {
	if t.live() {
		return "penwidth=3"
	}
	return "style=dashed"
}

func texts(lines []line) []string {
	out := make([]string, len(lines))
	for i, l := range lines {
		out[i] = l.text
	}
	return out
}

// quoted makes lines one string of the language. A backslash would begin an escape of
// Graphviz.
func quoted(lines []string) string {
	for i, l := range lines {
		lines[i] = strings.ReplaceAll(l, `\`, `\\`)
	}
	s := strings.Join(lines, "\n")
	s = strings.ReplaceAll(s, `"`, `\"`)
	return `"` + strings.ReplaceAll(s, "\n", `\n`) + `"`
}
