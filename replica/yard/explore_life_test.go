package yard

import (
	"fmt"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// comesToLife runs a situation on as well as it can: yards with a fresh disk are
// recovered, everything is delivered and applied, everybody takes their lock off and signs off, open requests are
// withdrawn, points are opened, the area is looked over, people are told. Then a
// new request for the belt must lead to its being live in the ledger.
func (x *explorer) comesToLife(s *sit) bool {
	memo := x.memo
	x.memo = false
	defer func() { x.memo = memo }()
	g := &goodRun{x: x, tip: s.tip, seats: s.seats}
	for _, t := range s.seats[:len(x.yards)] {
		if x.b.managers && t.lost(g.tip) {
			if n, _ := x.walkdown(&sit{tip: g.tip, seats: g.seats, claims: s.claims, phys: s.phys, keys: s.keys}, t, "ines"); n != nil {
				g.tip = n.tip
			}
		}
	}
	g.settle()
	for _, id := range sorted(g.tip.s.Reqs) {
		if g.tip.s.Reqs[id].Open() {
			g.direct("mia", says("withdraw %s", id))
		}
	}
	for _, ref := range sorted(g.tip.s.Holds) {
		if h := g.tip.s.Holds[ref]; h.Off.By == "" {
			g.note(0, h.Holder, offOf(&claim{ref: ref}), "")
		}
	}
	for _, ref := range sorted(g.tip.s.SignOns) {
		if so := g.tip.s.SignOns[ref]; so.Off.By == "" {
			g.note(0, so.Person, offOf(&claim{ref: ref, signOn: true}), "")
		}
	}
	g.settle()
	for i, p := range x.points {
		if t := g.seats[x.home[i]]; g.tip.s.Points[p].Live {
			v := t.y.Panel(p)
			g.note(x.home[i], "wanda", movedAs("isolate", p, v), v.Run)
		}
	}
	for _, what := range []string{"look", "tell"} {
		for _, job := range []string{"j1", "j2"} {
			g.note(0, "walt", noteOf(what, job), "")
		}
	}
	g.settle()
	g.direct("mia", says("request last j1 %s %d", belt, x.deadline(9)))
	g.settle()
	i := slices.Index(x.points, belt)
	g.note(x.home[i], "walt", energiseOf("last", belt), g.seats[x.home[i]].y.Run(belt))
	g.settle()
	return g.tip.s.Points[belt].Live && x.goAheads(g.seats[x.home[i]])&x.bit(belt) != 0
}

// goodRun is a run in which nothing goes wrong any more. It uses what the yards
// themselves have to forward, nothing else.
type goodRun struct {
	x     *explorer
	tip   *link
	seats [3]*seat
	n     int
}

func (g *goodRun) settle() {
	for range 12 {
		before := g.tip
		for i := range g.x.yards {
			t := g.seats[i].fresh()
			t.sync()
			t = g.x.show(t, g.tip)
			for _, r := range t.y.Pending() {
				g.tip = g.x.try(g.tip, g.x.journaled(r))
			}
			g.seats[i] = g.x.show(t, g.tip)
		}
		if g.tip == before {
			return
		}
	}
}

func (g *goodRun) name() string { g.n++; return fmt.Sprintf("end-%d", g.n) }

func (g *goodRun) sign(by string, set func(*recordv1.Record)) []byte {
	name := g.name()
	r := &recordv1.Record{}
	set(r)
	return g.x.sign(fmt.Sprint(name, by, r), name, by, set)
}

func (g *goodRun) direct(by string, set func(*recordv1.Record)) {
	g.tip = g.x.try(g.tip, g.x.entry(ledger.DirectEntry(g.sign(by, set)), g.x.now))
}

func (g *goodRun) note(at int8, by string, set func(*recordv1.Record), run string) {
	if m := g.x.capture(g.seats[at], g.name(), g.sign(by, set), run, false); m.err == nil {
		g.seats[at] = m.to
	}
}
