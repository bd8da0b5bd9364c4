package energy

import (
	"fmt"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// bigYards draws ten yards with 10,000 devices each: a service, 20 panels of 250
// buckets, each with a motor and its conveyor; a conveyor gets grain from its
// neighbour past a gate and one from the next yard; yards are tied together.
func bigYards() []*recordv1.Drawing {
	var ds []*recordv1.Drawing
	for y := range 10 {
		s := newSketch(fmt.Sprintf("yard-%d", y))
		next := fmt.Sprintf("yard-%d", (y+1)%10)
		s.add("source utility")
		s.add("source grain")
		s.add("bus main")
		s.link("service: utility electricity main, disconnect gear/main")
		s.link("tie: main electricity " + next + "/main, breaker gear/tie")
		for p := range 20 {
			s.add(fmt.Sprintf("bus p%d", p))
			s.link(fmt.Sprintf("f%d: main electricity p%d, breaker gear/f%d", p, p, p))
			for b := range 250 {
				s.add(fmt.Sprintf("machine m%d-%d", p, b))
				s.add(fmt.Sprintf("machine c%d-%d", p, b))
				s.link(fmt.Sprintf("b%d-%d: p%d electricity m%d-%d, breaker p%d/b%d", p, b, p, p, b, p, b))
				s.link(fmt.Sprintf("s%d-%d: m%d-%d motion c%d-%d", p, b, p, b, p, b))
				from := fmt.Sprintf("c%d-%d", p, b-1)
				if b == 0 {
					from = "grain"
				}
				s.link(fmt.Sprintf("g%d-%d: %s grain c%d-%d, gate p%d/g%d", p, b, from, p, b, p, b))
			}
		}
		s.link("transfer: " + next + "/c7-7 grain c9-125, gate far/transfer")
		s.zone("leg", "c9-125 motion")
		s.zone("pit", "c9-125 grain", "c9-126 grain", "c3-3 grain")
		ds = append(ds, s.Drawing)
	}
	return ds
}

// BenchmarkBuild joins 100,000 devices.
func BenchmarkBuild(b *testing.B) {
	ds := bigYards()
	for b.Loop() {
		mustBuild(b, ds...)
	}
}

// BenchmarkPlan plans one zone in a drawing of 100,000 devices.
func BenchmarkPlan(b *testing.B) {
	g := mustBuild(b, bigYards()...)
	if len(g.Points()) < 100_000 {
		b.Fatalf("only %d points", len(g.Points()))
	}
	for _, zone := range []string{"yard-4/leg", "yard-4/pit"} {
		b.Run(g.Isolation(zone).String(), func(b *testing.B) {
			for b.Loop() {
				if p := mustPlan(b, g, zone, asked); !p.Fewest || !p.Isolates {
					b.Fatalf("%+v", p.Points)
				}
			}
		})
	}
}

// BenchmarkExamine examines a plan in the same drawing.
func BenchmarkExamine(b *testing.B) {
	g := mustBuild(b, bigYards()...)
	p := mustPlan(b, g, "yard-4/leg", asked)
	for b.Loop() {
		if !mustExamine(b, g, "yard-4/leg", asked, p.Points...).Isolates {
			b.Fatal("the plan doesn't isolate")
		}
	}
}

// BenchmarkAlternatives ranks five sets in the same drawing.
func BenchmarkAlternatives(b *testing.B) {
	g := mustBuild(b, bigYards()...)
	for _, zone := range []string{"yard-4/leg", "yard-4/pit"} {
		b.Run(g.Isolation(zone).String(), func(b *testing.B) {
			for b.Loop() {
				if c, err := g.Alternatives(zone, asked, 5); err != nil || len(c.Sets) != 5 || !c.More {
					b.Fatalf("%d sets, more %v, %v", len(c.Sets), c.More, err)
				}
			}
		})
	}
}

// BenchmarkNow draws the picture of the same drawing with all points closed, and
// with all open and locked.
func BenchmarkNow(b *testing.B) {
	g := mustBuild(b, bigYards()...)
	for _, at := range []Position{Closed, OpenAndLocked} {
		b.Run([]string{"closed", "open", "locked"}[at], func(b *testing.B) {
			for b.Loop() {
				if pic := g.Now(func(string) Position { return at }); len(pic.Zones) != 20 {
					b.Fatal(len(pic.Zones))
				}
			}
		})
	}
}
