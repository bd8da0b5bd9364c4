package drawing

import (
	"math"
	"strings"
	"testing"
)

// What is written in pounds, feet, gallons, psi and degrees Fahrenheit comes out
// in the contract's units.
func TestStoreUnits(t *testing.T) {
	tests := []struct {
		figures string
		kind    string
		want    []any
		source  string
	}{
		{"capacitor: {microfarads: 2000, volts: 680, ohms: 100000, label_wait: 10m}", "capacitor", []any{0.002, 680.0, 1e5, uint32(600)}, "micro is a millionth"},
		{"vessel: {gallons: 80, psi: 125}", "vessel", []any{0.302833, 861.845}, "NIST SP 811, appendix B.8: gallon 3.785412e-3 m3, psi 6.894757 kPa; from memory"},
		{"vessel: {litres: 302.833, bar: 8.61845}", "vessel", []any{0.302833, 861.845}, "litre and bar, SI brochure; from memory"},
		{"vessel: {cubic_feet: 35.31467, kilopascals: 1}", "vessel", []any{1.0, 1.0}, "NIST SP 811: cubic foot 2.831685e-2 m3; from memory"},
		{"raised_load: {pounds: 933, feet: 50}", "raised_load", []any{423.202, 15.24}, "933 lb at 50 ft: the loaded leg, 63.3 kJ"},
		{"spring: {stiffness: 50000, metres: 0.1}", "spring", []any{50000.0, 0.1}, "as written"},
		{"accumulator: {litres: 10, precharge_bar: 90, bar: 200}", "accumulator", []any{0.01, 9000.0, 20000.0}, "bar is 100 kPa"},
		{"accumulator: {gallons: 1, precharge_psi: 1000, psi: 2000}", "accumulator", []any{0.003785412, 6894.757, 13789.514}, "NIST SP 811; from memory"},
		{"hot_part: {fahrenheit: 212, cool: 2h}", "hot_part", []any{100.0, uint32(7200)}, "boiling water"},
		{"hot_part: {celsius: 90}", "hot_part", []any{90.0, uint32(0)}, "as written"},
		{"grain_above: {bushels: 12000, pounds_per_bushel: 60, feet: 20}", "grain_above", []any{12000.0, 60.0, 6.096}, "foot, 1959"},
		{"flywheel: {inertia: 4, rpm: 900, run_down: 90s}", "flywheel", []any{4.0, 900.0, uint32(90)}, "as written"},
	}
	for _, test := range tests {
		s, err := Parse("x.yaml", []byte("nodes:\n  - {name: a, store: {"+test.figures+", builds_up: true, recheck: 30m}}\n"))
		if err != nil {
			t.Errorf("%s: %v", test.figures, err)
			continue
		}
		store := s.Drawing.Nodes[0].Store
		got := figuresOf(test.kind, store)
		if len(got) != len(test.want) || !store.BuildsUp || store.RecheckSeconds != 1800 {
			t.Errorf("%s: got %v", test.figures, store)
			continue
		}
		for i := range got {
			a, isNumber := got[i].(float64)
			if b, _ := test.want[i].(float64); isNumber && math.Abs(a-b) > 2e-6*b || !isNumber && got[i] != test.want[i] {
				t.Errorf("%s: figure %d is %v, want %v (%s)", test.figures, i, got[i], test.want[i], test.source)
			}
		}
	}
	for store, text := range map[string]string{
		"vessel: {litres: 1, gallons: 2}":          "litres and gallons say the same thing",
		"vessel: {litres: 1}, spring: {metres: 1}": "a store is a vessel or a spring, not both",
		"hot_part: {fahrenheit: 20}":               "fahrenheit is out of range",
		"capacitor: {micro: 1}":                    `unknown field "micro"; a capacitor has: farads, microfarads`,
		"capacitor: {farads: -1}":                  "farads must be a number from 0 up",
		"flywheel: {run_down: 90}":                 "run_down must be a duration",
		"accumulator: 7":                           "an accumulator must be fields",
	} {
		_, err := Parse("x.yaml", []byte("nodes:\n  - {name: a, store: {"+store+"}}\n"))
		if err == nil || !strings.Contains(err.Error(), text) {
			t.Errorf("%s: got %v, want %q", store, err, text)
		}
	}
	s, err := Parse("x.yaml", []byte("nodes:\n  - name: a\n    start: remote\n    store:\n      capacitor: {farads: 1,\n        label_wait: 5s}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for field, line := range map[string]int{"nodes[0].store.capacitor.label_seconds": 6, "nodes[0].start_kind": 3, "nodes[0].store.capacitor.ohms": 5} {
		if got, _ := s.Locate(field); got != line {
			t.Errorf("%s is in line %d, want %d", field, got, line)
		}
	}
}
