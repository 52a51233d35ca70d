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

// Drawings are measured here and written by templates as SVG with classes
// alone, so that no page needs a style of its own. Beside each stands the same
// in words.

// Scale is one index on its scale from 0 to 1.
type Scale struct {
	Name, Title, Text string
	Question          string // what the index asks
	Now, Back         *Bar
	Found             string // x of the as-found mark, "" for none
}

// Bar is an interval with its median. Numbers are x positions and widths.
type Bar struct{ X, Width, Median string }

// The index scale lies between these x positions.
const (
	scaleLeft  = 8.0
	scaleWidth = 384.0
)

func scaleX(v float64) string { return xText(scaleLeft + scaleWidth*min(max(v, 0), 1)) }

func xText(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func indexBar(r *scoring.IndexResult) *Bar {
	if r == nil {
		return nil
	}
	return &Bar{X: scaleX(r.Low80), Width: xText(max(scaleWidth*(r.High80-r.Low80), 2)), Median: scaleX(r.Median)}
}

// pathOf is a closed path of points of a field from 0 to 1, between positions
// of the page; y runs downwards there.
func pathOf(points []figure.Point, left, width, top, bottom float64) string {
	var b strings.Builder
	for i, p := range points {
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		fmt.Fprintf(&b, "%s%s %s", letter, xText(left+width*p.X), xText(bottom-(bottom-top)*p.Y))
	}
	return b.String() + "z"
}

// questions are what each index asks.
var questions = map[string]string{
	"substance":   "Is it the same metal that left the works?",
	"surface":     "Is it the same skin?",
	"correctness": "Is it as the maker's catalogue says?",
}

// drawIndex measures one index.
func drawIndex(name string, r *workshop.IndexReport) Scale {
	s := Scale{Name: name, Question: questions[name], Title: upperFirst(name) + " on a scale from 0 to 1", Now: indexBar(r.Now), Back: indexBar(r.Recoverable)}
	if r.Now != nil {
		s.Text = fmt.Sprintf("As it stands %s, and with a chance of 80 %% between %s and %s.", indexWords(r.Now.Median), indexWords(r.Now.Low80), indexWords(r.Now.High80))
	}
	if r.Recoverable != nil {
		s.Text += fmt.Sprintf(" With every kept part back on it %s (%s to %s).", indexWords(r.Recoverable.Median), indexWords(r.Recoverable.Low80), indexWords(r.Recoverable.High80))
	}
	if r.AsFound != nil {
		s.Found = scaleX(r.AsFound.Median)
		s.Text += fmt.Sprintf(" As found %s.", indexWords(r.AsFound.Median))
	}
	return s
}

// LossBar draws what one option takes from one index.
type LossBar struct {
	Title        string
	Now, ForGood Bar
	End          string // what the right end of the scale stands for
}

// The loss scale lies between these x positions.
const (
	lossLeft  = 4.0
	lossWidth = 192.0
)

func lossBar(r scoring.Summary, top float64) Bar {
	x := func(v float64) float64 { return lossLeft + lossWidth*min(max(v/top, 0), 1) }
	return Bar{X: xText(x(r.Low80)), Width: xText(max(x(r.High80)-x(r.Low80), 1.5)), Median: xText(x(r.Median))}
}

// lossTop is a round end for a scale that holds every given loss.
func lossTop(options []workshop.OptionReport) float64 {
	top := 0.0
	for i := range options {
		if options[i].Effects == nil {
			continue
		}
		options[i].Effects.Each(func(_ string, e *scoring.EffectResult) {
			top = max(top, e.Now.High80, e.ForGood.High80)
		})
	}
	for _, round := range []float64{0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5} {
		if top <= round {
			return round
		}
	}
	return 1
}

func drawLoss(name string, e *scoring.EffectResult, top float64) LossBar {
	return LossBar{
		Title:   fmt.Sprintf("%s: now %s points, for good %s points of 1000", upperFirst(name), pointsWords(e.Now.Median), pointsWords(e.ForGood.Median)),
		Now:     lossBar(e.Now, top),
		ForGood: lossBar(e.ForGood, top),
		End:     pointsWords(top),
	}
}
