package scoring

import (
	"math"
	"strconv"
)

// Limits of a card.
const (
	fewestPatches = 6 // below it, leaving one out leaves nothing to check with
	maxPatches    = 200
	fewestPixels  = 100
	// narrowest is the least ratio of the singular values of a card whose
	// patches span the colours; grey patches alone stay far below it.
	narrowest = 0.02
	hopeless  = 1000 // stands for any larger difference, or none that can be reckoned
)

// CardInput is what a photograph shows of a reference card and of the areas
// whose colour is asked for, all in one frame.
type CardInput struct {
	White   string       `json:"white"` // that the card's Lab is counted from: "D50" or "D65"
	Patches []CardPatch  `json:"patches"`
	Areas   []CardSample `json:"areas"`
	Assumed CardAssumed  `json:"assumed"`
}

// CardSample is the mean of a marked part of the photograph.
type CardSample struct {
	ID     string `json:"id"`
	Pixels int    `json:"pixels"`
	// Linear is red, green and blue in linear light (decoded by IEC 61966-2-1),
	// 0 to 1; SD the deviation of single pixels.
	Linear []float64 `json:"linear"`
	SD     []float64 `json:"sd"`
	// Clipped is the share of pixels that stand at an end of the scale in any of
	// the three.
	Clipped float64 `json:"clipped"`
}

// CardPatch is a patch of the card with its known colour.
type CardPatch struct {
	CardSample
	Lab Lab `json:"lab"`
}

// CardAssumed is when a photograph is good enough.
type CardAssumed struct {
	LeastPatches    float64 `json:"least_patches"`
	LargestResidual float64 `json:"largest_residual"` // mean CIEDE2000 of patches left out of the fit
	LargestClipped  float64 `json:"largest_clipped"`  // share of pixels
	Uneven          float64 `json:"uneven"`           // deviation of pixels as a share of their mean
}

// CardResult is the colour of the areas and how well the card is met.
type CardResult struct {
	White string     `json:"white"`
	Areas []CardArea `json:"areas"`
	// Fitted is the difference of the patches with all of them in the fit;
	// LeftOut that of each patch by a fit without it, which is what counts.
	Fitted  CardResidual    `json:"fitted"`
	LeftOut CardResidual    `json:"left_out"`
	Patches []CardPatchMiss `json:"patches"`
	// Matrix turns linear red, green, blue and 1 into X, Y, Z (Y of the white 1).
	Matrix   [3][4]float64 `json:"matrix"`
	Cautions []string      `json:"cautions"`
}

// CardArea is the colour of one area. Uncertainty is one standard deviation,
// the root mean square miss of the patches left out.
type CardArea struct {
	ID          string   `json:"id"`
	Lab         Lab      `json:"lab"`
	Uncertainty Lab      `json:"uncertainty"`
	Leverage    float64  `json:"leverage"`
	Cautions    []string `json:"cautions"`
}

// CardResidual sums up differences by CIEDE2000.
type CardResidual struct {
	Mean  float64 `json:"mean"`
	Worst float64 `json:"worst"`
	Patch string  `json:"patch"` // the worst
}

// CardPatchMiss is the difference of one patch.
type CardPatchMiss struct {
	ID      string  `json:"id"`
	Fitted  float64 `json:"fitted"`
	LeftOut float64 `json:"left_out"`
}

