package server

import (
	"fmt"
	"math"

	"example.org/asfound/figure"
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

// The distribution is drawn between these positions.
const (
	costLeft, costWidth = 8.0, 384.0
	costTop, costBottom = 48.0, 118.0
	costLabelLine       = 14.0
	costLabelTurn       = costLeft + costWidth*0.55
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

func drawCost(c *scoring.CostResult, ceiling registry.Money) *CostDrawing {
	limit, limited := ceiling.Amount.Float64()
	limited = limited && c.OverCeiling != nil
	kept := &limit
	if !limited {
		kept = nil
	}
	f := figure.OfCost(c, kept)
	x := func(v float64) float64 { return costLeft + costWidth*f.At(v) }
	d := &CostDrawing{Area: pathOf(f.Outline, costLeft, costWidth, costTop, costBottom), Low: Tick{xText(x(f.Low)), numberWords(math.Round(f.Low))}, High: Tick{xText(x(f.High)), numberWords(math.Round(f.High))}}
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
