package drawing

import (
	"fmt"
	"strings"
	"testing"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// devicesEach is how many devices one row of manyYard has: a feeder, the starter's
// four and a gate and a pan.
const devicesEach = 7

// manyYard is a yard of rows of bins: each row has a feeder, a starter with its
// conveyor, and a bin over it. Half of it is written out, half by templates.
func manyYard(rows int) string {
	var b strings.Builder
	b.WriteString("yard: large\nrevision: 1\ntitle: large\nuse:\n")
	for i := range rows {
		fmt.Fprintf(&b, "  - {template: starter-local, name: c%d, feed: b%d, panel: mcc-%d, at: row-%d, rating: 30 A, hardware: breaker clip}\n", i, i, i, i)
		fmt.Fprintf(&b, "  - {template: gate-and-pan, name: g%d, from: grain%d, to: c%d-load, panel: row-%d}\n", i, i, i, i)
	}
	b.WriteString("nodes:\n  - {name: utility, kind: source, label: the service}\n")
	for i := range rows {
		fmt.Fprintf(&b, "  - {name: b%d, kind: bus, place: switch room %d}\n  - {name: grain%d, kind: source}\n  - {name: c%d-load, kind: machine}\n", i, i, i, i)
	}
	b.WriteString("links:\n")
	for i := range rows {
		from := "utility"
		if i > 0 {
			from = fmt.Sprintf("b%d", (i-1)/4)
		}
		fmt.Fprintf(&b, "  - {name: f%d, from: %s, to: b%d, medium: electricity, device: {kind: breaker, panel: feeders, device: f%d, lockable: true, poles: 3}}\n", i, from, i, i)
		fmt.Fprintf(&b, "  - {name: s%d, from: c%d-motor, to: c%d-load, medium: motion}\n", i, i, i)
	}
	fmt.Fprintf(&b, "zones:\n  - name: last\n    parts:\n      - {node: c%d-load, media: [motion]}\n", rows-1)
	return b.String()
}

func devices(d *recordv1.Drawing) int {
	n := 0
	for _, l := range d.GetLinks() {
		if l.Device != nil {
			n++
		}
	}
	return n
}

// A mistake in a large drawing is reported at its line, written out or by a template.
func TestMistakeInLarge(t *testing.T) {
	text := manyYard(2000)
	s, err := Parse("large.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if got := devices(s.Drawing); got != 2000*devicesEach {
		t.Fatalf("%d devices", got)
	}
	if ps := energy.Check(s.Drawing, nil); len(ps) > 0 {
		t.Fatal(ps[0])
	}
	for _, test := range []struct{ old, new, field string }{
		{"from: b300, to: b1201,", "from: b300, to: bee1201,", "bee1201"},
		{"name: c1500, feed: b1500,", "name: c1500, feed: bee1500,", "bee1500"},
	} {
		bad := strings.Replace(text, test.old, test.new, 1)
		s, err := Parse("large.yaml", []byte(bad))
		if err != nil {
			t.Fatal(err)
		}
		ps := energy.Check(s.Drawing, nil)
		if len(ps) == 0 || !strings.Contains(ps[0].Text, test.field) {
			t.Fatalf("%s: got %v", test.new, ps)
		}
		line, _ := s.Locate(ps[0].Field)
		if got := strings.Split(bad, "\n")[line-1]; !strings.Contains(got, test.new) {
			t.Errorf("%s is reported at line %d: %s", test.field, line, got)
		}
	}
}

// From the file to the plan: 100,000 devices are read, checked, warned of, joined
// and planned.
func BenchmarkYard100000(b *testing.B) {
	data := []byte(manyYard(100_000 / devicesEach))
	b.Run("read", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			if _, err := Parse("large.yaml", data); err != nil {
				b.Fatal(err)
			}
		}
	})
	s, err := Parse("large.yaml", data)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("check", func(b *testing.B) {
		for b.Loop() {
			if ps := energy.Check(s.Drawing, nil); len(ps) > 0 {
				b.Fatal(ps[0])
			}
		}
	})
	b.Run("warn", func(b *testing.B) {
		for b.Loop() {
			energy.Warnings(s.Drawing, nil)
		}
	})
	g, ps := energy.Build([]*recordv1.Drawing{s.Drawing})
	if g == nil {
		b.Fatal(ps[0])
	}
	b.Run("plan", func(b *testing.B) {
		for b.Loop() {
			p, err := g.Plan("large/last", 0)
			if err != nil || !p.Isolates {
				b.Fatal(p, err)
			}
		}
	})
}
