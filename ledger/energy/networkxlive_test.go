//go:build networkx

package energy

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"
)

var (
	record = flag.Bool("record", false, "write testdata/networkx/*.json anew")
	python = flag.String("python", "python3", "the Python that has NetworkX")
)

const recordHow = "go test -tags networkx ./ledger/energy -run TestNetworkXRecord -record"

// ask runs solve.py and reads its answer into out.
func ask(t testing.TB, question, out any) {
	t.Helper()
	in, err := json.Marshal(question)
	if err != nil {
		t.Fatal(err)
	}
	var stdout, stderr bytes.Buffer
	cmd := exec.CommandContext(t.Context(), *python, "testdata/networkx/solve.py")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(in), &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s can't run NetworkX, install python3-networkx: %v\n%s", *python, err, stderr.String())
	}
	if err := json.Unmarshal(stdout.Bytes(), out); err != nil {
		t.Fatalf("%v in %.200s", err, stdout.String())
	}
}

func solve(t testing.TB, cases []nxCase) (answers []nxAnswer, version string) {
	t.Helper()
	var out struct {
		Version string
		Answers []nxAnswer
	}
	ask(t, map[string]any{"cases": cases}, &out)
	if len(out.Answers) != len(cases) {
		t.Fatalf("%d answers to %d cases", len(out.Answers), len(cases))
	}
	return out.Answers, out.Version
}

// mix says what a random case is made of, in tenths.
type mix struct {
	name                            string
	sources, parts                  int
	bare, controls, doubled, oneWay int
	partsAmongSources               bool
}

var mixes = []mix{
	{name: "plain", sources: 1, parts: 1},
	{name: "many-sources", sources: 5, parts: 3, bare: 2, oneWay: 2},
	{name: "controls", sources: 3, parts: 2, bare: 1, controls: 3, oneWay: 2},
	{name: "double-links", sources: 3, parts: 2, bare: 1, controls: 1, doubled: 5},
	{name: "one-way", sources: 3, parts: 2, bare: 2, controls: 1, doubled: 1, oneWay: 7, partsAmongSources: true},
}

// draw makes a random case.
func (m mix) draw(r *rand.Rand) nxCase {
	c := nxCase{Nodes: 4 + r.IntN(22)}
	order := r.Perm(c.Nodes)
	sources := min(1+r.IntN(m.sources), c.Nodes-2)
	parts := min(1+r.IntN(m.parts), c.Nodes-sources)
	c.Sources, c.Parts = order[:sources:sources], order[sources:sources+parts]
	if m.partsAmongSources && r.IntN(15) == 0 {
		c.Parts = order[sources-1 : sources-1+parts]
	}
	taken := map[[2]int]bool{}
	for most := c.Nodes + r.IntN(2*c.Nodes); len(c.Links) < most; {
		u, v := r.IntN(c.Nodes), r.IntN(c.Nodes)
		pair := [2]int{min(u, v), max(u, v)}
		if u == v || taken[pair] && m.name == "plain" {
			if m.name == "plain" && len(taken) == c.Nodes*(c.Nodes-1)/2 {
				break
			}
			continue
		}
		taken[pair] = true
		l := [4]int{u, v, nxPoint, 0}
		switch x := r.IntN(10); {
		case x < m.bare:
			l[2] = nxBare
		case x < m.bare+m.controls:
			l[2] = nxControl
		}
		// a control is no reason for a direction
		if l[2] != nxControl && r.IntN(10) < m.oneWay {
			l[3] = 1
		}
		c.Links = append(c.Links, l)
		if r.IntN(10) < m.doubled {
			l[2] = nxPoint
			c.Links = append(c.Links, l)
		}
	}
	return c
}

// TestNetworkX compares fresh random drawings with NetworkX.
func TestNetworkX(t *testing.T) {
	var cases []nxCase
	var names []string
	for i, m := range mixes {
		for k := range uint64(150) {
			cases = append(cases, m.draw(rand.New(rand.NewPCG(31+uint64(i), k))))
			names = append(names, fmt.Sprintf("%s %d", m.name, k))
		}
	}
	answers, version := solve(t, cases)
	t.Logf("%d cases by %s", len(cases), version)
	for i := range cases {
		cases[i].compare(t, names[i], answers[i])
	}
}

