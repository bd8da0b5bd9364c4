package energy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// positions reads "point=open point=locked"; all else is closed.
func positions(text string) func(string) Position {
	at := map[string]Position{}
	for _, f := range strings.Fields(text) {
		id, word, _ := strings.Cut(f, "=")
		at[id] = map[string]Position{"open": Open, "locked": OpenAndLocked}[word]
	}
	return func(p string) Position { return at[p] }
}

func zoneNow(t *testing.T, g *Graph, zone, text string) ZoneNow {
	t.Helper()
	for _, z := range g.Now(positions(text)).Zones {
		if z.ID == zone {
			return z
		}
	}
	t.Fatalf("no zone %s in the picture", zone)
	return ZoneNow{}
}

// TestNowOfALeg: an open breaker without a lock is told apart from a locked one.
func TestNowOfALeg(t *testing.T) {
	s := legHouse()
	s.add("machine scale-house")
	s.zone("scale", "scale-house electricity")
	g := mustBuild(t, s.Drawing)
	for _, x := range []struct {
		at, word, points string
	}{
		{"", "live", "stonebend/gear/main stonebend/gear/mcc stonebend/mcc-1/leg"},
		{"stonebend/mcc-1/drag=locked", "live", "stonebend/gear/main stonebend/gear/mcc stonebend/mcc-1/leg"},
		{"stonebend/mcc-1/leg=open", "open but not locked", "stonebend/mcc-1/leg"},
		{"stonebend/mcc-1/leg=open stonebend/gear/mcc=open", "open but not locked", "stonebend/mcc-1/leg"},
		{"stonebend/mcc-1/leg=locked", "locked", "stonebend/mcc-1/leg"},
		{"stonebend/mcc-1/leg=open stonebend/gear/main=locked", "locked", "stonebend/gear/main"},
	} {
		z := zoneNow(t, g, "stonebend/motor", x.at)
		if z.Condition.String() != x.word || strings.Join(z.Points, " ") != x.points || (z.Path == nil) != (x.word == "locked") {
			t.Errorf("%q: %+v, want %s: %s", x.at, z, x.word, x.points)
		}
	}
	if z := zoneNow(t, g, "stonebend/scale", ""); z.Condition != NoFeed || z.Condition.String() != "no feed drawn" || z.Points != nil {
		t.Errorf("%+v", z)
	}
	// what isn't known counts as closed
	for _, f := range []func(string) Position{nil, func(string) Position { return 7 }, func(string) Position { return -1 }} {
		if z := g.Now(f).Zones; z[0].Condition != Live || z[1].Condition != Live {
			t.Errorf("%+v", z)
		}
	}
}

// TestNowOfAPit needs two devices: one locked is short, and says which could be
// the second.
func TestNowOfAPit(t *testing.T) {
	s := newSketch("eastfork")
	s.add("source bin")
	s.add("bus spout")
	s.add("machine pit")
	s.link("a: bin grain spout, gate bin/slide")
	s.link("b: spout grain pit, gate pit/slide")
	s.zone("z", "pit grain")
	g := mustBuild(t, s.Drawing)
	for _, x := range []struct{ at, word, points string }{
		{"eastfork/pit/slide=locked", "locked, second device missing", "eastfork/bin/slide"},
		{"eastfork/pit/slide=locked eastfork/bin/slide=open", "locked, second device missing", "eastfork/bin/slide"},
		{"eastfork/pit/slide=open eastfork/bin/slide=open", "open but not locked", "eastfork/bin/slide eastfork/pit/slide"},
		{"eastfork/pit/slide=locked eastfork/bin/slide=locked", "locked", "eastfork/bin/slide eastfork/pit/slide"},
		{"", "live", "eastfork/bin/slide eastfork/pit/slide"},
	} {
		if z := zoneNow(t, g, "eastfork/z", x.at); z.Condition.String() != x.word || strings.Join(z.Points, " ") != x.points {
			t.Errorf("%q: %+v, want %s: %s", x.at, z, x.word, x.points)
		}
	}
}

