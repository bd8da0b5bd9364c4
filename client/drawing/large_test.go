package drawing

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// large is a drawing with n devices, in chunks enough to be read at once.
func large(n int) []byte {
	var b strings.Builder
	b.WriteString("yard: large\nrevision: 1\ntitle: large\nnodes:\n")
	for i := range n {
		fmt.Fprintf(&b, "  - {name: n%d, kind: machine, place: head house}\n", i)
	}
	b.WriteString("links:\n")
	for i := range n {
		fmt.Fprintf(&b, "  - {name: l%d, from: n%d, to: n%d, medium: electricity, device: {kind: breaker, panel: mcc-1, device: d%d, lockable: true, holes: 1}}\n", i, i, (i+1)%n, i)
	}
	return []byte(b.String())
}

// Cutting the file into chunks must not lose, repeat or move anything.
func TestLargeFile(t *testing.T) {
	const n = 5000
	data := large(n)
	if len(data) < 4*chunkSize {
		t.Fatalf("%d bytes are too few to be cut", len(data))
	}
	s, err := Parse("large.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Drawing.Nodes) != n || len(s.Drawing.Links) != n {
		t.Fatalf("%d nodes and %d links, want %d of each", len(s.Drawing.Nodes), len(s.Drawing.Links), n)
	}
	lines := strings.Split(string(data), "\n")
	for i := range n {
		if got, want := s.Drawing.Nodes[i].Name, fmt.Sprintf("n%d", i); got != want {
			t.Fatalf("node %d is %q, want %q", i, got, want)
		}
		if got, want := s.Drawing.Links[i].Device.Device, fmt.Sprintf("d%d", i); got != want {
			t.Fatalf("device %d is %q, want %q", i, got, want)
		}
		line, col := s.Locate(fmt.Sprintf("links[%d].device.device", i))
		if want := fmt.Sprintf("d%d, lockable", i); !strings.HasPrefix(lines[line-1][col-1:], want) {
			t.Fatalf("device %d is located at %d:%d", i, line, col)
		}
	}
}

// Lists inside entries are not cut, wherever a chunk ends.
func TestLargeZones(t *testing.T) {
	want := &recordv1.Drawing{Yard: "large"}
	for i := range 3000 {
		z := &recordv1.Zone{Name: fmt.Sprintf("z%d", i)}
		for j := range 9 {
			z.Parts = append(z.Parts, &recordv1.ExposedPart{Node: fmt.Sprintf("n%d-%d", i, j), Media: []recordv1.Medium{recordv1.Medium_MEDIUM_GRAIN}})
		}
		want.Zones = append(want.Zones, z)
	}
	data := Write(want)
	if len(data) < 8*chunkSize {
		t.Fatalf("%d bytes are too few to be cut", len(data))
	}
	got, err := Parse("large.yaml", data)
	if err != nil {
		t.Fatalf("%.300v", err)
	}
	if !proto.Equal(got.Drawing, want) {
		t.Error("read back another drawing")
	}
}

func TestLargeFileErrors(t *testing.T) {
	text := string(large(5000))
	for _, name := range []string{"n4000,", "n10,"} {
		text = strings.Replace(text, "name: "+name, "nam: "+name, 1)
	}
	_, err := Parse("large.yaml", []byte(text))
	var errs Errors
	if !errors.As(err, &errs) || len(errs) != 2 {
		t.Fatalf("got %v, want two errors", err)
	}
	// Four lines stand before node 0.
	if errs[0].Line != 15 || errs[1].Line != 4005 {
		t.Errorf("errors in lines %d and %d, want 15 and 4005", errs[0].Line, errs[1].Line)
	}
	_, err = Parse("large.yaml", []byte("nodes:\n"+strings.Repeat("  - {x: y}\n", 50000)))
	if !errors.As(err, &errs) || len(errs) != maxErrors {
		t.Errorf("got %d errors, want %d", len(errs), maxErrors)
	}
}