// TestNetworkXRecord asks NetworkX again about the recorded cases, or with
// -record writes the files anew.
func TestNetworkXRecord(t *testing.T) {
	for i, m := range mixes {
		name := "testdata/networkx/" + m.name + ".json"
		var cases []nxCase
		if *record {
			for k := range uint64(100) {
				cases = append(cases, m.draw(rand.New(rand.NewPCG(41+uint64(i), k))))
			}
		} else {
			for _, x := range readRecorded(t, name).Cases {
				cases = append(cases, x.Case)
			}
		}
		answers, version := solve(t, cases)
		t.Logf("%s: %d cases by %s", m.name, len(cases), version)
		if *record {
			writeRecorded(t, name, version, cases, answers)
			continue
		}
		for k, x := range readRecorded(t, name).Cases {
			if got, want := fmt.Sprint(answers[k].plain()), fmt.Sprint(x.Answer.plain()); got != want {
				t.Errorf("%s, case %d: %s, recorded %s", m.name, k, got, want)
			}
		}
	}
}

// plain spells the pointer out.
func (a nxAnswer) plain() []any {
	out := []any{a.Least, a.Nearest, a.Double, a.Dominators, a.Dominators == nil}
	if a.EdgeCut != nil {
		out = append(out, *a.EdgeCut)
	}
	return out
}

// writeRecorded writes one case a line.
func writeRecorded(t *testing.T, name, version string, cases []nxCase, answers []nxAnswer) {
	t.Helper()
	var lines []string
	for k := range cases {
		line, err := json.Marshal(answered{cases[k], answers[k]})
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, string(line))
	}
	text := fmt.Sprintf("{\"made_with\": %q,\n\"how\": %q,\n\"cases\": [\n%s\n]}\n", version, recordHow, strings.Join(lines, ",\n"))
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// BenchmarkNetworkX plans the leg in the drawing of 100,000 devices and gives the
// same graph to NetworkX, whose time is that of minimum_cut alone, without
// reading or building.
func BenchmarkNetworkX(b *testing.B) {
	g := mustBuild(b, bigYards()...)
	c := nxCase{Nodes: len(g.nodes)}
	for _, s := range g.sources {
		c.Sources = append(c.Sources, int(s))
	}
	z, err := g.zone("yard-4/leg")
	if err != nil {
		b.Fatal(err)
	}
	for _, p := range z.parts {
		c.Parts = append(c.Parts, int(p))
	}
	for i := range g.links {
		l := &g.links[i]
		what, oneWay := nxBare, 0
		if l.point >= 0 {
			what = nxPoint
		}
		if l.oneWay {
			oneWay = 1
		}
		c.Links = append(c.Links, [4]int{int(l.from), int(l.to), what, oneWay})
	}
	for _, flow := range []string{"preflow_push", "dinitz", "edmonds_karp", "shortest_augmenting_path", "boykov_kolmogorov"} {
		b.Run(flow, func(b *testing.B) {
			var ours []time.Duration
			var theirs float64
			for b.Loop() {
				var out struct {
					Version string
					Speed   struct {
						Seconds float64
						Value   int
					}
				}
				ask(b, map[string]any{"speed": c, "flow": flow}, &out)
				theirs = out.Speed.Seconds
				ours = ours[:0]
				for range 9 {
					begin := time.Now()
					p := mustPlan(b, g, "yard-4/leg", single)
					ours = append(ours, time.Since(begin))
					if len(p.Points) != out.Speed.Value {
						b.Fatalf("%d points, NetworkX has %d", len(p.Points), out.Speed.Value)
					}
				}
				b.Logf("%s", out.Version)
			}
			slices.Sort(ours)
			b.ReportMetric(theirs, "networkx-s")
			b.ReportMetric(ours[4].Seconds()*1000, "plan-ms")
			b.ReportMetric(theirs/ours[4].Seconds(), "times-faster")
		})
	}
}
