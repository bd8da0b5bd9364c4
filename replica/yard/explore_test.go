package yard

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
)

var (
	exploreBig     = flag.Bool("explore.big", false, "search the large configurations too")
	exploreSeconds = flag.Int("explore.seconds", 0, "seconds for each configuration; 0: 2, or 1 with -short, or no limit with -explore.big")
	exploreConfig  = flag.String("explore.config", "", "search this configuration only")
	exploreWalks   = flag.Int("explore.walks", 4, "seconds of random walks")
	exploreBroad   = flag.Bool("explore.broad", false, "search breadth first")
	exploreTrace   = flag.String("explore.trace", "", "replay this file of steps instead of searching")
	exploreRecord  = flag.String("explore.record", "", "write the steps that break a rule to this file")
)

// TestExplore drives the shipped ledger and the shipped yard through every
// situation of small co-ops that are as unlucky as can be: messages late, lost,
// repeated and out of turn, yards behind, power gone (protocol.md 5). The rules
// are I1-I8 of protocol.md 1, that a lock whose holder stood clear protects nobody
// and stands against every start (C13), that nothing ends but what is named and by whom it may, and what
// decisions.md 1, 2, 7, 10 and 11 ask for.
func TestExplore(t *testing.T) {
	var mu sync.Mutex
	var total found
	open := 0
	each(t, configurations(), func(t *testing.T, b *bounds) {
		x := newExplorer(layOut(t, b), b)
		if *exploreTrace != "" {
			steps := readTrace(t, *exploreTrace)
			if at, bad := x.replay(steps); bad != "" {
				t.Errorf("%s%s", broken, bad)
			} else if at < len(steps) {
				say("step %d can't be taken", at+1)
			}
			return
		}
		began := time.Now()
		lim := limits{every: 251}
		switch {
		case *exploreSeconds > 0:
			lim.until = began.Add(time.Duration(*exploreSeconds) * time.Second)
		case testing.Short():
			lim.until = began.Add(time.Second)
		case !*exploreBig:
			lim.until = began.Add(2 * time.Second)
		}
		f := x.search(*exploreBroad, lim)
		mu.Lock()
		defer mu.Unlock()
		how := "complete"
		if !f.complete {
			how = "NOT COMPLETE"
			open++
		}
		say("%-22s %8d situations, depth %2d, %6d ledgers, %5.1f s, new start %d of %d, %s", b.name, f.states, f.deep, f.links, time.Since(began).Seconds(), f.lived-f.stuck, f.lived, how)
		total.states += f.states
		if f.violation != "" {
			t.Errorf("%s\n%s%s", tell(b, f.trace, f.violation), broken, f.violation)
			if *exploreRecord != "" {
				record(t, *exploreRecord, b, f)
			}
		}
		if f.stuck > 0 {
			t.Errorf("%s", tell(b, f.stuckTrace, "nothing leads to a new start from here"))
		}
	})
	say("explored %d situations, %d configurations cut off by time", total.states, open)
}

// TestExploreWalks goes through much wider worlds at random, the same way each
// time as far as time allows.
func TestExploreWalks(t *testing.T) {
	each(t, wide(), func(t *testing.T, b *bounds) {
		x := newExplorer(layOut(t, b), b)
		until := time.Now().Add(time.Duration(*exploreWalks) * time.Second * 2 / time.Duration(len(wide())))
		steps, closings, f := x.walk(1, 90, func() bool { return time.Now().After(until) })
		say("%-22s %8d random steps, %d switches closed under a go-ahead", b.name, steps, closings)
		if f.violation != "" {
			t.Errorf("%s", tell(b, f.trace, f.violation))
		}
	})
}

// each runs the configurations side by side.
func each(t *testing.T, all []bounds, run func(t *testing.T, b *bounds)) {
	t.Run("of", func(t *testing.T) {
		for i := range all {
			b := &all[i]
			if b.big && !*exploreBig && *exploreConfig != b.name || *exploreConfig != "" && *exploreConfig != b.name {
				continue
			}
			t.Run(b.name, func(t *testing.T) {
				t.Parallel()
				run(t, b)
			})
		}
	})
}

// say prints a line of the table when the tests are asked to talk.
func say(format string, a ...any) {
	if testing.Verbose() {
		fmt.Printf(format+"\n", a...)
	}
}

func record(t *testing.T, path string, b *bounds, f found) {
	text := fmt.Sprintf("# configuration %s\n%s\n# %s\n", b.name, strings.Join(f.trace, "\n"), f.violation)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Error(err)
	}
}
