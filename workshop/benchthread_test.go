package workshop

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// A thread kept as evidence carries the threads that come near, and is computed
// again to the last digit.
func TestThreadEvidenceCarriesWhatComesNear(t *testing.T) {
	b := drafted(t)
	for _, input := range []string{`{"od_mm": 6.27, "tpi": 26}`, `{"od_mm": 6.27, "tpi": 26, "angle_deg": 55.5}`, `{"od_mm": 4.66, "pitch_mm": 0.81}`, `{"od_in": 0.3125, "tpi": 22}`} {
		out := b.attach("engine.timing-cover", "thread", input)
		require.Less(t, len(out.Evidence.Estimate.Input), 20_000, input)
		require.Contains(t, out.Evidence.Limits, "the same to the last digit")
		whole, err := b.Ask("thread", []byte(input))
		require.NoError(t, err)
		require.Equal(t, string(whole.Result), string(out.Evidence.Estimate.Result), input)
		require.True(t, b.again(fmt.Sprintf("%s/%d", drover, out.Receipt.Version)).Same, input)
		require.Greater(t, len(whole.Input), 3*len(out.Evidence.Estimate.Input), input)
	}
}
