package energy

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// recordedFile is one file of cases that NetworkX answered.
type recordedFile struct {
	MadeWith string     `json:"made_with"`
	How      string     `json:"how"`
	Cases    []answered `json:"cases"`
}

type answered struct {
	Case   nxCase   `json:"case"`
	Answer nxAnswer `json:"answer"`
}

// nxCase is a drawing as testdata/networkx/solve.py reads it.
type nxCase struct {
	Nodes   int      `json:"nodes"`
	Sources []int    `json:"sources"`
	Parts   []int    `json:"parts"`
	Links   [][4]int `json:"links"` // from, to, what, one way
}

// What stands in a link of a case.
const (
	nxBare = iota
	nxPoint
	nxControl
)

// nxAnswer is what solve.py says of a case; its head explains each.
type nxAnswer struct {
	Least      int   `json:"least"`
	Nearest    []int `json:"nearest"`
	Double     int   `json:"double"`
	Dominators []int `json:"dominators"`
	EdgeCut    *int  `json:"edge_cut"`
}

// drawings draws a case over two yards; "eastfork/z" is the zone.
func (c nxCase) drawings() []*recordv1.Drawing {
	yards := []*sketch{newSketch("eastfork"), newSketch("millrow")}
	id := func(i int) string { return fmt.Sprintf("%s/n%d", yards[i%2].Yard, i) }
	for i := range c.Nodes {
		word := "bus"
		if slices.Contains(c.Sources, i) {
			word = "source"
		}
		yards[i%2].add(fmt.Sprintf("%s n%d", word, i))
	}
	for k, l := range c.Links {
		text := fmt.Sprintf("l%d: %s electricity %s", k, id(l[0]), id(l[1]))
		switch l[2] {
		case nxPoint:
			text += fmt.Sprintf(", breaker p/d%d", k)
		case nxControl:
			text += fmt.Sprintf(", %s p/d%d", []string{"push button", "selector", "contactor", "programmable output", "relay", "fuse"}[k%6], k)
		}
		link := yards[k%2].link(text)
		if l[3] == 1 && devices[link.GetDevice().GetKind()].direction || l[3] == 1 && link.Device == nil {
			link.OneWay = "it only takes"
		}
	}
	var parts []string
	for _, p := range c.Parts {
		parts = append(parts, id(p)+" electricity")
	}
	yards[0].zone("z", parts...)
	return []*recordv1.Drawing{yards[0].Drawing, yards[1].Drawing}
}

// point names the point in link k.
func (c nxCase) point(k int) string {
	return fmt.Sprintf("%s/p/d%d", []string{"eastfork", "millrow"}[k%2], k)
}

// compare answers a case with the package and wants what NetworkX says. It
// returns how many points the plan has, -1 for none.
func (c nxCase) compare(t *testing.T, name string, want nxAnswer) int {
	t.Helper()
	g := mustBuild(t, c.drawings()...)
	least := -1
	p := mustPlan(t, g, "eastfork/z", single)
	if p.Isolates {
		least = len(p.Points)
	}
	var nearest []string
	for _, k := range want.Nearest {
		nearest = append(nearest, c.point(k))
	}
	slices.Sort(nearest)
	if least != want.Least || !slices.Equal(p.Points, nearest) {
		t.Errorf("%s: plan %q, NetworkX has %d: %q", name, p.Points, want.Least, nearest)
	}
	if want.EdgeCut != nil && *want.EdgeCut != least {
		t.Errorf("%s: %d points, NetworkX's minimum edge cut has %d", name, least, *want.EdgeCut)
	}
	twice := -1
	if p := mustPlan(t, g, "eastfork/z", double); p.Isolates {
		twice = len(p.Points)
	}
	if twice != want.Double {
		t.Errorf("%s: %d points for double isolation, NetworkX has %d", name, twice, want.Double)
	}
	for k, l := range c.Links {
		if l[2] != nxPoint {
			continue
		}
		alone := want.Dominators == nil || slices.Contains(want.Dominators, k)
		if got := mustExamine(t, g, "eastfork/z", single, c.point(k)).Isolates; got != alone {
			t.Errorf("%s: %s isolates alone %v, NetworkX says %v", name, c.point(k), got, alone)
		}
	}
	return least
}

// networkxRecorded checks every recorded case.
func networkxRecorded(t *testing.T) {
	files, err := filepath.Glob("testdata/networkx/*.json")
	if err != nil || len(files) != 5 {
		t.Fatalf("%q, %v: want five files", files, err)
	}
	sizes, cases, twice := map[int]int{}, 0, 0
	for _, name := range files {
		f := readRecorded(t, name)
		t.Logf("%s: %d cases by %s", filepath.Base(name), len(f.Cases), f.MadeWith)
		for i, x := range f.Cases {
			sizes[x.Case.compare(t, fmt.Sprintf("%s, case %d", filepath.Base(name), i), x.Answer)]++
			cases++
			if x.Answer.Double > 0 {
				twice++
			}
		}
	}
	if cases < 400 || sizes[-1] < 50 || sizes[0] < 5 || sizes[1] < 40 || sizes[2] < 40 || sizes[3] < 30 || twice < 50 {
		t.Errorf("%d cases, sizes %v, %d double: too one-sided", cases, sizes, twice)
	}
}

func readRecorded(t *testing.T, name string) recordedFile {
	t.Helper()
	var f recordedFile
	raw, err := os.ReadFile(name)
	if err == nil {
		err = json.Unmarshal(raw, &f)
	}
	if err != nil || f.MadeWith == "" || f.How == "" {
		t.Fatalf("%s: %v: record it again", name, err)
	}
	return f
}
