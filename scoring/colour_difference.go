package scoring

import "math"

// Lab is a colour in CIELAB.
type Lab struct {
	L float64 `json:"L"` // 0 to 100
	A float64 `json:"a"`
	B float64 `json:"b"`
}

// chroma is C*ab.
func (c Lab) chroma() float64 { return math.Sqrt(float64(c.A*c.A) + float64(c.B*c.B)) }

// ColourDifference is CIEDE2000 with the parametric factors 1, as G. Sharma, W.
// Wu and E. Dalal state it (The CIEDE2000 color-difference formula:
// implementation notes, supplementary test data, and mathematical observations,
// 2005; the formula itself is ISO/CIE 11664-6). It does not depend on the order
// of the two.
//
// It is written here and not taken from a library for two reasons: a library's
// sine and exponential may differ in the last bit from processor to processor,
// and which of two mean hues holds for colours that stand exactly opposite must
// not hang on the rounding of an angle: here it follows from the sign of
// a₁b₂ − a₂b₁.
func ColourDifference(x, y Lab) float64 {
	mean7 := power7((x.chroma() + y.chroma()) / 2)
	stretch := 1 + float64(0.5*(1-math.Sqrt(mean7/(mean7+power7(25)))))
	p, q := Lab{x.L, float64(stretch * x.A), x.B}, Lab{y.L, float64(stretch * y.A), y.B}
	cp, cq := p.chroma(), q.chroma()

	turn, mean := 0.0, 0.0 // hue difference and mean hue, in degrees
	switch {
	case cp == 0 || cq == 0:
		mean = hueDegrees(p.A, p.B) + hueDegrees(q.A, q.B) // one of them is 0
	default:
		hp, hq := hueDegrees(p.A, p.B), hueDegrees(q.A, q.B)
		turn = hq - hp
		switch side := float64(x.A*y.B) - float64(y.A*x.B); {
		case side > 0 && turn < 0:
			turn += 360
		case side < 0 && turn > 0:
			turn -= 360
		}
		mean = hp + turn/2
	}

	dl, dc := q.L-p.L, cq-cp
	dh := float64(float64(2*math.Sqrt(float64(cp*cq))) * sineDegrees(turn/2))
	l, c := (p.L+q.L)/2, (cp+cq)/2
	t := 1 - float64(0.17*cosineDegrees(mean-30)) + float64(0.24*cosineDegrees(float64(2*mean))) +
		float64(0.32*cosineDegrees(float64(3*mean)+6)) - float64(0.20*cosineDegrees(float64(4*mean)-63))
	fifty := float64((l - 50) * (l - 50))
	sl := 1 + float64(0.015*fifty)/math.Sqrt(20+fifty)
	sc := 1 + float64(0.045*c)
	sh := 1 + float64(0.015*float64(c*t))
	for mean < 0 {
		mean += 360
	}
	for mean >= 360 {
		mean -= 360
	}
	blue := (mean - 275) / 25
	c7 := power7(c)
	rotation := float64(float64(-2*math.Sqrt(c7/(c7+power7(25)))) * sineDegrees(float64(60*exponential(-float64(blue*blue)))))
	dl, dc, dh = dl/sl, dc/sc, dh/sh
	sum := float64(dl*dl) + float64(dc*dc) + float64(dh*dh) + float64(float64(rotation*dc)*dh)
	return math.Sqrt(max(0, sum))
}

func power7(x float64) float64 {
	square := float64(x * x)
	return float64(float64(float64(square*square)*square) * x)
}

// The trigonometry of hues: +, −, ×, ÷ and square roots alone, for the reason
// given in number.go.

// hueDegrees is the angle of (a, b), 0 to below 360 degrees; 0 for no colour.
func hueDegrees(a, b float64) float64 {
	if a == 0 && b == 0 {
		return 0
	}
	x, y := math.Abs(a), math.Abs(b)
	angle := 0.0
	if y <= x {
		angle = arctangentDegrees(y / x)
	} else {
		angle = 90 - arctangentDegrees(x/y)
	}
	if a < 0 {
		angle = 180 - angle
	}
	if b < 0 && angle > 0 {
		angle = 360 - angle
	}
	if angle >= 360 { // 360 less an angle below the last bit
		return 0
	}
	return angle
}

// arctangentDegrees is for 0 ≤ x ≤ 1: the angle is halved twice, and the series
// of what is left ends below the last bit.
func arctangentDegrees(x float64) float64 {
	for range 2 {
		x = x / (1 + math.Sqrt(1+float64(x*x)))
	}
	square := float64(x * x)
	series := 0.0
	for k := 27.0; k >= 1; k -= 2 {
		series = 1/k - float64(square*series)
	}
	return float64(float64(float64(4*x)*series) * (180 / math.Pi))
}

func sineDegrees(angle float64) float64 { return cosineDegrees(angle - 90) }

// cosineDegrees takes the nearest right angle away and sums the series of the
// rest, at most 45 degrees.
func cosineDegrees(angle float64) float64 {
	quarter := math.Floor(angle/90 + 0.5)
	x := float64((angle - float64(quarter*90)) * (math.Pi / 180))
	square := float64(x * x)
	cosine, sine := 0.0, 0.0
	for k := 22.0; k >= 2; k -= 2 {
		cosine = float64((1-cosine)*square) / float64(k*(k-1))
		sine = float64((1-sine)*square) / float64((k+1)*k)
	}
	cosine, sine = 1-cosine, float64(x*(1-sine))
	switch int(quarter) & 3 {
	case 1:
		return -sine
	case 2:
		return -cosine
	case 3:
		return sine
	}
	return cosine
}