// Card corrects a photograph by the reference card in its frame and gives the
// colour of areas.
//
// X, Y and Z are fitted as affine functions of linear red, green and blue by
// least squares over the patches, each weighted by the slope of L at its known
// lightness, so that what is made small is the difference that an eye sees. The
// white of the result is that of the card's own values; no adaptation is needed.
// Each patch is then foretold by a fit without it: the mean CIEDE2000 of that
// says whether the photograph can be used, and its root mean square in L, a and b
// is the uncertainty of the areas. CIELAB by CIE 15; leave-one-out by M. Stone,
// Cross-validatory choice and assessment of statistical predictions, 1974; an area
// of more leverage than any patch lies outside the card (D. Montgomery, E. Peck
// and G. Vining, Introduction to Linear Regression Analysis: hidden extrapolation).
//
// It refuses (CodeInsufficient) a photograph without a card, too few patches,
// patches that clip or do not span the colours, a large residual, and an area
// that clips or lies far outside the card's colours; and (CodeInvalid) figures
// out of range.
func Card(in CardInput) (CardResult, error) {
	if len(in.Patches) == 0 {
		return CardResult{}, insufficient("/patches", "There is no reference card in the frame: what a camera stores depends on light and settings, and says nothing of the paint",
			"Photograph the area again with a card of known patches beside it, in the same light and plane.")
	}
	if err := in.faults().err("The colour from the photograph"); err != nil {
		return CardResult{}, err
	}
	if err := in.usable(); err != nil {
		return CardResult{}, err
	}
	all := fitCard(in.Patches, -1, in.White)
	values, _ := all.fit[0].singular(0)
	low, high := values[0], values[0]
	for _, v := range values {
		low, high = min(low, v), max(high, v)
	}
	if !(low > float64(narrowest*high)) {
		return CardResult{}, insufficient("/patches", "The patches do not span the colours: a card of greys, or a picture without colour, cannot correct one",
			"Use a card with red, green, blue and yellow patches beside the greys.")
	}
	out := CardResult{White: in.White, Areas: []CardArea{}, Patches: []CardPatchMiss{}, Matrix: all.matrix()}
	var square Lab
	reach := 0.0
	suspect, least := "", math.Inf(1) // the patch without which the others are met best
	for i, p := range in.Patches {
		without := fitCard(in.Patches, i, in.White)
		if rest := without.rest(in.Patches, i); rest < least {
			suspect, least = p.ID, rest
		}
		foretold := without.lab(p.Linear)
		out.Patches = append(out.Patches, CardPatchMiss{p.ID, out.Fitted.take(p, all.lab(p.Linear), len(in.Patches)),
			out.LeftOut.take(p, foretold, len(in.Patches))})
		square.L += float64((foretold.L - p.Lab.L) * (foretold.L - p.Lab.L))
		square.A += float64((foretold.A - p.Lab.A) * (foretold.A - p.Lab.A))
		square.B += float64((foretold.B - p.Lab.B) * (foretold.B - p.Lab.B))
		reach = max(reach, all.leverage(p.Linear))
	}
	if limit := in.Assumed.LargestResidual; out.LeftOut.Mean > limit {
		return CardResult{}, insufficient("/patches", "The patches miss their known colours by "+shown(out.LeftOut.Mean)+" on average; at most "+number(limit)+
			" is allowed. Without "+quote(suspect)+" the others are met best", "Look whether that patch is marked right, lies in shadow or shines, and whether the camera wrote a picture without effects.")
	}
	many := float64(len(in.Patches))
	uncertainty := Lab{math.Sqrt(square.L / many), math.Sqrt(square.A / many), math.Sqrt(square.B / many)}
	for i, a := range in.Areas {
		area := CardArea{ID: a.ID, Lab: all.lab(a.Linear), Uncertainty: uncertainty, Leverage: all.leverage(a.Linear), Cautions: []string{}}
		if area.Leverage > max(1, reach) {
			return CardResult{}, insufficient(at("/areas", i), a.ID+" lies far outside the colours of the card", "Use a card with a patch that is like it.")
		}
		if area.Leverage > reach {
			area.Cautions = append(area.Cautions, "Its colour lies outside those of the card: the uncertainty may be larger.")
		}
		if a.uneven(in.Assumed.Uneven) {
			area.Cautions = append(area.Cautions, "It is uneven: gloss, shadow, dirt or two colours. Mark a smaller part.")
		}
		out.Areas = append(out.Areas, area)
	}
	out.Cautions = []string{"The card must lie in the same light and plane as the areas; light that falls off between them is not corrected.",
		"Gloss, metallic flakes and fluorescence look otherwise to a camera than to an eye or an instrument."}
	for _, p := range in.Patches {
		if p.uneven(in.Assumed.Uneven) {
			out.Cautions = append(out.Cautions, "The patch "+p.ID+" is uneven: is it marked inside its edges?")
		}
	}
	return out, nil
}

