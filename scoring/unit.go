package scoring

// Lengths come in millimetres or inches, whichever was measured, and never as
// a bare number. 1 inch is 25.4 mm and 1 mile 1.609344 km exactly (the
// international yard and pound agreement of 1959).
const (
	millimetresPerInch = 25.4
	kilometresPerMile  = 1.609344
	// newtonMetresPerPoundFoot is 0.3048 m × 4.4482216152605 N.
	newtonMetresPerPoundFoot = 1.3558179483314004
)

// measure is one quantity that may be given in either of two units.
type measure struct {
	what        string
	first       *float64 // in the unit that is computed with
	second      *float64
	firstKey    string // such as "bore_mm"
	secondKey   string // such as "bore_in"
	firstOf     func(second float64) float64
	least, most float64 // in the first unit
	unit        string
	needed      bool
}

// read gives the quantity in the first unit, and whether there is one.
func (m measure) read(fs *faults, pointer string) (float64, bool) {
	first, second := key(pointer, m.firstKey), key(pointer, m.secondKey)
	switch {
	case m.first != nil && m.second != nil:
		fs.add(second, "both", m.firstKey+" or "+m.secondKey, m.what+" is given in two units", "Keep the one that was measured.")
		return 0, false
	case m.first == nil && m.second == nil:
		if m.needed {
			fs.add(first, "", m.firstKey+" or "+m.secondKey, m.what+" is missing", "Measure it, and give it with its unit.")
		}
		return 0, false
	case m.first != nil:
		before := len(*fs)
		fs.span(first, *m.first, m.least, m.most, m.what, m.unit)
		return *m.first, len(*fs) == before
	}
	v := m.firstOf(*m.second)
	if !(*m.second > 0 && v >= m.least && v <= m.most) {
		fs.add(second, number(*m.second), number(m.least)+" to "+number(m.most)+" "+m.unit, m.what+" is out of range", "Check the reading and its unit.")
		return 0, false
	}
	return v, true
}

// length reads a length in mm that was given as NAME_mm or NAME_in.
func (fs *faults) length(pointer, name, what string, mm, in *float64, least, most float64, needed bool) (float64, bool) {
	return measure{what: what, first: mm, second: in, firstKey: name + "_mm", secondKey: name + "_in",
		firstOf: func(v float64) float64 { return float64(v * millimetresPerInch) }, least: least, most: most, unit: "mm", needed: needed}.read(fs, pointer)
}
