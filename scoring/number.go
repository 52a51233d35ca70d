package scoring

import "math"

// Results are stored for ever and must come out bit for bit on any processor.
// Two things could spoil that.
//
// A compiler may fuse a product and a following sum into one instruction with
// one rounding (it does on arm64, and on amd64 at level v3). The language
// forbids it across an explicit conversion, so in this package every
// floating-point product stands inside float64(…) before anything is added to
// it. A test reads the source and fails when one does not.
//
// math.Log and math.Exp are written in assembly for some processors and may
// differ there in the last bit. The two functions below use only +, −, ×, ÷,
// which IEEE 754 rounds in one way everywhere, and exact scaling by powers of
// two. They agree with math.Log and math.Exp to about one unit in the last
// place.

// ln 2 in two parts: the first has zeros in its low bits, so that a small
// whole number times it is exact.
const (
	ln2High = 6.93147180369123816490e-01
	ln2Low  = 1.90821492927058770002e-10
)

// logarithm is the natural logarithm of x ≥ 0; −Inf at 0.
func logarithm(x float64) float64 {
	if x <= 0 {
		return math.Inf(-1)
	}
	fraction, exponent := math.Frexp(x)
	if fraction < math.Sqrt2/2 {
		fraction = float64(fraction * 2)
		exponent--
	}
	// ln f = 2 artanh(s), s = (f−1)/(f+1), |s| < 0.172; the series ends below
	// the last bit.
	s := (fraction - 1) / (fraction + 1)
	square := float64(s * s)
	series := 0.0
	for k := 25; k >= 3; k -= 2 {
		series = float64((series + 1/float64(k)) * square)
	}
	k := float64(exponent)
	small := float64(float64(2*s)*series) + float64(k*ln2Low)
	return float64(k*ln2High) + (float64(2*s) + small)
}

// exponential is e to the power x, for x ≤ 0 or moderate; 0 at −Inf.
func exponential(x float64) float64 {
	switch {
	case x < -745:
		return 0
	case x > 709:
		x = 709 // never an infinity
	}
	k := math.Floor(x/math.Ln2 + 0.5)
	r := (x - float64(k*ln2High)) - float64(k*ln2Low)
	series := 0.0
	for n := 17; n >= 1; n-- {
		series = float64((series + 1) * (r / float64(n)))
	}
	return math.Ldexp(1+series, int(k))
}

// scaled is weight × logLikelihood with 0 × −Inf = 0: an item that does not
// count excludes nothing.
func scaled(weight, logLikelihood float64) float64 {
	if weight == 0 {
		return 0
	}
	return float64(weight * logLikelihood)
}

// shares turns logarithms into shares that sum to 1. It reports false when
// every logarithm is −Inf.
func shares(logs []float64) ([]float64, bool) {
	top := math.Inf(-1)
	for _, l := range logs {
		top = max(top, l)
	}
	if math.IsInf(top, -1) {
		return nil, false
	}
	p := make([]float64, len(logs))
	sum := 0.0
	for i, l := range logs {
		p[i] = exponential(l - top)
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p, true
}

// discounted is the sum of values with the weights 1, (1−ρ), (1−ρ)², … in the
// order given: the ordered discount for items that partly repeat one another.
func discounted(values []float64, rho float64) float64 {
	sum, weight := 0.0, 1.0
	for _, v := range values {
		sum += scaled(weight, v)
		weight = float64(weight * (1 - rho))
	}
	return sum
}
