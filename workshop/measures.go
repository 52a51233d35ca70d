package workshop

import (
	"fmt"
	"math"
	"strconv"

	"example.org/asfound/scoring"
)

// Reading writes a reading with its uncertainty, where it has one, in the unit
// in which it was taken and in that of the other system of measures.
func Reading(value, uncertainty float64, unit string) string {
	said := plainFigure(value)
	if uncertainty > 0 {
		said += " ± " + plainFigure(uncertainty)
	}
	return scoring.InBoth(said, unit)
}

// plainFigure writes a figure without needless digits, four decimals at most.
func plainFigure(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
}

// measured writes a computed figure in a format of its own, in both systems.
func measured(form string, v float64, unit string) string {
	return scoring.InBoth(fmt.Sprintf(form, v), unit)
}
