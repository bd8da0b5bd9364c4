// Package unit writes quantities for people: SI with a fitting prefix and, on
// request, the customary units of the United States beside it. It is pure.
//
// The factors are those of NIST SP 811 (2008), appendix B.8, except the bushel,
// which is 2150.42 cubic inches (NIST Handbook 44, appendix C) of exactly 2.54 cm.
package unit

import (
	"regexp"
	"strconv"
	"strings"
)

// Factors: how many of the SI unit one customary unit is.
const (
	MetresPerFoot             = 0.3048                             // exact
	KilopascalsPerPSI         = 6.894757                           // pound-force per square inch
	JoulesPerFootPound        = 1.355818                           // foot pound-force
	KilogramsPerPound         = 0.45359237                         // exact, avoirdupois
	CubicMetresPerFoot3       = 0.02831685                         // cubic foot
	CubicMetresPerBushel      = 2150.42 * 0.0254 * 0.0254 * 0.0254 // exact from the inch
	fahrenheitPerKelvin       = 1.8                                // SP 811, B.8: t/°C = (t/°F - 32)/1.8
	fahrenheitAtZeroOfCelsius = 32.0                               // the same
)

// Fahrenheit converts a temperature from degrees Celsius.
func Fahrenheit(celsius float64) float64 {
	return celsius*fahrenheitPerKelvin + fahrenheitAtZeroOfCelsius
}

// Bushels converts a volume from cubic metres.
func Bushels(cubicMetres float64) float64 { return cubicMetres / CubicMetresPerBushel }

// Joules writes an energy with a fitting prefix, to four digits, such as "90 MJ".
func Joules(j float64) string {
	for _, p := range []struct {
		least float64
		unit  string
	}{{1e9, " GJ"}, {1e6, " MJ"}, {1e3, " kJ"}} {
		// A value less than half a last digit below the step rounds up to it.
		if j >= p.least*0.99995 {
			return figures(j/p.least) + p.unit
		}
	}
	return figures(j) + " J"
}

// figures writes a number to four significant digits, never with an exponent.
func figures(v float64) string {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	if err != nil {
		rounded = v
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// quantity matches a number and one of our SI units that stand by themselves.
var quantity = regexp.MustCompile(`(-?\d+(?:\.\d+)?(?:e[+-]?\d+)?) (kPa|°C|[kMG]?J|m3|kg m2|kg|m|N/m)(?:[^\pL\d/]|$)`)

// Beside adds the customary value in brackets after each quantity of a text that has
// one: "690 kPa (100.1 psi)". What people typed is not changed.
func Beside(text string) string {
	var b strings.Builder
	rest := text
	for {
		at := quantity.FindStringSubmatchIndex(rest)
		if at == nil {
			b.WriteString(rest)
			return b.String()
		}
		number, unit, end := rest[at[2]:at[3]], rest[at[4]:at[5]], at[5]
		b.WriteString(rest[:end])
		if v, err := strconv.ParseFloat(number, 64); err == nil {
			b.WriteString(customary(v, unit))
		}
		rest = rest[end:]
	}
}

// customary is the value in brackets. It is empty for a unit without a common one.
func customary(v float64, unit string) string {
	switch unit {
	case "kPa":
		return in(v/KilopascalsPerPSI, "psi")
	case "°C":
		return in(Fahrenheit(v), "°F")
	case "J":
		return in(v/JoulesPerFootPound, "ft-lb")
	case "kJ":
		return in(v*1e3/JoulesPerFootPound, "ft-lb")
	case "MJ":
		return in(v*1e6/JoulesPerFootPound, "ft-lb")
	case "GJ":
		return in(v*1e9/JoulesPerFootPound, "ft-lb")
	case "m":
		return in(v/MetresPerFoot, "ft")
	case "kg":
		return in(v/KilogramsPerPound, "lb")
	case "m3":
		return " (" + figures(v/CubicMetresPerFoot3) + " ft3 or " + figures(Bushels(v)) + " bu)"
	}
	return ""
}

func in(v float64, unit string) string { return " (" + figures(v) + " " + unit + ")" }
