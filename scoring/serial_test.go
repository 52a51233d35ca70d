package scoring

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// R 4.2.2: qbeta, pbeta, lgamma.
func TestBeta(t *testing.T) {
	require.InDelta(t, 24.5412851222301, 90*betaQuantile(.05, 4.45, 3.6), 1e-11)
	require.InDelta(t, 73.5423867206844, 90*betaQuantile(.95, 4.45, 3.6), 1e-11)
	require.InDelta(t, .488140180136666, betaQuantile(.05, 89, 72), 1e-13)
	require.InDelta(t, .553014182472590, betaQuantile(.5, 89, 72), 1e-13)
	require.InDelta(t, .0774671017128752, betaQuantile(.975, .05, 7.5), 1e-13)
	require.InDelta(t, 0, betaQuantile(.025, .05, 7.5), 1e-15)
	require.InDelta(t, 1, betaBelow(.3, 2.5, 400), 1e-12)
	for x, want := range map[float64]float64{.05: 2.96887920105173, 3.6: 1.31292330857642, 15.9: 27.6254932151687, 161: 655.484856710889} {
		require.InEpsilon(t, want, logGamma(x), 1e-13)
	}
}

func between(serial, batch float64, anchors ...Anchor) SerialInput {
	return SerialInput{Serial: serial, Batch: batch, Level: 0.9, Anchors: anchors}
}

var spring = []Anchor{{6049, "1957-04-08", "dispatch"}, {6210, "1957-07-07", "dispatch"}}

// Worked example: 6049 on 8 April and 6210 on 7 July; 6138.
func TestDateFromSerial(t *testing.T) {
	one, err := DateFromSerial(between(6138, 1, spring...))
	require.NoError(t, err)
	near(t, 49.8, one.Day, 1)
	near(t, 3.5, one.SD, 1)
	batch, err := DateFromSerial(between(6138, 20, spring...))
	require.NoError(t, err)
	near(t, 49.8, batch.Day, 1)
	near(t, 14.9, batch.SD, 1)
	near(t, 24.5, batch.FromDay, 1)
	near(t, 73.5, batch.ToDay, 1)
	require.Equal(t, []string{"1957-05-28", "1957-05-02", "1957-06-21"}, []string{batch.Date, batch.From, batch.To})
	require.Equal(t, [2]Anchor{spring[0], spring[1]}, batch.Between)
}

// The mean is a straight line between anchors: 1946 at 1000, 1948 at 2500, 1951
// at 9000 puts 1750 at 1947 and 6833 at 1950.
func TestDateFromSerialIsALineInTheMean(t *testing.T) {
	anchors := []Anchor{{9000, "1951-01-01", "build"}, {1000, "1946-01-01", "build"}, {2500, "1948-01-01", "build"}}
	for serial, want := range map[float64]string{1750: "1947-01-01", 6833: "1950-01-01", 2500: "1948-01-01", 1000: "1946-01-01", 9000: "1951-01-01"} {
		out, err := DateFromSerial(between(serial, 1, anchors...))
		require.NoError(t, err)
		require.Equal(t, want, out.Date)
		if serial == 2500 {
			require.Equal(t, []string{want, want}, []string{out.From, out.To}, "a dated number has its date")
		}
	}
}

// Batches put together at even moments and numbered through: the place of one
// number, simulated, against the model.
func TestDateFromSerialEqualsSimulation(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	const runs = 20_000
	for _, batch := range []int{1, 20} {
		in := between(6049+8*20, float64(batch), Anchor{6049, "1957-01-01", "build"}, Anchor{6049 + 18*20, "1957-12-31", "build"})
		out, err := DateFromSerial(in)
		require.NoError(t, err)
		n := 18*20/batch - 1 // batches between those of the anchors
		k := 8*20/batch - 1
		sum, squares, inside := 0.0, 0.0, 0
		for range runs {
			moments := make([]float64, n)
			for i := range moments {
				moments[i] = 364 * random.Float64()
			}
			slices.Sort(moments)
			day := moments[k]
			sum += day
			squares += day * day
			if day >= out.FromDay && day <= out.ToDay {
				inside++
			}
		}
		mean := sum / runs
		require.InDelta(t, mean, out.Day, 5*out.SD/math.Sqrt(runs))
		require.InEpsilon(t, math.Sqrt(squares/runs-mean*mean), out.SD, 0.03)
		require.InDelta(t, 0.9, float64(inside)/runs, 0.01)
	}
}

// A larger number is never earlier.
func TestDateFromSerialRises(t *testing.T) {
	last := SerialResult{}
	for serial := 6049.0; serial <= 6210; serial++ {
		out, err := DateFromSerial(between(serial, 20, spring...))
		require.NoError(t, err)
		require.GreaterOrEqual(t, out.Date, last.Date)
		require.GreaterOrEqual(t, out.From, last.From)
		require.GreaterOrEqual(t, out.To, last.To)
		last = out
	}
}

func TestSerialRefusals(t *testing.T) {
	for _, in := range []SerialInput{between(6048, 1, spring...), between(6211, 1, spring...)} {
		_, err := DateFromSerial(in)
		refused(t, err, registry.CodeInsufficient, "/serial")
		require.ErrorContains(t, err, "nothing is extrapolated")
	}
	_, err := DateFromSerial(between(6138, 1, spring[0]))
	refused(t, err, registry.CodeInsufficient, "/anchors")
	for _, tt := range []struct {
		in      SerialInput
		pointer string
	}{
		{between(6138, 1, spring[0], spring[1], Anchor{120, "1957-08-01", "dispatch"}), "/anchors/0"},
		{between(6138, 1, spring[0], spring[1], Anchor{6210, "1957-07-08", "dispatch"}), "/anchors/2"},
		{between(6138, 1, spring[0], Anchor{6210, "1957-07-07", "registration"}), "/anchors/1/kind"},
		{between(6138, 1, spring[0], Anchor{6210, "July 1957", "dispatch"}), "/anchors/1/date"},
		{between(6138.5, 1, spring...), "/serial"},
		{between(6138, 0, spring...), "/batch"},
		{SerialInput{Serial: 6138, Batch: 1, Level: 1, Anchors: spring}, "/level"},
	} {
		_, err := DateFromSerial(tt.in)
		refused(t, err, registry.CodeInvalid, tt.pointer)
	}
	_, err = DateFromSerial(between(6138, 1, spring[0], spring[1], Anchor{120, "1957-08-01", "dispatch"}))
	require.ErrorContains(t, err, "restarted")
}
