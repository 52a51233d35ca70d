package scoring

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// labPairs reads a file of colour pairs: the six numbers of the two and their
// difference in the last columns.
func labPairs(t *testing.T, name string) (pairs [][2]Lab, want []float64) {
	t.Helper()
	f, err := os.Open("testdata/ciede2000/" + name)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, row := range rows[1:] {
		row = row[len(row)-7:]
		var v [7]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i], 64)
			require.NoError(t, err)
		}
		pairs = append(pairs, [2]Lab{{v[0], v[1], v[2]}, {v[3], v[4], v[5]}})
		want = append(want, v[6])
	}
	return pairs, want
}

// The 34 published pairs (Sharma, Wu and Dalal 2005), in both orders.
func TestCIEDE2000Published(t *testing.T) {
	pairs, want := labPairs(t, "sharma34.csv")
	require.Len(t, pairs, 34)
	for i, p := range pairs {
		require.InDelta(t, want[i], ColourDifference(p[0], p[1]), 0.5001e-4, "pair %d", i+1)
		require.InDelta(t, want[i], ColourDifference(p[1], p[0]), 0.5001e-4, "pair %d, exchanged", i+1)
	}
}

// Random pairs against another implementation in another language; see
// testdata/ciede2000/README.md.
func TestCIEDE2000SecondImplementation(t *testing.T) {
	pairs, want := labPairs(t, "second.csv")
	require.Len(t, pairs, 60)
	for i, p := range pairs {
		require.InDelta(t, want[i], ColourDifference(p[0], p[1]), 1e-5, "pair %d", i+1)
	}
}

// ciede2000 is the formula step by step as the paper prints it, by the standard
// library's functions in radians.
func ciede2000(x, y Lab) float64 {
	cab := (math.Hypot(x.A, x.B) + math.Hypot(y.A, y.B)) / 2
	g := 0.5 * (1 - math.Sqrt(math.Pow(cab, 7)/(math.Pow(cab, 7)+math.Pow(25, 7))))
	a1, a2 := (1+g)*x.A, (1+g)*y.A
	c1, c2 := math.Hypot(a1, x.B), math.Hypot(a2, y.B)
	hue := func(a, b float64) float64 { return math.Mod(math.Atan2(b, a)*180/math.Pi+360, 360) }
	h1, h2 := hue(a1, x.B), hue(a2, y.B)
	dh, mean := h2-h1, (h1+h2)/2
	switch {
	case c1*c2 == 0:
		dh, mean = 0, h1+h2
	case dh > 180:
		dh, mean = dh-360, mean+180
	case dh < -180:
		dh, mean = dh+360, mean+180
	}
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(dh*math.Pi/360)
	l, c := (x.L+y.L)/2, (c1+c2)/2
	mean = math.Mod(mean, 360)
	cos := func(d float64) float64 { return math.Cos(d * math.Pi / 180) }
	tt := 1 - 0.17*cos(mean-30) + 0.24*cos(2*mean) + 0.32*cos(3*mean+6) - 0.2*cos(4*mean-63)
	theta := 30 * math.Exp(-math.Pow((mean-275)/25, 2))
	rt := -2 * math.Sqrt(math.Pow(c, 7)/(math.Pow(c, 7)+math.Pow(25, 7))) * math.Sin(2*theta*math.Pi/180)
	sl := 1 + 0.015*(l-50)*(l-50)/math.Sqrt(20+(l-50)*(l-50))
	sc, sh := 1+0.045*c, 1+0.015*c*tt
	p, q, r := (y.L-x.L)/sl, (c2-c1)/sc, dH/sh
	return math.Sqrt(p*p + q*q + r*r + rt*q*r)
}

func drawLab(t *rapid.T, label string) Lab {
	return Lab{rapid.Float64Range(0, 100).Draw(t, label+" L"), rapid.Float64Range(-120, 120).Draw(t, label+" a"), rapid.Float64Range(-120, 120).Draw(t, label+" b")}
}