// TestNowBehindABlank: what stands behind a locked blank keeps nothing off.
func TestNowBehindABlank(t *testing.T) {
	s := newSketch("eastfork")
	s.add("source bin")
	s.add("bus spout")
	s.add("machine pit")
	s.link("a: bin grain spout, gate bin/slide")
	s.link("b: spout grain pit, blank pit/cap")
	s.zone("z", "pit grain")
	z := zoneNow(t, mustBuild(t, s.Drawing), "eastfork/z", "eastfork/pit/cap=locked eastfork/bin/slide=locked")
	if z.Condition != Locked {
		t.Errorf("%+v", z)
	}
	same(t, "points", z.Points, []string{"eastfork/pit/cap"})
}

// pointPositions are those of all points of a small drawing, as sets of points too.
type pointPositions struct {
	at            map[string]Position
	stops, locked uint32 // open at all; open and locked
}

func (o *oracle) randomPositions(r *rand.Rand) pointPositions {
	x := pointPositions{at: map[string]Position{}}
	for i, p := range o.points {
		x.at[p] = Position(r.IntN(3))
		if x.at[p] != Closed {
			x.stops |= 1 << i
		}
		if x.at[p] == OpenAndLocked {
			x.locked |= 1 << i
		}
	}
	return x
}

// condition of a node by the list of all paths to it.
func (o *oracle) condition(id string, x pointPositions, needed int) Condition {
	fed, _ := o.least(id, 0)
	asIs, _ := o.least(id, x.stops)
	asLocked, _ := o.least(id, x.locked)
	switch {
	case fed > 0:
		return NoFeed
	case asIs == 0:
		return Live
	case asLocked == 0:
		return OpenNotLocked
	case asLocked < needed:
		return OneLockShort
	}
	return Locked
}

// TestNowAgainstPaths compares every node and the zone with the list of all
// paths, at random positions, and checks that locking the points of an open zone
// is enough.
func TestNowAgainstPaths(t *testing.T) {
	seen := map[Condition]int{}
	for trial := range uint64(3000) {
		r := rand.New(rand.NewPCG(23, trial))
		ds := randomSketches(r, 3+r.IntN(5), 8, true)
		if r.IntN(2) == 0 {
			ds[0].Zones[0].Isolation = double
		}
		g, o := mustBuild(t, ds...), newOracle(ds)
		x := o.randomPositions(r)
		pic := g.Now(func(p string) Position { return x.at[p] })
		for i, id := range slices.Sorted(slices.Values(o.nodes)) {
			if n := pic.Nodes[i]; n.ID != id || n.Condition != o.condition(id, x, 1) {
				t.Fatalf("trial %d: %+v, want %s %v", trial, n, id, o.condition(id, x, 1))
			}
		}
		want, needed := NoFeed, int(need(g.Isolation("eastfork/pit")))
		for _, p := range o.parts {
			want = min(want, o.condition(p, x, needed))
		}
		z := pic.Zones[0]
		if z.Condition != want || (z.Path == nil) != (want == Locked || want == NoFeed) {
			t.Fatalf("trial %d: %+v, want %v", trial, z, want)
		}
		seen[want]++
		if wrong := o.wrongPoints(o.mask(z.Points), want, x, needed); wrong != "" {
			t.Fatalf("trial %d: %+v: %s", trial, z, wrong)
		}
	}
	for c := Live; c <= NoFeed; c++ {
		if seen[c] < 30 {
			t.Errorf("one-sided trials: %v", seen)
		}
	}
}

// wrongPoints says what is wrong with the points that the picture names for a zone.
func (o *oracle) wrongPoints(points uint32, c Condition, x pointPositions, needed int) string {
	switch {
	case c == Live && points&x.stops != 0:
		return "open points keep nothing live"
	case c == OpenNotLocked && (points == 0 || points&x.locked != 0 || points&^x.stops != 0 || !o.isolates(x.locked|points, 1)):
		return "locking these isn't enough" // it leaves at most a second device missing
	case c == OneLockShort && points&x.locked != 0:
		return "already locked"
	case c == Locked && (points&^x.locked != 0 || !o.isolates(points, needed)):
		return "these don't isolate"
	}
	return ""
}

// TestNowInterlocked: a transfer switch joins two sources; both count.
func TestNowInterlocked(t *testing.T) {
	g := mustBuild(t, transferSwitch().Drawing)
	if got, want := fmt.Sprint(g.Now(nil).EitherOf), "[{millrow/transfer [millrow/generator millrow/utility]}]"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}
