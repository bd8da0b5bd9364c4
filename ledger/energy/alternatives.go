package energy

import (
	"cmp"
	"container/heap"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// MaxChoices limits the sets that Alternatives returns.
const MaxChoices = 1_000

// Choice is a minimal set of points that isolates a zone: without any one of them it
// would not.
type Choice struct {
	Points []string // sorted
	Locks  int      // how many points
	// GoesDark are the machines outside the zone that lose every source. Dark is how
	// many they are. This measures the disruption.
	GoesDark []string
	Dark     int
	// Pareto is set when no other set found beats this one: none is better in locks or
	// disruption and at least as good in the other.
	Pareto bool
	// Conditions are as in Plan.
	Conditions []string
}

// Choices are the ranked isolating sets of one zone.
type Choices struct {
	Zone  string
	Level recordv1.Isolation
	// Sets begin with Plan's set. Where Plan could not prove that set the fewest, the
	// points that can be left out of it are left out. The others follow by locks,
	// disruption and points. Sets is empty where nothing isolates the zone: Plan says
	// why.
	Sets []Choice
	// More says that further sets may exist. If it is false, Sets are all the minimal
	// sets, and Pareto is exact.
	More bool
}

// Alternatives ranks minimal isolating sets of a zone. It returns at most most sets, and
// treats a smaller most than one as one. If it may return two, the set with the least
// possible disruption is among them, beside Plan's set. An unspecified level asks for
// what the zone needs.
//
// Any minimal set other than S lacks some point of S. So further sets are found by
// asking for the smallest set without the first point of the last set, then for the
// smallest with the first but without the second, and so on (R. Reiter, "A theory of
// diagnosis from first principles", Artificial Intelligence 32, 1987, with the disjoint
// branches of E. L. Lawler, Management Science 18, 1972; both from memory). The fewest
// locks come first. The work is limited in steps, not in time, so that every replica
// gives up at the same place.
func (g *Graph) Alternatives(zone string, level recordv1.Isolation, most int) (Choices, error) {
	z, level, err := g.ask(zone, level)
	if err != nil {
		return Choices{}, err
	}
	return g.alternatives(z, level, most, maxSteps), nil
}

func (g *Graph) alternatives(z *zone, level recordv1.Isolation, most int, steps int64) Choices {
	out := Choices{Zone: z.ID, Level: level}
	every := make([]bool, len(g.points))
	for i := range every {
		every[i] = true
	}
	if !g.examine(z, every, level).Isolates {
		return out
	}
	e := &enumeration{g: g, z: z, level: level, p: g.problem(z, level, false), seen: map[string]bool{}, most: min(max(most, 1), MaxChoices)}
	first, fewest := e.p.cut()
	e.p.steps = steps
	if !fewest {
		if thin := e.thin(first); thin != nil {
			first = thin
		}
	}
	e.keep(first)
	if e.most > 1 {
		e.nearest()
	}
	e.further(first)
	out.More = e.more
	for _, points := range e.sets {
		open := make([]bool, len(g.points))
		for _, p := range points {
			open[p] = true
		}
		c := Choice{Points: g.named(open), Locks: len(points), GoesDark: g.goesDark(z, g.spread(open, 1)), Conditions: g.conditions(open)}
		c.Dark = len(c.GoesDark)
		out.Sets = append(out.Sets, c)
	}
	slices.SortFunc(out.Sets[1:], func(a, b Choice) int {
		return cmp.Or(cmp.Compare(a.Locks, b.Locks), cmp.Compare(a.Dark, b.Dark), slices.Compare(a.Points, b.Points))
	})
	front(out.Sets)
	return out
}

// front marks the sets that no other set beats: a set that beats it is better in locks
// or disruption and at least as good in the other.
func front(sets []Choice) {
	least := map[int]int{} // locks -> least disruption
	for _, c := range sets {
		if d, ok := least[c.Locks]; !ok || c.Dark < d {
			least[c.Locks] = c.Dark
		}
	}
	best := -1 // least disruption of the sets with fewer locks
	locks := make([]int, 0, len(least))
	for l := range least {
		locks = append(locks, l)
	}
	slices.Sort(locks)
	on := map[int]bool{}
	for _, l := range locks {
		if best < 0 || least[l] < best {
			on[l], best = true, least[l]
		}
	}
	for i := range sets {
		sets[i].Pareto = on[sets[i].Locks] && sets[i].Dark == least[sets[i].Locks]
	}
}

// enumeration finds minimal sets one by one.
type enumeration struct {
	g     *Graph
	z     *zone
	level recordv1.Isolation
	p     *problem // its steps are those left
	most  int
	sets  [][]int32
	seen  map[string]bool
	more  bool
}

// keep takes a set it has not seen. It reports whether there was room for it.
func (e *enumeration) keep(open []bool) bool {
	var points []int32
	var key []byte
	for i, yes := range open {
		if yes {
			points = append(points, int32(i))
			key = append(key, byte(i), byte(i>>8), byte(i>>16), byte(i>>24))
		}
	}
	if e.seen[string(key)] {
		return true
	}
	if len(e.sets) == e.most {
		return false
	}
	e.seen[string(key)] = true
	e.sets = append(e.sets, points)
	return true
}

// thin leaves out points, in their order, until none can be left out. It is nil when the
// steps run out first. Then there may be more sets.
func (e *enumeration) thin(open []bool) []bool {
	open = slices.Clone(open)
	for i := range open {
		if !open[i] {
			continue
		}
		if e.p.steps <= 0 {
			e.more = true
			return nil
		}
		open[i] = false
		e.p.steps -= int64(len(e.g.links))
		open[i] = !e.g.examine(e.z, open, e.level).Isolates
	}
	return open
}

// nearest keeps the smallest of the sets that take only the points met first on the way
// back from the work. Everything beyond those points goes dark under any set, so no set
// disrupts less.
func (e *enumeration) nearest() {
	without := make([]bool, len(e.g.points))
	for i := range without {
		without[i] = true
	}
	all := slices.Clone(without)
	for _, c := range e.g.backward().ahead(e.z.parts, all, need(e.level)) {
		without[c.point] = false
	}
	if open, _ := e.smallest(nil, without); open != nil {
		e.keep(open)
	}
}

// smallest returns a smallest set without the points of without. Where that was not
// proved, it returns a minimal set. It is nil where they do not isolate or the steps ran
// out. The points of with count next to nothing. No set with all of with and none of
// without has fewer locks than least.
func (e *enumeration) smallest(with, without []bool) (open []bool, least int) {
	e.p.steps -= int64(len(e.p.spans)) + subproblemSteps
	wanted := count(with)
	e.p.prefer(with, without, int64(wanted+1))
	open, fewest := e.p.cut()
	if open == nil {
		return nil, 0
	}
	if fewest {
		both := 0
		for i, yes := range with {
			if yes && open[i] {
				both++
			}
		}
		// count only the others: all savings on with cost less than one of them
		return open, count(open) - both + wanted
	}
	if !e.g.examine(e.z, open, e.level).Isolates {
		return nil, 0
	}
	return e.thin(open), 0
}

// subproblemSteps is charged for each subproblem, besides its flows. It makes the search
// end even on a small drawing with very many sets.
const subproblemSteps = 4_096

// branch is a subproblem: the minimal sets with all points of with and no point of
// without.
type branch struct {
	with, without *chain
	bound         int // no set of it has fewer locks
	open          []bool
	born          int
}

// chain is a list of points that branches share.
type chain struct {
	point int32
	rest  *chain
}

func (c *chain) mark(points int) []bool {
	m := make([]bool, points)
	for ; c != nil; c = c.rest {
		m[c.point] = true
	}
	return m
}

// branches is a heap: fewest locks first, then the oldest branch.
type branches []*branch

func (b branches) Len() int { return len(b) }
func (b branches) Less(i, j int) bool {
	return cmp.Or(cmp.Compare(b[i].bound, b[j].bound), cmp.Compare(b[i].born, b[j].born)) < 0
}
func (b branches) Swap(i, j int) { b[i], b[j] = b[j], b[i] }
func (b *branches) Push(x any)   { *b = append(*b, x.(*branch)) }
func (b *branches) Pop() any {
	last := len(*b) - 1
	x := (*b)[last]
	*b = (*b)[:last]
	return x
}

// further branches on the points of the sets found, until there is no branch, no room or
// no step left. It solves the branch with the least bound. If solving raises that bound,
// the branch goes back into the heap.
func (e *enumeration) further(first []bool) {
	waiting := &branches{{bound: count(first), open: first}}
	born := 0
	for waiting.Len() > 0 {
		b := heap.Pop(waiting).(*branch)
		with := b.with.mark(len(e.g.points))
		if b.open == nil {
			if e.p.steps <= 0 {
				e.more = true
				return
			}
			var least int
			if b.open, least = e.smallest(with, b.without.mark(len(e.g.points))); b.open == nil {
				continue
			}
			if least > b.bound {
				b.bound = least
				heap.Push(waiting, b)
				continue
			}
		}
		// keep also a set that lacks a point of with: it belongs to another branch
		if !e.keep(b.open) {
			e.more = true
			return
		}
		wanted := b.with
		for i, yes := range b.open {
			if yes && !with[i] {
				born++
				heap.Push(waiting, &branch{with: wanted, without: &chain{int32(i), b.without}, bound: b.bound, born: born})
				wanted = &chain{int32(i), wanted}
			}
		}
	}
}

func count(open []bool) (n int) {
	for _, yes := range open {
		if yes {
			n++
		}
	}
	return n
}