// usable refuses what no correction can mend.
func (in CardInput) usable() error {
	if least := max(fewestPatches, int(math.Ceil(in.Assumed.LeastPatches))); len(in.Patches) < least {
		return insufficient("/patches", strconv.Itoa(len(in.Patches))+" patches are too few to fit and to check twelve numbers", "Mark at least "+strconv.Itoa(least)+".")
	}
	for i, p := range in.Patches {
		if p.Clipped > in.Assumed.LargestClipped {
			return insufficient(at("/patches", i)+"/clipped", "The patch "+p.ID+" is clipped: "+Percent(p.Clipped)+" of its pixels stand at the end of the scale",
				"Photograph it again with less exposure if it is light, with more if it is dark.")
		}
	}
	for i, a := range in.Areas {
		if a.Clipped > in.Assumed.LargestClipped {
			return insufficient(at("/areas", i)+"/clipped", a.ID+" is clipped: "+Percent(a.Clipped)+" of its pixels stand at the end of the scale",
				"Mark a part without glare, or photograph it again with another exposure.")
		}
	}
	if len(in.Areas) == 0 {
		return insufficient("/areas", "No area is marked", "Mark the part whose colour is asked for.")
	}
	return nil
}

func (s CardSample) uneven(share float64) bool {
	for i, v := range s.Linear {
		if s.SD[i] > float64(share*v) && s.SD[i] > 0.01 {
			return true
		}
	}
	return false
}

// take counts how far a patch is missed.
func (r *CardResidual) take(p CardPatch, found Lab, n int) float64 {
	v := ColourDifference(p.Lab, found)
	if !(v < hopeless) {
		v = hopeless // a fit without the patch may fail altogether
	}
	r.Mean += v / float64(n)
	if v >= r.Worst {
		r.Worst, r.Patch = v, p.ID
	}
	return v
}

// cardFit is one fit: the same design for X, Y and Z.
type cardFit struct {
	fit   [3]*triangle
	gains [3][]float64
	white [3]float64
}

// fitCard fits all patches but one; −1 leaves none out.
func fitCard(patches []CardPatch, without int, white string) cardFit {
	c := cardFit{white: whitePoint(white)}
	for k := range c.fit {
		c.fit[k] = newTriangle(5)
	}
	for i, p := range patches {
		if i == without {
			continue
		}
		xyz := p.Lab.tristimulus(c.white)
		w := lightnessSlope(xyz[1])
		for k, t := range c.fit {
			row := t.row()
			for j, v := range p.Linear {
				t.block[j][row] = float64(w * v)
			}
			t.block[3][row] = w
			t.block[4][row] = float64(w * xyz[k])
		}
	}
	for k, t := range c.fit {
		t.fold()
		c.gains[k] = t.solve()
	}
	return c
}

// rest is how far the patches but one are missed, all together.
func (c cardFit) rest(patches []CardPatch, without int) (sum float64) {
	for i, p := range patches {
		if i != without {
			sum += ColourDifference(p.Lab, c.lab(p.Linear))
		}
	}
	return sum
}

func (c cardFit) matrix() (m [3][4]float64) {
	for k := range m {
		copy(m[k][:], c.gains[k])
	}
	return m
}

func (c cardFit) xyz(linear []float64) (out [3]float64) {
	for k, g := range c.gains {
		out[k] = dot(g[:3], linear) + g[3]
	}
	return out
}

func (c cardFit) lab(linear []float64) Lab { return labOf(c.xyz(linear), c.white) }

// leverage is xᵀ(XᵀWX)⁻¹x with the weight of the colour's own lightness.
func (c cardFit) leverage(linear []float64) float64 {
	w := lightnessSlope(c.xyz(linear)[1])
	x := []float64{float64(w * linear[0]), float64(w * linear[1]), float64(w * linear[2]), w}
	z := c.fit[0].whiten(x)
	return dot(z, z)
}

// whitePoint is X, Y, Z of the white for the 2° observer: D50 as ICC.1 has it,
// D65 by CIE 15.
func whitePoint(white string) [3]float64 {
	if white == "D50" {
		return [3]float64{0.9642, 1, 0.8249}
	}
	return [3]float64{0.95047, 1, 1.08883}
}

// CIE 15: above (6/29)³ a cube root, below it a line.
const labCorner = 6.0 / 29

// tristimulus is X, Y, Z, with 1 for Y of the white.
func (c Lab) tristimulus(white [3]float64) (xyz [3]float64) {
	y := (c.L + 16) / 116
	for k, f := range [3]float64{y + c.A/500, y, y - c.B/200} {
		v := float64(3 * labCorner * labCorner * (f - 4.0/29))
		if f > labCorner {
			v = float64(float64(f*f) * f)
		}
		xyz[k] = float64(v * white[k])
	}
	return xyz
}

