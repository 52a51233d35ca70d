package scoring

import (
	"math"
	"strconv"
)

// ColourInput asks how an area differs in colour from a reference, which is the
// sheltered or known one.
type ColourInput struct {
	Reference ColourSet `json:"reference"`
	Area      ColourSet `json:"area"`
}

// ColourSet is one reading or several of one place.
type ColourSet struct {
	ID         string `json:"id"`
	Instrument string `json:"instrument"`
	White      string `json:"white"` // that L is counted from: "D50" or "D65"
	Readings   []Lab  `json:"readings"`
	// Uncertainty is one standard deviation that all readings share, such as
	// that of a photograph corrected by a card; more readings do not lessen it.
	Uncertainty *Lab `json:"uncertainty,omitempty"`
}

// ColourResult is the difference, area less reference.
type ColourResult struct {
	Reference ColourMean `json:"reference"`
	Area      ColourMean `json:"area"`
	DeltaE00  float64    `json:"delta_e00"`
	// DeltaL, DeltaC and DeltaH are those of CIELAB (ISO/CIE 11664-4).
	DeltaL    ColourShift     `json:"delta_l"`
	DeltaC    ColourShift     `json:"delta_c"`
	DeltaH    ColourShift     `json:"delta_h"`
	Direction ColourDirection `json:"direction"`
	White     string          `json:"white"`
	Cautions  []string        `json:"cautions"`
}

// ColourMean is what the readings of one place come to.
type ColourMean struct {
	ID       string  `json:"id"`
	Readings int     `json:"readings"`
	Mean     Lab     `json:"mean"`
	Chroma   float64 `json:"chroma"`
	Hue      float64 `json:"hue"` // degrees; 0 when there is no chroma
	// SD is of single readings, and Spread their mean CIEDE2000 from the mean;
	// from 3 readings up.
	SD     *Lab     `json:"sd,omitempty"`
	Spread *float64 `json:"spread,omitempty"`
}

// ColourShift is one part of the difference and its standard error, when that
// is known.
type ColourShift struct {
	Value float64  `json:"value"`
	SE    *float64 `json:"se,omitempty"`
}

// ColourDirection says in words which way the area went. A part that is smaller
// than twice its standard error is "cannot tell".
type ColourDirection struct {
	Lightness string `json:"lightness"` // lighter, darker, same, cannot tell
	Chroma    string `json:"chroma"`    // more, less, same, cannot tell
	Hue       string `json:"hue"`       // redder, yellower, greener, bluer, same, cannot tell
	Fading    string `json:"fading"`    // in the direction of fading, against it, cannot tell
}

const (
	cannotTell   = "cannot tell"
	fadingYes    = "in the direction of fading"
	fadingNo     = "against the direction of fading"
	maxLabNumber = 200 // of a and b
)

// Colour compares two colours or two sets of readings.
//
// CIEDE2000 between the means, and its parts in CIELAB: ΔL, ΔC and ΔH with their
// signs, ΔH = ±√(2(C₁C₂ − a₁a₂ − b₁b₂)), positive towards larger hue angles.
// Standard errors follow from the scatter of the readings along lightness, along
// each one's own hue and across the mean hue, with the shared uncertainty added.
// Equal differences can mean opposite things, because fading has a direction:
// lighter and of less chroma (common practice). So the parts are given beside the
// number, and in words.
//
// It refuses (CodeInsufficient) a set without readings and two instruments, and
// (CodeInvalid) two whites and figures out of range.
func Colour(in ColourInput) (ColourResult, error) {
	var fs faults
	fs.colourSet("/reference", in.Reference)
	fs.colourSet("/area", in.Area)
	if len(fs) == 0 && in.Reference.White != in.Area.White {
		fs.add("/area/white", in.Area.White, in.Reference.White, "The two are counted from different whites", "Convert one of them, or read both alike.")
	}
	if err := fs.err("The difference of colour"); err != nil {
		return ColourResult{}, err
	}
	for i, s := range []ColourSet{in.Reference, in.Area} {
		here := [2]string{"/reference", "/area"}[i]
		if len(s.Readings) == 0 {
			return ColourResult{}, insufficient(here+"/readings", s.ID+" has no reading", "Take one, better three or more.")
		}
		if s.Instrument != in.Reference.Instrument {
			return ColourResult{}, insufficient(here+"/instrument", "The two were read with different instruments: the difference would hold theirs",
				"Read both with one instrument, or in one photograph with a reference card.")
		}
	}
	p, q := in.Reference.settle(), in.Area.settle()
	out := ColourResult{Reference: p.ColourMean, Area: q.ColourMean, DeltaE00: ColourDifference(p.Mean, q.Mean), White: in.Area.White,
		Cautions: []string{"Equal differences may mean opposite things: read the three parts with their signs.",
			"Film and colour of one surface hang together: as evidence they belong in one cluster."}}
	out.shifts(p, q)
	out.Direction = out.direct()
	for _, s := range []ColourSet{in.Reference, in.Area} {
		if len(s.Readings) < leastReadings {
			out.Cautions = append(out.Cautions, s.ID+" has "+strconv.Itoa(len(s.Readings))+" of the 3 readings that show how they scatter.")
		}
	}
	return out, nil
}