func TestLimits(t *testing.T) {
	entry := func(n int) string { return "nodes:\n  - {name: a, label: \"" + strings.Repeat("x", n) + "\"}\n" }
	if _, err := Parse("x.yaml", []byte(entry(maxEntry-100))); err != nil {
		t.Errorf("an entry within the limit: %.200v", err)
	}
	// The limit is of one entry, not of those before it together.
	if _, err := Parse("x.yaml", []byte("nodes:\n"+strings.Repeat("  - {name: b}\n", chunkSize/20)+strings.TrimPrefix(entry(maxEntry-100), "nodes:\n"))); err != nil {
		t.Errorf("an entry within the limit, after others: %.200v", err)
	}
	for name, data := range map[string][]byte{
		"entry": []byte(entry(maxEntry)),
		"list":  []byte("nodes: [" + strings.Repeat("{name: a}, ", maxEntry/10) + "]\n"),
		"brace": []byte("{nodes: [" + strings.Repeat("{name: a}, ", maxEntry/10) + "]}\n"),
		"last":  []byte(entry(1) + "  - {name: \"" + strings.Repeat("x", maxEntry)),
		"file":  make([]byte, maxFile+1),
	} {
		if _, err := Parse("x.yaml", data); err == nil || !strings.Contains(err.Error(), "may have") {
			t.Errorf("%s: got %.200v, want an error that names the limit", name, err)
		}
	}
}

// A file that would stand for ten million nodes through aliases is refused.
func TestAliasesDoNotMultiply(t *testing.T) {
	var b strings.Builder
	b.WriteString("title: &a0 [x, x, x, x, x, x, x, x, x, x]\n")
	for i := range 7 {
		fmt.Fprintf(&b, "nodes: &a%d [%s*a%d]\n", i+1, strings.Repeat(fmt.Sprintf("*a%d, ", i), 9), i)
	}
	_, err := Parse("x.yaml", []byte(b.String()))
	if err == nil || !strings.Contains(err.Error(), "anchors and aliases") {
		t.Errorf("got %v", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte("yard: x\nnodes:\n- {name: a}\n- name: b\n  store: {joules: 1e3, wait: 5m}\n"))
	f.Add([]byte(`{"yard": "x", "nodes": [{"name": "a"}]}`))
	f.Add([]byte("title: |\n  a\n  - b\nnodes:\n  - label: 'a\n      b'\n"))
	f.Add([]byte("nodes: [*a, &b c, !d e, <<: f]\n? x\n"))
	f.Add([]byte(used))
	f.Add([]byte("nodes:\n- {name: a, store: {vessel: {gallons: 80, psi: 125}, wait: 1s}}\nuse:\n- {template: fan, name: f, to: a, inertia: 2, rpm: 900, run_down: 40s}\n"))
	f.Add([]byte("---\n%a\n...\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Parse("x.yaml", data)
		if err != nil {
			var errs Errors
			if !errors.As(err, &errs) || len(errs) == 0 || s != nil {
				t.Fatalf("Parse gave %v with %T", s, err)
			}
			lines := strings.Count(string(data), "\n") + 1
			for _, e := range errs {
				if e.Line < 1 || e.Line > lines || e.Col < 1 || e.Text == "" {
					t.Errorf("error at %d:%d of %d lines: %q", e.Line, e.Col, lines, e.Text)
				}
			}
			return
		}
		again, err := Parse("x.yaml", Write(s.Drawing))
		if err != nil {
			t.Fatalf("what was read can't be read back: %v\n%s", err, Write(s.Drawing))
		}
		if !proto.Equal(again.Drawing, s.Drawing) {
			t.Errorf("read back %v, want %v", again.Drawing, s.Drawing)
		}
	})
}

func BenchmarkParse100000(b *testing.B) {
	data := large(100000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Parse("large.yaml", data); err != nil {
			b.Fatal(err)
		}
	}
}
