package scoring

import "math"

const maxGears = 10

// GearingInput asks for speeds and engine speeds in each gear.
type GearingInput struct {
	Primary TeethPair   `json:"primary"`
	Gearbox []GearRatio `json:"gearbox"`
	Final   TeethPair   `json:"final"` // gearbox sprocket and rear sprocket
	Tyre    TyreSize    `json:"tyre"`
	// RPM is the engine speed for which road speeds are wanted; KMH or MPH the
	// road speed for which engine speeds are. Give one.
	RPM *float64 `json:"rpm,omitempty"`
	KMH *float64 `json:"kmh,omitempty"`
	MPH *float64 `json:"mph,omitempty"`
}

// TeethPair is a driving and a driven wheel.
type TeethPair struct {
	Driving float64 `json:"driving"`
	Driven  float64 `json:"driven"`
}

// GearRatio is one gear of the box: turns of its input for one of its output.
type GearRatio struct {
	ID    string  `json:"id"`
	Ratio float64 `json:"ratio"`
}

// TyreSize is one way of giving a wheel's diameter under the tyre.
type TyreSize struct {
	// Diameter is over the tread. Rolling is the way of one turn with the rider
	// up, and better.
	Diameter     *float64 `json:"diameter_mm,omitempty"`
	DiameterInch *float64 `json:"diameter_in,omitempty"`
	Rolling      *float64 `json:"rolling_mm,omitempty"`
	// Metric sizes: width in mm, height in percent of it (Aspect). Inch sizes:
	// Width in inches. Rim is in inches for both.
	Width  *float64 `json:"width_mm,omitempty"`
	Aspect *float64 `json:"aspect,omitempty"`
	Inches *float64 `json:"width_in,omitempty"`
	Rim    *float64 `json:"rim_in,omitempty"`
}

// GearingResult is a row a gear.
type GearingResult struct {
	Diameter float64      `json:"diameter_mm"` // that was reckoned with
	Gears    []GearAnswer `json:"gears"`
	Note     string       `json:"note"`
}

// GearAnswer is one gear.
type GearAnswer struct {
	ID      string  `json:"id"`
	Overall float64 `json:"overall"`
	RPM     float64 `json:"rpm"`
	KMH     float64 `json:"kmh"`
	MPH     float64 `json:"mph"`
}

// Gearing turns engine speed into road speed and back, by the overall ratio
// (primary × gear × final) and the way of one turn of the rear wheel. The
// diameter of a metric size is 2·width·aspect/100 + rim; an old inch size is as
// high as it is wide.
//
// It refuses (CodeInvalid) counts of teeth that are not whole, a tyre given in
// no way or in several, and no speed or several.
func Gearing(in GearingInput) (GearingResult, error) {
	var fs faults
	fs.teeth("/primary", in.Primary)
	fs.teeth("/final", in.Final)
	fs.count("/gearbox", len(in.Gearbox), maxGears, "gears")
	seen := map[string]bool{}
	for i, g := range in.Gearbox {
		fs.unique(at("/gearbox", i)+"/id", g.ID, "A gear", seen)
		fs.span(at("/gearbox", i)+"/ratio", g.Ratio, 0.2, 20, "A ratio", "to 1")
	}
	diameter, note := in.Tyre.diameter(&fs)
	kmh, given := measure{what: "The road speed", first: in.KMH, second: in.MPH, firstKey: "kmh", secondKey: "mph",
		firstOf: func(v float64) float64 { return float64(v * kilometresPerMile) }, least: 0, most: 500, unit: "km/h", needed: in.RPM == nil}.read(&fs, "")
	if in.RPM != nil {
		fs.span("/rpm", *in.RPM, 0, 30_000, "The engine speed", "turns a minute")
		if given {
			fs.add("/rpm", "both", "rpm or a road speed", "One follows from the other", "Leave one out.")
		}
	}
	if err := fs.err("The gearing"); err != nil {
		return GearingResult{}, err
	}
	if len(in.Gearbox) == 0 {
		return GearingResult{}, insufficient("/gearbox", "There is no gear", "Give at least the top gear, which is often 1.")
	}
	out := GearingResult{Diameter: diameter, Gears: []GearAnswer{}, Note: note}
	perTurn := float64(diameter*math.Pi) / 1e6 // km
	for _, g := range in.Gearbox {
		a := GearAnswer{ID: g.ID, Overall: float64(float64(in.Primary.ratio()*g.Ratio) * in.Final.ratio()), KMH: kmh}
		if in.RPM != nil {
			a.RPM = *in.RPM
			a.KMH = float64(float64(a.RPM*60) / a.Overall * perTurn)
		} else {
			a.RPM = float64(kmh / perTurn / 60 * a.Overall)
		}
		a.MPH = a.KMH / kilometresPerMile
		out.Gears = append(out.Gears, a)
	}
	return out, nil
}

