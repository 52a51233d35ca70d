package scoring

import "math"

const maxCylinders = 12

// CapacityInput asks for the swept volume of an engine.
type CapacityInput struct {
	Bore       *float64 `json:"bore_mm,omitempty"`
	BoreInch   *float64 `json:"bore_in,omitempty"`
	Stroke     *float64 `json:"stroke_mm,omitempty"`
	StrokeInch *float64 `json:"stroke_in,omitempty"`
	Cylinders  float64  `json:"cylinders"`
	// Clearance is the volume above the piston at top dead centre, measured; or
	// Ratio is the compression ratio wanted.
	Clearance *float64 `json:"clearance_cm3,omitempty"`
	Ratio     *float64 `json:"ratio,omitempty"`
}

// CapacityResult is in both units.
type CapacityResult struct {
	PerCylinder float64 `json:"per_cylinder_cm3"`
	Capacity    float64 `json:"capacity_cm3"`
	CubicInch   float64 `json:"capacity_in3"`
	// Clearance and Ratio are those of one cylinder, if either was given.
	Clearance *float64 `json:"clearance_cm3,omitempty"`
	Ratio     *float64 `json:"ratio,omitempty"`
}

// Capacity is the swept volume π/4·bore²·stroke·cylinders, and with it the
// compression ratio (Vs+Vc)/Vc from a measured clearance volume, or the
// clearance that a ratio needs.
//
// It refuses (CodeInvalid) a size in two units or none, both clearance and
// ratio, and figures out of range.
func Capacity(in CapacityInput) (CapacityResult, error) {
	var fs faults
	bore, _ := fs.length("", "bore", "The bore", in.Bore, in.BoreInch, 10, 300, true)
	stroke, _ := fs.length("", "stroke", "The stroke", in.Stroke, in.StrokeInch, 10, 300, true)
	fs.cylinders(in.Cylinders)
	if in.Clearance != nil && in.Ratio != nil {
		fs.add("/ratio", "both", "clearance_cm3 or ratio", "One follows from the other", "Leave one out.")
	}
	if in.Clearance != nil {
		fs.span("/clearance_cm3", *in.Clearance, 0.1, 5000, "The clearance", "cm³")
	}
	if in.Ratio != nil {
		fs.span("/ratio", *in.Ratio, 1.5, 30, "A compression ratio", "to 1")
	}
	if err := fs.err("The capacity"); err != nil {
		return CapacityResult{}, err
	}
	one := float64(math.Pi/4*float64(float64(bore*bore)*stroke)) / 1000
	out := CapacityResult{PerCylinder: one, Capacity: float64(one * in.Cylinders)}
	out.CubicInch = out.Capacity / (millimetresPerInch * millimetresPerInch * millimetresPerInch / 1000)
	switch {
	case in.Clearance != nil:
		ratio := (one + *in.Clearance) / *in.Clearance
		out.Clearance, out.Ratio = in.Clearance, &ratio
	case in.Ratio != nil:
		clearance := one / (*in.Ratio - 1)
		out.Clearance, out.Ratio = &clearance, in.Ratio
	}
	return out, nil
}

func (fs *faults) cylinders(n float64) {
	fs.span("/cylinders", n, 1, maxCylinders, "The number of cylinders", "cylinders")
	if n != math.Trunc(n) {
		fs.add("/cylinders", number(n), "a whole number", "Cylinders come whole", "Count them.")
	}
}

func readCapacityInput(r *reader, n *node) (in CapacityInput) {
	r.object(n, "",
		member{"bore_mm", false, r.optional(&in.Bore)},
		member{"bore_in", false, r.optional(&in.BoreInch)},
		member{"stroke_mm", false, r.optional(&in.Stroke)},
		member{"stroke_in", false, r.optional(&in.StrokeInch)},
		member{"cylinders", true, r.number(&in.Cylinders)},
		member{"clearance_cm3", false, r.optional(&in.Clearance)},
		member{"ratio", false, r.optional(&in.Ratio)},
	)
	return in
}
