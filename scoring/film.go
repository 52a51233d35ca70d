package scoring

import (
	"math"
	"strconv"
)

// Limits of a comparison of films.
const (
	leastReadings   = 3
	maxReadings     = 1000
	maxFilmAreas    = 200
	micronsInOneMil = 25.4
	largestFilm     = 5000 // µm
	largestRatio    = 1e12 // stands for anything larger, and its inverse for anything smaller
)

// FilmInput asks whether areas of one machine carry more film than a sheltered
// reference on the same machine.
type FilmInput struct {
	Unit      string      `json:"unit"` // of the readings: "µm" (or "um") or "mil"
	Reference FilmArea    `json:"reference"`
	Areas     []FilmArea  `json:"areas"`
	Assumed   FilmAssumed `json:"assumed"`
}

// FilmArea is the readings of one place.
type FilmArea struct {
	ID         string    `json:"id"`
	Instrument string    `json:"instrument"`
	Readings   []float64 `json:"readings"`
}

// FilmAssumed is what is thought of paint before a gauge is laid on. All is in
// µm but for the shares.
type FilmAssumed struct {
	PanelSD     float64 `json:"panel_sd"`     // between panels as they were made
	RepaintAdds float64 `json:"repaint_adds"` // by a coat over the old one
	RepaintSD   float64 `json:"repaint_sd"`
	// Leak is the chance that the difference has another cause; it then lies
	// anywhere, with the density 1/LeakSpan.
	Leak     float64 `json:"leak"`
	LeakSpan float64 `json:"leak_span"`
	// ReadingSD, Detect, Power and Significance say how many readings are needed.
	ReadingSD    float64 `json:"reading_sd"`   // of single readings within an area
	Detect       float64 `json:"detect"`       // the difference that is to be seen
	Power        float64 `json:"power"`        // the chance of seeing it
	Significance float64 `json:"significance"` // the chance of seeing it where there is none, two-sided
}

// FilmResult is the comparison, in µm.
type FilmResult struct {
	Unit      string         `json:"unit"`
	Reference FilmMean       `json:"reference"`
	Areas     []FilmCompared `json:"areas"`
	// ReadingsNeeded is in each of two areas, to see the difference asked for.
	ReadingsNeeded int      `json:"readings_needed"`
	Cautions       []string `json:"cautions"`
}

// FilmMean is what the readings of one place come to.
type FilmMean struct {
	ID       string  `json:"id"`
	Readings int     `json:"readings"`
	Mean     float64 `json:"mean"`
	SD       float64 `json:"sd"`
	SE       float64 `json:"se"`
}

// FilmCompared is one area against the reference.
type FilmCompared struct {
	FilmMean
	Difference   float64 `json:"difference"` // area less reference
	DifferenceSE float64 `json:"difference_se"`
	Ratio        float64 `json:"ratio"` // area to reference
	RatioSE      float64 `json:"ratio_se"`
	// LikelihoodRatio is repaint against as made; Tempered the same with the
	// leak, which is the one to use.
	LikelihoodRatio float64 `json:"likelihood_ratio"`
	Tempered        float64 `json:"tempered"`
	Favours         string  `json:"favours"` // "repaint", "as made" or "neither"
	Words           string  `json:"words"`   // of the verbal scale, for Tempered or its inverse
	// Cautions are on this area alone.
	Cautions []string `json:"cautions"`
}

func filmCautions() []string {
	return []string{
		"This compares places of one machine; no thickness by itself says original or repainted.",
		"A gauge is deceived by filler, lead loading, alloy under a magnetic probe, edges and curves, plating under the paint, and polishing. A repaint over stripped metal may be as thin as the first coat.",
		"Measure by ISO 2808: zero and check the gauge on the same metal, and write down instrument and places.",
		"Film and colour of one surface hang together: as evidence they belong in one cluster.",
	}
}

