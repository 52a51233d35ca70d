package scoring

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

// The score intervals of Newcombe (1998), Statistics in Medicine 17, 857, table I,
// method 3, to the four figures that are printed there.
func TestProportionAgainstNewcombe(t *testing.T) {
	for _, c := range []struct{ count, looked, low, high float64 }{
		{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718},
	} {
		r, err := Proportion(ProportionInput{c.count, c.looked})
		require.NoError(t, err)
		require.InDelta(t, c.low, r.Low, 0.00005)
		require.InDelta(t, c.high, r.High, 0.00005)
		require.Equal(t, c.count/c.looked, r.Share)
	}
}

func TestProportionRefuses(t *testing.T) {
	_, err := Proportion(ProportionInput{1, 4})
	require.Equal(t, registry.CodeInsufficient, registry.CodeOf(err))
	require.ErrorContains(t, err, "Fewer than 5")
	for _, in := range []ProportionInput{{6, 5}, {-1, 9}, {1.5, 9}, {1, 1e9}} {
		_, err := Proportion(in)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), in)
	}
}

// The interval holds what was seen, lies between 0 and 1, and turns with the question.
func TestProportionProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 5000).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		r, err := Proportion(ProportionInput{float64(k), float64(n)})
		require.NoError(t, err)
		require.True(t, 0 <= r.Low && r.Low <= r.Share && r.Share <= r.High && r.High <= 1)
		require.Less(t, r.Low, r.High)
		turned, err := Proportion(ProportionInput{float64(n - k), float64(n)})
		require.NoError(t, err)
		require.InDelta(t, 1-r.High, turned.Low, 1e-12)
	})
}
