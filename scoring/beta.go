package scoring

// The beta distribution by the package's own logarithm and exponential, for the
// reason given in number.go. The tests hold it against published quantiles.

// lnRoot2Pi is ln √(2π).
const lnRoot2Pi = 0.918938533204672742

// logGamma is ln Γ(x) for x > 0, by Stirling's series from 16 up and the
// recurrence below (NIST Digital Library of Mathematical Functions, 5.11.1).
func logGamma(x float64) float64 {
	shift := 0.0
	for x < 16 {
		shift += logarithm(x)
		x++
	}
	q := 1 / float64(x*x)
	series := -691.0 / 360360
	for _, c := range []float64{1.0 / 1188, -1.0 / 1680, 1.0 / 1260, -1.0 / 360, 1.0 / 12} {
		series = float64(series*q) + c
	}
	return float64((x-0.5)*logarithm(x)) - x + lnRoot2Pi + series/x - shift
}

// betaBelow is P(X ≤ x) of the beta distribution, by the continued fraction of
// the incomplete beta function (DLMF 8.17.22).
func betaBelow(x, a, b float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	front := exponential(float64(a*logarithm(x)) + float64(b*logarithm(1-x)) + logGamma(a+b) - logGamma(a) - logGamma(b))
	if x < (a+1)/(a+b+2) {
		return min(1, float64(front*betaFraction(x, a, b))/a)
	}
	return max(0, 1-float64(front*betaFraction(1-x, b, a))/b)
}

// betaQuantile is the x with P(X ≤ x) = p, by halving.
func betaQuantile(p, a, b float64) float64 {
	low, high := 0.0, 1.0
	for range 60 {
		middle := (low + high) / 2
		if betaBelow(middle, a, b) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
