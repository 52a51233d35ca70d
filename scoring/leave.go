package scoring

// LeaveInput asks what happens when nothing is done. Give a pit, a hazard, or
// both.
type LeaveInput struct {
	Pit    *LeavePit    `json:"pit,omitempty"`
	Hazard *LeaveHazard `json:"hazard,omitempty"`
}

// LeavePit is a rust pit in a wall.
type LeavePit struct {
	Depth float64 `json:"depth"` // as measured, mm
	Error float64 `json:"error"` // of the reading, ± mm; may be 0
	Wall  float64 `json:"wall"`  // thickness where it is sound, mm
	Age   float64 `json:"age"`   // years in which the pit grew
	// Exponent is n in d = k·tⁿ.
	Exponent LeaveRange `json:"exponent"`
}

// LeaveRange is a lowest, most likely and highest value.
type LeaveRange struct {
	Low    float64 `json:"low"`
	Likely float64 `json:"likely"`
	High   float64 `json:"high"`
}

// LeaveHazard is anything that may happen at a constant rate.
type LeaveHazard struct {
	PerYear LeaveRange `json:"per_year"`
	Years   float64    `json:"years"` // looked ahead
}

// LeaveResult is the price of doing nothing.
type LeaveResult struct {
	Pit    *LeavePitResult    `json:"pit,omitempty"`
	Hazard *LeaveHazardResult `json:"hazard,omitempty"`
}

