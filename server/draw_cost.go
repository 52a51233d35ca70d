package server

import (
	"fmt"
	"math"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// CostView is the forecast of an offer, in words and drawn.
type CostView struct {
	// Likely says how much it comes to, Ceiling how likely the ceiling is
	// passed, Quoted what the plain sum of the likeliest prices hides.
	Likely, Ceiling, Quoted string
	Drawing                 *CostDrawing // nil when all prices are fixed
}

// CostDrawing is the distribution of a cost.
type CostDrawing struct {
	Area  string // the outline, as a path
	Marks []CostMark
	Low   Tick
	High  Tick
}

// CostMark is a figure that is marked on the distribution.
type CostMark struct {
	X, Y  string // of its label
	Class string
	End   bool // the label ends at the mark
	Label string
	Down  string // from the label to the axis
}

// The distribution is drawn between these x positions, in at most so many
// steps.
const (
	costLeft, costWidth = 8.0, 384.0
	costTop, costBottom = 48.0, 118.0
	costBars            = 96
	costLabelLine       = 14.0
	costLabelTurn       = costLeft + costWidth*0.55
	costTail            = 0.001
	costSpare           = 0.04 // of the scale, at either end
)

// costView is nil for an offer without a forecast.
func costView(c *scoring.CostResult, ceiling registry.Money) *CostView {
	if c == nil || len(c.Points) == 0 {
		return nil
	}
	money := func(v float64) string { return wholeMoney(math.Round(v), v, ceiling.Currency) }
	v := &CostView{}
	if len(c.Points) == 1 {
		v.Likely = "All prices are fixed: it comes to " + money(c.P50) + "."
	} else {
		v.Likely = fmt.Sprintf("Likely about %s; with a chance of 80 %% at most %s.", money(c.P50), wholeMoney(math.Ceil(c.P80), c.P80, ceiling.Currency))
	}
	if c.OverCeiling != nil {
		v.Ceiling = fmt.Sprintf("The ceiling is %s; the chance to pass it is %s.", ceiling, overWords(*c.OverCeiling))
	}
	if len(c.Points) > 1 && c.OverLikely >= 0.5 {
		v.Quoted = fmt.Sprintf("The likeliest prices without any find add up to %s; that is passed with a chance of %s.", money(c.LikelySum), scoring.Percent(c.OverLikely))
	}
	if len(c.Points) > 1 {
		v.Drawing = drawCost(c, ceiling)
	}
	return v
}

// wholeMoney writes an amount in whole units; small ones stand as they are.
func wholeMoney(whole, v float64, currency string) string {
	if v < 10 {
		whole = v
	}
	return moneyWords(whole, currency)
}

// overWords writes the chance to pass a ceiling. Beyond all that was reckoned
// with it is none by the forecast, which may still be wrong.
func overWords(p float64) string {
	if p == 0 {
		return "none by these figures"
	}
	return scoring.Percent(p)
}

// drawnRange leaves the outermost thousandth at either end away: what is almost
// never paid would squeeze the rest.
func drawnRange(points [][2]float64) (low, high float64) {
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

func drawCost(c *scoring.CostResult, ceiling registry.Money) *CostDrawing {
	low, high := drawnRange(c.Points)
	from, to := low, high
	limit, limited := ceiling.Amount.Float64()
	limited = limited && c.OverCeiling != nil
	if limited {
		from, to = min(from, limit), max(to, limit)
	}
	spare := (to-from)*costSpare + c.Step
	from, to = from-spare, to+spare
	x := func(v float64) float64 { return costLeft + costWidth*(v-from)/(to-from) }
	// A bar holds a whole number of steps of the grid, or some would hold more
	// than others for no reason.
	width := c.Step * math.Ceil((high-low)/c.Step/costBars)
	left := low - c.Step/2
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
	var area strings.Builder
	fmt.Fprintf(&area, "M%s %s", xText(x(left)), xText(costBottom))
	for k, p := range bars {
		fmt.Fprintf(&area, "V%sH%s", xText(costBottom-(costBottom-costTop)*p/most), xText(x(left+float64(k+1)*width)))
	}
	fmt.Fprintf(&area, "V%sz", xText(costBottom))
	d := &CostDrawing{Area: area.String(), Low: Tick{xText(x(low)), numberWords(math.Round(low))}, High: Tick{xText(x(high)), numberWords(math.Round(high))}}
	mark := func(v float64, class, label string) {
		line := costLabelLine * float64(len(d.Marks))
		d.Marks = append(d.Marks, CostMark{X: xText(x(v)), Y: xText(10 + line), Down: xText(costBottom - 10 - line), Class: class, End: x(v) > costLabelTurn, Label: label})
	}
	mark(c.P50, "half", "50 %: "+wholeMoney(math.Round(c.P50), c.P50, ceiling.Currency))
	mark(c.P80, "eighty", "80 %: "+wholeMoney(math.Ceil(c.P80), c.P80, ceiling.Currency))
	if limited {
		mark(limit, "limit", "ceiling: "+ceiling.String())
	}
	return d
}
