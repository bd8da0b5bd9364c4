package energy

import (
	"fmt"
	"math/bits"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// darkMachines counts the machines outside the zone that had a source and have
// none with the points open.
func (o *oracle) darkMachines(open uint32) (n int) {
	for _, id := range o.nodes {
		if o.kind[id] != recordv1.NodeKind_NODE_KIND_MACHINE || slices.Contains(o.parts, id) {
			continue
		}
		before, _ := o.least(id, 0)
		after, _ := o.least(id, open)
		if before == 0 && after > 0 {
			n++
		}
	}
	return n
}

// minimal lists every minimal isolating set, by trying all sets.
func (o *oracle) minimal(needed int) map[uint32]bool {
	sets := map[uint32]bool{}
	for open := range uint32(1) << len(o.points) {
		if !o.isolates(open, needed) {
			continue
		}
		least := true
		for left := open; left != 0 && least; left &= left - 1 {
			least = !o.isolates(open&^(left&-left), needed)
		}
		if least {
			sets[open] = true
		}
	}
	return sets
}

// onFront reports whether no set of sets beats open in locks or dark machines
// and is as good in the other.
func (o *oracle) onFront(open uint32, sets map[uint32]bool) bool {
	l, d := bits.OnesCount32(open), o.darkMachines(open)
	for s := range sets {
		sl, sd := bits.OnesCount32(s), o.darkMachines(s)
		if sl <= l && sd <= d && (sl < l || sd < d) {
			return false
		}
	}
	return true
}

// choicesTally counts what the random drawings gave, so that one-sided ones show.
type choicesTally struct {
	whole, cut, fronts int
	kinds              map[int]int // how many minimal sets a drawing has
}

// TestAlternativesAgainstEverySubset compares the sets with all minimal sets of
// small drawings: without More just those, the front exact; with More as many as
// asked for, and the least disruption among them.
func TestAlternativesAgainstEverySubset(t *testing.T) {
	sum := choicesTally{kinds: map[int]int{}}
	for trial := range uint64(1200) {
		r := rand.New(rand.NewPCG(20, trial))
		ds := randomSketches(r, 3+r.IntN(6), 9, trial%2 == 0)
		g, o := mustBuild(t, ds...), newOracle(ds)
		most := []int{1, 2, 3, 6, MaxChoices}[r.IntN(5)]
		for _, level := range []recordv1.Isolation{single, double} {
			o.checkChoices(t, fmt.Sprintf("trial %d, %v", trial, level), g, level, most, &sum)
		}
	}
	if sum.whole < 300 || sum.cut < 100 || len(sum.kinds) < 8 || sum.fronts < 50 {
		t.Errorf("one-sided trials: %+v", sum)
	}
}

func (o *oracle) checkChoices(t *testing.T, at string, g *Graph, level recordv1.Isolation, most int, sum *choicesTally) {
	t.Helper()
	all := o.minimal(int(need(level)))
	c, err := g.Alternatives("eastfork/pit", level, most)
	if err != nil || c.Level != level || c.Zone != "eastfork/pit" {
		t.Fatalf("%s: %+v, %v", at, c, err)
	}
	if want := min(len(all), most); len(c.Sets) != want || c.More != (len(all) > most) {
		t.Fatalf("%s: %d sets, more %v; want %d of %d", at, len(c.Sets), c.More, want, len(all))
	}
	if len(c.Sets) == 0 {
		return
	}
	sum.kinds[len(all)]++
	if got, want := c.Sets[0].Points, mustPlan(t, g, "eastfork/pit", level).Points; !slices.Equal(got, want) {
		t.Fatalf("%s: begins with %q, the plan is %q", at, got, want)
	}
	if c.More {
		sum.cut++
	} else {
		sum.whole++
	}
	leastDark := o.checkSets(t, at, c.Sets, all)
	sum.fronts += o.checkFront(t, at, c.Sets)
	for open := range all {
		if most > 1 && o.darkMachines(open) < leastDark {
			t.Fatalf("%s: %q leaves %d dark, the sets at least %d", at, o.set(open), o.darkMachines(open), leastDark)
		}
	}
}

// checkSets demands that each set is minimal and there once, with its figures, and that
// all but the first stand in order. It returns the fewest machines that one leaves dark.
func (o *oracle) checkSets(t *testing.T, at string, sets []Choice, all map[uint32]bool) (leastDark int) {
	t.Helper()
	seen, leastDark := map[uint32]bool{}, 1<<30
	for i, s := range sets {
		open := o.mask(s.Points)
		if !all[open] || seen[open] || s.Locks != bits.OnesCount32(open) || s.Dark != o.darkMachines(open) || len(s.GoesDark) != s.Dark {
			t.Fatalf("%s: %+v: minimal %v, twice %v, %d machines dark", at, s, all[open], seen[open], o.darkMachines(open))
		}
		seen[open] = true
		leastDark = min(leastDark, s.Dark)
		if i > 1 && (s.Locks < sets[i-1].Locks || s.Locks == sets[i-1].Locks && s.Dark < sets[i-1].Dark) {
			t.Fatalf("%s: %+v stands after %+v", at, s, sets[i-1])
		}
	}
	return leastDark
}

// checkFront demands that just the sets on the Pareto front are marked, and counts
// those beside the first.
func (o *oracle) checkFront(t *testing.T, at string, sets []Choice) (others int) {
	t.Helper()
	given := map[uint32]bool{}
	for _, s := range sets {
		given[o.mask(s.Points)] = true
	}
	for i, s := range sets {
		if s.Pareto != o.onFront(o.mask(s.Points), given) {
			t.Fatalf("%s: set %d of %+v: Pareto %v", at, i, sets, s.Pareto)
		}
		if s.Pareto && i > 0 {
			others++
		}
	}
	return others
}

// TestAlternativesStepsRunOut: what is found within few steps is minimal all the
// same, and More is set unless everything was found.
func TestAlternativesStepsRunOut(t *testing.T) {
	short := 0
	for trial := range uint64(300) {
		r := rand.New(rand.NewPCG(21, trial))
		ds := randomSketches(r, 4+r.IntN(5), 9, true)
		g, o := mustBuild(t, ds...), newOracle(ds)
		z, err := g.zone("eastfork/pit")
		if err != nil {
			t.Fatal(err)
		}
		for _, level := range []recordv1.Isolation{single, double} {
			all := o.minimal(int(need(level)))
			c := g.alternatives(z, level, MaxChoices, int64(r.IntN(30_000)))
			for _, s := range c.Sets {
				if !all[o.mask(s.Points)] {
					t.Fatalf("trial %d, %v: %q isn't minimal", trial, level, s.Points)
				}
			}
			if !c.More && len(c.Sets) != len(all) {
				t.Fatalf("trial %d, %v: %d of %d sets and no more", trial, level, len(c.Sets), len(all))
			}
			if len(c.Sets) < len(all) {
				short++
			}
		}
	}
	if short < 50 {
		t.Errorf("the steps ran out only %d times", short)
	}
}

// TestAlternativesOfALeg ranks what a supervisor would: one lock at the bucket,
// the feeder or the main, by what else stops.
func TestAlternativesOfALeg(t *testing.T) {
	g := mustBuild(t, legHouse().Drawing)
	c, err := g.Alternatives("stonebend/motor", asked, 10)
	if err != nil || c.More || len(c.Sets) != 3 {
		t.Fatalf("%+v, %v", c, err)
	}
	for i, want := range [][]string{{"stonebend/mcc-1/leg"}, {"stonebend/gear/main"}, {"stonebend/gear/mcc"}} {
		same(t, "set", c.Sets[i].Points, want)
		if c.Sets[i].Pareto != (i == 0) {
			t.Errorf("%q: Pareto %v", want, c.Sets[i].Pareto)
		}
	}
	same(t, "goes dark", c.Sets[1].GoesDark, []string{"stonebend/drag", "stonebend/dust-fan", "stonebend/leg"})
	if _, err := g.Alternatives("stonebend/attic", asked, 3); err == nil {
		t.Error("an unknown zone has sets")
	}
}

// TestAlternativesShuffled draws the same thing in another order.
func TestAlternativesShuffled(t *testing.T) {
	for trial := range uint64(100) {
		r := rand.New(rand.NewPCG(22, trial))
		ds := randomSketches(r, 4+r.IntN(12), 14, true)
		answer := func() (out []any) {
			g := mustBuild(t, ds...)
			for _, level := range []recordv1.Isolation{single, double} {
				c, err := g.Alternatives("eastfork/pit", level, 5)
				out = append(out, c, err)
			}
			position := func(p string) Position { return Position(len(p)+int(p[len(p)-1])) % 3 }
			return append(out, g.Now(position))
		}
		first := answer()
		for _, d := range ds {
			r.Shuffle(len(d.Nodes), func(i, j int) { d.Nodes[i], d.Nodes[j] = d.Nodes[j], d.Nodes[i] })
			r.Shuffle(len(d.Links), func(i, j int) { d.Links[i], d.Links[j] = d.Links[j], d.Links[i] })
		}
		slices.Reverse(ds)
		if second := answer(); !reflect.DeepEqual(first, second) {
			t.Fatalf("trial %d: answers changed with the order:\n%+v\n%+v", trial, first, second)
		}
	}
}
