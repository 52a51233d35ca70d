package scoring

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestInBothFactors holds the factors against NIST SP 811 (2008), appendix B.8,
// which prints them to seven figures.
func TestInBothFactors(t *testing.T) {
	for unit, factor := range map[string]float64{
		"in": 25.4, "ft": 0.3048, "mi": 1.609344, "mph": 1.609344, // E+00, exact there
		"lbf·ft": 1.355818, "lbf": 4.448222, "psi": 6.894757e-02, "lb": 0.4535924, "oz": 28.34952,
		"UK fl oz": 28.41306, "in³": 16.38706,
		"UK pt": 4.54609 / 8, // the gallon there, of eight pints
	} {
		require.InEpsilon(t, factor, counterparts[unit].of, 1e-6, unit)
	}
}

// TestInBoth rounds by the rule of NIST SP 1038 (2006), 4.4; beside each figure
// stands what a desk calculator gives with the factors of SP 811.
func TestInBoth(t *testing.T) {
	for _, c := range [][3]string{
		{"36", "ft", "36 ft (11.0 m)"},            // 10.9728
		{"11", "mi", "11 mi (18 km)"},             // 17.7
		{"61", "mi", "61 mi (98 km)"},             // 98.2
		{"66", "mi", "66 mi (106 km)"},            // 106.2
		{"30", "mph", "30 mph (48 km/h)"},         // 48.28
		{"48", "km/h", "48 km/h (29.8 mph)"},      // 29.826: the first digit is smaller, so one more
		{"12.2", "N·m", "12.2 N·m (9.00 lbf·ft)"}, // 8.998
		{"2", "bar", "2 bar (29 psi)"},            // 29.0
		{"2.05", "bar", "2.05 bar (29.7 psi)"},
		{"6.27", "mm", "6.27 mm (0.2469 in)"}, // 0.24685
		{"0.25", "in", "0.25 in (6.4 mm)"},    // 6.35
		{"1.7", "l", "1.7 l (3.0 UK pt)"},     // 2.99
		{"20", "tpi", "20 tpi (1.27 mm)"},
		{"180 ± 10", "N", "180 ± 10 N (40.5 ± 2.2 lbf)"}, // 40.47, 2.248
		{"−3", "mm", "−3 mm (-0.12 in)"},
		{"0", "mm", "0 mm (0 in)"},
		{"92 ± 4", "µm", "92 ± 4 µm"},
		{"0.8", "1", "0.8"},
		{"many", "mm", "many mm"},
		{"0", "tpi", "0 tpi"},
	} {
		require.Equal(t, c[2], InBoth(c[0], c[1]))
	}
}

// TestInBothLosesNothing converts there and back: what comes out lies within a
// unit of the last digit that was given.
func TestInBothLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.IntRange(0, 3).Draw(t, "places")
		given := strconv.FormatFloat(rapid.Float64Range(1, 5000).Draw(t, "v"), 'f', places, 64)
		unit := rapid.SampledFrom([]string{"mm", "in", "km", "mph", "N·m", "bar", "psi", "kg", "l", "ml", "cm³"}).Draw(t, "unit")
		other := func(figure, unit string) (number, of string) {
			_, in, ok := strings.Cut(InBoth(figure, unit), " (")
			require.True(t, ok)
			number, of, _ = strings.Cut(strings.TrimSuffix(in, ")"), " ")
			return number, of
		}
		there, of := other(given, unit)
		v, err := strconv.ParseFloat(there, 64)
		require.NoError(t, err)
		was, err := strconv.ParseFloat(given, 64)
		require.NoError(t, err)
		step := 1.0
		for range places {
			step /= 10
		}
		require.InDelta(t, was, v*counterparts[of].of, max(step, was/10)) // two digits at least: a tenth
	})
}
