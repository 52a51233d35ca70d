package server

import (
	"fmt"
	"math"
)

// PlanDrawing sets plans against each other: loss for good to the right, money
// upwards, and the chance that all works as the shape of the mark.
type PlanDrawing struct {
	Text  string // the same in words
	Marks []PlanMark
	// Right and Up are the figures at the axes, from the origin on.
	Right, Up []Tick
	Currency  string
}

// PlanMark is one plan; X and Y are where it is drawn.
type PlanMark struct {
	N      int
	X, Y   string
	Class  string // few, half or most: the chance in thirds
	Picked bool
	Title  string
}

// Tick is a figure at an axis.
type Tick struct{ At, Label string }

// The plans are drawn between these positions; y runs downwards.
const (
	planLeft, planWidth = 46.0, 338.0
	planTop, planHeight = 12.0, 236.0
)

// roundTop is the smallest of 1, 2, 5, 10 … that holds v.
func roundTop(v float64) float64 {
	if !(v > 0) {
		return 1
	}
	size := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 1.5, 2, 3, 4, 5, 6, 8, 10} {
		if v <= m*size*(1+1e-9) {
			return m * size
		}
	}
	return 10 * size
}

// chanceClass is the third in which a chance lies.
func chanceClass(p float64) string {
	switch {
	case p < 1.0/3:
		return "few"
	case p < 2.0/3:
		return "half"
	}
	return "most"
}

func drawPlans(plans []PlanView, currency string) *PlanDrawing {
	d := &PlanDrawing{Currency: currency}
	right, up := 0.0, 0.0
	few := plans[0]
	many, cheap, dear := few, few, few
	for _, p := range plans {
		right, up = max(right, p.ForGood), max(up, p.PlanChoice.Money)
		if p.ForGood < few.ForGood {
			few = p
		}
		if p.ForGood > many.ForGood {
			many = p
		}
		if p.PlanChoice.Money < cheap.PlanChoice.Money {
			cheap = p
		}
		if p.PlanChoice.Money > dear.PlanChoice.Money {
			dear = p
		}
	}
	right, up = roundTop(right), roundTop(up)
	for _, share := range []float64{0, 0.5, 1} {
		d.Right = append(d.Right, Tick{xText(planLeft + planWidth*share), numberWords(right * share)})
		d.Up = append(d.Up, Tick{xText(planTop + planHeight*(1-share)), numberWords(up * share)})
	}
	for _, p := range plans {
		d.Marks = append(d.Marks, PlanMark{N: p.N, Picked: p.Picked, Class: chanceClass(p.Works),
			X: xText(planLeft + planWidth*p.ForGood/right), Y: xText(planTop + planHeight*(1-p.PlanChoice.Money/up)),
			Title: fmt.Sprintf("Plan %d: %s points for good, %s, chance %s", p.N, planPoints(p.ForGood), p.Money, percentWords(p.Works))})
	}
	d.Text = fmt.Sprintf("%s between %s and %s points for good and between %s and %s. What follows says the same of each.",
		plural(len(plans), "plan", "plans"), planPoints(few.ForGood), planPoints(many.ForGood), cheap.Money, dear.Money)
	return d
}
