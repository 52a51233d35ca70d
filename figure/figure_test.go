package figure_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/figure"
	"example.org/asfound/scoring"
)

// The area under the steps is the probability that is drawn: half of it lies
// left of the median.
func TestCostKeepsItsProportions(t *testing.T) {
	c, err := scoring.Cost(scoring.CostInput{Tasks: []scoring.CostTask{{ID: "a", Low: 40, Likely: 58, High: 130}, {ID: "b", Low: 60, Likely: 138, High: 260}},
		Finds: []scoring.CostFind{{ID: "stud", Chance: 0.12, Cost: 95}}})
	require.NoError(t, err)
	limit := 600.0
	f := figure.OfCost(&c, &limit)
	require.InDelta(t, 0, f.At(f.From), 1e-12)
	require.Less(t, f.At(limit), 1.0)
	require.LessOrEqual(t, f.Low, c.P50)
	require.GreaterOrEqual(t, f.High, c.P80)
	left, all := 0.0, 0.0
	for i := 1; i < len(f.Outline); i++ {
		a, b := f.Outline[i-1], f.Outline[i]
		require.GreaterOrEqual(t, b.X, a.X-1e-12)
		area := (b.X - a.X) * (a.Y + b.Y) / 2
		all += area
		if (a.X+b.X)/2 < f.At(c.P50) {
			left += area
		}
	}
	require.InDelta(t, 0.5, left/all, 0.03)
	for _, p := range f.Outline {
		require.True(t, p.X >= 0 && p.X <= 1 && p.Y >= 0 && p.Y <= 1, "%v", p)
	}
}

// Both hills hold the same area, and each stands about its median.
func TestValueHills(t *testing.T) {
	level := func(median, sd float64) scoring.LevelValue {
		return scoring.LevelValue{LevelLogSD: sd, Level: &scoring.Quantiles{Low10: median * math.Exp(-1.3*sd), Median: median, High90: median * math.Exp(1.3*sd)}}
	}
	f := figure.OfValue(level(3872, 0.18), level(4852, 0.18), 20)
	area := func(points []figure.Point) (sum, mean float64) {
		for i := 1; i < len(points); i++ {
			a, b := points[i-1], points[i]
			part := (b.X - a.X) * (a.Y + b.Y) / 2
			sum += part
			mean += part * (a.X + b.X) / 2
		}
		return sum, mean / sum
	}
	before, at := area(f.Before)
	after, then := area(f.After)
	require.InDelta(t, 1, before/after, 0.05)
	require.InDelta(t, f.At(3872), at, 0.03)
	require.InDelta(t, f.At(4852), then, 0.03)
}

func TestCountsKeepTheirProportions(t *testing.T) {
	bars := figure.OfCounts([]int{2, 0, 8, 4})
	require.Len(t, bars, 4)
	require.Equal(t, []float64{0.25, 0, 1, 0.5}, []float64{bars[0].Height, bars[1].Height, bars[2].Height, bars[3].Height})
	for i, b := range bars {
		require.InDelta(t, 0.225, b.Right-b.Left, 1e-12)
		require.InDelta(t, (float64(i)+0.5)/4, (b.Left+b.Right)/2, 1e-12)
	}
	require.Equal(t, 0.0, figure.OfCounts([]int{0, 0})[1].Height)
}
