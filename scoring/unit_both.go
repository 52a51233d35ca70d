package scoring

import (
	"math"
	"strconv"
	"strings"
)

// The trade measures in two systems. A figure is shown as it was measured, and
// in brackets in the unit of the other system.

// counterpart is a unit of the other system.
type counterpart struct {
	unit string
	// of converts: it is a factor, or for a count to the inch the length
	// that is divided.
	of     float64
	divide bool
}

// Exact factors: the yard and pound of 1959 (1 in is 25.4 mm, 1 lb is
// 0.45359237 kg), standard gravity 9.80665 m/s², the imperial gallon of
// 4.54609 l (Weights and Measures Act 1985). NIST SP 811, appendix B.8, has them.
const (
	newtonsPerPoundForce    = 4.4482216152605
	litresPerImperialPint   = 0.56826125
	millilitresPerFluidOnce = 28.4130625
	gramsPerOunce           = 28.349523125
	kilogramsPerPound       = 0.45359237
	metresPerFoot           = 0.3048
	cubicCentimetresPerInch = 16.387064
	// barPerPSI is a pound-force on a square inch of 6.4516 cm².
	barPerPSI = newtonsPerPoundForce / 64.516
)

var counterparts = map[string]counterpart{
	"mm": {"in", 1 / millimetresPerInch, false}, "in": {"mm", millimetresPerInch, false}, "inch": {"mm", millimetresPerInch, false},
	"cm": {"in", 10 / millimetresPerInch, false}, "m": {"ft", 1 / metresPerFoot, false}, "ft": {"m", metresPerFoot, false},
	"tpi": {"mm", millimetresPerInch, true},
	"km":  {"mi", 1 / kilometresPerMile, false}, "mi": {"km", kilometresPerMile, false}, "miles": {"km", kilometresPerMile, false},
	"km/h": {"mph", 1 / kilometresPerMile, false}, "mph": {"km/h", kilometresPerMile, false},
	"N·m": {"lbf·ft", 1 / newtonMetresPerPoundFoot, false}, "Nm": {"lbf·ft", 1 / newtonMetresPerPoundFoot, false}, "N m": {"lbf·ft", 1 / newtonMetresPerPoundFoot, false},
	"lbf·ft": {"N·m", newtonMetresPerPoundFoot, false}, "lbf ft": {"N·m", newtonMetresPerPoundFoot, false}, "ft lbf": {"N·m", newtonMetresPerPoundFoot, false},
	"N": {"lbf", 1 / newtonsPerPoundForce, false}, "lbf": {"N", newtonsPerPoundForce, false},
	"bar": {"psi", 1 / barPerPSI, false}, "psi": {"bar", barPerPSI, false}, "kPa": {"psi", 0.01 / barPerPSI, false},
	"kg": {"lb", 1 / kilogramsPerPound, false}, "lb": {"kg", kilogramsPerPound, false}, "g": {"oz", 1 / gramsPerOunce, false}, "oz": {"g", gramsPerOunce, false},
	"l": {"UK pt", 1 / litresPerImperialPint, false}, "L": {"UK pt", 1 / litresPerImperialPint, false}, "UK pt": {"l", litresPerImperialPint, false},
	"ml": {"UK fl oz", 1 / millilitresPerFluidOnce, false}, "mL": {"UK fl oz", 1 / millilitresPerFluidOnce, false}, "UK fl oz": {"ml", millilitresPerFluidOnce, false},
	"cm³": {"in³", 1 / cubicCentimetresPerInch, false}, "cc": {"in³", 1 / cubicCentimetresPerInch, false}, "in³": {"cm³", cubicCentimetresPerInch, false},
}

// InBoth writes a figure, given as it is written, such as 12.2 or 180 ± 10, with
// its unit, and in brackets in the unit of the other system of measures, where
// the trade has one. What is converted is rounded to the precision of what was
// given, as NIST SP 1038, 4.4, has it: to as many significant digits, or to
// one more where its first digit is the smaller one, and never to fewer than
// two. What is no number is written as it is.
func InBoth(figure, unit string) string {
	whole := figure
	if unit != "" && unit != "1" {
		whole += " " + unit
	}
	other, ok := counterparts[unit]
	if !ok {
		return whole
	}
	said, spread, spreads := strings.Cut(figure, " ± ")
	v, err := strconv.ParseFloat(strings.Replace(said, "−", "-", 1), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || other.divide && v <= 0 {
		return whole
	}
	v, places := other.round(v, said)
	converted := strconv.FormatFloat(v, 'f', places, 64)
	if spreads {
		u, err := strconv.ParseFloat(spread, 64)
		if err != nil || other.divide {
			return whole
		}
		converted += " ± " + strconv.FormatFloat(float64(u*other.of), 'f', places, 64)
	}
	return whole + " (" + converted + " " + other.unit + ")"
}

// round converts a value and says to how many decimals it holds.
func (c counterpart) round(v float64, said string) (float64, int) {
	converted := float64(v * c.of)
	if c.divide {
		converted = c.of / v
	}
	digits := strings.TrimLeft(strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, said), "0")
	if converted == 0 || digits == "" {
		return 0, 0
	}
	first := strconv.FormatFloat(math.Abs(converted), 'e', -1, 64)
	n := len(digits)
	if first[0] < digits[0] {
		n++
	}
	_, exponent, _ := strings.Cut(first, "e")
	power, err := strconv.Atoi(exponent)
	if err != nil {
		return converted, 0
	}
	places := max(0, max(n, 2)-1-power)
	scale := math.Pow10(places)
	return math.Round(float64(converted*scale)) / scale, places // a half goes up, as by hand
}