func (p TeethPair) ratio() float64 { return p.Driven / p.Driving }

func (fs *faults) teeth(pointer string, p TeethPair) {
	for _, x := range []Entry[float64]{{"driving", p.Driving}, {"driven", p.Driven}} {
		fs.span(key(pointer, x.Key), x.Value, 1, 500, "A count of teeth", "teeth")
		if x.Value != math.Trunc(x.Value) {
			fs.add(key(pointer, x.Key), number(x.Value), "a whole number", "Teeth come whole", "Count them. A ratio alone goes in as gearbox, with 1 and 1 here.")
		}
	}
}

// diameter gives the diameter in mm and what to think of it.
func (t TyreSize) diameter(fs *faults) (float64, string) {
	over := t.Diameter != nil || t.DiameterInch != nil
	metric, inches := t.Width != nil || t.Aspect != nil, t.Inches != nil
	ways := 0
	for _, given := range []bool{over, t.Rolling != nil, metric, inches} {
		if given {
			ways++
		}
	}
	const allowed = "diameter_mm, diameter_in, rolling_mm, width_mm with aspect and rim_in, or width_in with rim_in"
	if ways != 1 || (metric || inches) != (t.Rim != nil) || metric && (t.Width == nil || t.Aspect == nil) {
		fs.add("/tyre", "", allowed, "The tyre is to be given in exactly one way", "Chalk the tyre, roll one turn with the rider up, and give rolling_mm.")
		return 0, ""
	}
	const nominal = "The size on the wall is nominal: the tyre runs a few parts in a hundred smaller under load."
	switch {
	case t.Rolling != nil:
		fs.span("/tyre/rolling_mm", *t.Rolling, 500, 4000, "The way of one turn", "mm")
		return *t.Rolling / math.Pi, "By the way of one turn."
	case over:
		d, _ := fs.length("/tyre", "diameter", "The diameter", t.Diameter, t.DiameterInch, 150, 1200, true)
		return d, nominal
	}
	fs.span("/tyre/rim_in", *t.Rim, 4, 30, "The rim", "inches")
	rim := float64(*t.Rim * millimetresPerInch)
	if inches {
		fs.span("/tyre/width_in", *t.Inches, 1, 8, "The width", "inches")
		return rim + float64(2*millimetresPerInch**t.Inches), nominal
	}
	fs.span("/tyre/width_mm", *t.Width, 30, 400, "The width", "mm")
	fs.span("/tyre/aspect", *t.Aspect, 20, 110, "The height", "percent of the width")
	return rim + float64(2*float64(*t.Width**t.Aspect))/100, nominal
}

func readGearingInput(r *reader, n *node) (in GearingInput) {
	pair := func(to *TeethPair) func(n *node, pointer string) {
		return func(n *node, pointer string) {
			r.object(n, pointer,
				member{"driving", true, r.number(&to.Driving)},
				member{"driven", true, r.number(&to.Driven)},
			)
		}
	}
	r.object(n, "",
		member{"primary", true, pair(&in.Primary)},
		member{"gearbox", true, r.array(func(n *node, pointer string) {
			var g GearRatio
			r.object(n, pointer,
				member{"id", true, r.text(&g.ID)},
				member{"ratio", true, r.number(&g.Ratio)},
			)
			in.Gearbox = append(in.Gearbox, g)
		})},
		member{"final", true, pair(&in.Final)},
		member{"tyre", true, func(n *node, pointer string) {
			r.object(n, pointer,
				member{"diameter_mm", false, r.optional(&in.Tyre.Diameter)},
				member{"diameter_in", false, r.optional(&in.Tyre.DiameterInch)},
				member{"rolling_mm", false, r.optional(&in.Tyre.Rolling)},
				member{"width_mm", false, r.optional(&in.Tyre.Width)},
				member{"aspect", false, r.optional(&in.Tyre.Aspect)},
				member{"width_in", false, r.optional(&in.Tyre.Inches)},
				member{"rim_in", false, r.optional(&in.Tyre.Rim)},
			)
		}},
		member{"rpm", false, r.optional(&in.RPM)},
		member{"kmh", false, r.optional(&in.KMH)},
		member{"mph", false, r.optional(&in.MPH)},
	)
	return in
}
