package scoring

import "math"

// Student's t by +, −, ×, ÷, square roots and the package's own logarithm and
// exponential, for the reason given in number.go: a library may use other
// instructions on other processors. The tests hold it against one.

// halfGamma is ln Γ(x+½) − ln Γ(x) for x > 0, by its asymptotic series from 16
// up and the recurrence below. Source: F. Tricomi and A. Erdélyi, The
// asymptotic expansion of a ratio of gamma functions, 1951.
func halfGamma(x float64) float64 {
	shift := 1.0
	for x < 16 {
		shift = float64(shift * (x / (x + 0.5)))
		x++
	}
	q := 1 / float64(x*x)
	series := 691.0 / 180224
	for _, c := range []float64{-31.0 / 18432, 17.0 / 14336, -1.0 / 640, 1.0 / 192, -1.0 / 8} {
		series = float64(series*q) + c
	}
	return float64(logarithm(x)/2) + series/x + logarithm(shift)
}

// logOnePlus is ln(1+q) for q ≥ 0 without loss where q is small.
func logOnePlus(q float64) float64 {
	if q > 0.3 {
		return logarithm(1 + q)
	}
	s := q / (2 + q) // ln(1+q) = 2 artanh(s)
	square := float64(s * s)
	series := 0.0
	for k := 25; k >= 1; k -= 2 {
		series = float64(series*square) + 1/float64(k)
	}
	return float64(float64(2*s) * series)
}

// studentDensity is the density of Student's t with df degrees of freedom.
func studentDensity(t, df float64) float64 {
	q := float64(float64(t/df) * t)
	return exponential(halfGamma(df/2) - float64(logarithm(float64(math.Pi*df))/2) - float64((df+1)/2*logOnePlus(q)))
}

// studentTail is P(T > |t|), by the continued fraction of the incomplete beta
// function (NIST Digital Library of Mathematical Functions, 8.17.22).
func studentTail(t, df float64) float64 {
	q := min(float64(float64(t/df)*t), 1e300)
	if q == 0 {
		return 0.5
	}
	x, y := 1/(1+q), q/(1+q)
	a, b := df/2, 0.5
	front := exponential(float64(-a*logOnePlus(q)) + float64(logarithm(y)/2) + halfGamma(a) - float64(logarithm(math.Pi)/2))
	if x < (a+1)/(a+b+2) {
		return float64(front*betaFraction(x, a, b)) / a / 2
	}
	return 0.5 - float64(front*betaFraction(y, b, a))/b/2
}

// betaFraction is the continued fraction, by the modified Lentz algorithm.
func betaFraction(x, a, b float64) float64 {
	const tiny = 1e-300
	away := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c := 1.0
	d := 1 / away(1-float64((a+b)*x)/(a+1))
	h := d
	for k := 1; k < 100_000; k++ {
		m := float64(k)
		even := float64(float64(m*(b-m))*x) / float64((a+float64(2*m)-1)*(a+float64(2*m)))
		d = 1 / away(1+float64(even*d))
		c = away(1 + even/c)
		h = float64(h * float64(d*c))
		odd := float64(float64(-(a+m)*(a+b+m))*x) / float64((a+float64(2*m))*(a+float64(2*m)+1))
		d = 1 / away(1+float64(odd*d))
		c = away(1 + odd/c)
		step := float64(d * c)
		h = float64(h * step)
		if math.Abs(step-1) < 3e-16 {
			break
		}
	}
	return h
}

// studentBelow is P(T ≤ t).
func studentBelow(t, df float64) float64 {
	if t > 0 {
		return 1 - studentTail(t, df)
	}
	return studentTail(t, df)
}

// studentQuantile is the t with P(T ≤ t) = p, for 0 < p < 1. Above the median
// the distribution function is concave, so that Newton's steps from the median
// never pass the root.
func studentQuantile(p, df float64) float64 {
	if p == 0.5 {
		return 0
	}
	tail := min(p, 1-p)
	t := 0.0
	for range 200 {
		step := (studentTail(t, df) - tail) / studentDensity(t, df)
		t += step
		if step <= float64(2e-16*t) {
			break
		}
	}
	if p < 0.5 {
		return -t
	}
	return t
}
