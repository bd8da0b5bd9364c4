package unit

import (
	"math"
	"testing"
)

// The factors against those printed in NIST SP 811 (2008), B.8, all from memory:
// bushel (U.S.) to m3 3.523 907 E-02, foot pound-force to J 1.355 818 E+00,
// psi to kPa 6.894 757 E+00, foot to m 3.048 E-01, pound to kg 4.535 924 E-01,
// cubic foot to m3 2.831 685 E-02. The bushel is 2150.42 in3 (Handbook 44, C).
func TestPublishedFactors(t *testing.T) {
	for _, c := range []struct {
		name       string
		got, print float64
	}{
		{"bushel", CubicMetresPerBushel, 3.523907e-2},
		{"foot pound-force", JoulesPerFootPound, 1.355818},
		{"psi", KilopascalsPerPSI, 6.894757},
		{"foot", MetresPerFoot, 0.3048},
		{"pound", KilogramsPerPound, 0.4535924},
		{"cubic foot", CubicMetresPerFoot3, 2.831685e-2},
	} {
		// Half of the last of seven printed digits.
		if math.Abs(c.got/c.print-1) > 5e-7 {
			t.Errorf("%s: %v, published %v", c.name, c.got, c.print)
		}
	}
	// psi and foot pound-force worked out anew: g = 9.80665 m/s2, CGPM 1901.
	force := 0.45359237 * 9.80665
	if psi := force / (0.0254 * 0.0254) / 1000; math.Abs(KilopascalsPerPSI/psi-1) > 5e-7 {
		t.Errorf("psi: %v, by definition %v", KilopascalsPerPSI, psi)
	}
	if ftlb := force * 0.3048; math.Abs(JoulesPerFootPound/ftlb-1) > 5e-7 {
		t.Errorf("foot pound-force: %v, by definition %v", JoulesPerFootPound, ftlb)
	}
}

// Water freezes at 32 °F and boils at 212 °F; both scales meet at -40.
func TestFahrenheit(t *testing.T) {
	for c, f := range map[float64]float64{0: 32, 100: 212, -40: -40} {
		if got := Fahrenheit(c); math.Abs(got-f) > 1e-9 {
			t.Errorf("%v °C: %v °F, want %v", c, got, f)
		}
	}
}

func TestJoules(t *testing.T) {
	for j, want := range map[float64]string{9e7: "90 MJ", 63300: "63.3 kJ", 999: "999 J", 999.99: "1 kJ", 0.5: "0.5 J", 1.2345e9: "1.234 GJ", 5e13: "50000 GJ", 0: "0 J"} {
		if got := Joules(j); got != want {
			t.Errorf("%v J: %q, want %q", j, got, want)
		}
	}
}

func TestBeside(t *testing.T) {
	for text, want := range map[string]string{
		"below 690 kPa gauge":                  "below 690 kPa (100.1 psi) gauge",
		"60 °C; measured time to cool 600 s":   "60 °C (140 °F); measured time to cool 600 s",
		"90 MJ":                                "90 MJ (66380000 ft-lb)",
		"m g h, 1000 kg over 3 m: 29420 J; it": "m g h, 1000 kg (2205 lb) over 3 m (9.843 ft): 29420 J (21700 ft-lb); it",
		"1 m3 at 7 kPa":                        "1 m3 (35.31 ft3 or 28.38 bu) at 7 kPa (1.015 psi)",
		// No unit of ours: minutes, an inch thread, inertia, stiffness, a name.
		"wait 5 min, NPT 2 in": "wait 5 min, NPT 2 in",
		"0.4 kg m2 at 200 rpm": "0.4 kg m2 at 200 rpm",
		"9 N/m over 2 mm":      "9 N/m over 2 mm",
		"leg 2 motor":          "leg 2 motor",
	} {
		if got := Beside(text); got != want {
			t.Errorf("%q\n  got  %q\n  want %q", text, got, want)
		}
	}
}
