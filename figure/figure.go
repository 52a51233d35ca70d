// Package figure measures the drawings of distributions, once for pages and for
// print: outlines on a field from 0 to 1 both ways, the baseline at 0. Those who
// draw give them their size.
package figure

import (
	"math"

	"example.org/asfound/scoring"
)

// Point is a place on the field.
type Point struct{ X, Y float64 }

// Axis says which value lies where: From at the left edge, To at the right.
type Axis struct{ From, To float64 }

// At is where a value lies.
func (a Axis) At(v float64) float64 { return (v - a.From) / (a.To - a.From) }

// Cost is a forecast of costs as a stepped hill.
type Cost struct {
	Axis
	// Low and High are the lowest and highest cost that is drawn: but for a
	// thousandth at either end, all there is.
	Low, High float64
	Outline   []Point // closed along the baseline
}

// The costs are drawn in at most so many steps, with some of the axis to spare
// at either end.
const (
	costBars  = 96
	costTail  = 0.001
	costSpare = 0.04
)

// OfCost measures a forecast with more than one outcome; limit, if not nil, is
// kept on the axis.
func OfCost(c *scoring.CostResult, limit *float64) Cost {
	low, high := costRange(c.Points)
	from, to := low, high
	if limit != nil {
		from, to = min(from, *limit), max(to, *limit)
	}
	spare := (to-from)*costSpare + max(0, min(c.Step, to-from))
	out := Cost{Axis: Axis{from - spare, to + spare}, Low: low, High: high}
	// A bar holds a whole number of steps of the grid, or some would hold more
	// than others for no reason.
	step := c.Step
	if !(step > 0 && step <= high-low) {
		step = (high - low) / costBars // a record without its grid
	}
	width := step * math.Ceil((high-low)/step/costBars)
	left := low - step/2
	bars := make([]float64, int(math.Floor((high-left)/width))+1)
	most := 0.0
	for _, p := range c.Points {
		if p[0] < low || p[0] > high {
			continue
		}
		k := min(len(bars)-1, int((p[0]-left)/width))
		bars[k] += p[1]
		most = max(most, bars[k])
	}
	out.Outline = append(out.Outline, Point{out.At(left), 0})
	for k, p := range bars {
		begin, end := out.At(left+float64(k)*width), out.At(left+float64(k+1)*width)
		out.Outline = append(out.Outline, Point{begin, p / most}, Point{end, p / most})
	}
	last := out.Outline[len(out.Outline)-1]
	out.Outline = append(out.Outline, Point{last.X, 0})
	return out
}

// costRange leaves the outermost thousandth at either end away: what is almost
// never paid would squeeze the rest.
func costRange(points [][2]float64) (low, high float64) {
	low, high = points[0][0], points[len(points)-1][0]
	below := 0.0
	for _, p := range points {
		if below < costTail {
			low = p[0]
		}
		if below < 1-costTail {
			high = p[0]
		}
		below += p[1]
	}
	return low, max(high, low+1e-9)
}

// Value is what a machine would fetch before and after, as two hills of one
// area on one scale.
type Value struct {
	Axis
	Before, After []Point // outlines, closed along the baseline
}

const (
	valueSteps = 120
	valueReach = 1.9 // of the distance from the median to the 90 % point, in logarithms
)

// OfValue measures two levels, whose logarithms are Student-t of the same
// degrees of freedom; so their heights compare without the constant that they
// share. Both levels must be there.
func OfValue(before, after scoring.LevelValue, df float64) Value {
	density := func(l scoring.LevelValue, p float64) float64 {
		z := math.Log(p/l.Level.Median) / l.LevelLogSD
		return math.Pow(1+z*z/df, -(df+1)/2) / (l.LevelLogSD * p)
	}
	out := Value{Axis: Axis{math.Inf(1), 0}}
	for _, l := range []scoring.LevelValue{before, after} {
		half := math.Log(l.Level.High90/l.Level.Median) * valueReach
		out.From, out.To = min(out.From, l.Level.Median*math.Exp(-half)), max(out.To, l.Level.Median*math.Exp(half))
	}
	at := func(k int) float64 { return out.From + (out.To-out.From)*float64(k)/valueSteps }
	top := 0.0
	for k := range valueSteps + 1 {
		top = max(top, density(before, at(k)), density(after, at(k)))
	}
	outline := func(l scoring.LevelValue) []Point {
		points := []Point{{0, 0}}
		for k := range valueSteps + 1 {
			points = append(points, Point{out.At(at(k)), density(l, at(k)) / top})
		}
		return append(points, Point{1, 0})
	}
	out.Before, out.After = outline(before), outline(after)
	return out
}

// Bar is a bar of a count: it stands on the baseline from Left to Right, Height
// high, where the largest of its row reaches 1.
type Bar struct{ Left, Right, Height float64 }

// OfCounts measures a row of bars of one width, with a gap of a tenth of it
// between. Without anything to count every bar is flat.
func OfCounts(counts []int) []Bar {
	most := 0
	for _, n := range counts {
		most = max(most, n)
	}
	out := make([]Bar, len(counts))
	for i, n := range counts {
		width := 1 / float64(len(counts))
		out[i] = Bar{Left: (float64(i) + 0.05) * width, Right: (float64(i) + 0.95) * width}
		if most > 0 {
			out[i].Height = float64(n) / float64(most)
		}
	}
	return out
}
