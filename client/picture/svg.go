package picture

import (
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"strings"

	"yardhasp/ledger"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// OnlyDrawn stands on every picture, before the caution.
const OnlyDrawn = "This shows what the drawings say. Only valid readings at the steel prove anything dead."

// caution is the ledger's caution, in lines that fit a narrow picture.
func caution() []string {
	head, tail, _ := strings.Cut(ledger.Caution, ", follow ")
	return []string{head + ",", "follow " + tail}
}

// SVG draws the plan's zone. drawings are those that g was built from, and plan is a
// plan of g. It fails on a zone that is not on the drawings.
func SVG(g *energy.Graph, drawings []*recordv1.Drawing, plan energy.Plan) ([]byte, error) {
	s, err := newScene(g, drawings, plan)
	if err != nil {
		return nil, err
	}
	l := s.layout()
	head, foot := s.heading(), s.footing()
	width := max(l.width, 760)
	top, bottom := float64(len(head))*18+30, float64(len(foot))*15+130
	p := &pen{}
	p.line(`<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="0 0 %s %s" font-family="DejaVu Sans, Verdana, sans-serif">`,
		number(width), number(top+l.height+bottom), number(width), number(top+l.height+bottom))
	p.line(`<title>%s</title>`, escape("zone "+s.zone.ID))
	p.line(`<defs><marker id="arrow" viewBox="0 0 10 10" refX="9" refY="5" markerUnits="userSpaceOnUse" markerWidth="12" markerHeight="12" orient="auto"><path d="M0,0 L10,5 L0,10 z"/></marker></defs>`)
	p.line(`<rect width="100%%" height="100%%" fill="white"/>`)
	y := 28.0
	for i, t := range head {
		p.text(margin, y, line{t, 14, i == 0 || i == 1 && !s.plan.Isolates}, "start", "black")
		y += 18
	}
	p.line(`<g transform="translate(%s %s)">`, number((width-l.width)/2), number(top))
	for _, w := range l.lines {
		p.way(s, l, w)
	}
	for i := range l.boxes {
		p.box(s, &l.boxes[i])
	}
	p.line(`</g>`)
	p.legend(margin, top+l.height+10, s, foot)
	p.line(`</svg>`)
	return p.buf.Bytes(), nil
}

// heading is the title of a picture and its main answer.
func (s *scene) heading() []string {
	level := "single"
	if s.plan.Level == recordv1.Isolation_ISOLATION_DOUBLE {
		level = "double"
	}
	out := []string{"Zone " + s.zone.ID}
	if s.zone.Label != "" {
		out[0] += ": " + s.zone.Label
	}
	if s.plan.Isolates {
		out = append(out, fmt.Sprintf("Would be cut off, on these drawings, once %d points are open and locked, %s isolation", len(s.plan.Points), level))
	} else {
		out = append(out, "NOT CUT OFF: energy still reaches what says EXPOSED PART and LIVE")
	}
	if s.zone.WaivedBy != "" {
		out = append(out, wrap("Double isolation waived by "+s.zone.WaivedBy+": "+s.zone.WaivedWhy, 90)...)
	}
	return out
}

// footing is the list of locks under a picture.
func (s *scene) footing() []string {
	var out []string
	for i, id := range s.plan.Points {
		text := fmt.Sprintf("Lock %d: %s", i+1, id)
		for _, t := range s.ties {
			if t.lock != i+1 {
				continue
			}
			if t.label != "" {
				text += ", " + t.label
			}
			if place := cmp.Or(s.nodes[t.from].place, s.nodes[t.to].place); place != "" {
				text += "; " + place
			}
		}
		out = append(out, text)
	}
	if s.left > 0 {
		out = append(out, fmt.Sprintf("%d more nodes of the dead side are not drawn", s.left))
	}
	out = append(out, "Of each feed the way to one source is drawn; others may feed the same wires.")
	return append(append(out, "Drawn from "+strings.Join(s.onFile, ", ")+".", OnlyDrawn), caution()...)
}

// pen writes SVG.
type pen struct{ buf bytes.Buffer }

func (p *pen) line(format string, v ...any) { fmt.Fprintf(&p.buf, format+"\n", v...) }

// number writes a short number, the same on every machine.
func number(x float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", x), ".0") }

// escape makes text safe in SVG. It replaces characters that XML cannot hold.
func escape(s string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		return ""
	}
	return b.String()
}

func (p *pen) text(x, y float64, t line, anchor, fill string) {
	weight := ""
	if t.bold {
		weight = ` font-weight="bold"`
	}
	p.line(`<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="%s"%s>%s</text>`, number(x), number(y), number(t.size), anchor, fill, weight, escape(t.text))
}

// way draws a line, thick where its node is live and dashed where it is cut off.
func (p *pen) way(s *scene, l *layout, w wayLine) {
	var points []string
	for _, at := range l.route(w) {
		points = append(points, number(at.x)+","+number(at.y))
	}
	style := `stroke-width="1.4" stroke-dasharray="5 4"`
	if s.nodes[w.node].live() {
		style = `stroke-width="3.2"`
	}
	if w.head {
		style += ` marker-end="url(#arrow)"`
	}
	p.line(`<polyline points="%s" fill="none" stroke="black" %s/>`, strings.Join(points, " "), style)
}

func (p *pen) box(s *scene, b *box) {
	switch {
	case b.node >= 0:
		t := &s.nodes[b.node]
		p.shape(t, b.x, b.y, b.w, b.h)
		p.words(t.lines(), b, "black")
	case b.tie >= 0:
		t := &s.ties[b.tie]
		switch {
		case t.lock > 0:
			p.shackle(b.x, b.y, b.w, b.h)
			p.words(t.lines(), b, "white")
		case t.link.GetDevice() == nil:
			p.line(`<rect x="%s" y="%s" width="%s" height="%s" fill="white"/>`, number(b.x-b.w/2), number(b.y-b.h/2), number(b.w), number(b.h))
			p.words(t.lines(), b, "black")
		default:
			p.line(`<rect x="%s" y="%s" width="%s" height="%s" fill="#e8e8e8" stroke="black" stroke-width="0.8"/>`, number(b.x-b.w/2), number(b.y-b.h/2), number(b.w), number(b.h))
			p.words(t.lines(), b, "black")
		}
	}
}

func (p *pen) words(lines []line, b *box, fill string) {
	y := b.y - b.h/2 + 5
	for _, t := range lines {
		y += t.size + 1.5
		p.text(b.x, y, t, "middle", fill)
		y += 2.5
	}
}

// shape draws a node by its kind.
func (p *pen) shape(t *thing, x, y, w, h float64) {
	left, top := x-w/2, y-h/2
	heavy := "1.6"
	if t.part {
		heavy = "4.5"
	}
	rect := func(inset, round float64, width string) {
		p.line(`<rect x="%s" y="%s" width="%s" height="%s" rx="%s" fill="white" stroke="black" stroke-width="%s"/>`, number(left+inset), number(top+inset), number(w-2*inset), number(h-2*inset), number(round), width)
	}
	polygon := func(points ...float64) {
		var list []string
		for i := 0; i < len(points); i += 2 {
			list = append(list, number(points[i])+","+number(points[i+1]))
		}
		p.line(`<polygon points="%s" fill="white" stroke="black" stroke-width="%s"/>`, strings.Join(list, " "), heavy)
	}
	switch t.kind {
	case recordv1.NodeKind_NODE_KIND_SOURCE:
		const in = pointed + 6
		polygon(left, y, left+in, top, left+w-in, top, left+w, y, left+w-in, top+h, left+in, top+h)
	case recordv1.NodeKind_NODE_KIND_CONTROL:
		const c = 9
		polygon(left+c, top, left+w-c, top, left+w, top+c, left+w, top+h-c, left+w-c, top+h, left+c, top+h, left, top+h-c, left, top+c)
	case recordv1.NodeKind_NODE_KIND_MACHINE:
		rect(0, 14, heavy)
	case recordv1.NodeKind_NODE_KIND_STORE:
		rect(0, 0, heavy)
		rect(3.5, 0, "0.8")
	default:
		rect(0, 0, heavy)
	}
}

// shackle draws a point of the plan: a black body with a bow over it.
func (p *pen) shackle(x, y, w, h float64) {
	left, top := x-w/2, y-h/2
	p.line(`<path d="M%s,%s v-6 a8,8 0 0 1 16,0 v6" fill="white" stroke="black" stroke-width="3.5"/>`, number(left+14), number(top+1))
	p.line(`<rect x="%s" y="%s" width="%s" height="%s" rx="3" fill="black"/>`, number(left), number(top), number(w), number(h))
}

// legend explains the shapes and lists the locks.
func (p *pen) legend(x, y float64, s *scene, foot []string) {
	p.line(`<g transform="translate(%s %s)">`, number(x), number(y))
	kinds := []recordv1.NodeKind{recordv1.NodeKind_NODE_KIND_SOURCE, recordv1.NodeKind_NODE_KIND_BUS, recordv1.NodeKind_NODE_KIND_MACHINE, recordv1.NodeKind_NODE_KIND_STORE, recordv1.NodeKind_NODE_KIND_CONTROL}
	at := 48.0
	for _, k := range kinds {
		p.shape(&thing{kind: k}, at, 26, 72, 26)
		p.text(at, 30, line{kindWord(k), small, false}, "middle", "black")
		at += 108
	}
	p.shackle(at+4, 26, 72, 26)
	p.text(at+4, 30, line{"LOCK", small, true}, "middle", "white")
	at = 10
	p.line(`<line x1="%s" y1="62" x2="%s" y2="62" stroke="black" stroke-width="3.2"/>`, number(at), number(at+48))
	p.text(at+56, 66, line{"LIVE: a source still reaches it", small, false}, "start", "black")
	p.line(`<line x1="%s" y1="62" x2="%s" y2="62" stroke="black" stroke-width="1.4" stroke-dasharray="5 4"/>`, number(at+270), number(at+318))
	p.text(at+326, 66, line{"cut off by the locks, on the drawings", small, false}, "start", "black")
	yy := 92.0
	for i, t := range foot {
		p.text(0, yy, line{t, 11, i == len(foot)-1}, "start", "black")
		yy += 15
	}
	p.line(`</g>`)
}
