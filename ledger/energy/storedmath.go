package energy

import "math"

// Every replica must get the same bits here. A wait is a whole number of seconds that
// decides whether work may start, and a drawing is refused if its joules disagree.
// math.Log and math.Exp do not promise the same bits: some platforms have them in
// assembly, and Go may round a product and a sum only once. So this file uses only + - *
// / and exact operations. Each of + - * / is rounded by itself, which an explicit
// conversion forces (Go specification, "Floating-point operators").

// ln is the natural logarithm of x, which must be positive and finite. Its relative
// error is a few units in the last place. ln f = 2 atanh((f-1)/(f+1)).
func ln(x float64) float64 {
	f, e := math.Frexp(x)
	if f < 0.7 {
		f, e = 2*f, e-1
	}
	s := (f - 1) / (f + 1)
	s2 := float64(s * s)
	sum := 0.0
	for k := 25; k >= 1; k -= 2 { // s*s is below 0.0312: the rest is below 1e-20
		sum = float64(sum*s2) + 1/float64(k)
	}
	return float64(float64(e)*math.Ln2) + float64(2*float64(s*sum))
}

// exp is e to the power y. It is 0 or infinity where the result leaves the range.
func exp(y float64) float64 {
	switch {
	case y > 700:
		return math.Inf(1)
	case y < -700:
		return 0
	}
	k := math.Floor(y/math.Ln2 + 0.5)
	r := y - float64(k*math.Ln2)
	sum := 1.0
	for i := 22; i >= 1; i-- { // Taylor; |r| is at most 0.35
		sum = 1 + float64(r*sum)/float64(i)
	}
	return math.Ldexp(sum, int(k))
}

// power is x to the power p. x must be positive and finite.
func power(x, p float64) float64 { return exp(float64(p * ln(x))) }
