package language

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
	"pgregory.net/rapid"
)

// TestFiguresAsCLDR says numbers and shares as golang.org/x/text says them by
// the data of the Unicode Common Locale Data Repository, without the thousands.
func TestFiguresAsCLDR(t *testing.T) {
	reference := message.NewPrinter(language.German)
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.IntRange(0, 4).Draw(t, "places")
		v := rapid.Float64Range(0, 1e6).Draw(t, "v")
		said, ok := german.value(strconv.FormatFloat(v, 'f', places, 64))
		require.True(t, ok)
		require.Equal(t, reference.Sprint(number.Decimal(v, number.Scale(places), number.NoSeparator())), said)
		share := rapid.IntRange(0, 100).Draw(t, "share")
		said, ok = german.value(strconv.Itoa(share) + "\u00a0%")
		require.True(t, ok)
		require.Equal(t, reference.Sprint(number.Percent(float64(share)/100)), said)
	})
}

func TestFigures(t *testing.T) {
	for english, want := range map[string]string{
		"0.91 to 0.95":                      "0,91 bis 0,95",
		"0.920 (80 %: 0.860 to 0.960)":      "0,920 (80 %: 0,860 bis 0,960)",
		"12.50 GBP":                         "12,50 GBP",
		"12.2 N·m (9.0 lbf·ft)":             "12,2 N·m (9,0 lbf·ft)",
		"6.35 mm (0.250 in)":                "6,35 mm (0,250 Zoll)",
		"92 ± 4.5\u00a0µm":                  "92 ± 4,5\u00a0µm",
		"48.5 km (30.1 mi)":                 "48,5 km (30,1 Meilen)",
		"80 km/h (50 mph)":                  "80 km/h (50 mph)",
		"−0.5 %":                            "−0,5 %",
		">99 %":                             ">99 %",
		"1.5 hours":                         "1,5 Stunden",
		"1.25 (1.18–1.33)":                  "1,25 (1,18–1,33)",
		"3 or 8":                            "3 oder 8",
		"3 March 1971":                      "3. März 1971",
		"14 September 2026, 09:30 UTC":      "14. September 2026, 09:30 UTC",
		"May 2026":                          "Mai 2026",
		"2 Oct 26":                          "2. Okt. 26",
		"Jan 26":                            "Jan. 26",
		"1957-06-03":                        "", // stays as it is
		"2.1.3":                             "", // a version
		"127.0.0.1":                         "", // an address
		"31 February 2026":                  "", // no day
		"0.5 ponies":                        "",
		"12.50 in the hand":                 "",
		"a 0.91":                            "",
		"sha256:" + strings.Repeat("0", 64): "",
		"Drover 350":                        "",
		"5.5 mm, 0.217 in":                  "5,5 mm, 0,217 Zoll",
		"20 tpi (1.270 mm)":                 "20 Gänge/Zoll (1,270 mm)",
		"1.7 l (3.0 UK pt)":                 "1,7 l (3,0 UK pt)",
		"0.35 ± 0.05\u00a0L (0.62 ± 0.09\u00a0UK pt)": "0,35 ± 0,05\u00a0L (0,62 ± 0,09\u00a0UK pt)",
		"2.0 bar (29 psi) to 2.2 bar":                 "2,0 bar (29 psi) bis 2,2 bar",
		"about 0.5":                                   "",
	} {
		said, ok := german.value(english)
		require.Equal(t, want != "", ok, english)
		require.Equal(t, want, said, english)
	}
}

// TestGermanMonths names every month: CLDR 46, de, gregorian, formats wide and
// abbreviated. A long name's month is the one whose days follow it.
func TestGermanMonths(t *testing.T) {
	wide := strings.Fields("Januar Februar März April Mai Juni Juli August September Oktober November Dezember")
	for i, name := range wide {
		day := time.Date(2026, time.Month(i+1), 7, 0, 0, 0, 0, time.UTC)
		said, ok := german.value(day.Format("2 January 2006"))
		require.True(t, ok)
		require.Equal(t, "7. "+name+" 2026", said)
		said, ok = german.value(day.Format("2 Jan 06"))
		require.True(t, ok)
		require.Equal(t, name[:2], strings.TrimPrefix(said, "7. ")[:2])
	}
}

// TestFiguresAreSaidOnce says what was said already as it is.
func TestFiguresAreSaidOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		once, ok := german.value(strconv.FormatFloat(rapid.Float64Range(0, 1e6).Draw(t, "v"), 'f', rapid.IntRange(0, 4).Draw(t, "places"), 64) + " N·m")
		require.True(t, ok)
		if again, ok := german.value(once); ok {
			require.Equal(t, once, again)
		}
	})
}
