package scoring

import (
	"math"
	"strconv"
)

// Percent writes a probability for people: whole per cent, never above
// ">99 %" or below "<1 %". The numbers behind it rest on stated assumptions and
// deserve no third digit, and never certainty.
func Percent(p float64) string {
	switch {
	case math.IsNaN(p):
		return "not known"
	case p > 0.99:
		return ">99 %"
	case p < 0.01:
		return "<1 %"
	}
	return strconv.Itoa(int(math.Round(float64(p*100)))) + " %"
}