// LeavePitResult is in years from now until the wall is through.
type LeavePitResult struct {
	// Likely takes the reading and the likely exponent; Low and High are the
	// ends over both uncertainties.
	Likely float64 `json:"likely"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	// ByExponent and ByReading are the ends when one is uncertain only.
	ByExponent [2]float64 `json:"by_exponent"`
	ByReading  [2]float64 `json:"by_reading"`
	// Driver is the uncertainty that widens the range more: "exponent",
	// "reading", or "neither" when there is none. A better gauge helps only
	// against the second.
	Driver string `json:"driver"`
	// Holds says under which condition the figures hold.
	Holds string `json:"holds"`
}

// LeaveHazardResult is the chance that it happens within Years.
type LeaveHazardResult struct {
	Years  float64 `json:"years"`
	Low    float64 `json:"low"`
	Likely float64 `json:"likely"`
	High   float64 `json:"high"`
}

const leaveHolds = "only if it stays as dry as it was while the pit grew"

// Leave says what time does when nothing is done.
//
// A pit grows by the power law d = k·tⁿ (Romanoff, Underground Corrosion, NBS
// Circular 579, 1957; n of 0.3 to 0.7 is usual): a pit of depth d after t years
// is through a wall w after t·((w/d)^(1/n) − 1) more. A hazard of h per year
// happens within T years with 1 − exp(−h·T).
//
// It refuses (CodeInvalid) figures out of range and a pit that is through
// already, and (CodeInsufficient) a reading whose error is as large as the
// depth, and an input with neither pit nor hazard.
func Leave(in LeaveInput) (LeaveResult, error) {
	var fs faults
	var out LeaveResult
	if p := in.Pit; p != nil {
		fs.span("/pit/depth", p.Depth, 0.001, 1000, "A depth", "mm")
		fs.span("/pit/error", p.Error, 0, 1000, "The error of a reading", "mm")
		fs.span("/pit/wall", p.Wall, 0.001, 1000, "A wall", "mm")
		fs.span("/pit/age", p.Age, 0.01, 1000, "The age of the pit", "years")
		fs.ordered("/pit/exponent", p.Exponent, 0.1, 2, "The exponent", "as a pure number")
		if len(fs) == 0 && p.Depth >= p.Wall {
			fs.add("/pit/depth", number(p.Depth)+" mm", "less than the wall's "+number(p.Wall)+" mm", "The pit is through the wall already", "Record a hole instead.")
		}
	}
	if h := in.Hazard; h != nil {
		fs.ordered("/hazard/per_year", h.PerYear, 0, 10, "A hazard", "per year")
		fs.span("/hazard/years", h.Years, 0, 1000, "The time looked ahead", "years")
	}
	if err := fs.err("The cost of leaving it"); err != nil {
		return out, err
	}
	if in.Pit == nil && in.Hazard == nil {
		return out, insufficient("", "There is neither a pit nor a hazard", "Give one of them.")
	}
	if p := in.Pit; p != nil {
		if p.Error >= p.Depth {
			return out, insufficient("/pit/error", "The reading may be all error, so the pit has no rate", "Measure it again with a finer gauge.")
		}
		r := p.grow()
		out.Pit = &r
	}
	if h := in.Hazard; h != nil {
		within := func(rate float64) float64 { return 1 - Survival(rate, h.Years) }
		out.Hazard = &LeaveHazardResult{h.Years, within(h.PerYear.Low), within(h.PerYear.Likely), within(h.PerYear.High)}
	}
	return out, nil
}

// grow gives the years until the wall is through, and what makes them uncertain.
func (p *LeavePit) grow() LeavePitResult {
	// Deeper or a larger exponent is sooner.
	left := func(depth, exponent float64) float64 {
		if depth >= p.Wall {
			return 0
		}
		return float64(p.Age * (exponential(logarithm(p.Wall/depth)/exponent) - 1))
	}
	r := LeavePitResult{
		Likely:     left(p.Depth, p.Exponent.Likely),
		Low:        left(p.Depth+p.Error, p.Exponent.High),
		High:       left(p.Depth-p.Error, p.Exponent.Low),
		ByExponent: [2]float64{left(p.Depth, p.Exponent.High), left(p.Depth, p.Exponent.Low)},
		ByReading:  [2]float64{left(p.Depth+p.Error, p.Exponent.Likely), left(p.Depth-p.Error, p.Exponent.Likely)},
		Driver:     "neither",
		Holds:      leaveHolds,
	}
	exponent, reading := r.ByExponent[1]-r.ByExponent[0], r.ByReading[1]-r.ByReading[0]
	switch {
	case exponent == 0 && reading == 0:
	case exponent >= reading:
		r.Driver = "exponent"
	default:
		r.Driver = "reading"
	}
	return r
}

// ordered adds a fault unless the three values are in range and in order.
func (fs *faults) ordered(pointer string, v LeaveRange, low, high float64, what, unit string) {
	before := len(*fs)
	fs.span(pointer+"/low", v.Low, low, high, what, unit)
	fs.span(pointer+"/likely", v.Likely, low, high, what, unit)
	fs.span(pointer+"/high", v.High, low, high, what, unit)
	if len(*fs) == before && !(v.Low <= v.Likely && v.Likely <= v.High) {
		fs.add(pointer, number(v.Low)+", "+number(v.Likely)+", "+number(v.High), "low ≤ likely ≤ high", "The three values are not in order", "Put the smallest first.")
	}
}

func (r *reader) leaveRange(to *LeaveRange) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		r.object(n, pointer,
			member{"low", true, r.number(&to.Low)},
			member{"likely", true, r.number(&to.Likely)},
			member{"high", true, r.number(&to.High)},
		)
	}
}

func readLeaveInput(r *reader, n *node) (in LeaveInput) {
	r.object(n, "",
		member{"pit", false, func(n *node, pointer string) {
			in.Pit = &LeavePit{}
			r.object(n, pointer,
				member{"depth", true, r.number(&in.Pit.Depth)},
				member{"error", true, r.number(&in.Pit.Error)},
				member{"wall", true, r.number(&in.Pit.Wall)},
				member{"age", true, r.number(&in.Pit.Age)},
				member{"exponent", true, r.leaveRange(&in.Pit.Exponent)},
			)
		}},
		member{"hazard", false, func(n *node, pointer string) {
			in.Hazard = &LeaveHazard{}
			r.object(n, pointer,
				member{"per_year", true, r.leaveRange(&in.Hazard.PerYear)},
				member{"years", true, r.number(&in.Hazard.Years)},
			)
		}},
	)
	return in
}
