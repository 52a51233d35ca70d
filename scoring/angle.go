package scoring

import "math"

// Sine and cosine of an angle in degrees, by their series, for the reason given
// in number.go.

// sineCosine takes 0 to 360 degrees.
func sineCosine(degrees float64) (sine, cosine float64) {
	quarter := math.Round(degrees / 90)
	x := float64((degrees - float64(90*quarter)) * (math.Pi / 180)) // within ±π/4
	square := float64(x * x)
	s, c := 0.0, 0.0
	for k := 10; k >= 1; k-- {
		s = -float64((1 + s) * (square / float64(2*k*(2*k+1))))
		c = -float64((1 + c) * (square / float64(2*k*(2*k-1))))
	}
	s, c = float64(x*(1+s)), 1+c
	switch int(quarter) % 4 {
	case 1:
		return c, -s
	case 2:
		return -s, -c
	case 3:
		return -c, s
	}
	return s, c
}

// arcCosine is in degrees, 0 to 180, by halving.
func arcCosine(cosine float64) float64 {
	low, high := 0.0, 180.0
	for range 60 {
		middle := (low + high) / 2
		if _, c := sineCosine(middle); c > cosine {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