func TestCIEDE2000SideBySide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, y := drawLab(t, "x"), drawLab(t, "y")
		if halfTurn(x, y) {
			t.Skip("opposite hues: the rounding of the angles decides in the other one")
		}
		got := ColourDifference(x, y)
		require.InDelta(t, ciede2000(x, y), got, 1e-9)
		require.InDelta(t, got, ColourDifference(y, x), 1e-12)
		require.Zero(t, ColourDifference(x, x))
	})
}

// halfTurn says whether the hues of two colours are half a turn apart, as far as
// their rounding can tell.
func halfTurn(x, y Lab) bool {
	dot, side := x.A*y.A+x.B*y.B, x.A*y.B-y.A*x.B
	return dot < 0 && math.Abs(side) < -1e-9*dot
}

// Colours that stand exactly opposite, whatever their rounding, take the mean
// of the two angles and not the one across, as the published pairs 10 and 14 do.
func TestOppositeHues(t *testing.T) {
	for _, v := range [][2]float64{{3, 1}, {0.1, 0.3}, {-7, 5}, {2.49, -0.001}, {40, 41}} {
		for _, k := range []float64{1, 2, 4, 0.5} {
			x, y := Lab{50, v[0], v[1]}, Lab{50, float64(-k * v[0]), float64(-k * v[1])}
			d := ColourDifference(x, y)
			require.InDelta(t, d, ColourDifference(y, x), 1e-12)
		}
	}
}

func TestHueTrigonometryAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.Float64Range(-2000, 2000).Draw(t, "degrees")
		require.InDelta(t, math.Cos(d*math.Pi/180), cosineDegrees(d), 2e-14)
		require.InDelta(t, math.Sin(d*math.Pi/180), sineDegrees(d), 2e-14)
		a, b := rapid.Float64Range(-100, 100).Draw(t, "a"), rapid.Float64Range(-100, 100).Draw(t, "b")
		if a == 0 && b == 0 {
			// No colour has the hue 0 (Sharma, Wu and Dalal 2005, equation 7); the
			// library gives 180 degrees for -0 and 0.
			require.Zero(t, hueDegrees(a, b))
			return
		}
		require.InDelta(t, math.Mod(math.Atan2(b, a)*180/math.Pi+360, 360), hueDegrees(a, b), 1e-12)
	})
	require.Zero(t, hueDegrees(math.Copysign(0, -1), 0))
	for want, v := range map[float64][2]float64{0: {1, 0}, 45: {2, 2}, 90: {0, 1}, 135: {-1, 1}, 180: {-1, 0}, 225: {-3, -3}, 270: {0, -2}, 315: {1, -1}} {
		require.InDelta(t, want, hueDegrees(v[0], v[1]), 1e-13)
	}
	require.Zero(t, hueDegrees(1, -1e-300))
}

func colourExample(area ...Lab) ColourInput {
	return ColourInput{Reference: ColourSet{"sheltered", "meter 1", "D65", []Lab{{30, 40, 20}}, nil}, Area: ColourSet{"area", "meter 1", "D65", area, nil}}
}

// Equal differences, opposite meaning: an exposed tank is lighter and of less
// chroma; a touch-in that is darker and of more is not faded.
func TestColourHasADirection(t *testing.T) {
	faded, err := Colour(colourExample(Lab{34, 33, 16}))
	require.NoError(t, err)
	touched, err := Colour(colourExample(Lab{25.2, 46, 22}))
	require.NoError(t, err)
	require.InDelta(t, faded.DeltaE00, touched.DeltaE00, 0.5)
	require.Equal(t, ColourDirection{"lighter", "less", "redder", fadingYes}, faded.Direction)
	require.Equal(t, fadingNo, touched.Direction.Fading)
	require.Contains(t, strings.Join(faded.Cautions, " "), "opposite")
	near(t, 4, faded.DeltaL.Value, 12)
	near(t, math.Hypot(33, 16)-math.Hypot(40, 20), faded.DeltaC.Value, 12)
	require.Nil(t, faded.DeltaL.SE)
}

