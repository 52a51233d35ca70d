package dossier

import (
	"fmt"

	"codeberg.org/go-pdf/fpdf"

	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// The drawing of an index: one scale from 0 to 1, and on it a row for the
// machine as it stands, one with every kept part back in place, and one for the
// day on which the survey was sealed. Each row has a mark of its own shape.
const (
	scaleFrom = marginSide + 40
	scaleWide = 92.0
	rowHigh   = 7.0
)

// indexWords are the names of the indices.
var indexWords = map[string]string{"substance": word("substance"), "surface": word("surface"), "correctness": word("correctness")}

// indexQuestions are the questions that the indices answer.
var indexQuestions = map[string]string{
	"substance":   "Is it the same metal that left the works?",
	"surface":     "Is it the same skin?",
	"correctness": "Is it as the maker's catalogue says?",
}

func (s *sheet) index(name string, r *workshop.IndexReport) {
	s.gap(4)
	s.room(62)
	s.put(marginSide, s.y, lookPart, sentence(name))
	s.put(scaleFrom, s.y+0.4, lookBody, indexQuestions[name])
	s.y += lookPart.height() + 1.5
	if r.Now == nil {
		s.write(strong("No figure: too little is known."))
		if r.Refused != "" {
			s.write(body(r.Refused))
		}
		s.write(small(fmt.Sprintf("Coverage: %s of the weight rests on more than the prior.", scoring.Percent(r.Coverage))))
		return
	}
	s.scale()
	s.lane("as it stands", r.Now, s.markBar)
	if r.Recoverable != nil {
		s.lane("kept parts put back", r.Recoverable, s.markDiamond)
	}
	if r.AsFound != nil {
		s.lane("as found, when sealed", r.AsFound, s.markRing)
	}
	s.y += 1.5
	for _, text := range []string{
		s.humpWords(r.Now.Modes),
		fmt.Sprintf("Coverage: %s of the weight rests on more than the prior. If the weights are moved within their stated spread, the mean runs from %s to %s.",
			scoring.Percent(r.Coverage), indexFigure(r.Now.WeightBand[0]), indexFigure(r.Now.WeightBand[1])),
	} {
		if text != "" {
			s.write(small(text))
		}
	}
}

// scale draws the figures above the rows.
func (s *sheet) scale() {
	l := look{faceText, 6.6, 60}
	for i := range 6 {
		v := float64(i) / 5
		label := s.say(fmt.Sprintf("%.1f", v))
		s.line(scaleFrom+v*scaleWide-s.measure(l, label)/2, s.y, l, label)
	}
	s.y += l.height() + 0.6
}

// lane draws one row: its words, the scale with light ticks, the 80 % interval,
// and the mark at the median.
func (s *sheet) lane(label string, r *scoring.IndexResult, mark func(x, y, low, high float64)) {
	f := s.f
	middle := s.y + rowHigh/2
	s.put(marginSide, middle-lookSmall.height()/2, lookSmall, label)
	f.SetLineWidth(0.1)
	f.SetDrawColor(170, 170, 170)
	for i := range 11 {
		x := scaleFrom + float64(i)/10*scaleWide
		f.Line(x, s.y, x, s.y+rowHigh)
	}
	f.SetDrawColor(120, 120, 120)
	f.Line(scaleFrom, middle, scaleFrom+scaleWide, middle)
	at := func(v float64) float64 { return scaleFrom + min(max(v, 0), 1)*scaleWide }
	mark(at(r.Median), middle, at(r.Low80), at(r.High80))
	s.neutral()
	x := scaleFrom + scaleWide + 4
	s.put(x, middle-lookStrong.height()/2, lookStrong, indexFigure(r.Median))
	s.put(x+s.measure(lookStrong, "0.000 "), middle-lookSmall.height()/2, lookSmall, fmt.Sprintf("80 %%: %s to %s", indexFigure(r.Low80), indexFigure(r.High80)))
	s.y += rowHigh
}

// markBar is a filled bar with a tall tick.
func (s *sheet) markBar(x, y, low, high float64) {
	f := s.f
	f.SetFillColor(150, 165, 180)
	f.SetDrawColor(40, 60, 80)
	f.SetLineWidth(0.25)
	f.Rect(low, y-1.9, max(high-low, 0.4), 3.8, "FD")
	f.SetLineWidth(0.9)
	f.SetDrawColor(0, 0, 0)
	f.Line(x, y-3, x, y+3)
}

// markDiamond is an open bar with a diamond.
func (s *sheet) markDiamond(x, y, low, high float64) {
	f := s.f
	f.SetFillColor(255, 255, 255)
	f.SetDrawColor(40, 60, 80)
	f.SetLineWidth(0.3)
	f.Rect(low, y-1.4, max(high-low, 0.4), 2.8, "FD")
	f.SetFillColor(0, 0, 0)
	f.Polygon([]fpdf.PointType{{X: x, Y: y - 2.1}, {X: x + 1.7, Y: y}, {X: x, Y: y + 2.1}, {X: x - 1.7, Y: y}}, "F")
}

// markRing is a line with end strokes and a ring.
func (s *sheet) markRing(x, y, low, high float64) {
	f := s.f
	f.SetDrawColor(0, 0, 0)
	f.SetLineWidth(0.4)
	f.Line(low, y, high, y)
	f.Line(low, y-1.2, low, y+1.2)
	f.Line(high, y-1.2, high, y+1.2)
	f.SetFillColor(255, 255, 255)
	f.Circle(x, y, 1.3, "FD")
}
