package faults_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"testing/synctest"
	"time"

	"yardhasp/replica/quorum"
)

// length is how long people work under faults, in the bubble's time.
const length = 40 * time.Second

// run lets people work while faults come and go, then mends everything.
func (w *world) run(seed int64) error {
	w.story.began = time.Now()
	if seed%3 == 0 {
		t := quorum.Profiles["lan"]
		t.SnapshotEvery, t.SnapshotThreshold, t.TrailingLogs = 3*time.Second, 8, 4
		w.timers = &t
		w.story.tell("raft takes a snapshot every 8 entries, and keeps 4")
	}
	w.slow(25)
	for _, y := range yards {
		if err := w.start(y); err != nil {
			return err
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	var people sync.WaitGroup
	begin := func(p *person, fn func(context.Context)) {
		people.Go(func() { defer p.k.Close(); fn(ctx) })
	}
	n := int64(0)
	tests := seed%2 == 0
	for _, id := range sortedWorkers() {
		n++
		p := w.person(id, workers[id], seed*100+n)
		p.tests = tests
		begin(p, p.work)
	}
	for _, y := range []string{yards[w.rng.Intn(3)], yards[w.rng.Intn(3)]} {
		n++
		p := w.person(manager, y, seed*100+n)
		p.k.Close()
		p.k = w.as(manager, y, fmt.Sprintf("%s-%d", manager, n))
		p.n, p.tests = int(n)*1000, tests
		begin(p, p.startUp)
	}
	if w.rng.Intn(2) == 0 {
		n++
		p := w.person(managers[0], yards[w.rng.Intn(3)], seed*100+n)
		begin(p, p.keep)
	}
	if w.grows {
		w.dirs[newcomer] = filepath.Join(w.root, newcomer)
		at, from, delay := yards[w.rng.Intn(3)], yards[w.rng.Intn(3)], time.Duration(w.rng.Intn(15_000))*time.Millisecond
		w.restarts.Go(func() { w.grow(ctx, at, from, delay, seed*100+n+1) })
	}
	end := time.Now().Add(length)
	var err error
	lossAt := 0.1 + 0.3*float64(w.rng.Intn(100))/100
	for err == nil && time.Now().Before(end) {
		if w.loses != "" && w.lost == "" && time.Until(end) < time.Duration((1-lossAt)*float64(length)) && w.running(w.loses) {
			err = w.lose(ctx, w.loses, time.Duration(w.rng.Intn(2000))*time.Millisecond, time.Duration(500+w.rng.Intn(3000))*time.Millisecond, seed*100+n+2)
			continue
		}
		pass(time.Duration(200+w.rng.Intn(4000)) * time.Millisecond)
		err = w.fault()
	}
	cancel()
	people.Wait()
	w.story.tell("everything is mended")
	for _, y := range w.all() {
		w.net.change(func() { delete(w.net.traps, y) })
	}
	w.net.heal()
	w.cure()
	w.slow(25)
	w.restarts.Wait()
	for _, y := range w.all() {
		if !w.running(y) {
			err = errors.Join(err, w.start(y))
		}
	}
	return err
}

// slow gives every direction a delay of its own, at most ms.
func (w *world) slow(ms int) {
	w.net.change(func() {
		for _, a := range w.all() {
			for _, b := range w.all() {
				w.net.delay[way{a, b}] = time.Duration(1+w.rng.Intn(ms)) * time.Millisecond
			}
		}
	})
}

// cure makes all disks quick and empty.
func (w *world) cure() {
	for _, y := range w.all() {
		w.free[y].Store(plenty)
		w.slowed[y].Store(0)
	}
}

func (w *world) running(yard string) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.up[yard] != nil
}

// harm is what a fault needs to know: at whom, in which order, and for how long. The
// first is hit, mostly.
type harm struct {
	kind  int
	at    []string
	short time.Duration
}

// harm draws the next one. The leader is hit every second time.
func (w *world) harm() harm {
	there := w.all()
	i := w.rng.Intn(len(there))
	x := harm{short: time.Duration(w.rng.Intn(8000)) * time.Millisecond}
	x.kind = w.rng.Intn(19)
	if lead := w.leader(); lead != "" && w.rng.Intn(2) == 0 {
		i = max(0, slices.Index(there, lead))
	}
	x.at = append(slices.Clone(there[i:]), there[:i]...)
	return x
}

// fault does one harm, or mends.
func (w *world) fault() error {
	switch x := w.harm(); {
	case x.kind <= 7, x.kind == 13, x.kind == 14:
		w.harmLinks(x)
	case x.kind <= 11:
		return w.harmProcess(x)
	case x.kind <= 17:
		w.harmMachine(x)
	default:
		w.story.tell("all links are whole again")
		w.net.heal()
	}
	return nil
}

// harmLinks keeps messages back, or breaks or slows connections.
func (w *world) harmLinks(x harm) {
	a, b, c := x.at[0], x.at[1], x.at[2]
	var outOf, into []way
	for _, y := range x.at[1:] {
		outOf, into = append(outOf, way{a, y}), append(into, way{y, a})
	}
	switch x.kind {
	case 0, 1:
		w.story.tell("FAULT %s is cut off", a)
		w.net.hold(append(outOf, into...)...)
	case 2:
		w.story.tell("FAULT every yard is cut off from every other")
		for _, from := range x.at {
			for _, to := range x.at {
				w.net.hold(way{from, to})
			}
		}
	case 3:
		w.story.tell("FAULT %s and %s don't reach each other, %s reaches both", a, b, c)
		w.net.hold(way{a, b}, way{b, a})
	case 4:
		w.story.tell("FAULT nothing that %s sends arrives", a)
		w.net.hold(outOf...)
	case 5:
		w.story.tell("FAULT nothing arrives at %s", a)
		w.net.hold(into...)
	case 6:
		w.story.tell("FAULT nothing of %s arrives at %s", a, b)
		w.net.hold(way{a, b})
	case 7:
		w.story.tell("FAULT every connection of %s breaks", a)
		w.net.reset(func(l way) bool { return l.from == a || l.to == a })
	case 13:
		d := time.Duration(w.rng.Intn(1500)) * time.Millisecond
		w.story.tell("FAULT from %s to %s it takes %v", a, b, d)
		w.net.change(func() { w.net.delay[way{a, b}] = d })
	case 14:
		w.story.tell("FAULT %s says nothing for %v, not even to people there", a, x.short)
		w.net.setTrap(a, 0)
		pass(x.short)
		w.net.change(func() { delete(w.net.traps, a) })
	}
}

// harmProcess kills replicas, or stops one in order.
func (w *world) harmProcess(x harm) error {
	a := x.at[0]
	switch x.kind {
	case 8:
		return w.killed(x.short, a)
	case 9:
		after := w.rng.Intn(40)
		sprung := w.net.setTrap(a, after)
		select {
		case <-sprung:
		case <-time.After(2 * time.Second):
		}
		w.story.tell("FAULT the next crash comes after %d more messages of %s", after, a)
		return w.killed(x.short, a)
	case 10:
		return w.killed(x.short, x.at[:2]...)
	}
	if w.rng.Intn(2) == 0 {
		return w.killed(x.short, x.at[:3]...)
	}
	if !w.running(a) {
		return nil
	}
	w.story.tell("FAULT %s is stopped and started", a)
	if err := w.stop(a); err != nil {
		return err
	}
	w.free[a].Store(plenty)
	return w.start(a)
}

// harmMachine sets a clock wrong, or fills or slows a disk; or all disks are well again.
func (w *world) harmMachine(x harm) {
	a := x.at[0]
	switch x.kind {
	case 12:
		by := time.Duration(w.rng.Intn(1200)-600) * time.Second
		w.story.tell("FAULT the clock of %s jumps to %v off", a, by)
		w.clocks[a].Store(int64(by))
	case 15:
		mb := []uint64{low - 1, full - 1}[w.rng.Intn(2)]
		w.story.tell("FAULT the disk of %s has %d MB left", a, mb)
		w.free[a].Store(mb)
	case 16:
		d := time.Duration(w.rng.Intn(2500)) * time.Millisecond
		w.story.tell("FAULT each write on the disk of %s takes %v", a, d)
		w.slowed[a].Store(int64(d))
	case 17:
		w.story.tell("all disks are well again")
		w.cure()
	}
}

// killed crashes yards at one instant, and starts each again after a while.
func (w *world) killed(back time.Duration, gone ...string) error {
	var err error
	synctest.Wait() // the disks stand still
	for _, y := range gone {
		if !w.running(y) {
			continue
		}
		w.story.tell("FAULT %s crashes; back in %v", y, back)
		forget := w.rng.Intn(2) == 0
		if w.timers == nil && forget {
			w.story.tell("the unsynced history of %s is lost", y)
		}
		err = errors.Join(err, w.crash(y, forget))
		w.restarts.Go(func() {
			pass(back)
			w.story.tell("%s starts again", y)
			if w.free[y].Load() < full { // it would refuse to
				w.free[y].Store(plenty)
			}
			if e := w.start(y); e != nil {
				w.story.tell("%v", e)
				w.mu.Lock()
				defer w.mu.Unlock()
				w.broken = errors.Join(w.broken, e)
			}
		})
	}
	return err
}
