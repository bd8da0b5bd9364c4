package ledger_test

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"testing"
)

// draws gives every purpose of a random history numbers of its own. They follow from
// the seed, the purpose's name and how often the purpose came before, and from nothing
// else. So an act that is added to the histories leaves the numbers of all others alone.
type draws struct {
	seed  int64
	times map[string]int
}

func newDraws(seed int64) *draws { return &draws{seed, map[string]int{}} }

// next returns the numbers for the next time that the purpose comes.
func (d *draws) next(purpose string) *rand.Rand {
	n := d.times[purpose]
	d.times[purpose]++
	sum := sha256.Sum256(fmt.Appendf(nil, "%d %q %d", d.seed, purpose, n))
	return rand.New(rand.NewPCG(binary.LittleEndian.Uint64(sum[:]), binary.LittleEndian.Uint64(sum[8:])))
}

// inOrder sorts names at random: each gets a weight from the number drawn and the name
// itself. A name that is added moves no two others past each other. A name given twice
// has two chances to come first.
func inOrder(r *rand.Rand, names []string) []string {
	n := r.Uint64()
	type weighed struct {
		weight uint64
		name   string
	}
	all := make([]weighed, 0, len(names))
	for i, name := range names {
		again := slices.Index(names[:min(i, 10)], name) + 1 // lists with a name twice are short
		all = append(all, weighed{weight(n+uint64(again*i), name), name})
	}
	slices.SortFunc(all, func(a, b weighed) int { return cmp.Or(cmp.Compare(a.weight, b.weight), cmp.Compare(a.name, b.name)) })
	out := make([]string, 0, len(all))
	for _, w := range all {
		out = append(out, w.name)
	}
	return out
}

// weight mixes a number and a name: FNV-1a, and then the last step of splitmix64,
// because FNV alone leaves the high bits of like names too alike.
func weight(n uint64, name string) uint64 {
	f := fnv.New64a()
	f.Write(binary.LittleEndian.AppendUint64(nil, n))
	f.Write([]byte(name))
	x := f.Sum64()
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// anyOf is one of the names.
func anyOf(r *rand.Rand, names ...string) string { return inOrder(r, names)[0] }

// occasion is something that people do now and then in a random history.
type occasion struct {
	name  string
	every float64 // how much of the history's time lies between two of them, in the mean
	act   func(h *history)
}

// calendar says when each occasion comes next. Each has its own times, so one more
// occasion only comes between the others.
type calendar struct {
	draws     *draws
	clock     float64
	occasions []occasion
	due       map[string]float64
}

func newCalendar(d *draws, occasions ...occasion) *calendar {
	c := &calendar{draws: d, occasions: occasions, due: map[string]float64{}}
	for _, o := range occasions {
		if _, twice := c.due[o.name]; twice {
			panic("two occasions of a history are called " + o.name)
		}
		c.plan(o, 0)
	}
	return c
}

func (c *calendar) plan(o occasion, from float64) {
	c.due[o.name] = from + o.every*c.draws.next("when "+o.name).ExpFloat64()
}

// next returns what comes first before a time, and moves the clock there.
func (c *calendar) next(until float64) (o occasion, is bool) {
	for _, x := range c.occasions {
		if at := c.due[x.name]; at < until && (!is || at < c.due[o.name]) {
			o, is = x, true
		}
	}
	if !is {
		c.clock = max(c.clock, until)
		return o, false
	}
	c.clock = max(c.clock, c.due[o.name])
	c.plan(o, c.due[o.name])
	return o, true
}

// TestOneActMoreChangesNoOther: the times, the numbers and the choices of an occasion
// stay what they are when an unrelated one is added.
func TestOneActMoreChangesNoOther(t *testing.T) {
	run := func(names ...string) map[string][]string {
		d := newDraws(7)
		var all []occasion
		for i, n := range names {
			all = append(all, occasion{name: n, every: float64(2 + i%3)})
		}
		c := newCalendar(d, all...)
		out := map[string][]string{}
		for o, is := c.next(200); is; o, is = c.next(200) {
			r := d.next(o.name)
			out[o.name] = append(out[o.name], fmt.Sprintf("%.6f %d %v", c.clock, r.IntN(1000), inOrder(r, names[:3])))
		}
		return out
	}
	before, after := run("lock", "release", "reading"), run("lock", "release", "reading", "new kind")
	for _, n := range []string{"lock", "release", "reading"} {
		if len(before[n]) < 20 || !slices.Equal(before[n], after[n]) {
			t.Errorf("%s came %d times before another was added, and %d times after it, or otherwise", n, len(before[n]), len(after[n]))
		}
	}
	if len(after["new kind"]) == 0 {
		t.Error("the occasion that was added never comes")
	}
	r, changed := newDraws(8), 0
	few, more := []string{"ravi", "tomas", "lena"}, []string{"ravi", "olga", "tomas", "lena"}
	first := map[string]int{}
	for range 300 {
		a, b := inOrder(r.next("few"), few), []string(nil)
		r.times["few"]-- // the same numbers once more
		b = inOrder(r.next("few"), more)
		first[b[0]]++
		if slices.Equal(a, slices.DeleteFunc(slices.Clone(b), func(s string) bool { return s == "olga" })) {
			continue
		}
		changed++
	}
	if changed > 0 {
		t.Errorf("a name that was added changed the order of the others %d times of 300", changed)
	}
	for _, n := range more {
		if first[n] < 40 {
			t.Errorf("%s came first %d times of 300, about 75 expected", n, first[n])
		}
	}
}
