package energy

import (
	"math/rand/v2"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestBlank checks that a blank alone is double isolation and a gate alone isn't
// (standards on process isolation: slide gate alone non-proved, gate and removed
// spout or blank positive).
func TestBlank(t *testing.T) {
	for _, x := range []struct {
		devices []string
		points  string
		fit     string
	}{
		{[]string{"gate"}, "", "fit a second lockable gate in series with gate eastfork/spout/d0 in link eastfork/l0, eastfork/n0 to eastfork/n1"},
		{[]string{"blank"}, "d0", ""},
		{[]string{"gate", "gate"}, "d0 d1", ""},
		{[]string{"gate", "gate", "gate"}, "d1 d2", ""},
		{[]string{"gate", "blank", "gate"}, "d1", ""},
		{[]string{"gate", "", "backstop"}, "", "fit a lockable gate in link eastfork/l2, eastfork/n2 to eastfork/n3"},
		{[]string{"check valve"}, "", "fit two lockable devices in series (each a gate) in link eastfork/l0, eastfork/n0 to eastfork/n1"},
	} {
		s := newSketch("eastfork")
		s.add("source n0")
		for i, word := range x.devices {
			name := string(rune('1' + i))
			s.add("bus n" + name)
			text := "l" + string(rune('0'+i)) + ": n" + string(rune('0'+i)) + " grain n" + name
			if word != "" {
				text += ", " + word + " spout/d" + string(rune('0'+i))
			}
			s.link(text)
		}
		s.zone("pit", "n"+string(rune('0'+len(x.devices)))+" grain")
		g := mustBuild(t, s.Drawing)
		p := mustPlan(t, g, "eastfork/pit", asked)
		if p.Level != double || p.Isolates != (x.points != "") || p.WouldHaveToFit != x.fit || p.Fewest != p.Isolates {
			t.Errorf("%v: %+v", x.devices, p)
		}
		if got := strings.ReplaceAll(strings.Join(p.Points, " "), "eastfork/spout/", ""); got != x.points {
			t.Errorf("%v: points %q, want %q", x.devices, got, x.points)
		}
	}
}

// TestOneOfTwo names the path that has one device where two are asked.
func TestOneOfTwo(t *testing.T) {
	s := newSketch("eastfork")
	s.add("source bin")
	s.add("bus spout")
	s.add("machine pit")
	s.link("a: bin grain spout, gate bin/slide")
	s.link("b: spout grain pit, gate pit/slide")
	s.zone("z", "pit grain")
	g := mustBuild(t, s.Drawing)
	v := mustExamine(t, g, "eastfork/z", asked, "eastfork/pit/slide")
	if v.Isolates || v.Level != double || len(v.Live) != 1 {
		t.Fatalf("%+v", v)
	}
	same(t, "held", v.Live[0].Held, []string{"eastfork/pit/slide"})
	if !mustExamine(t, g, "eastfork/z", single, "eastfork/pit/slide").Isolates {
		t.Error("one gate is single isolation")
	}
	if !mustExamine(t, g, "eastfork/z", asked, "eastfork/pit/slide", "eastfork/bin/slide").Isolates {
		t.Error("two gates are double isolation")
	}
}

// TestDefaultIsolation reads the level from what the drawing says of the zone.
func TestDefaultIsolation(t *testing.T) {
	for _, x := range []struct {
		media   string
		entered bool
		asks    recordv1.Isolation
		waived  bool
		want    recordv1.Isolation
	}{
		{media: "electricity, motion, air, hydraulic, heat", want: single},
		{media: "grain", want: double},
		{media: "electricity, fuel gas", want: double},
		{media: "chemical", want: double},
		{media: "motion", entered: true, want: double},
		{media: "motion", asks: double, want: double},
		{media: "motion", asks: single, want: single},
		{media: "grain", asks: single, waived: true, want: single},
		{media: "motion", entered: true, asks: single, waived: true, want: single},
	} {
		s := newSketch("eastfork")
		s.add("machine pit")
		z := s.zone("z", "pit "+x.media)
		z.Isolation, z.Entered = x.asks, x.entered
		if x.waived {
			z.WaivedBy, z.WaivedWhy = "safety lead", "the bin is empty and its spout is off"
		}
		g := mustBuild(t, s.Drawing)
		if got := g.Isolation("eastfork/z"); got != x.want {
			t.Errorf("%+v: %v", x, got)
		}
		if v, _ := g.Zone("eastfork/z"); (v.WaivedBy != "") != x.waived || v.Isolation != x.want || v.Entered != x.entered || len(v.Parts) != 1 {
			t.Errorf("zone %+v", v)
		}
		if v := mustExamine(t, g, "eastfork/z", asked); v.Level != x.want {
			t.Errorf("%+v: examined at %v", x, v.Level)
		}
	}
	// a waiver without a name or reason is none, also where nobody checked it
	if isolation(&recordv1.Zone{Entered: true, Isolation: single, WaivedBy: " ", WaivedWhy: "dry"}) != double {
		t.Error("an unnamed waiver counts")
	}
}

// TestFitAgainstEverySet compares what would have to be fitted with every way of
// fitting devices in the links of small drawings.
func TestFitAgainstEverySet(t *testing.T) {
	tried := 0
	for trial := range uint64(4000) {
		r := rand.New(rand.NewPCG(6, trial))
		ds := randomSketches(r, 3+r.IntN(2), 4, trial%2 == 0)
		g := mustBuild(t, ds...)
		z, err := g.zone("eastfork/pit")
		if err != nil {
			t.Fatal(err)
		}
		if len(g.links) > 8 || g.nodes[z.parts[0]].kind == recordv1.NodeKind_NODE_KIND_SOURCE {
			continue
		}
		for _, level := range []recordv1.Isolation{single, double} {
			if p := mustPlan(t, g, "eastfork/pit", level); p.Isolates {
				continue
			}
			tried++
			links, counts := g.problem(z, level, true).fit()
			got, fitted := 0, make([]int, len(g.links))
			for i, l := range links {
				got += counts[i]
				fitted[l] = counts[i]
			}
			needed := int(need(level))
			if !cutWith(g, z, fitted, needed) {
				t.Fatalf("trial %d, %v: fitting %v isn't enough", trial, level, fitted)
			}
			best := 99
			try := make([]int, len(g.links))
			for {
				sum := 0
				for _, n := range try {
					sum += n
				}
				if sum < best && cutWith(g, z, try, needed) {
					best = sum
				}
				i := 0
				for i < len(try) && try[i] == needed {
					try[i] = 0
					i++
				}
				if i == len(try) {
					break
				}
				try[i]++
			}
			if got != best {
				t.Fatalf("trial %d, %v: %d devices in %v, %d would do", trial, level, got, fitted, best)
			}
		}
	}
	if tried < 200 {
		t.Errorf("only %d drawings needed fitting", tried)
	}
}

// cutWith reports whether every simple path into z holds enough devices when all
// points are open and more are fitted.
func cutWith(g *Graph, z *zone, fitted []int, needed int) bool {
	on := make([]bool, len(g.nodes))
	var back func(n int32, have int) bool
	back = func(n int32, have int) bool {
		if have >= needed {
			return true
		}
		if g.nodes[n].kind == recordv1.NodeKind_NODE_KIND_SOURCE {
			return false
		}
		on[n] = true
		defer func() { on[n] = false }()
		for i, l := range g.links {
			have := have + fitted[i]
			if l.point >= 0 {
				have += g.points[l.point].Weight
			}
			if l.to == n && !on[l.from] && !back(l.from, have) || l.from == n && !l.oneWay && !on[l.to] && !back(l.to, have) {
				return false
			}
		}
		return true
	}
	for _, n := range z.parts {
		if !back(n, 0) {
			return false
		}
	}
	return true
}

// TestStepsRunOut: a drawing too slow to finish gets a set that isolates, not
// called the fewest.
func TestStepsRunOut(t *testing.T) {
	given := 0
	for trial := range uint64(3000) {
		r := rand.New(rand.NewPCG(9, trial))
		g := mustBuild(t, randomSketches(r, 4+r.IntN(8), 20, true)...)
		z, err := g.zone("eastfork/pit")
		if err != nil {
			t.Fatal(err)
		}
		for _, level := range []recordv1.Isolation{single, double} {
			if !mustPlan(t, g, "eastfork/pit", level).Isolates {
				continue
			}
			p := g.problem(z, level, false)
			p.steps = int64(r.IntN(3000))
			open, fewest := p.cut()
			if !g.examine(z, open, level).Isolates {
				t.Fatalf("trial %d, %v: %q doesn't isolate", trial, level, g.named(open))
			}
			if !fewest {
				given++
			} else if want := mustPlan(t, g, "eastfork/pit", level).Points; len(want) != len(g.named(open)) {
				t.Fatalf("trial %d, %v: %q called the fewest, %q is", trial, level, g.named(open), want)
			}
		}
		p := g.problem(z, double, true)
		p.steps = 1
		if links, _ := p.fit(); len(links) > 0 && len(p.spans) > 0 {
			t.Fatalf("trial %d: fitted in one step", trial)
		}
	}
	if given < 30 {
		t.Errorf("the steps ran out only %d times", given)
	}
}