// ΔL² + ΔC² + ΔH² is the squared distance in CIELAB (ISO/CIE 11664-4), and ΔH
// has the sign of the turn.
func TestColourPartsMakeTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := colourExample(drawLab(t, "area"))
		in.Reference.Readings[0] = drawLab(t, "reference")
		out, err := Colour(in)
		require.NoError(t, err)
		x, y := in.Reference.Readings[0], in.Area.Readings[0]
		require.InDelta(t, math.Pow(x.L-y.L, 2)+math.Pow(x.A-y.A, 2)+math.Pow(x.B-y.B, 2),
			math.Pow(out.DeltaL.Value, 2)+math.Pow(out.DeltaC.Value, 2)+math.Pow(out.DeltaH.Value, 2), 1e-7)
		back := in
		back.Reference, back.Area = in.Area, in.Reference
		turned, err := Colour(back)
		require.NoError(t, err)
		if halfTurn(x, y) { // half a turn goes either way
			require.InDelta(t, math.Abs(out.DeltaH.Value), math.Abs(turned.DeltaH.Value), 1e-9)
		} else {
			require.InDelta(t, -out.DeltaH.Value, turned.DeltaH.Value, 1e-9)
		}
		runsAlike(t, MethodColour, in, out)
	})
}

// Yellow turned towards green is a larger hue angle.
func TestHueWords(t *testing.T) {
	in := colourExample(Lab{50, -10, 50})
	in.Reference.Readings = []Lab{{50, -5, 50}}
	out, err := Colour(in)
	require.NoError(t, err)
	require.Positive(t, out.DeltaH.Value)
	require.Equal(t, "greener", out.Direction.Hue)
	in.Area.Readings = []Lab{{50, 3, 50}}
	out, err = Colour(in)
	require.NoError(t, err)
	require.Equal(t, "yellower", out.Direction.Hue)
}

// The standard errors against a simulation by hand: readings whose means are
// computed one by one, and what is smaller than twice its error cannot be told.
func TestColourScatter(t *testing.T) {
	in := colourExample(Lab{31, 39, 21}, Lab{33, 37, 19}, Lab{32, 38, 20})
	in.Reference.Readings = []Lab{{30, 40, 20}, {32, 42, 22}, {31, 41, 18}}
	out, err := Colour(in)
	require.NoError(t, err)
	near(t, math.Sqrt(1.0/3+1.0/3), *out.DeltaL.SE, 12) // both sets have sd 1 in L
	require.Equal(t, cannotTell, out.Direction.Lightness)
	require.Equal(t, Lab{1, 1, 2}, *out.Reference.SD)
	// Chroma of single readings scatters as the projection says, to first order.
	chroma := func(s []Lab) (v []float64) {
		for _, c := range s {
			v = append(v, math.Hypot(c.A, c.B))
		}
		return v
	}
	_, p := meanAndSD(chroma(in.Reference.Readings))
	_, q := meanAndSD(chroma(in.Area.Readings))
	require.InEpsilon(t, math.Sqrt(p*p/3+q*q/3), *out.DeltaC.SE, 0.05)
	// A shared uncertainty is added and does not shrink with the readings.
	in.Area.Uncertainty = &Lab{3, 0, 0}
	wide, err := Colour(in)
	require.NoError(t, err)
	near(t, math.Sqrt(2.0/3+9), *wide.DeltaL.SE, 12)
}

func TestColourRefusals(t *testing.T) {
	for _, c := range []struct {
		change  func(*ColourInput)
		code    registry.Code
		pointer string
	}{
		{func(in *ColourInput) { in.Area.Readings = nil }, registry.CodeInsufficient, "/area/readings"},
		{func(in *ColourInput) { in.Area.Instrument = "meter 2" }, registry.CodeInsufficient, "/area/instrument"},
		{func(in *ColourInput) { in.Area.White = "D50" }, registry.CodeInvalid, "/area/white"},
		{func(in *ColourInput) { in.Area.White = "" }, registry.CodeInvalid, "/area/white"},
		{func(in *ColourInput) { in.Area.Readings[0].L = 101 }, registry.CodeInvalid, "/area/readings/0/L"},
		{func(in *ColourInput) { in.Reference.Uncertainty = &Lab{-1, 0, 0} }, registry.CodeInvalid, "/reference/uncertainty/L"},
	} {
		in := colourExample(Lab{1, 2, 3})
		c.change(&in)
		_, err := Colour(in)
		refused(t, err, c.code, c.pointer)
	}
}
