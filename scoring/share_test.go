package scoring

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

func withOriginal(p float64) Distribution { return Distribution{{"original", p}, {"other", 1 - p}} }

var countsOriginal = Distribution{{"original", 1}, {"other", 0}}

// Two of three parts of equal weight, by counting by hand: .9·.8·.5 + .9·.8·.5 +
// .9·.2·.5 + .1·.8·.5 = .85 reach two thirds, .36 are all; and with a switch
// that takes both parts along, .7·(.9·.8) + .3·(.1·.2) = .51.
func TestShareByHand(t *testing.T) {
	part := func(id string, p float64) IndexPart {
		return IndexPart{ID: id, Weight: 2, Credit: countsOriginal, IfIntact: withOriginal(p)}
	}
	alone := func(parts ...IndexPart) (out []Assembly) {
		for _, p := range parts {
			out = append(out, Assembly{ID: p.ID, Intact: 1, Parts: []IndexPart{p}})
		}
		return out
	}
	three := alone(part("a", 0.9), part("b", 0.8), part("c", 0.5))
	for least, want := range map[float64]float64{0: 1, 2.0 / 3: 0.85, 1: 0.36} {
		out, err := Share(ShareInput{Assemblies: three, Least: least})
		require.NoError(t, err)
		require.InDelta(t, want, out.Probability, 1e-12, "%v", least)
		require.InDelta(t, 2.2/3, out.Mean, 1e-12)
	}
	a, b := part("a", 0.9), part("b", 0.8)
	a.IfSwapped, b.IfSwapped = withOriginal(0.1), withOriginal(0.2)
	out, err := Share(ShareInput{Assemblies: []Assembly{{ID: "x", Intact: 0.7, Parts: []IndexPart{a, b}}}, Least: 1})
	require.NoError(t, err)
	require.InDelta(t, 0.51, out.Probability, 1e-12)

	_, err = Share(ShareInput{Assemblies: three, Least: 1.1})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	_, err = Share(ShareInput{Least: 0.5})
	require.Equal(t, registry.CodeInsufficient, registry.CodeOf(err))
}

// Asking for more is never likelier, and the limits of the index are those of
// the tail: what 10 % lie below is reached with 90 % or more.
func TestShareIsTheTailOfTheIndex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var in []Assembly
		for i := range rapid.IntRange(1, 8).Draw(t, "parts") {
			in = append(in, Assembly{ID: string(rune('a' + i)), Intact: 1, Parts: []IndexPart{{ID: string(rune('a' + i)), Weight: float64(rapid.IntRange(1, 20).Draw(t, "weight")),
				Credit: countsOriginal, IfIntact: withOriginal(rapid.Float64Range(0, 1).Draw(t, "p"))}}})
		}
		index, err := Index(IndexInput{Assemblies: in})
		require.NoError(t, err)
		at := func(least float64) float64 {
			out, err := Share(ShareInput{Assemblies: in, Least: least})
			require.NoError(t, err)
			return out.Probability
		}
		require.GreaterOrEqual(t, at(index.Low80), 0.9-1e-9)
		if index.High90 < 1-1e-6 {
			require.LessOrEqual(t, at(index.High90+1e-6), 0.05+1e-9)
		}
		x, y := rapid.Float64Range(0, 1).Draw(t, "x"), rapid.Float64Range(0, 1).Draw(t, "y")
		require.GreaterOrEqual(t, at(min(x, y)), at(max(x, y)))
	})
}
