package energy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	single = recordv1.Isolation_ISOLATION_SINGLE
	double = recordv1.Isolation_ISOLATION_DOUBLE
	asked  = recordv1.Isolation_ISOLATION_UNSPECIFIED
)

// sketch is a drawing being written by a test.
type sketch struct{ *recordv1.Drawing }

func newSketch(yard string) *sketch {
	return &sketch{&recordv1.Drawing{Yard: yard, Revision: 1, Title: "energy of " + yard}}
}

var kindByWord = map[string]recordv1.NodeKind{
	"source": recordv1.NodeKind_NODE_KIND_SOURCE, "bus": recordv1.NodeKind_NODE_KIND_BUS,
	"machine": recordv1.NodeKind_NODE_KIND_MACHINE, "store": recordv1.NodeKind_NODE_KIND_STORE,
	"control": recordv1.NodeKind_NODE_KIND_CONTROL,
}

// add adds a node written as "kind name", with its place after "@".
func (s *sketch) add(text string) *recordv1.Node {
	text, where, _ := strings.Cut(text, "@")
	kind, name, _ := strings.Cut(strings.TrimSpace(text), " ")
	n := &recordv1.Node{Name: name, Kind: kindByWord[kind], Place: where}
	if kind == "store" {
		n.Store = &recordv1.Store{Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Release: "wait, then measure"}
	}
	s.Nodes = append(s.Nodes, n)
	return n
}

var mediumByWord = map[string]recordv1.Medium{
	"electricity": recordv1.Medium_MEDIUM_ELECTRICITY, "motion": recordv1.Medium_MEDIUM_MOTION,
	"grain": recordv1.Medium_MEDIUM_GRAIN, "air": recordv1.Medium_MEDIUM_AIR, "hydraulic": recordv1.Medium_MEDIUM_HYDRAULIC,
	"heat": recordv1.Medium_MEDIUM_HEAT, "fuel gas": recordv1.Medium_MEDIUM_FUEL_GAS, "chemical": recordv1.Medium_MEDIUM_CHEMICAL,
}

// link adds a link written as "name: from medium to", with what stands in it
// after a comma: "kind panel/device". Isolating kinds are lockable.
func (s *sketch) link(text string) *recordv1.Link {
	name, rest, _ := strings.Cut(text, ": ")
	rest, in, _ := strings.Cut(rest, ", ")
	from, rest, _ := strings.Cut(rest, " ")
	space := strings.LastIndex(rest, " ")
	l := &recordv1.Link{Name: name, From: from, To: rest[space+1:], Medium: mediumByWord[rest[:space]]}
	if in != "" {
		space = strings.LastIndex(in, " ")
		panel, device, _ := strings.Cut(in[space+1:], "/")
		l.Device = &recordv1.Device{Kind: deviceByWord(in[:space]), Panel: panel, Device: device}
		l.Device.Lockable = devices[l.Device.Kind].isolates
	}
	s.Links = append(s.Links, l)
	return l
}

func deviceByWord(word string) recordv1.DeviceKind {
	for k, t := range devices {
		if t.word == word {
			return k
		}
	}
	return recordv1.DeviceKind_DEVICE_KIND_UNSPECIFIED
}

// zone adds a zone whose parts are written as "node medium, medium".
func (s *sketch) zone(name string, parts ...string) *recordv1.Zone {
	z := &recordv1.Zone{Name: name}
	for _, text := range parts {
		node, media, _ := strings.Cut(text, " ")
		p := &recordv1.ExposedPart{Node: node}
		for m := range strings.SplitSeq(media, ", ") {
			p.Media = append(p.Media, mediumByWord[m])
		}
		z.Parts = append(z.Parts, p)
	}
	s.Zones = append(s.Zones, z)
	return z
}

func mustBuild(t testing.TB, ds ...*recordv1.Drawing) *Graph {
	t.Helper()
	g, problems := Build(ds)
	if g == nil {
		t.Fatalf("drawings refused: %v", problems)
	}
	return g
}

func mustPlan(t testing.TB, g *Graph, zone string, level recordv1.Isolation) Plan {
	t.Helper()
	p, err := g.Plan(zone, level)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func mustExamine(t testing.TB, g *Graph, zone string, level recordv1.Isolation, points ...string) Verdict {
	t.Helper()
	v, err := g.Examine(zone, points, level)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// randomSketches draws a few nodes over two yards, joined by at most most
// points and some links that can't be opened; "eastfork/pit" is the zone.
func randomSketches(r *rand.Rand, nodes, most int, blanks bool) []*recordv1.Drawing {
	yards := []*sketch{newSketch("eastfork"), newSketch("millrow")}
	home := func(i int) *sketch { return yards[i%2] }
	id := func(i int) string { return fmt.Sprintf("%s/n%02d", home(i).Yard, i) }
	for i := range nodes {
		word := "machine"
		if i == 0 || i == 1 && r.IntN(3) == 0 {
			word = "source"
		} else if r.IntN(4) == 0 {
			word = "store"
		}
		home(i).add(fmt.Sprintf("%s n%02d", word, i))
	}
	points := 0
	for k := range nodes + r.IntN(nodes+4) {
		i, j := r.IntN(nodes), r.IntN(nodes)
		if i == j {
			continue
		}
		s := home(k)
		l := s.link(fmt.Sprintf("l%02d: %s motion %s", k, id(i), id(j)))
		if points < most && r.IntN(5) > 0 {
			points++
			kind := recordv1.DeviceKind_DEVICE_KIND_BLOCK
			if blanks && r.IntN(3) == 0 {
				kind = recordv1.DeviceKind_DEVICE_KIND_BLANK
			}
			l.Device = &recordv1.Device{Kind: kind, Panel: "p", Device: fmt.Sprintf("d%02d", k), Lockable: true}
		} else if r.IntN(3) == 0 {
			l.Device = &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_FUSE}
		}
		if r.IntN(3) == 0 {
			l.OneWay = "the slope lets nothing climb"
		}
	}
	part := func(i int) string { return id(i) + " motion" }
	if nodes > 3 && r.IntN(3) == 0 {
		yards[0].zone("pit", part(nodes-1), part(nodes-2))
	} else {
		yards[0].zone("pit", part(nodes-1))
	}
	return []*recordv1.Drawing{yards[0].Drawing, yards[1].Drawing}
}

func ids(points []Point) []string {
	var out []string
	for _, p := range points {
		out = append(out, p.ID)
	}
	return out
}

func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: got %q, want %q", what, got, want)
	}
}
