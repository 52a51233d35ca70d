package scoring

import "math"

// PistonInput asks how far the piston has come down at a crank angle, or at
// which angle it has come down so far.
type PistonInput struct {
	Stroke     *float64 `json:"stroke_mm,omitempty"`
	StrokeInch *float64 `json:"stroke_in,omitempty"`
	// Rod is between the centres of its eyes.
	Rod     *float64 `json:"rod_mm,omitempty"`
	RodInch *float64 `json:"rod_in,omitempty"`
	// Crank is in degrees before or after top dead centre; Drop the way of the
	// piston from it. Give one.
	Crank    *float64 `json:"crank_deg,omitempty"`
	Drop     *float64 `json:"drop_mm,omitempty"`
	DropInch *float64 `json:"drop_in,omitempty"`
	Error    *float64 `json:"error_mm,omitempty"` // of the stick, either way
}

// PistonResult is both.
type PistonResult struct {
	Crank    float64 `json:"crank_deg"`
	Drop     float64 `json:"drop_mm"`
	DropInch float64 `json:"drop_in"`
	// CrankError is what the error of the stick makes of the angle, either way.
	CrankError *float64 `json:"crank_error_deg,omitempty"`
	// HalfSpeed is the angle at a shaft that turns at half engine speed, such as
	// the magneto of a four-stroke single.
	HalfSpeed float64 `json:"half_speed_deg"`
}

// PistonTravel turns crank angles into piston travel and back: with the throw r
// and the rod l the piston has come down r(1−cos θ) + l − √(l² − r²sin²θ). The
// inverse is exact too, by the law of cosines in the triangle of throw, rod and
// gudgeon pin. The cylinder is taken to stand over the crankshaft (no offset).
//
// It refuses (CodeInvalid) a size in two units or none, both angle and drop, a
// rod that is not longer than the throw, and a drop beyond the stroke.
func PistonTravel(in PistonInput) (PistonResult, error) {
	var fs faults
	stroke, _ := fs.length("", "stroke", "The stroke", in.Stroke, in.StrokeInch, 10, 300, true)
	rod, _ := fs.length("", "rod", "The rod", in.Rod, in.RodInch, 10, 1000, true)
	drop, dropped := fs.length("", "drop", "The drop", in.Drop, in.DropInch, 0, 300, in.Crank == nil)
	if in.Crank != nil && (in.Drop != nil || in.DropInch != nil) {
		fs.add("/crank_deg", "both", "crank_deg or the drop", "One follows from the other", "Leave one out.")
	} else if in.Crank != nil {
		fs.span("/crank_deg", *in.Crank, 0, 180, "A crank angle", "degrees from top dead centre")
	}
	if in.Error != nil {
		fs.span("/error_mm", *in.Error, 0, 10, "The error of the stick", "mm")
	}
	e := engine{throw: stroke / 2, rod: rod}
	if len(fs) == 0 && rod <= e.throw {
		fs.add("/rod_mm", number(rod)+" mm", "more than the throw of "+number(e.throw)+" mm", "The rod is shorter than the throw", "Measure between the centres of its eyes.")
	}
	if len(fs) == 0 && dropped && drop > stroke {
		fs.add("/drop_mm", number(drop)+" mm", "at most the stroke of "+number(stroke)+" mm", "The piston cannot come down so far", "Measure from top dead centre.")
	}
	if err := fs.err("The piston"); err != nil {
		return PistonResult{}, err
	}
	out := PistonResult{Drop: drop}
	if in.Crank != nil {
		out.Crank, out.Drop = *in.Crank, e.drop(*in.Crank)
	} else {
		out.Crank = e.angle(drop)
	}
	out.DropInch, out.HalfSpeed = out.Drop/millimetresPerInch, out.Crank/2
	if in.Error != nil {
		v := (e.angle(min(stroke, out.Drop+*in.Error)) - e.angle(max(0, out.Drop-*in.Error))) / 2
		out.CrankError = &v
	}
	return out, nil
}

// engine is a crank throw and a rod, in mm.
type engine struct{ throw, rod float64 }

func (e engine) drop(degrees float64) float64 {
	sine, cosine := sineCosine(degrees)
	side := float64(e.throw * sine)
	return float64(e.throw*(1-cosine)) + e.rod - math.Sqrt(float64(e.rod*e.rod)-float64(side*side))
}

func (e engine) angle(drop float64) float64 {
	pin := e.throw + e.rod - drop // from the centre of the crankshaft
	cosine := (float64(e.throw*e.throw) + float64(pin*pin) - float64(e.rod*e.rod)) / float64(2*float64(e.throw*pin))
	return arcCosine(max(-1, min(1, cosine)))
}

func readPistonInput(r *reader, n *node) (in PistonInput) {
	r.object(n, "",
		member{"stroke_mm", false, r.optional(&in.Stroke)},
		member{"stroke_in", false, r.optional(&in.StrokeInch)},
		member{"rod_mm", false, r.optional(&in.Rod)},
		member{"rod_in", false, r.optional(&in.RodInch)},
		member{"crank_deg", false, r.optional(&in.Crank)},
		member{"drop_mm", false, r.optional(&in.Drop)},
		member{"drop_in", false, r.optional(&in.DropInch)},
		member{"error_mm", false, r.optional(&in.Error)},
	)
	return in
}