// Film compares the paint film of areas with that of a sheltered reference on
// the same machine, because published absolute bands contradict one another.
//
// Means, Welch's standard error of the difference, √(s₁²/n₁ + s₂²/n₂), and the
// ratio with its error by the delta method. As made, the difference is normal
// with mean 0 and variance panel² + se²; after a repaint over the old coat,
// normal with mean RepaintAdds and variance RepaintSD² + se². The tempered
// ratio mixes both densities with the leak's flat one, so that a difference
// that fits neither ends at 1. Readings needed: 2(z₁₋α/₂ + z_power)²·σ²/δ²,
// rounded up (Snedecor and Cochran, Statistical Methods, 6.14). The measuring
// itself is that of ISO 2808; the numbers in Assumed are the caller's.
//
// It refuses (CodeInsufficient) fewer than 3 readings of an area, no area, and
// areas read with another instrument than the reference; and (CodeInvalid) a
// unit that is none and figures out of range. It never says what was repainted.
func Film(in FilmInput) (FilmResult, error) {
	out := FilmResult{Unit: "µm", Areas: []FilmCompared{}}
	var fs faults
	factor := fs.filmUnit(in.Unit)
	seen := map[string]bool{}
	fs.filmArea("/reference", in.Reference, factor, seen)
	fs.count("/areas", len(in.Areas), maxFilmAreas, "areas")
	for i, a := range in.Areas {
		fs.filmArea(at("/areas", i), a, factor, seen)
	}
	fs.filmAssumed(in.Assumed)
	if err := fs.err("The comparison of films"); err != nil {
		return out, err
	}
	if len(in.Areas) == 0 {
		return out, insufficient("/areas", "There is no area to compare with the reference", "Measure one.")
	}
	for i, a := range append([]FilmArea{in.Reference}, in.Areas...) {
		here := "/reference"
		if i > 0 {
			here = at("/areas", i-1)
		}
		if len(a.Readings) < leastReadings {
			return out, insufficient(here+"/readings", a.ID+" has "+strconv.Itoa(len(a.Readings))+" readings; fewer than 3 do not show how they scatter",
				"Take at least 3, better "+strconv.Itoa(in.Assumed.needed())+".")
		}
		if a.Instrument != in.Reference.Instrument {
			return out, insufficient(here+"/instrument", "The reference was read with "+quote(in.Reference.Instrument)+" and this area with "+quote(a.Instrument)+
				": the difference would hold that of the gauges", "Read both with one gauge.")
		}
	}
	reference := in.Reference.mean(factor)
	out.Reference = reference
	out.ReadingsNeeded = in.Assumed.needed()
	out.Cautions = filmCautions()
	for _, a := range in.Areas {
		out.Areas = append(out.Areas, in.Assumed.compare(reference, a.mean(factor), out.ReadingsNeeded))
	}
	return out, nil
}

// mean is in µm.
func (a FilmArea) mean(factor float64) FilmMean {
	values := make([]float64, len(a.Readings))
	for i, v := range a.Readings {
		values[i] = float64(v * factor)
	}
	mean, sd := meanAndSD(values)
	return FilmMean{a.ID, len(values), mean, sd, sd / math.Sqrt(float64(len(values)))}
}

// meanAndSD gives the mean and the standard deviation with n − 1; it is 0 for
// one value.
func meanAndSD(values []float64) (mean, sd float64) {
	for _, v := range values {
		mean += v
	}
	mean /= float64(len(values))
	if len(values) < 2 {
		return mean, 0
	}
	sum := 0.0
	for _, v := range values {
		sum += float64((v - mean) * (v - mean))
	}
	return mean, math.Sqrt(sum / float64(len(values)-1))
}

func (s FilmAssumed) compare(reference, area FilmMean, needed int) FilmCompared {
	squared := float64(reference.SE*reference.SE) + float64(area.SE*area.SE)
	c := FilmCompared{FilmMean: area, Difference: area.Mean - reference.Mean, DifferenceSE: math.Sqrt(squared),
		Ratio: area.Mean / reference.Mean, Cautions: []string{}}
	a, r := area.SE/area.Mean, reference.SE/reference.Mean
	c.RatioSE = float64(c.Ratio * math.Sqrt(float64(a*a)+float64(r*r)))

	made := logNormalDensity(c.Difference, 0, float64(s.PanelSD*s.PanelSD)+squared)
	repaint := logNormalDensity(c.Difference, s.RepaintAdds, float64(s.RepaintSD*s.RepaintSD)+squared)
	c.LikelihoodRatio = bounded(exponential(repaint - made))
	elsewhere := s.Leak / s.LeakSpan
	c.Tempered = bounded((float64((1-s.Leak)*exponential(repaint)) + elsewhere) / (float64((1-s.Leak)*exponential(made)) + elsewhere))
	switch {
	case c.Tempered > 1:
		c.Favours, c.Words = "repaint", Verbal(c.Tempered)
	case c.Tempered < 1:
		c.Favours, c.Words = "as made", Verbal(1/c.Tempered)
	default:
		c.Favours, c.Words = "neither", Verbal(1)
	}
	if fewest := min(area.Readings, reference.Readings); fewest < needed {
		c.Cautions = append(c.Cautions, strconv.Itoa(fewest)+" readings in an area; "+strconv.Itoa(needed)+" would be needed to see a difference of "+number(s.Detect)+" µm.")
	}
	if max(area.SD, reference.SD) > float64(2*s.ReadingSD) {
		c.Cautions = append(c.Cautions, "The readings scatter more than twice as much as was assumed: there may be two kinds of film in one area.")
	}
	if c.Difference > s.RepaintAdds+float64(3*s.RepaintSD) {
		c.Cautions = append(c.Cautions, "This is thicker than a repaint as assumed: think of filler, lead loading or several coats.")
	}
	if c.Difference < float64(-2*s.PanelSD) {
		c.Cautions = append(c.Cautions, "This is thinner than the reference: it may have been polished or stripped, or the reference is the one that was painted again.")
	}
	return c
}

// needed is how many readings each of two areas needs.
func (s FilmAssumed) needed() int {
	z := standardNormalQuantile(1-s.Significance/2) + standardNormalQuantile(s.Power)
	q := s.ReadingSD / s.Detect
	return max(leastReadings, int(math.Ceil(float64(2*float64(float64(z*z)*float64(q*q))))))
}

