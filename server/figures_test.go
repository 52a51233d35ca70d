package server

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
	"pgregory.net/rapid"
)

func TestTypedNumbers(t *testing.T) {
	for _, c := range []struct {
		typed   string
		english string // with a point, "2" for two readings, "" for none
		german  string
	}{
		{"12", "12", "12"}, {"1.5", "1.5", "1.5"}, {"1,5", "1.5", "1.5"}, {"0,250", "0.250", "0.250"}, {"0.250", "0.250", "0.250"},
		{"1.234", "1.234", "2"}, {"1,234", "2", "1.234"}, {"12,5000", "12.5000", "12.5000"},
		{"1.234,5", "1234.5", "1234.5"}, {"1,234.5", "1234.5", "1234.5"}, {"1.234.567", "1234567", "1234567"}, {"1,234,567", "1234567", "1234567"},
		{"12 500", "12500", "12500"}, {"−3,25", "-3.25", "-3.25"}, {"1234,567", "1234.567", "1234.567"},
		{"1.23.456", "", ""}, {"1,2,3", "", ""}, {"1.234,5,6", "", ""}, {"NaN", "", ""}, {"-Inf", "", ""}, {"0x1p4", "", ""}, {"e", "", ""}, {"1e3", "1e3", "1e3"},
	} {
		for comma, want := range map[bool]string{false: c.english, true: c.german} {
			got, err := pointed(c.typed, comma)
			switch want {
			case "2":
				require.ErrorAs(t, err, &twoReadings{}, c.typed)
			case "":
				require.Error(t, err, c.typed)
			default:
				require.NoError(t, err, c.typed)
				require.Equal(t, want, got, c.typed)
			}
		}
	}
	_, err := pointed("1.234", true)
	require.Equal(t, "Write 1234 for the large one, or 1,2340 for the small one.", err.(twoReadings).fix())
}

// TestTypedNumbersComeBack reads what golang.org/x/text writes in each language
// by the Unicode Common Locale Data Repository.
func TestTypedNumbersComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		comma := rapid.Bool().Draw(t, "comma")
		tag := language.BritishEnglish
		if comma {
			tag = language.German
		}
		v := math.Round(rapid.Float64Range(0, 1e7).Draw(t, "v")*100) / 100
		shown := message.NewPrinter(tag).Sprint(number.Decimal(v, number.Scale(2)))
		got, err := pointed(shown, comma)
		require.NoError(t, err)
		require.Equal(t, strconv.FormatFloat(v, 'f', 2, 64), got)
	})
}
