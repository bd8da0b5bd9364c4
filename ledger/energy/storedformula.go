package energy

import (
	"math"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// gravity is standard gravity, m/s2 (3rd CGPM, 1901).
	gravity = 9.80665
	// poundKilograms is the avoirdupois pound, kg, exact since 1959.
	poundKilograms = 0.45359237
	// cornPounds is the test weight where a drawing gives none, lb a bushel.
	cornPounds = 56
	// atmosphere is the absolute pressure of the air, Pa, as ASME PCC-2 takes it.
	atmosphere = 101_000
	// tntJoules is what a kilogram of TNT holds, J, as the SI form of ASME PCC-2
	// takes it. Its US form says 1,488,617 ft lb a pound, which is 4.3 % more:
	// never mix the two.
	tntJoules = 4_266_920

	// touchVolts is where a charged part stops being live: 50 V, NEC 460.6.
	touchVolts = 50
)

// charge is the energy of a capacitor, C V^2 / 2, J.
func charge(farads, volts float64) float64 { return farads * volts * volts / 2 }

// discharge is how long a capacitor takes from volts down to limit through a
// resistance, R C ln(V/limit), s; 0 where it is at the limit or below.
func discharge(ohms, farads, volts, limit float64) float64 {
	if volts <= limit {
		return 0
	}
	return ohms * farads * ln(volts/limit)
}

// turning is the energy of a turning mass, I w^2 / 2, J.
func turning(inertia, rpm float64) float64 {
	w := rpm * (2 * math.Pi) / 60
	return inertia * w * w / 2
}

// falling is the energy of a raised mass, m g h, J.
func falling(kilograms, metres float64) float64 { return kilograms * gravity * metres }

// sprung is the energy of a spring, k x^2 / 2, J.
func sprung(stiffness, metres float64) float64 { return stiffness * metres * metres / 2 }

// absolute turns gauge pressure in kPa into absolute pressure in Pa.
func absolute(gaugeKilopascals float64) float64 {
	return float64(gaugeKilopascals*1000) + atmosphere
}

// pressed is the energy of gas under pressure, J, absolute pressures in Pa: ASME
// PCC-2 equation II-2 (Article 501, appendix II), 2.5 P V (1 - (Pa/P)^0.286),
// for air and nitrogen.
func pressed(absolute, cubicMetres float64) float64 {
	return 2.5 * absolute * cubicMetres * (1 - power(atmosphere/absolute, 0.286))
}

// isothermal is the work of gas that expands at one temperature, P V ln(ratio),
// J; ratio is the pressure before over the one after.
func isothermal(pv, ratio float64) float64 { return pv * ln(ratio) }

// grainKilograms is the mass of grain; 0 pounds a bushel stands for corn's.
func grainKilograms(g *recordv1.GrainAbove) float64 {
	lb := g.GetPoundsPerBushel()
	if lb == 0 {
		lb = cornPounds
	}
	return g.GetBushels() * lb * poundKilograms
}
