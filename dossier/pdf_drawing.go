package dossier

import (
	"example.org/asfound/drawing"
	"example.org/asfound/workshop"
)

// The drawing stands twice on its page, each so wide, in mm.
const (
	drawingWide = 146.0
	drawingHigh = drawingWide * 1085 / 2132 // as drawing.View
)

// frontispiece shows the machine from both sides, shaded by where its parts
// come from: by pattern, so that it can be copied without grey.
func (p *pdf) frontispiece() error {
	if len(p.r.Groups) == 0 {
		return nil
	}
	shading, err := p.r.Shade(workshop.ShadeOrigin, nil)
	if err != nil {
		return err
	}
	drawn, as := p.r.DrawnAs(workshop.Drawn{})
	levels := map[string]int{}
	for _, g := range shading.Groups {
		levels[g.Group] = g.Level
	}
	p.page()
	p.head("The machine, from both sides", 0)
	p.put(marginSide, p.y, lookSection, "The machine, from both sides")
	p.y += lookSection.height() + 1
	p.write(body(shading.Question))
	for _, side := range []struct{ side, title string }{{drawing.Left, "Left side"}, {drawing.Right, "Right side"}} {
		p.y += 1.5
		p.put(marginSide, p.y, lookHead, side.title)
		p.sideView(drawing.Draw(drawing.Layout{Side: side.side, Engine: drawn.Engine, Rear: drawn.Rear, Front: drawn.Front}), levels)
	}
	p.y += 2
	p.shadeKeys(shading)
	p.shadeTable(shading)
	p.write(small(shading.Basis))
	p.y += 1
	p.write(small("The drawing shows the kind and not this machine; its proportions are invented."))
	for _, a := range as {
		p.write(small(p.filled("%s: %s (%s)", a.Aspect, a.Value, a.Source)))
	}
	return nil
}

// view places mm of the machine on the page.
type view struct{ x, y, scale float64 }

func (v view) at(q drawing.Point) (x, y float64) {
	return v.x + (q.X-drawing.View.X)*v.scale, v.y + (q.Y-drawing.View.Y)*v.scale
}

// lineWidths are the widths of lines, in mm.
var lineWidths = map[drawing.Kind]float64{drawing.Area: 0.24, drawing.Line: 0.24, drawing.Fine: 0.12}

// sideView draws one side below where the page is, and goes on beneath it.
func (p *pdf) sideView(regions []drawing.Region, levels map[string]int) {
	v := view{(pageWidth - drawingWide) / 2, p.y, drawingWide / drawing.View.W}
	p.f.SetLineJoinStyle("round")
	p.f.SetLineCapStyle("round")
	for _, r := range regions {
		for _, s := range r.Shapes {
			if s.Kind == drawing.Area {
				p.shaded(v, s.Path, levels[r.Group])
			}
			p.f.SetDrawColor(0, 0, 0)
			p.f.SetLineWidth(lineWidths[s.Kind])
			p.trace(v, s.Path)
			p.f.DrawPath("D")
		}
	}
	p.f.SetLineJoinStyle("miter")
	p.f.SetLineCapStyle("butt")
	p.neutral()
	p.y += drawingHigh
}

// trace lays a path.
func (p *pdf) trace(v view, path drawing.Path) {
	for _, s := range path {
		x, y := v.at(s.P[0])
		switch s.Op {
		case 'M':
			p.f.MoveTo(x, y)
		case 'L':
			p.f.LineTo(x, y)
		case 'C':
			x1, y1 := v.at(s.P[1])
			x2, y2 := v.at(s.P[2])
			p.f.CurveBezierCubicTo(x, y, x1, y1, x2, y2)
		case 'Z':
			p.f.ClosePath()
		}
	}
}

// shadeGreys are the greys under the patterns of the levels 1 to 5.
var shadeGreys = [5]int{252, 246, 238, 228, 190}

