package server

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/asfound/figure"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// ValueView is a valuation in words and drawn, the ratio before the level.
type ValueView struct {
	Before   string // what it would fetch as it stands, or why that is not said
	Plans    []ValueLine
	Cautions []string
}

// ValueLine is what one plan does to the value.
type ValueLine struct {
	ID, Title string
	Ratio     string
	Net       string   // what is left after the cost; "" without a figure
	Refused   []string // why there is no level or no net figure
	Cautions  []string
	Drawing   *ValueDrawing
}

// valueView is nil for an offer without a valuation. Titles give the words of
// plans; a plan without stands by its name.
func valueView(v *scoring.ValueResult, currency string, titles map[string]string) *ValueView {
	if v == nil {
		return nil
	}
	out := &ValueView{Cautions: v.Cautions}
	if l := v.Before.Level; l != nil {
		out.Before = fmt.Sprintf("As it stands it would fetch about %s %s, in brackets where that lies with a chance of 80 %%.", workshop.ValueSpan(*l), currency)
	} else {
		out.Before = "There is no figure for what it would fetch as it stands. " + strings.Join(v.Before.Refusals, " ")
	}
	for i, a := range v.Afters {
		line := ValueLine{ID: a.ID, Title: plainWords(a.ID), Ratio: ratioSaid(a), Cautions: a.Cautions}
		if title := titles[a.ID]; title != "" {
			line.Title = title
		}
		if a.Net != nil && a.ChanceOfLoss != nil && a.Cost != nil {
			line.Net = fmt.Sprintf("Net of its cost of %s it brings about %s %s, in brackets where that lies with a chance of 80 %%. The chance of a loss is %s.",
				moneyWords(math.Round(*a.Cost), currency), workshop.NetSpan(*a.Net), currency, a.ChanceOfLoss.Printed)
		} else {
			line.Refused = a.Refusals
		}
		if v.Before.Level != nil && a.Level != nil && a.RatioLogSD > 0 {
			line.Drawing = drawValue(i, v, &a, currency)
		}
		out.Plans = append(out.Plans, line)
	}
	return out
}

// ratioSaid says by how much the value changes.
func ratioSaid(a scoring.AfterValue) string {
	if a.Ratio.Low10 == 1 && a.Ratio.High90 == 1 {
		return "It changes nothing that the sales could price."
	}
	said := fmt.Sprintf("It multiplies the value by %s, with a chance of 80 %% by %s to %s. The chance that the value falls is %s.",
		factorWords(a.Ratio.Median, a.Ratio), factorWords(a.Ratio.Low10, a.Ratio), factorWords(a.Ratio.High90, a.Ratio), a.ChanceOfFall.Printed)
	if a.MostlyPrior {
		said += " Few sales speak to it: it is mostly what was thought beforehand."
	}
	return said
}

// factorWords writes a factor with as many digits as tell the ends of its range
// apart, two at least.
func factorWords(v float64, of scoring.Quantiles) string {
	digits := 2
	for width := of.High90 - of.Low10; width < 0.02 && digits < 5; width *= 10 {
		digits++
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

// ValueDrawing is the value before and after as two hills on one scale.
type ValueDrawing struct {
	ID                string // tells drawings of a page apart
	Text              string
	Before, After     string // outlines, as paths
	BeforeMiddle      string // x of the medians
	AfterMiddle       string
	Low, Middle, High string // figures at the axis
}

// The hills stand between these positions.
const (
	valueLeft, valueWidth = 8.0, 384.0
	valueTop, valueBottom = 8.0, 112.0
)

// drawValue draws the value before and after.
func drawValue(i int, v *scoring.ValueResult, a *scoring.AfterValue, currency string) *ValueDrawing {
	before, after := v.Before, a.LevelValue
	f := figure.OfValue(before, after, v.DF)
	x := func(p float64) float64 { return valueLeft + valueWidth*f.At(p) }
	hill := func(points []figure.Point) string {
		return pathOf(points, valueLeft, valueWidth, valueTop, valueBottom)
	}
	price := func(p float64) string {
		f, _, _ := strings.Cut(workshop.ValueSpan(scoring.Quantiles{Median: p}), " ")
		return f
	}
	return &ValueDrawing{ID: itoa(i), Before: hill(f.Before), After: hill(f.After), BeforeMiddle: xText(x(before.Level.Median)), AfterMiddle: xText(x(after.Level.Median)),
		Low: price(f.From), Middle: price((f.From + f.To) / 2), High: price(f.To) + " " + currency,
		Text: fmt.Sprintf("Before about %s, afterwards about %s %s, the cost not taken off. Most of what makes the hills wide moves both alike, so that their overlap does not say how likely the value falls; the ratio does.",
			workshop.ValueSpan(*before.Level), workshop.ValueSpan(*after.Level), currency)}
}