func labOf(xyz, white [3]float64) Lab {
	var f [3]float64
	for k := range f {
		t := xyz[k] / white[k]
		if t > labCorner*labCorner*labCorner {
			f[k] = exponential(logarithm(t) / 3)
		} else {
			f[k] = t/(3*labCorner*labCorner) + 4.0/29
		}
	}
	return Lab{float64(116*f[1]) - 16, float64(500 * (f[0] - f[1])), float64(200 * (f[1] - f[2]))}
}

// lightnessSlope is dL/dY.
func lightnessSlope(y float64) float64 {
	y = max(y, labCorner*labCorner*labCorner)
	return float64(116.0 / 3 * exponential(float64(-2*logarithm(y))/3))
}

func (in CardInput) faults() faults {
	var fs faults
	fs.white("/white", in.White)
	seen := map[string]bool{}
	fs.count("/patches", len(in.Patches), maxPatches, "patches")
	for i, p := range in.Patches {
		fs.sample(at("/patches", i), p.CardSample, seen)
		fs.lab(at("/patches", i)+"/lab", p.Lab)
	}
	fs.count("/areas", len(in.Areas), maxPatches, "areas")
	for i, a := range in.Areas {
		fs.sample(at("/areas", i), a, seen)
	}
	fs.span("/assumed/least_patches", in.Assumed.LeastPatches, fewestPatches, maxPatches, "The least number of patches", "patches")
	fs.span("/assumed/largest_residual", in.Assumed.LargestResidual, 0.1, 20, "The largest residual", "units of CIEDE2000")
	fs.span("/assumed/largest_clipped", in.Assumed.LargestClipped, 0, 0.5, "The largest share of clipped pixels", "as a share")
	fs.span("/assumed/uneven", in.Assumed.Uneven, 0.001, 10, "The deviation that is uneven", "as a share")
	return fs
}

func (fs *faults) sample(pointer string, s CardSample, seen map[string]bool) {
	fs.unique(pointer+"/id", s.ID, "The mark "+quote(s.ID), seen)
	fs.span(pointer+"/pixels", float64(s.Pixels), fewestPixels, 1e9, "The size of a mark", "pixels")
	fs.probability(pointer+"/clipped", s.Clipped, "The share of clipped pixels")
	fs.light(pointer+"/linear", s.Linear)
	fs.light(pointer+"/sd", s.SD)
}

// light wants red, green and blue.
func (fs *faults) light(pointer string, v []float64) {
	if len(v) != 3 {
		fs.add(pointer, strconv.Itoa(len(v))+" numbers", "3 numbers", "Red, green and blue are needed", "Give three.")
		return
	}
	for k := range v {
		fs.span(at(pointer, k), v[k], 0, 1, "Linear light", "as a share of white")
	}
}

func readCardInput(r *reader, n *node) (in CardInput) {
	sample := func(to *CardSample) []member {
		return []member{
			{"id", true, r.text(&to.ID)},
			{"pixels", true, r.wholeNumber(&to.Pixels)},
			{"linear", true, r.numbers(&to.Linear)},
			{"sd", true, r.numbers(&to.SD)},
			{"clipped", true, r.number(&to.Clipped)},
		}
	}
	r.object(n, "",
		member{"white", true, r.text(&in.White)},
		member{"patches", false, r.array(func(n *node, pointer string) {
			var p CardPatch
			r.object(n, pointer, append(sample(&p.CardSample), member{"lab", true, r.lab(&p.Lab)})...)
			in.Patches = append(in.Patches, p)
		})},
		member{"areas", true, r.array(func(n *node, pointer string) {
			var a CardSample
			r.object(n, pointer, sample(&a)...)
			in.Areas = append(in.Areas, a)
		})},
		member{"assumed", true, func(n *node, pointer string) {
			s := &in.Assumed
			r.object(n, pointer,
				member{"least_patches", true, r.number(&s.LeastPatches)},
				member{"largest_residual", true, r.number(&s.LargestResidual)},
				member{"largest_clipped", true, r.number(&s.LargestClipped)},
				member{"uneven", true, r.number(&s.Uneven)},
			)
		}},
	)
	return in
}
