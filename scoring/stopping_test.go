package scoring

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// 20 mph in 9.1 m is 0.448 g; with ±0.3 mph and ±0.2 m, 0.425 to 0.472 g (a
// worked example of the trade, repeated by hand: 8.9408²/(2·9.1·9.80665)).
func TestStopping(t *testing.T) {
	mph := 20.0
	r, err := Stopping(StoppingInput{MPH: &mph, SpeedError: 0.3, Distance: 9.1, DistanceError: 0.2})
	require.NoError(t, err)
	require.InDelta(t, 0.4479, r.G, 0.0001)
	require.InDelta(t, 0.425, r.Low, 0.0005)
	require.InDelta(t, 0.472, r.High, 0.0005)
	kmh := 32.18688
	again, err := Stopping(StoppingInput{KMH: &kmh, SpeedError: 0.3 * 1.609344, Distance: 9.1, DistanceError: 0.2})
	require.NoError(t, err)
	require.InDelta(t, r.Low, again.Low, 1e-12)
	for _, in := range []StoppingInput{
		{SpeedError: 0.3, Distance: 9.1}, {MPH: &mph, KMH: &kmh, Distance: 9.1}, {MPH: &mph, Distance: 0}, {MPH: &mph, Distance: 9.1, DistanceError: 9.1},
		{MPH: &mph, SpeedError: 20, Distance: 9.1}, {MPH: &mph, SpeedError: -1, Distance: 9.1},
	} {
		_, err := Stopping(in)
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	}
}