// colourScatter is a mean with the variances of that mean; known is false where
// nothing says how it scatters.
type colourScatter struct {
	ColourMean
	l, aa, bb, ab float64
	known         bool
}

func (s ColourSet) settle() colourScatter {
	n := len(s.Readings)
	l, a, b := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, v := range s.Readings {
		l[i], a[i], b[i] = v.L, v.A, v.B
	}
	var sd Lab
	out := colourScatter{ColourMean: ColourMean{ID: s.ID, Readings: n}}
	out.Mean.L, sd.L = meanAndSD(l)
	out.Mean.A, sd.A = meanAndSD(a)
	out.Mean.B, sd.B = meanAndSD(b)
	out.Chroma, out.Hue = out.Mean.chroma(), hueDegrees(out.Mean.A, out.Mean.B)
	if n >= leastReadings {
		sum, spread := 0.0, 0.0
		for i, v := range s.Readings {
			sum += float64((a[i] - out.Mean.A) * (b[i] - out.Mean.B))
			spread += ColourDifference(v, out.Mean)
		}
		spread /= float64(n)
		out.SD, out.Spread, out.known = &sd, &spread, true
		many := float64(n)
		out.l, out.aa, out.bb, out.ab = float64(sd.L*sd.L)/many, float64(sd.A*sd.A)/many, float64(sd.B*sd.B)/many, sum/float64(many*(many-1))
	}
	if u := s.Uncertainty; u != nil {
		out.known = true
		out.l += float64(u.L * u.L)
		out.aa += float64(u.A * u.A)
		out.bb += float64(u.B * u.B)
	}
	return out
}

// along is the variance of the mean along the direction (x, y) in a and b.
func (s colourScatter) along(x, y float64) float64 {
	return max(0, float64(float64(x*x)*s.aa)+float64(float64(2*float64(x*y))*s.ab)+float64(float64(y*y)*s.bb))
}

func (r *ColourResult) shifts(p, q colourScatter) {
	r.DeltaL.Value = q.Mean.L - p.Mean.L
	r.DeltaC.Value = q.Chroma - p.Chroma
	dot := float64(p.Mean.A*q.Mean.A) + float64(p.Mean.B*q.Mean.B)
	r.DeltaH.Value = math.Sqrt(max(0, float64(2*(float64(p.Chroma*q.Chroma)-dot))))
	if float64(p.Mean.A*q.Mean.B)-float64(q.Mean.A*p.Mean.B) < 0 {
		r.DeltaH.Value = -r.DeltaH.Value
	}
	if !p.known || !q.known {
		return
	}
	se := func(variance float64) *float64 {
		v := math.Sqrt(variance)
		return &v
	}
	r.DeltaL.SE = se(p.l + q.l)
	if p.Chroma == 0 || q.Chroma == 0 {
		return // without a hue there is no direction to scatter along
	}
	px, py, qx, qy := p.Mean.A/p.Chroma, p.Mean.B/p.Chroma, q.Mean.A/q.Chroma, q.Mean.B/q.Chroma
	r.DeltaC.SE = se(p.along(px, py) + q.along(qx, qy))
	x, y := px+qx, py+qy
	if length := math.Sqrt(float64(x*x) + float64(y*y)); length > 0 {
		r.DeltaH.SE = se(p.along(-y/length, x/length) + q.along(-y/length, x/length))
	}
}

