package scoring

// standardGravity is g in m/s² (ISO 80000-3; exact by convention).
const standardGravity = 9.80665

// StoppingInput is a measured stop: from what speed, over what distance, each
// with its uncertainty. The speed is given as kmh or mph.
type StoppingInput struct {
	KMH *float64 `json:"kmh,omitempty"`
	MPH *float64 `json:"mph,omitempty"`
	// SpeedError is plus or minus, in the unit of the speed.
	SpeedError float64 `json:"speed_error"`
	Distance   float64 `json:"distance_m"`
	// DistanceError is plus or minus, m.
	DistanceError float64 `json:"distance_error_m"`
}

// StoppingResult is the mean deceleration as a share of standard gravity.
type StoppingResult struct {
	G float64 `json:"g"`
	// Low takes the slowest speed and the longest distance, High the fastest
	// and the shortest.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	MS2  float64 `json:"m_s2"` // the same in m/s²
	Note string  `json:"note"`
}

// Stopping says how hard a machine was stopped: v²/(2 d g), the mean over the
// stop, with the range that the uncertainties leave.
//
// It refuses (CodeInvalid) a speed in no unit or in two, figures out of range,
// and an uncertainty as large as its figure.
func Stopping(in StoppingInput) (StoppingResult, error) {
	var fs faults
	unit := kilometresPerMile
	if in.KMH != nil {
		unit = 1
	}
	kmh, _ := measure{what: "The speed", first: in.KMH, second: in.MPH, firstKey: "kmh", secondKey: "mph",
		firstOf: func(v float64) float64 { return float64(v * kilometresPerMile) }, least: 1, most: 300, unit: "km/h", needed: true}.read(&fs, "")
	fs.span("/distance_m", in.Distance, 0.1, 1000, "The stopping distance", "m")
	spread := float64(in.SpeedError * unit)
	fs.span("/speed_error", in.SpeedError, 0, 100, "The uncertainty of the speed", "the unit of the speed")
	fs.span("/distance_error_m", in.DistanceError, 0, 100, "The uncertainty of the distance", "m")
	if len(fs) == 0 && (spread >= kmh || in.DistanceError >= in.Distance) {
		fs.add("", "", "an uncertainty below the figure", "The uncertainty is as large as the figure, so nothing was measured", "Measure again with a better instrument.")
	}
	if err := fs.err("The stop"); err != nil {
		return StoppingResult{}, err
	}
	g := func(kmh, metres float64) float64 {
		v := kmh / 3.6
		return float64(v*v) / float64(float64(2*metres)*standardGravity)
	}
	out := StoppingResult{G: g(kmh, in.Distance), Low: g(kmh-spread, in.Distance+in.DistanceError), High: g(kmh+spread, in.Distance-in.DistanceError),
		Note: "The mean over the stop, on that ground on that day; what local rules ask for is theirs to say."}
	out.MS2 = float64(out.G * standardGravity)
	return out, nil
}

func readStoppingInput(r *reader, n *node) (in StoppingInput) {
	r.object(n, "",
		member{"kmh", false, r.optional(&in.KMH)},
		member{"mph", false, r.optional(&in.MPH)},
		member{"speed_error", true, r.number(&in.SpeedError)},
		member{"distance_m", true, r.number(&in.Distance)},
		member{"distance_error_m", true, r.number(&in.DistanceError)},
	)
	return in
}