// logNormalDensity is the logarithm of the density of the normal distribution.
func logNormalDensity(x, mean, variance float64) float64 {
	d := x - mean
	return -(logarithm(float64(float64(2*math.Pi)*variance)) + float64(d*d)/variance) / 2
}

func bounded(ratio float64) float64 { return min(largestRatio, max(1/largestRatio, ratio)) }

// standardNormalBelow is P(X ≤ x) of the standard normal distribution, by
// ½ + φ(x)·Σ x^(2k+1)/(1·3·…·(2k+1)) (NIST Digital Library of Mathematical
// Functions, 7.6.2).
func standardNormalBelow(x float64) float64 {
	if x < -38 || x > 38 {
		return max(0, min(1, x))
	}
	term, sum := x, x
	for k := 3.0; math.Abs(term) > float64(1e-17*math.Abs(sum)); k += 2 {
		term = float64(term*float64(x*x)) / k
		sum += term
	}
	return 0.5 + float64(exponential(logNormalDensity(x, 0, 1))*sum)
}

// standardNormalQuantile is the x with P(X ≤ x) = p, for p from 1e-6 to 1 − 1e-6,
// by halving.
func standardNormalQuantile(p float64) float64 {
	low, high := -6.0, 6.0
	for range 100 {
		middle := (low + high) / 2
		if standardNormalBelow(middle) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// filmUnit is how many µm one unit is.
func (fs *faults) filmUnit(unit string) float64 {
	switch unit {
	case "µm", "μm", "um":
		return 1
	case "mil":
		return micronsInOneMil
	}
	fs.add("/unit", quote(unit), "µm, mil", "This is no unit of a film", "Say what the gauge shows; 1 mil is 25.4 µm.")
	return 1
}

func (fs *faults) filmArea(pointer string, a FilmArea, factor float64, seen map[string]bool) {
	fs.unique(pointer+"/id", a.ID, "The area "+quote(a.ID), seen)
	fs.name(pointer+"/instrument", a.Instrument, "An instrument")
	fs.count(pointer+"/readings", len(a.Readings), maxReadings, "readings")
	for i, v := range a.Readings {
		if !(v > 0 && float64(v*factor) <= largestFilm) {
			fs.add(at(pointer+"/readings", i), number(v), "above 0, to 5000 µm", "This is no film", "Check the unit; leave out a place without film.")
		}
	}
}

func (fs *faults) filmAssumed(s FilmAssumed) {
	fs.span("/assumed/panel_sd", s.PanelSD, 0.1, 1000, "The deviation between panels", "µm")
	fs.span("/assumed/repaint_adds", s.RepaintAdds, 0.1, 1000, "What a repaint adds", "µm")
	fs.span("/assumed/repaint_sd", s.RepaintSD, 0.1, 1000, "The deviation of a repaint", "µm")
	fs.span("/assumed/leak", s.Leak, 0, 0.5, "The leak", "as a share")
	fs.span("/assumed/leak_span", s.LeakSpan, 1, 10000, "The span of the leak", "µm")
	fs.span("/assumed/reading_sd", s.ReadingSD, 0.1, 1000, "The deviation of a reading", "µm")
	fs.span("/assumed/detect", s.Detect, 1, 1000, "The difference to be seen", "µm")
	fs.span("/assumed/power", s.Power, 0.5, 0.999, "The power", "as a share")
	fs.span("/assumed/significance", s.Significance, 0.001, 0.5, "The significance", "as a share")
}

func readFilmInput(r *reader, n *node) (in FilmInput) {
	area := func(to *FilmArea) func(n *node, pointer string) {
		return func(n *node, pointer string) {
			r.object(n, pointer,
				member{"id", true, r.text(&to.ID)},
				member{"instrument", true, r.text(&to.Instrument)},
				member{"readings", true, r.numbers(&to.Readings)},
			)
		}
	}
	r.object(n, "",
		member{"unit", true, r.text(&in.Unit)},
		member{"reference", true, area(&in.Reference)},
		member{"areas", true, r.array(func(n *node, pointer string) {
			var a FilmArea
			area(&a)(n, pointer)
			in.Areas = append(in.Areas, a)
		})},
		member{"assumed", true, func(n *node, pointer string) {
			s := &in.Assumed
			r.object(n, pointer,
				member{"panel_sd", true, r.number(&s.PanelSD)},
				member{"repaint_adds", true, r.number(&s.RepaintAdds)},
				member{"repaint_sd", true, r.number(&s.RepaintSD)},
				member{"leak", true, r.number(&s.Leak)},
				member{"leak_span", true, r.number(&s.LeakSpan)},
				member{"reading_sd", true, r.number(&s.ReadingSD)},
				member{"detect", true, r.number(&s.Detect)},
				member{"power", true, r.number(&s.Power)},
				member{"significance", true, r.number(&s.Significance)},
			)
		}},
	)
	return in
}
