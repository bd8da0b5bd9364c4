package energy

import (
	"fmt"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestLimitText: 50 V itself is live, 29 CFR 1910.333(a)(1) and NEC 460.6; the
// other limits still count as gone.
func TestLimitText(t *testing.T) {
	want := map[string]string{
		"electricity": "below 50 V", "motion": "-", "grain": "-", "air": "zero on the gauge", "hydraulic": "zero on the gauge",
		"heat": "at most 50 °C", "fuel gas": "zero on the gauge", "chemical": "at most 0.3 ppm",
	}
	for word, m := range mediumByWord {
		p := proofs[m]
		p.Medium = m
		if got := p.LimitText(); got != want[word] {
			t.Errorf("%s: %q, want %q", word, got, want[word])
		}
		if strings.Contains(p.Text, "lamp") || strings.Contains(p.Text, "screen") {
			t.Errorf("%s: what is no reading is said once, not in %q", word, p.Text)
		}
	}
	for _, word := range []string{"pilot lamps", "panel meters", "screens", "a try alone proves nothing"} {
		if !strings.Contains(NotReadings, word) {
			t.Errorf("%q isn't ruled out", word)
		}
	}
	if got := (Proof{Kind: recordv1.ReadingKind_READING_KIND_TRY}).LimitText(); got != "-" {
		t.Errorf("a try: %q", got)
	}
}

// TestTries: people clear first and the control goes back to off, whatever
// starts it, 29 CFR 1910.333(b)(2)(iv)(A); how differs with the kind of start.
func TestTries(t *testing.T) {
	s := legHouse()
	s.Nodes[8].StartKind = recordv1.StartKind_START_KIND_LOCAL
	s.Nodes[9].StartKind = recordv1.StartKind_START_KIND_AUTOMATIC
	s.Nodes[10].StartKind = recordv1.StartKind_START_KIND_REMOTE
	g := mustBuild(t, s.Drawing)
	ps, err := g.Proofs("stonebend/motor", "stonebend/gear/mcc")
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, p := range ps {
		if p.Kind != recordv1.ReadingKind_READING_KIND_TRY {
			continue
		}
		got[p.Part] = p.Text
		if !strings.HasPrefix(p.Text, "people clear first") || !strings.HasSuffix(p.Text, "set the control back to off") || !strings.Contains(p.Text, p.Part) || p.Source == "" {
			t.Errorf("%+v", p)
		}
	}
	for id, word := range map[string]string{"stonebend/leg-start": "work stonebend/leg-start: ", "stonebend/drag-start": "starts by itself", "stonebend/radio-start": "starts from afar"} {
		if !strings.Contains(got[id], word) {
			t.Errorf("%s: %q", id, got[id])
		}
	}
}

// TestControlTerminals: the meter's text names the controls whose terminals it
// takes in, a few of many.
func TestControlTerminals(t *testing.T) {
	s := legHouse()
	text := func() string {
		ps, err := mustBuild(t, s.Drawing).Proofs("stonebend/motor")
		if err != nil {
			t.Fatal(err)
		}
		return ps[0].Text
	}
	if got := text(); !strings.HasSuffix(got, "; the control terminals are those of stonebend/leg-start, stonebend/radio-start") || !strings.Contains(got, "control terminals included, below 50 V") {
		t.Errorf("%q", got)
	}
	s.Nodes[8].Starts = []string{"leg-motor", "leg-motor"}
	if got := text(); strings.Count(got, "leg-start") != 1 {
		t.Errorf("named twice: %q", got)
	}
	for i := range 20 {
		s.add(fmt.Sprintf("control far-%02d", i)).Starts = []string{"leg-motor"}
	}
	if got := text(); !strings.HasSuffix(got, "far-07 and 14 more") {
		t.Errorf("%q", got)
	}
}