func (r *ColourResult) direct() ColourDirection {
	word := func(s ColourShift, up, down string) string {
		switch {
		case s.SE != nil && math.Abs(s.Value) < float64(2**s.SE):
			return cannotTell
		case s.Value > 0:
			return up
		case s.Value < 0:
			return down
		}
		return "same"
	}
	// Turning on from a hue leads to the next of the four, turning back to the
	// one before.
	names := [5]string{"redder", "yellower", "greener", "bluer", "redder"}
	quadrant := min(3, int(r.Reference.Hue/90))
	d := ColourDirection{Lightness: word(r.DeltaL, "lighter", "darker"), Chroma: word(r.DeltaC, "more", "less"),
		Hue: word(r.DeltaH, names[quadrant+1], names[quadrant]), Fading: cannotTell}
	switch {
	case d.Lightness == "lighter" && d.Chroma == "less":
		d.Fading = fadingYes
	case d.Lightness == "darker" || d.Chroma == "more":
		d.Fading = fadingNo
	}
	return d
}

func (fs *faults) colourSet(pointer string, s ColourSet) {
	fs.name(pointer+"/id", s.ID, "A place")
	fs.name(pointer+"/instrument", s.Instrument, "An instrument")
	fs.white(pointer+"/white", s.White)
	fs.count(pointer+"/readings", len(s.Readings), maxReadings, "readings")
	for i, v := range s.Readings {
		fs.lab(at(pointer+"/readings", i), v)
	}
	if u := s.Uncertainty; u != nil {
		fs.span(pointer+"/uncertainty/L", u.L, 0, 100, "An uncertainty", "units of L")
		fs.span(pointer+"/uncertainty/a", u.A, 0, 100, "An uncertainty", "units of a")
		fs.span(pointer+"/uncertainty/b", u.B, 0, 100, "An uncertainty", "units of b")
	}
}

func (fs *faults) lab(pointer string, v Lab) {
	fs.span(pointer+"/L", v.L, 0, 100, "Lightness", "units of L")
	fs.span(pointer+"/a", v.A, -maxLabNumber, maxLabNumber, "Redness", "units of a")
	fs.span(pointer+"/b", v.B, -maxLabNumber, maxLabNumber, "Yellowness", "units of b")
}

func (fs *faults) white(pointer, white string) {
	if white != "D50" && white != "D65" {
		fs.add(pointer, quote(white), "D50, D65", "It is not said from which white L, a and b are counted", "Look it up in the instrument's settings or on the card's sheet; print and most cards use D50.")
	}
}

func (r *reader) lab(to *Lab) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		r.object(n, pointer,
			member{"L", true, r.number(&to.L)},
			member{"a", true, r.number(&to.A)},
			member{"b", true, r.number(&to.B)},
		)
	}
}

func readColourInput(r *reader, n *node) (in ColourInput) {
	set := func(to *ColourSet) func(n *node, pointer string) {
		return func(n *node, pointer string) {
			r.object(n, pointer,
				member{"id", true, r.text(&to.ID)},
				member{"instrument", true, r.text(&to.Instrument)},
				member{"white", true, r.text(&to.White)},
				member{"readings", true, r.array(func(n *node, pointer string) {
					var v Lab
					r.lab(&v)(n, pointer)
					to.Readings = append(to.Readings, v)
				})},
				member{"uncertainty", false, func(n *node, pointer string) {
					to.Uncertainty = &Lab{}
					r.lab(to.Uncertainty)(n, pointer)
				}},
			)
		}
	}
	r.object(n, "", member{"reference", true, set(&in.Reference)}, member{"area", true, set(&in.Area)})
	return in
}
