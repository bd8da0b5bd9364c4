package energy

import (
	"fmt"
	"math/bits"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"gonum.org/v1/gonum/graph/flow"
	"gonum.org/v1/gonum/graph/simple"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// oracle answers by listing every simple path of a small drawing, from the
// drawings themselves.
type oracle struct {
	points []string // sorted
	weight []int
	// paths from a source to each node: the points on each, and its length.
	paths map[string][]oraclePath
	nodes []string
	kind  map[string]recordv1.NodeKind
	parts []string
}

type oraclePath struct {
	set  uint32
	hops int
}

type oracleArc struct {
	to    string
	point string
}

func newOracle(ds []*recordv1.Drawing) *oracle {
	o := &oracle{paths: map[string][]oraclePath{}, kind: map[string]recordv1.NodeKind{}}
	arcs := map[string][]oracleArc{}
	blank := map[string]bool{}
	for _, d := range ds {
		for _, n := range d.Nodes {
			o.kind[d.Yard+"/"+n.Name] = n.Kind
			o.nodes = append(o.nodes, d.Yard+"/"+n.Name)
		}
		for _, l := range d.Links {
			point := ""
			if l.GetDevice().GetLockable() {
				point = d.Yard + "/" + l.Device.Panel + "/" + l.Device.Device
				blank[point] = l.Device.Kind == recordv1.DeviceKind_DEVICE_KIND_BLANK
				o.points = append(o.points, point)
			}
			arcs[l.From] = append(arcs[l.From], oracleArc{l.To, point})
			if l.OneWay == "" {
				arcs[l.To] = append(arcs[l.To], oracleArc{l.From, point})
			}
		}
		for _, z := range d.Zones {
			for _, p := range z.Parts {
				o.parts = append(o.parts, p.Node)
			}
		}
	}
	slices.Sort(o.points)
	slices.Sort(o.parts)
	for _, p := range o.points {
		w := 1
		if blank[p] {
			w = 2
		}
		o.weight = append(o.weight, w)
	}
	on := map[string]bool{}
	var walk func(at string, set uint32, hops int)
	walk = func(at string, set uint32, hops int) {
		o.paths[at] = append(o.paths[at], oraclePath{set, hops})
		on[at] = true
		for _, a := range arcs[at] {
			if !on[a.to] {
				next := set
				if a.point != "" {
					next |= 1 << slices.Index(o.points, a.point)
				}
				walk(a.to, next, hops+1)
			}
		}
		on[at] = false
	}
	for _, n := range o.nodes {
		if o.kind[n] == recordv1.NodeKind_NODE_KIND_SOURCE {
			walk(n, 0, 0)
		}
	}
	return o
}

// least returns the least weight of open points on a path to node, at most 9,
// and the fewest links of such a path.
func (o *oracle) least(node string, open uint32) (weight, hops int) {
	weight, hops = 9, 0
	for _, p := range o.paths[node] {
		w := 0
		for set := p.set & open; set != 0; set &= set - 1 {
			w += o.weight[bits.TrailingZeros32(set)]
		}
		if w < weight || w == weight && p.hops < hops {
			weight, hops = w, p.hops
		}
	}
	return weight, hops
}

func (o *oracle) isolates(open uint32, needed int) bool {
	for _, p := range o.parts {
		if w, _ := o.least(p, open); w < needed {
			return false
		}
	}
	return true
}

func (o *oracle) dark(open uint32) (n int) {
	for _, id := range o.nodes {
		if w, _ := o.least(id, open); w > 0 {
			n++
		}
	}
	return n
}

func (o *oracle) set(open uint32) (out []string) {
	for i, p := range o.points {
		if open>>i&1 == 1 {
			out = append(out, p)
		}
	}
	return out
}

func (o *oracle) mask(points []string) (set uint32) {
	for _, p := range points {
		set |= 1 << slices.Index(o.points, p)
	}
	return set
}

// TestExamineAgainstEverySubset compares the verdict on every set of points of
// small random drawings with the list of all paths: isolation, the parts named,
// and that each path named is a shortest one with the fewest open points.
func TestExamineAgainstEverySubset(t *testing.T) {
	verdicts := map[bool]int{}
	for trial := range uint64(300) {
		r := rand.New(rand.NewPCG(2, trial))
		ds := randomSketches(r, 3+r.IntN(4), 7, true)
		g, o := mustBuild(t, ds...), newOracle(ds)
		same(t, "points", ids(g.Points()), o.points)
		for open := range uint32(1) << len(o.points) {
			for _, level := range []recordv1.Isolation{single, double} {
				needed := int(need(level))
				v := mustExamine(t, g, "eastfork/pit", level, o.set(open)...)
				if v.Isolates != o.isolates(open, needed) || v.Level != level {
					t.Fatalf("trial %d, %v, open %q: isolates %v", trial, level, o.set(open), v.Isolates)
				}
				verdicts[v.Isolates]++
				var live []string
				for _, p := range v.Live {
					live = append(live, p.Part)
					w, hops := o.least(p.Part, open)
					if len(p.Held) != w || len(p.Steps) != 2*hops+1 || p.Steps[0] != p.Source || p.Steps[2*hops] != p.Part ||
						o.kind[p.Source] != recordv1.NodeKind_NODE_KIND_SOURCE || o.mask(p.Held)&^open != 0 {
						t.Fatalf("trial %d, open %q: path %+v; want %d open points in %d links", trial, o.set(open), p, w, hops)
					}
				}
				var want []string
				for _, p := range o.parts {
					if w, _ := o.least(p, open); w < needed {
						want = append(want, p)
					}
				}
				same(t, "live parts", live, want)
			}
		}
	}
	if verdicts[true] < 1000 || verdicts[false] < 1000 {
		t.Errorf("one-sided trials: %v", verdicts)
	}
}

// best searches every set of points: the fewest that isolate, and the fewest nodes
// that one of those leaves dark. No set isolates when there is none.
func (o *oracle) best(needed int) (fewest, dark int, is bool) {
	for open := range uint32(1) << len(o.points) {
		n := bits.OnesCount32(open)
		if is && n > fewest || !o.isolates(open, needed) {
			continue
		}
		if d := o.dark(open); !is || n < fewest || d < dark {
			fewest, dark, is = n, d, true
		}
	}
	return fewest, dark, is
}

// TestPlanAgainstEverySubset compares the plan with the best of all sets: as few
// points as any, and of those the fewest nodes dark.
func TestPlanAgainstEverySubset(t *testing.T) {
	sizes := map[int]int{}
	mixed := 0
	for trial := range uint64(1500) {
		r := rand.New(rand.NewPCG(3, trial))
		ds := randomSketches(r, 3+r.IntN(5), 9, trial%2 == 0)
		g, o := mustBuild(t, ds...), newOracle(ds)
		for _, level := range []recordv1.Isolation{single, double} {
			needed := int(need(level))
			p := mustPlan(t, g, "eastfork/pit", level)
			fewest, dark, is := o.best(needed)
			if !is {
				o.checkCannotCut(t, fmt.Sprintf("trial %d, %v", trial, level), p, needed)
				sizes[-1]++
				continue
			}
			set := o.mask(p.Points)
			if !p.Isolates || !p.Fewest || !o.isolates(set, needed) || len(p.Points) != fewest || o.dark(set) != dark {
				t.Fatalf("trial %d, %v: %q with %d dark, isolates %v, fewest %v; want %d points, %d dark",
					trial, level, p.Points, o.dark(set), p.Isolates, p.Fewest, fewest, dark)
			}
			sizes[fewest]++
			if level == double && fewest > 1 && slices.ContainsFunc(p.Points, func(id string) bool { return o.weight[slices.Index(o.points, id)] == 2 }) {
				mixed++
			}
		}
	}
	if sizes[-1] < 100 || sizes[1] < 50 || sizes[2] < 50 || sizes[3] < 20 || mixed < 20 {
		t.Errorf("one-sided trials: sizes %v, blanks among others %d", sizes, mixed)
	}
}

// checkCannotCut demands of a plan for what no set isolates that it says so, and that
// the way it shows cannot be cut.
func (o *oracle) checkCannotCut(t *testing.T, at string, p Plan, needed int) {
	t.Helper()
	if p.Isolates || p.CannotCut == nil || p.WouldHaveToFit == "" || len(p.Points) > 0 {
		t.Fatalf("%s: no set isolates, but %+v", at, p)
	}
	w, hops := o.least(p.CannotCut.Part, 1<<len(o.points)-1)
	if w >= needed || len(p.CannotCut.Held) != w || len(p.CannotCut.Steps) != 2*hops+1 {
		t.Fatalf("%s: %+v can be cut", at, p.CannotCut)
	}
}

// dominators asks gonum's dominator tree (Lengauer and Tarjan) for a second
// opinion: with every link a node of its own, a point isolates the zone alone
// just when its link dominates the part.
func dominators(t *testing.T) {
	yes, no := 0, 0
	for trial := range uint64(600) {
		r := rand.New(rand.NewPCG(4, trial))
		ds := randomSketches(r, 4+r.IntN(30), 40, false)
		for _, d := range ds {
			for _, z := range d.Zones {
				z.Parts = z.Parts[:1]
			}
		}
		g := mustBuild(t, ds...)
		number := map[string]int64{}
		of := func(id string) int64 {
			if _, ok := number[id]; !ok {
				number[id] = int64(len(number) + 1)
			}
			return number[id]
		}
		dg := simple.NewDirectedGraph()
		root := simple.Node(0)
		dg.AddNode(root)
		join := func(u, v int64) { dg.SetEdge(dg.NewEdge(simple.Node(u), simple.Node(v))) }
		linkOf := map[string]int64{}
		for _, d := range ds {
			for _, n := range d.Nodes {
				if n.Kind == recordv1.NodeKind_NODE_KIND_SOURCE {
					join(0, of(d.Yard+"/"+n.Name))
				}
			}
			for _, l := range d.Links {
				x := of("link " + d.Yard + "/" + l.Name)
				join(of(l.From), x)
				join(x, of(l.To))
				if l.OneWay == "" {
					join(of(l.To), x)
					join(x, of(l.From))
				}
				if l.GetDevice().GetLockable() {
					linkOf[fmt.Sprintf("%s/%s/%s", d.Yard, l.Device.Panel, l.Device.Device)] = x
				}
			}
		}
		tree := flow.Dominators(root, dg)
		part := of(ds[0].Zones[0].Parts[0].Node)
		dominators := map[int64]bool{}
		reached := tree.DominatorOf(part) != nil
		for n := tree.DominatorOf(part); n != nil; n = tree.DominatorOf(n.ID()) {
			dominators[n.ID()] = true
		}
		for _, p := range g.Points() {
			want := !reached || dominators[linkOf[p.ID]]
			if got := mustExamine(t, g, "eastfork/pit", single, p.ID).Isolates; got != want {
				t.Fatalf("trial %d: %s isolates %v, dominator %v", trial, p.ID, got, want)
			}
			if want {
				yes++
			} else {
				no++
			}
		}
	}
	if yes < 100 || no < 1000 {
		t.Errorf("one-sided trials: %d isolate, %d don't", yes, no)
	}
}

// TestShuffled draws the same thing in another order: every answer is the same.
func TestShuffled(t *testing.T) {
	for trial := range uint64(150) {
		r := rand.New(rand.NewPCG(5, trial))
		ds := randomSketches(r, 4+r.IntN(20), 30, true)
		answers := func() []any {
			g := mustBuild(t, ds...)
			out := []any{g.Points(), g.Zones()}
			for _, level := range []recordv1.Isolation{single, double} {
				p := mustPlan(t, g, "eastfork/pit", level)
				v := mustExamine(t, g, "eastfork/pit", level, p.Points...)
				d, err := g.Describe("eastfork/pit", p.Points, level)
				reach, err2 := g.Reach("eastfork/pit")
				out = append(out, p, v, d, reach, err, err2)
			}
			return out
		}
		first := answers()
		for _, d := range ds {
			r.Shuffle(len(d.Nodes), func(i, j int) { d.Nodes[i], d.Nodes[j] = d.Nodes[j], d.Nodes[i] })
			r.Shuffle(len(d.Links), func(i, j int) { d.Links[i], d.Links[j] = d.Links[j], d.Links[i] })
			for _, z := range d.Zones {
				slices.Reverse(z.Parts)
			}
		}
		slices.Reverse(ds)
		if second := answers(); !reflect.DeepEqual(first, second) {
			t.Fatalf("trial %d: answers changed with the order:\n%+v\n%+v", trial, first, second)
		}
	}
}
