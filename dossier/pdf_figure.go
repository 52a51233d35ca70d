package dossier

import (
	"fmt"
	"math"

	"codeberg.org/go-pdf/fpdf"

	"example.org/asfound/figure"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// figureHigh is the height of a drawn distribution, in mm, without its labels.
const figureHigh = 18.0

// hill fills or draws an outline; the field reaches from the left margin over
// the width of the text.
func (p *pdf) hill(points []figure.Point, top float64, style string) {
	out := make([]fpdf.PointType, len(points))
	for i, at := range points {
		out[i] = fpdf.PointType{X: p.across(at.X), Y: top + figureHigh*(1-at.Y)}
	}
	p.f.Polygon(out, style)
}

// across is where a share of the width lies, in mm.
func (p *pdf) across(share float64) float64 { return marginSide + share*bodyWidth }

// upright marks a value with a line and its label above, on the nth line.
func (p *pdf) upright(x, top float64, n int, label string) {
	l := look{faceText, 6.6, 40}
	label = p.clean(l, p.say(label))
	y := top - 3.2*float64(n+1)
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.3)
	p.f.Line(x, y+0.5, x, top+figureHigh)
	at := x + 0.8
	if x > marginSide+bodyWidth*0.6 {
		at = x - 0.8 - p.measure(l, label)
	}
	p.line(at, y, l, label)
}

// costFigure draws a forecast with its middle, what is enough with 80 %, and
// the ceiling; one that is all fixed prices is not drawn.
func (p *pdf) costFigure(c *scoring.CostResult, ceiling registry.Money) {
	if c == nil || len(c.Points) < 2 {
		return
	}
	limit, limited := ceiling.Amount.Float64()
	kept := &limit
	if limited = limited && c.OverCeiling != nil; !limited {
		kept = nil
	}
	f := figure.OfCost(c, kept)
	p.room(figureHigh + 22)
	p.gap(12)
	top := p.y
	p.f.SetFillColor(205, 214, 222)
	p.f.SetDrawColor(40, 60, 80)
	p.f.SetLineWidth(0.2)
	p.hill(f.Outline, top, "FD")
	p.neutral()
	p.upright(p.across(f.At(c.P50)), top, 0, fmt.Sprintf("50 %%: %.0f", c.P50))
	p.upright(p.across(f.At(c.P80)), top, 1, fmt.Sprintf("80 %%: %.0f", math.Ceil(c.P80)))
	if limited {
		p.upright(p.across(f.At(limit)), top, 2, "ceiling: "+ceiling.String())
	}
	p.y = top + figureHigh + 0.8
	p.write(small("How likely it costs how much, in " + ceiling.Currency + ": the higher, the likelier."))
}

// valueFigure draws what the machine would fetch before and after, for each
// plan that has both figures.
func (p *pdf) valueFigure(v *scoring.ValueResult, currency string) {
	if v == nil || v.Before.Level == nil {
		return
	}
	for _, a := range v.Afters {
		if a.Level == nil {
			continue
		}
		f := figure.OfValue(v.Before, a.LevelValue, v.DF)
		p.room(figureHigh + 20)
		p.gap(9)
		top := p.y
		p.f.SetFillColor(225, 225, 225)
		p.f.SetDrawColor(120, 120, 120)
		p.f.SetLineWidth(0.2)
		p.hill(f.Before, top, "FD")
		p.f.SetDrawColor(0, 0, 0)
		p.f.SetLineWidth(0.5)
		p.hill(f.After, top, "D")
		p.neutral()
		p.upright(p.across(f.At(v.Before.Level.Median)), top, 0, fmt.Sprintf("as it stands: %.0f", v.Before.Level.Median))
		p.upright(p.across(f.At(a.Level.Median)), top, 1, p.filled("%s: %s", words(a.ID), fmt.Sprintf("%.0f", a.Level.Median)))
		p.y = top + figureHigh + 0.8
		p.write(small("What it would fetch in " + currency + ": grey as it stands, outlined afterwards, the cost not taken off. The overlap does not say how likely the value falls; the ratio above does."))
	}
}

// outlook says what leaving and risking come to, as the owner was shown.
func (p *pdf) outlook(o workshop.OfferReport) {
	for _, x := range o.Options {
		if l := x.Leaving; l != nil && l.Words != "" {
			p.write(body(p.joined(" ", p.filled("If it is left (%s):", words(x.ID)), l.Then, l.Words)))
		}
		if r := x.Risk; r != nil {
			p.write(body(p.joined(" ", p.filled("How it may end (%s):", words(x.ID)), r.Words, r.Why)))
		}
	}
}
