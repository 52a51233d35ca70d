package scoring

import (
	"fmt"
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func cardAssumed() CardAssumed {
	return CardAssumed{LeastPatches: 8, LargestResidual: 3, LargestClipped: 0.01, Uneven: 0.25}
}

// cardExample is an invented card seen through a camera that mixes the three
// and adds a veil: linear light is an affine function of X, Y and Z, so the fit
// must find its inverse to the last digits.
func cardExample() (CardInput, func(Lab) []float64) {
	seen := func(c Lab) []float64 {
		xyz := c.tristimulus(whitePoint("D50"))
		x, y, z := xyz[0], xyz[1], xyz[2]
		return []float64{0.70*x + 0.15*y - 0.05*z + 0.02, -0.10*x + 0.80*y + 0.05*z + 0.03, 0.02*x - 0.10*y + 0.60*z + 0.04}
	}
	in := CardInput{White: "D50", Assumed: cardAssumed()}
	for i, c := range []Lab{{20, 0, 0}, {50, 0, 0}, {90, 0, 0}, {45, 50, 30}, {50, -40, 30}, {35, 20, -45}, {75, 5, 60}, {60, 30, -10}, {55, -30, -10}} {
		in.Patches = append(in.Patches, CardPatch{CardSample{fmt.Sprint("patch ", i+1), 900, seen(c), []float64{0, 0, 0}, 0}, c})
	}
	in.Areas = []CardSample{{"tank", 2500, seen(Lab{40, 25, 12}), []float64{0.001, 0.001, 0.001}, 0}}
	return in, seen
}

func TestCardFindsAnAffineCamera(t *testing.T) {
	in, seen := cardExample()
	out, err := Card(in)
	require.NoError(t, err)
	require.Less(t, out.LeftOut.Worst, 1e-9)
	require.InDelta(t, 0, ColourDifference(Lab{40, 25, 12}, out.Areas[0].Lab), 1e-9)
	rapid.Check(t, func(t *rapid.T) {
		c := Lab{rapid.Float64Range(25, 85).Draw(t, "L"), rapid.Float64Range(-25, 25).Draw(t, "a"), rapid.Float64Range(-25, 25).Draw(t, "b")}
		in.Areas[0].Linear = seen(c)
		out, err := Card(in)
		require.NoError(t, err)
		require.InDelta(t, 0, ColourDifference(c, out.Areas[0].Lab), 1e-8)
	})
}

// CIE 15 by the standard library: a colour to X, Y, Z and back.
func TestLabAndTristimulus(t *testing.T) {
	require.Equal(t, Lab{100, 0, 0}, labOf(whitePoint("D65"), whitePoint("D65")))
	// Mid grey: L 50 is Y = ((50+16)/116)³ = 0.18419.
	near(t, 0.18419, Lab{50, 0, 0}.tristimulus(whitePoint("D65"))[1], 5)
	near(t, 1/903.2963, Lab{1, 0, 0}.tristimulus(whitePoint("D65"))[1], 9)
	rapid.Check(t, func(t *rapid.T) {
		c, white := drawLab(t, "c"), whitePoint(rapid.SampledFrom([]string{"D50", "D65"}).Draw(t, "white"))
		back := labOf(c.tristimulus(white), white)
		require.InDelta(t, c.L, back.L, 1e-9)
		require.InDelta(t, c.A, back.A, 1e-9)
		require.InDelta(t, c.B, back.B, 1e-9)
		y := rapid.Float64Range(0.01, 1).Draw(t, "y")
		lightness := func(y float64) float64 { return 116*math.Cbrt(y) - 16 }
		require.InEpsilon(t, (lightness(y+1e-6)-lightness(y-1e-6))/2e-6, lightnessSlope(y), 1e-5)
	})
}

// What is left out is foretold worse than what is fitted, and a patch that is
// marked wrongly is named, though it bends the fit so far that another is missed
// by more.
func TestCardNamesTheWrongPatch(t *testing.T) {
	in, seen := cardExample()
	in.Assumed.LargestResidual = 20
	in.Patches[4].Linear = seen(Lab{60, -20, 20})
	out, err := Card(in)
	require.NoError(t, err)
	require.Greater(t, out.LeftOut.Mean, out.Fitted.Mean)
	require.Greater(t, out.Areas[0].Uncertainty.L, 1.0)
	in.Assumed.LargestResidual = 3
	_, err = Card(in)
	refused(t, err, registry.CodeInsufficient, "/patches")
	require.ErrorContains(t, err, `"patch 5"`)
}

func TestCardRefusals(t *testing.T) {
	_, seen := cardExample()
	for _, c := range []struct {
		change  func(*CardInput)
		code    registry.Code
		pointer string
	}{
		{func(in *CardInput) { in.Patches = nil }, registry.CodeInsufficient, "/patches"},
		{func(in *CardInput) { in.Patches = in.Patches[:7] }, registry.CodeInsufficient, "/patches"},
		{func(in *CardInput) { in.Patches[2].Clipped = 0.02 }, registry.CodeInsufficient, "/patches/2/clipped"},
		{func(in *CardInput) { in.Areas[0].Clipped = 0.02 }, registry.CodeInsufficient, "/areas/0/clipped"},
		{func(in *CardInput) { in.Areas = nil }, registry.CodeInsufficient, "/areas"},
		{func(in *CardInput) { in.Areas[0].Linear = []float64{1, 0, 0} }, registry.CodeInsufficient, "/areas/0"},
		{func(in *CardInput) { // greys alone, each with a little noise
			for i := range in.Patches {
				grey := Lab{15 + 9*float64(i), 0.5 * float64(i%3), 0.4 * float64(i%2)}
				in.Patches[i].Lab, in.Patches[i].Linear = grey, seen(grey)
			}
		}, registry.CodeInsufficient, "/patches"},
		{func(in *CardInput) { in.White = "" }, registry.CodeInvalid, "/white"},
		{func(in *CardInput) { in.Patches[1].Linear = []float64{0.1, 0.2} }, registry.CodeInvalid, "/patches/1/linear"},
		{func(in *CardInput) { in.Patches[1].Linear = []float64{0.1, 0.2, 1.2} }, registry.CodeInvalid, "/patches/1/linear/2"},
		{func(in *CardInput) { in.Patches[1].ID = "tank" }, registry.CodeInvalid, "/areas/0/id"},
		{func(in *CardInput) { in.Patches[1].Lab.L = -1 }, registry.CodeInvalid, "/patches/1/lab/L"},
		{func(in *CardInput) { in.Areas[0].Pixels = 50 }, registry.CodeInvalid, "/areas/0/pixels"},
		{func(in *CardInput) { in.Assumed.LeastPatches = 3 }, registry.CodeInvalid, "/assumed/least_patches"},
	} {
		in, _ := cardExample()
		c.change(&in)
		_, err := Card(in)
		refused(t, err, c.code, c.pointer)
	}
}

func TestCardCautions(t *testing.T) {
	in, _ := cardExample()
	in.Areas[0].SD = []float64{0.2, 0.2, 0.2}
	in.Patches[3].SD = []float64{0.3, 0.2, 0.2}
	out, err := Card(in)
	require.NoError(t, err)
	require.Contains(t, out.Areas[0].Cautions[0], "uneven")
	require.Contains(t, out.Cautions[len(out.Cautions)-1], "patch 4")
	runsAlikeT(t, MethodCard, in, out)
}

// runsAlikeT is runsAlike outside a property.
func runsAlikeT(t *testing.T, method string, in, out any) {
	got, err := Run(method, []byte(text(t, in)))
	require.NoError(t, err)
	require.Equal(t, text(t, out), string(got))
}