// shaded fills an area with the pattern of a level.
func (p *pdf) shaded(v view, path drawing.Path, level int) {
	grey := 255
	if level > 0 {
		grey = shadeGreys[level-1]
	}
	p.f.SetFillColor(grey, grey, grey)
	p.trace(v, path)
	p.f.DrawPath("F*")
	p.f.SetDrawColor(70, 70, 70)
	p.f.SetLineWidth(0.1)
	switch level {
	case workshop.LevelNothing:
		p.f.SetDashPattern([]float64{0.8, 1.2}, 0)
		p.hatched(v, path.Hatch(0, 24))
		p.f.SetDashPattern(nil, 0)
	case workshop.LevelUnknown:
		for _, q := range path.Dots(30, 7) {
			x, y := v.at(q)
			p.f.Circle(x, y, 6*v.scale, "D")
		}
	case 2:
		p.f.SetFillColor(70, 70, 70)
		for _, q := range path.Dots(20, 3) {
			x, y := v.at(q)
			p.f.Circle(x, y, 3*v.scale, "F")
		}
	case 3:
		p.hatched(v, path.Hatch(45, 20))
	case 4:
		p.hatched(v, path.Hatch(45, 20))
		p.hatched(v, path.Hatch(135, 20))
	}
}

func (p *pdf) hatched(v view, list [][2]drawing.Point) {
	if len(list) == 0 {
		return
	}
	for _, line := range list {
		x, y := v.at(line[0])
		p.f.MoveTo(x, y)
		x, y = v.at(line[1])
		p.f.LineTo(x, y)
	}
	p.f.DrawPath("D")
}

// swatch draws a sample of a level, so many mm wide and high.
func (p *pdf) swatch(x, y, wide, high float64, level int) {
	v := view{x, y, drawingWide / drawing.View.W}
	corner := drawing.Point{X: drawing.View.X + wide/v.scale, Y: drawing.View.Y + high/v.scale}
	box := drawing.Path{{Op: 'M', P: [3]drawing.Point{{X: drawing.View.X, Y: drawing.View.Y}}}, {Op: 'L', P: [3]drawing.Point{{X: corner.X, Y: drawing.View.Y}}},
		{Op: 'L', P: [3]drawing.Point{corner}}, {Op: 'L', P: [3]drawing.Point{{X: drawing.View.X, Y: corner.Y}}}, {Op: 'Z'}}
	p.shaded(v, box, level)
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.15)
	p.trace(v, box)
	p.f.DrawPath("D")
	p.neutral()
}

// The size of a sample, in mm.
const (
	swatchWide = 7.0
	swatchHigh = 3.6
)

// shadeKeys is the legend, in lines.
func (p *pdf) shadeKeys(s *workshop.Shading) {
	title := p.clean(lookHead, p.say(s.Figure))
	p.line(marginSide, p.y, lookHead, title)
	x := marginSide + p.measure(lookHead, title) + 5
	key := func(level int, english string) {
		text := p.clean(lookSmall, p.say(english))
		wide := swatchWide + 1.5 + p.measure(lookSmall, text) + 4
		if x+wide > pageWidth-marginSide {
			x, p.y = marginSide, p.y+swatchHigh+1.4
		}
		p.swatch(x, p.y, swatchWide, swatchHigh, level)
		p.line(x+swatchWide+1.5, p.y+0.3, lookSmall, text)
		x += wide
	}
	for i, words := range s.Levels {
		key(i+1, words)
	}
	key(workshop.LevelUnknown, workshop.UnknownWords)
	key(workshop.LevelNothing, workshop.NothingWords)
	p.y += swatchHigh + 3
}

// shadeTable gives the same in words, in two columns.
func (p *pdf) shadeTable(s *workshop.Shading) {
	const step = swatchHigh + 1.1
	half := bodyWidth / 2
	rows := (len(s.Groups) + 1) / 2
	p.room(step * float64(min(rows, 9)))
	top, most := p.y, p.y
	for i, g := range s.Groups {
		x := marginSide + half*float64(i/rows)
		y := top + step*float64(i%rows)
		if y+step > bodyEnd {
			continue // a catalog with very many groups
		}
		p.swatch(x, y, swatchWide, swatchHigh, g.Level)
		figure := g.Shown
		if g.Range != "" {
			figure += " (" + g.Range + ")"
		}
		figure = p.clean(lookSmall, p.say(figure))
		wide := p.measure(lookSmall, figure)
		name := p.broken(small(g.Name), half-swatchWide-wide-6)[0]
		p.line(x+swatchWide+1.5, y+0.3, lookSmall, name)
		p.line(x+half-wide-3, y+0.3, lookSmall, figure)
		most = max(most, y+step)
	}
	p.y = most + 1.5
}
