package yard

import (
	"cmp"
	"fmt"
	"math/rand"
	"slices"
	"strings"
	"time"

	"yardhasp/ledger"
)

// path is how a situation was come to.
type path struct {
	s    *sit
	act  string
	up   *path
	deep int
}

func (p *path) acts() []string {
	var out []string
	for ; p.up != nil; p = p.up {
		out = append(out, p.act)
	}
	slices.Reverse(out)
	return out
}

// found is what a search came to.
type found struct {
	states, deep   int
	lived, stuck   int // situations asked whether they can come to a new start; those that can't
	complete       bool
	violation      string
	trace          []string
	stuckTrace     []string
	links, replays int
}

// limits of a search; zero means none.
type limits struct {
	until  time.Time
	states int
	every  int // each so-many-th situation is asked for liveness
}

// search visits every situation. Breadth first gives a shortest story; depth
// first needs less memory.
func (x *explorer) search(broad bool, lim limits) found {
	var f found
	seen := map[[16]byte]struct{}{}
	first := &path{s: x.first()}
	seen[x.key(first.s)] = struct{}{}
	work := []*path{first}
	for len(work) > 0 {
		var p *path
		if broad {
			p, work[0] = work[0], nil
			work = work[1:]
		} else {
			p, work = work[len(work)-1], work[:len(work)-1]
		}
		f.states++
		f.deep = max(f.deep, p.deep)
		if f.states%256 == 0 && (lim.states > 0 && f.states > lim.states || !lim.until.IsZero() && time.Now().After(lim.until)) {
			f.links, f.replays = x.links, x.replays
			return f
		}
		if lim.every > 0 && f.states%lim.every == 0 && !x.b.stuck {
			f.lived++
			if !x.comesToLife(p.s) {
				f.stuck++
				if f.stuckTrace == nil {
					f.stuckTrace = p.acts()
				}
			}
		}
		x.steps(p.s, func(act string, n *sit, bad string) {
			if f.violation != "" {
				return
			}
			q := &path{s: n, act: act, up: p, deep: p.deep + 1}
			if bad != "" {
				f.violation, f.trace, f.deep = bad, q.acts(), q.deep
				return
			}
			k := x.key(n)
			if _, had := seen[k]; had {
				return
			}
			seen[k] = struct{}{}
			work = append(work, q)
		})
		if f.violation != "" {
			break
		}
	}
	f.complete = f.violation == ""
	f.links, f.replays = x.links, x.replays
	return f
}

// walk takes random steps until time is up; each walk starts afresh.
func (x *explorer) walk(n uint64, length int, until func() bool) (steps int, closings int, f found) {
	for run := uint64(0); !until(); run++ {
		rng := rand.New(rand.NewSource(int64(n*1_000_003 + run)))
		clear(x.entries)
		clear(x.acts)
		x.base.next = map[*ledger.Entry]*link{}
		p := &path{s: x.first()}
		for range length {
			var kinds [4][]*path
			x.steps(p.s, func(act string, s *sit, bad string) {
				f.violation = cmp.Or(f.violation, bad)
				k := kindOf(act)
				kinds[k] = append(kinds[k], &path{s: s, act: act, up: p, deep: p.deep + 1})
				if bad != "" && f.trace == nil {
					f.trace = kinds[k][len(kinds[k])-1].acts()
				}
			})
			if f.violation != "" {
				return steps, closings, f
			}
			// Delivery and the way to a closing come before people's other doings.
			k := []int{0, 0, 0, 0, 1, 1, 1, 2, 3, 3}[rng.Intn(10)]
			for i := 0; len(kinds[k]) == 0 && i < 4; i++ {
				k = i
			}
			if len(kinds[k]) == 0 {
				break
			}
			p = kinds[k][rng.Intn(len(kinds[k]))]
			steps++
			if strings.Contains(p.act, "under the go-ahead") {
				closings++
			}
		}
	}
	return steps, closings, f
}

// kindOf sorts steps for random walks: delivery, towards a closing, losses, all
// else.
func kindOf(act string) int {
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(act, w) })
	}
	switch {
	case has("the ledger takes", "applies", "durable"):
		return 0
	case has("go-ahead", "asks at the panel", "is taken"):
		return 1
	case has("loses power", "drops from", "takes over"):
		return 2
	}
	return 3
}

// replay takes the recorded steps; it says how far it came and what was broken.
func (x *explorer) replay(trace []string) (at int, bad string) {
	s := x.first()
	for i, want := range trace {
		var next *sit
		x.steps(s, func(act string, n *sit, b string) {
			if act == want && next == nil {
				next, bad = n, b
			}
		})
		if next == nil || bad != "" {
			return i, bad
		}
		s = next
	}
	return len(trace), ""
}

// tell tells a trace for people to read.
func tell(b *bounds, trace []string, bad string) string {
	var w strings.Builder
	fmt.Fprintf(&w, "configuration %s: %s\n", b.name, b.note)
	for i, a := range trace {
		fmt.Fprintf(&w, "  %2d. %s\n", i+1, a)
	}
	fmt.Fprintf(&w, "  => %s\n", bad)
	return w.String()
}
