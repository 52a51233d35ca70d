package scoring

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Several cells at once give the bits of one cell at a time, whatever the
// length, and leave what lies behind alone.
func TestWideGatherGivesTheSameBits(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for n := range 70 {
		var s [8][]float64
		var p [8]float64
		for j := range s {
			s[j] = make([]float64, n)
			for k := range s[j] {
				s[j][k] = math.Ldexp(random.Float64(), -random.IntN(1070)) // down to subnormal numbers
			}
			p[j] = random.Float64()
		}
		want, got := make([]float64, n), make([]float64, n+4)
		gather8(want, &s, &p, 0)
		k := gatherWide(got[:n], &s, &p)
		gather8(got[:n], &s, &p, k)
		require.Equal(t, want, got[:n])
		require.Equal(t, make([]float64, 4), got[n:])
	}
}
