package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// Worked example: three criteria at 0.97, 0.92 and 0.88; Fréchet's bounds.
func TestBounds(t *testing.T) {
	out, err := Bounds([]float64{0.97, 0.92, 0.88})
	require.NoError(t, err)
	near(t, 0.770, out.Low, 3)
	near(t, 0.880, out.High, 3)
	near(t, 0.785, out.Product, 3)
	require.Equal(t, 2, out.Weakest)
	out, err = Bounds([]float64{0.3, 0.4})
	require.NoError(t, err)
	require.Equal(t, 0.0, out.Low)
	_, err = Bounds(nil)
	refused(t, err, registry.CodeInsufficient, "")
	_, err = Bounds([]float64{0.5, math.NaN()})
	refused(t, err, registry.CodeInvalid, "/1")
}

// Textbook example of Cohen's kappa: 20 and 15 agreed, 5 and 10 not.
func TestKappa(t *testing.T) {
	k, err := Kappa([][]int{{20, 5}, {10, 15}})
	require.NoError(t, err)
	near(t, 0.40, k, 12)
	k, err = Kappa([][]int{{7, 0, 0}, {0, 3, 0}, {0, 0, 5}})
	require.NoError(t, err)
	require.Equal(t, 1.0, k)
	for _, table := range [][][]int{nil, {{5}}, {{0, 0}, {0, 0}}, {{9, 0}, {0, 0}}} {
		_, err = Kappa(table)
		require.Equal(t, registry.CodeInsufficient, registry.CodeOf(err), "%v", table)
	}
	_, err = Kappa([][]int{{1, 2}, {3}})
	refused(t, err, registry.CodeInvalid, "/1")
	_, err = Kappa([][]int{{1, 2}, {3, -1}})
	refused(t, err, registry.CodeInvalid, "/1/1")
}
