package scoring

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// read fills an input from testdata, as a Go program that has its own JSON
// would.
func read[In any](t testing.TB, name string) (in In) {
	t.Helper()
	raw, err := os.ReadFile("testdata/" + name)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &in))
	return in
}

// near compares to a number of decimal places, as a table prints it.
func near(t testing.TB, want, got float64, places int) {
	t.Helper()
	require.InDelta(t, want, got, 0.5000001*math.Pow(10, -float64(places)))
}

// value of a state that must be there.
func value(t require.TestingT, d Distribution, state string) float64 {
	v, ok := d.Get(state)
	require.True(t, ok, "no state %s", state)
	return v
}

// refused checks the code and that one fault stands at the pointer.
func refused(t testing.TB, err error, code registry.Code, pointer string) {
	t.Helper()
	var e *registry.Error
	require.True(t, errors.As(err, &e), "not a refusal: %v", err)
	require.Equal(t, code, e.Code, "%v", err)
	var pointers []string
	for _, f := range e.Fields {
		pointers = append(pointers, f.Pointer)
		require.NotEmpty(t, f.Message)
	}
	require.Contains(t, pointers, pointer, "%v", err)
}

var stateNames = []string{"a", "b", "c", "d", "e", "f", "g", "h"}

// drawShares draws n probabilities that sum to 1; some are 0.
func drawShares(t *rapid.T, n int, label string) []float64 {
	parts := rapid.SliceOfN(rapid.IntRange(0, 20), n, n).Draw(t, label)
	parts[rapid.IntRange(0, n-1).Draw(t, label+" positive")]++
	total := 0
	for _, k := range parts {
		total += k
	}
	p := make([]float64, n)
	for i, k := range parts {
		p[i] = float64(k) / float64(total)
	}
	return p
}

func drawDistribution(t *rapid.T, n int, label string) Distribution {
	d := Distribution{}
	for i, p := range drawShares(t, n, label) {
		d = append(d, Entry[float64]{stateNames[i], p})
	}
	return d
}

// drawCredit draws credits in twentieths for n states.
func drawCredit(t *rapid.T, n int, label string) Distribution {
	d := Distribution{}
	for i, c := range rapid.SliceOfN(rapid.IntRange(0, 20), n, n).Draw(t, label) {
		d = append(d, Entry[float64]{stateNames[i], float64(c) / 20})
	}
	return d
}

// backwards gives the keys in the opposite order.
func backwards(d Distribution) Distribution {
	out := Distribution{}
	for i := len(d) - 1; i >= 0; i-- {
		out = append(out, d[i])
	}
	return out
}

// text is the JSON of a result.
func text(t require.TestingT, v any) string {
	raw, err := encode(v)
	require.NoError(t, err)
	require.False(t, bytes.Contains(raw, []byte("NaN")))
	return string(raw)
}
