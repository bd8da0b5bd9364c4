//go:debug tlsmlkem=0

package faults_test

import (
	"flag"
	"fmt"
	"maps"
	"math/rand"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

var (
	count = flag.Int("seeds", 24, "how many scenarios")
	first = flag.Int64("seed", 1, "the first scenario's seed")
)

func sortedWorkers() []string { return slices.Sorted(maps.Keys(workers)) }

// tally is what a run of scenarios saw, so that one that did nothing shows.
type tally struct {
	told, held, energised, refused, unknown, boards, goAheads, checked, undecided, crashes, faults, entries, done atomic.Int64
	stood, tested, found, claimed, handed, removed, boxed                                                         atomic.Int64
}

func (y *tally) String() string {
	return fmt.Sprintf("%d faults (%d crashes); %d acts acknowledged, %d held locally, %d energised, %d refused, %d unknown; %d confirmed boards, %d go-aheads; %d stood clear, %d energised for a test; %d locks found, %d claimed, %d handed over, %d removed, %d keys into boxes; %d entries; %d operations checked, %d histories undecided",
		y.faults.Load(), y.crashes.Load(), y.told.Load(), y.held.Load(), y.energised.Load(), y.refused.Load(), y.unknown.Load(), y.boards.Load(), y.goAheads.Load(),
		y.stood.Load(), y.tested.Load(), y.found.Load(), y.claimed.Load(), y.handed.Load(), y.removed.Load(), y.boxed.Load(),
		y.entries.Load(), y.checked.Load(), y.undecided.Load())
}

// TestScenarios runs seeded scenarios; see the package comment.
func TestScenarios(t *testing.T) {
	debug.SetGCPercent(400) // memory is there, and the arenas of badger are large
	tpl := makeTemplate(t)
	var sum tally
	began := time.Now()
	t.Run("all", func(t *testing.T) {
		for i := range int64(*count) {
			seed := *first + i
			t.Run(fmt.Sprintf("seed-%d", seed), func(t *testing.T) {
				t.Parallel()
				scenario(t, tpl, seed, &sum)
				if t.Failed() {
					fmt.Fprintf(os.Stderr, "seed %d failed\n", seed)
				}
				if n := sum.done.Add(1); n%500 == 0 {
					fmt.Fprintf(os.Stderr, "%d of %d scenarios from %d, %v: %s\n", n, *count, *first, time.Since(began).Round(time.Second), &sum)
				}
			})
		}
	})
	took := time.Since(began)
	t.Logf("%d scenarios in %v (%.1f a second): %s", *count, took.Round(time.Millisecond), float64(*count)/took.Seconds(), &sum)
	if *count >= 24 && (sum.held.Load() == 0 || sum.energised.Load() == 0 || sum.goAheads.Load() == 0 || sum.crashes.Load() == 0 || sum.boards.Load() == 0) {
		t.Error("the scenarios leave something out that they are for")
	}
	if sum.undecided.Load() > int64(*count)/10 {
		t.Error("too many histories were not decided: give porcupine more time")
	}
}

// leftOver is what still waits in bubbles whose test is over.
func leftOver() string {
	b := make([]byte, 8<<20)
	bubbles := map[string][]string{}
	over := map[string]bool{}
	for _, g := range strings.Split(string(b[:runtime.Stack(b, true)]), "\n\n") {
		_, rest, in := strings.Cut(g, "synctest bubble ")
		id, _, _ := strings.Cut(rest, "]")
		if !in {
			continue
		}
		bubbles[id] = append(bubbles[id], g)
		if _, known := over[id]; !known || strings.Contains(g, "testingSynctestTest(") {
			over[id] = !strings.Contains(g, "testingSynctestTest(")
		}
	}
	var out []string
	for id, gs := range bubbles {
		if over[id] {
			out = append(out, gs...)
		}
	}
	return strings.Join(out, "\n\n")
}

// bubble is synctest.Test, but lets a stopped replica leave behind who waits for an
// answer of its raft: raft 1.8.0 forgets some when it stops, and a process would
// just end (libraries.md R3, R5).
func bubble(t *testing.T, fn func(t *testing.T)) {
	defer func() {
		r := recover()
		if r == nil {
			return
		}
		left := leftOver()
		for _, g := range strings.Split(left, "\n\n") {
			if !strings.Contains(g, "raft.(*deferError).Error") || !strings.Contains(g, "quorum.await.func1") {
				panic(fmt.Sprint(r, "\n", left))
			}
		}
	}()
	synctest.Test(t, fn)
}

// scenario runs one seed and tells its story if anything is wrong.
func scenario(t *testing.T, tpl *template, seed int64, sum *tally) {
	play(t, tpl, seed, sum, func(*world) {})
}

func play(t *testing.T, tpl *template, seed int64, sum *tally, prepare func(*world)) (w *world) {
	var end *ending
	var bad []string
	of, _, _ := strings.Cut(t.Name(), "/")
	defer func() {
		if r := recover(); r != nil {
			bad = append(bad, fmt.Sprint("PANIC: ", r))
		}
		if len(bad) > 0 {
			t.Errorf("seed %d:\n  %s\n\nthe story:\n%s\n\nagain: go test ./replica/faults -run %s -seeds 1 -growing 1 -losing 1 -seed %d -v", seed, strings.Join(bad, "\n  "), w.story, of, seed)
		}
	}()
	bubble(t, func(t *testing.T) {
		w = newWorld(t, rand.New(rand.NewSource(seed)))
		err := w.use(tpl)
		prepare(w)
		pass(age)
		if err == nil {
			err = w.run(seed)
		}
		if err == nil {
			err = w.broken
		}
		if err == nil {
			err = w.voting()
		}
		if err == nil {
			end, err = w.settle()
		}
		if err != nil {
			bad = append(bad, "STOPPED: "+err.Error())
		}
		w.end()
	})
	if end == nil {
		return w
	}
	all, differ := end.same()
	if bad = append(bad, differ...); all == nil {
		return w
	}
	bad = append(append(bad, kept(w, all)...), walk(all)...)
	not, checked, undecided := linear(w.story.ops, all, 20*time.Second)
	bad = append(bad, not...)
	sum.add(w.story, checked, undecided, len(all))
	return w
}

func (y *tally) add(s *story, checked, undecided, entries int) {
	y.checked.Add(int64(checked))
	y.undecided.Add(int64(undecided))
	y.entries.Add(int64(entries))
	for _, l := range s.lines {
		if strings.Contains(l, "FAULT ") {
			y.faults.Add(1)
			if strings.Contains(l, " crashes; ") {
				y.crashes.Add(1)
			}
		}
	}
	for _, o := range s.ops {
		switch {
		case o.board != nil:
			y.boards.Add(1)
		case o.panel.GetGoAhead():
			y.goAheads.Add(1)
		case o.rec == nil:
		case o.receipt != nil:
			y.told.Add(1)
			if o.receipt.GetStatus() == servicev1.Status_STATUS_HELD_LOCALLY {
				y.held.Add(1)
			}
			if n := map[string]*atomic.Int64{"stand_clear": &y.stood, "found_lock": &y.found, "claim_lock": &y.claimed, "hand_over": &y.handed, "removal": &y.removed, "box_add": &y.boxed}[o.kind]; n != nil && o.receipt.GetOutcome().GetAccepted() {
				n.Add(1)
			}
			if o.kind == "energise" && o.receipt.GetOutcome().GetAccepted() {
				y.energised.Add(1)
				if strings.HasPrefix(o.rec.GetEnergise().GetRequest(), jog) {
					y.tested.Add(1)
				}
			}
		case o.refused != nil:
			y.refused.Add(1)
		default:
			y.unknown.Add(1)
		}
	}
}
