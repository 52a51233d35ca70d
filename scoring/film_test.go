package scoring

import (
	"math"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func filmAssumed() FilmAssumed {
	return FilmAssumed{PanelSD: 25, RepaintAdds: 70, RepaintSD: 30, Leak: 0.05, LeakSpan: 300, ReadingSD: 18, Detect: 25, Power: 0.9, Significance: 0.05}
}

func filmExample() FilmInput {
	return FilmInput{Unit: "µm", Reference: FilmArea{"under the strap", "gauge 1", []float64{78, 84, 91, 80, 88, 83}},
		Areas: []FilmArea{{"rear mudguard", "gauge 1", []float64{142, 155, 149, 138, 160, 151}}}, Assumed: filmAssumed()}
}

// Worked example: six readings each; 65.2 ± 3.9 µm, ratio 1.78, 22.8 : 1 and
// with the leak 17.7 : 1, eleven readings to see 25 µm.
func TestFilmExample(t *testing.T) {
	out, err := Film(filmExample())
	require.NoError(t, err)
	a := out.Areas[0]
	near(t, 65.2, a.Difference, 1)
	near(t, 3.9, a.DifferenceSE, 1)
	near(t, 1.78, a.Ratio, 2)
	near(t, 22.8, a.LikelihoodRatio, 1)
	near(t, 17.7, a.Tempered, 1)
	require.Equal(t, 11, out.ReadingsNeeded)
	require.Equal(t, "repaint", a.Favours)
	require.Equal(t, "moderate", a.Words)
	near(t, 84, out.Reference.Mean, 12)
	// In mil the film is the same: 1 mil is 25.4 µm.
	in := filmExample()
	in.Unit = "mil"
	for _, readings := range [][]float64{in.Reference.Readings, in.Areas[0].Readings} {
		for i := range readings {
			readings[i] /= 25.4
		}
	}
	mil, err := Film(in)
	require.NoError(t, err)
	near(t, a.Tempered, mil.Areas[0].Tempered, 9)
	require.Equal(t, "µm", mil.Unit)
}

// The result may speak for something, and never says what was done.
func TestFilmGivesNoVerdict(t *testing.T) {
	out, err := Film(filmExample())
	require.NoError(t, err)
	all := strings.Join(out.Cautions, " ")
	require.Contains(t, all, "no thickness by itself")
	require.Contains(t, all, "ISO 2808")
	for _, deceiver := range []string{"filler", "lead loading", "alloy", "polishing"} {
		require.Contains(t, all, deceiver)
	}
	require.Contains(t, out.Areas[0].Cautions[0], "11 would be needed")
}

// Against a second computation with the standard library; a difference that
// fits neither a repaint nor the panels says next to nothing.
func TestFilmProperties(t *testing.T) {
	density := func(x, mean, variance float64) float64 {
		return math.Exp(-(x-mean)*(x-mean)/2/variance) / math.Sqrt(2*math.Pi*variance)
	}
	rapid.Check(t, func(t *rapid.T) {
		in := filmExample()
		shift := rapid.Float64Range(-60, 500).Draw(t, "shift")
		in.Areas[0].Readings = nil
		for _, v := range in.Reference.Readings {
			in.Areas[0].Readings = append(in.Areas[0].Readings, v+shift)
		}
		out, err := Film(in)
		require.NoError(t, err)
		a, s := out.Areas[0], in.Assumed
		squared := a.DifferenceSE * a.DifferenceSE
		made, repaint := density(a.Difference, 0, s.PanelSD*s.PanelSD+squared), density(a.Difference, s.RepaintAdds, s.RepaintSD*s.RepaintSD+squared)
		require.InEpsilon(t, (0.95*repaint+0.05/300)/(0.95*made+0.05/300), a.Tempered, 1e-9)
		require.Less(t, a.Tempered, 80.0, "the leak bounds what a gauge can say")
		if shift > 300 {
			require.InDelta(t, 1, a.Tempered, 0.02)
			require.Contains(t, strings.Join(a.Cautions, " "), "filler")
		}
	})
}

// Standard normal quantiles as every table has them.
func TestStandardNormalQuantile(t *testing.T) {
	for p, want := range map[float64]float64{0.5: 0, 0.9: 1.2815515655446004, 0.975: 1.959963984540054, 0.0005: -3.2905267314919255} {
		near(t, want, standardNormalQuantile(p), 12)
	}
	for x := -6.0; x <= 6; x += 0.37 {
		require.InDelta(t, math.Erfc(-x/math.Sqrt2)/2, standardNormalBelow(x), 1e-15)
	}
}

func TestFilmRefusals(t *testing.T) {
	for _, c := range []struct {
		change  func(*FilmInput)
		code    registry.Code
		pointer string
	}{
		{func(in *FilmInput) { in.Unit = "" }, registry.CodeInvalid, "/unit"},
		{func(in *FilmInput) { in.Unit = "mm" }, registry.CodeInvalid, "/unit"},
		{func(in *FilmInput) { in.Reference.Readings = in.Reference.Readings[:2] }, registry.CodeInsufficient, "/reference/readings"},
		{func(in *FilmInput) { in.Areas[0].Readings = in.Areas[0].Readings[:2] }, registry.CodeInsufficient, "/areas/0/readings"},
		{func(in *FilmInput) { in.Areas = nil }, registry.CodeInsufficient, "/areas"},
		{func(in *FilmInput) { in.Areas[0].Instrument = "gauge 2" }, registry.CodeInsufficient, "/areas/0/instrument"},
		{func(in *FilmInput) { in.Areas[0].Instrument = "" }, registry.CodeInvalid, "/areas/0/instrument"},
		{func(in *FilmInput) { in.Areas[0].ID = in.Reference.ID }, registry.CodeInvalid, "/areas/0/id"},
		{func(in *FilmInput) { in.Areas[0].Readings[2] = 0 }, registry.CodeInvalid, "/areas/0/readings/2"},
		{func(in *FilmInput) { in.Unit = "mil" }, registry.CodeInvalid, "/areas/0/readings/4"}, // 160 mil would be 4 mm
		{func(in *FilmInput) { in.Areas[0].Readings[0] = math.NaN() }, registry.CodeInvalid, "/areas/0/readings/0"},
		{func(in *FilmInput) { in.Assumed.Leak = 0.6 }, registry.CodeInvalid, "/assumed/leak"},
		{func(in *FilmInput) { in.Assumed.PanelSD = 0 }, registry.CodeInvalid, "/assumed/panel_sd"},
	} {
		in := filmExample()
		if in.Unit = "µm"; c.pointer == "/areas/0/readings/4" {
			in.Areas[0].Readings[4] = 200
		}
		c.change(&in)
		_, err := Film(in)
		refused(t, err, c.code, c.pointer)
	}
	_, err := Run(MethodFilm, []byte(`{"reference":{"id":"a","instrument":"g","readings":[1,2,3]},"areas":[],"assumed":{}}`))
	refused(t, err, registry.CodeInvalid, "/unit")
	refused(t, err, registry.CodeInvalid, "/assumed/leak_span")
}
