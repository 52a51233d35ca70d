package registry

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func onDay(s string) time.Time {
	if s == "" {
		return time.Time{}
	}
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return d
}

// The forms are those of the Extended Date/Time Format, ISO 8601-2:2019, levels
// 0 to 2, as far as Date promises to read them; the days follow from the
// Gregorian calendar.
func TestDateSpan(t *testing.T) {
	for _, c := range []struct {
		date, first, last string
		about, doubtful   bool
	}{
		{"1957", "1957-01-01", "1957-12-31", false, false},
		{"1957-06", "1957-06-01", "1957-06-30", false, false},
		{"1957-06-14", "1957-06-14", "1957-06-14", false, false},
		{"195X", "1950-01-01", "1959-12-31", false, false},
		{"19XX", "1900-01-01", "1999-12-31", false, false},
		{"1957~", "1957-01-01", "1957-12-31", true, false},
		{"1957?", "1957-01-01", "1957-12-31", false, true},
		{"1957-06%", "1957-06-01", "1957-06-30", true, true},
		{"195X~", "1950-01-01", "1959-12-31", true, false},
		{"1957/1961", "1957-01-01", "1961-12-31", false, false},
		{"1957-06/1957-09", "1957-06-01", "1957-09-30", false, false},
		{"1957-06/1971", "1957-06-01", "1971-12-31", false, false},
		{"1957-06-14/1957-06-14", "1957-06-14", "1957-06-14", false, false},
		{"1957~/1961?", "1957-01-01", "1961-12-31", true, true},
		{"1957/1961%", "1957-01-01", "1961-12-31", true, true},
		{"195X/196X", "1950-01-01", "1969-12-31", false, false},
		{"1988/..", "1988-01-01", "", false, false},
		{"../1988", "", "1988-12-31", false, false},
		{"../1988-02", "", "1988-02-29", false, false},
		// Leap years: divisible by 4, not by 100, but by 400.
		{"1956-02", "1956-02-01", "1956-02-29", false, false},
		{"1957-02", "1957-02-01", "1957-02-28", false, false},
		{"1956-02-29", "1956-02-29", "1956-02-29", false, false},
		{"2000-02-29", "2000-02-29", "2000-02-29", false, false},
		{"1900-02", "1900-02-01", "1900-02-28", false, false},
	} {
		s, err := Date(c.date).Span()
		require.NoError(t, err, c.date)
		require.Equal(t, Span{First: onDay(c.first), Last: onDay(c.last), Approximate: c.about, Uncertain: c.doubtful}, s, c.date)
	}
}

func TestDateErrors(t *testing.T) {
	for date, word := range map[Date]string{
		"":                      "not a date",
		"57":                    "not a date",
		"19570":                 "not a date",
		"0000":                  "not a date",
		"June 1957":             "not a date",
		"195a":                  "not a date",
		"a95X":                  "not a date",
		"1957-06-14T12:00":      "no such day",
		"14.06.1957":            "not a date",
		"1957-6":                "no such month",
		"1957-13":               "no such month",
		"1957-00":               "no such month",
		"1957-":                 "no such month",
		"1957-21":               "no such month", // a season: not of the subset
		"1957-06-31":            "no such day",
		"1957-06-1":             "no such day",
		"1957-06-00":            "no such day",
		"2026-02-30":            "no such day",
		"1957-02-29":            "no such day",
		"1900-02-29":            "no such day",
		"1957-06-14-02":         "not a date",
		"195X-06":               "X may stand",
		"1X57":                  "X may stand",
		"X957":                  "X may stand",
		"195x":                  "not a date",
		"1957-0X":               "no such month",
		"1957~?":                "one mark",
		"~1957":                 "not a date",
		"../..":                 "a beginning or an end",
		"/1957":                 "not a date",
		"1957/":                 "not a date",
		"1957/1956":             "before it begins",
		"1957-06/1957-05":       "before it begins",
		"1957/1958/1959":        "not a date",
		"1957 ":                 "not a date",
		"+957":                  "not a date",
		"-957":                  "not a date",
		"１９５７":                  "not a date", // figures, but not of ASCII
		"1957-06-14/1957-06-13": "before it begins",
	} {
		_, err := date.Span()
		require.ErrorContains(t, err, word, string(date))
	}
}

// A day is read in a short way, which must be the long one.
func TestWholeDays(t *testing.T) {
	short := 0
	for _, year := range []string{"0000", "0001", "1900", "1957", "2000", "9999", "195X", "195a", "-957", "１", "195"} {
		for month := range 14 {
			for day := range 33 {
				for _, form := range []string{"%s-%02d-%02d", "%s-%d-%d", "%s-%02d/%02d", "%s-%02d-%02d~"} {
					text := fmt.Sprintf(form, year, month, day)
					want, wrong := anyPointSpan(text)
					got, err := pointSpan(text)
					require.Equal(t, want, got, text)
					require.Equal(t, wrong, err, text)
					if _, _, _, ok := wholeDay(text); ok {
						short++
					}
				}
			}
		}
	}
	require.Equal(t, 5*12*28+5*3*19, short) // those of two figures in two forms
}

func TestCompareDates(t *testing.T) {
	// In order: by the first day that is meant, then by the last; open ends are
	// the furthest of all.
	want := []Date{"../1950", "../1957", "195X", "195X/..", "1957-01-01", "1957-01", "1957", "1957/1961", "1957/1962", "1957/..", "1957-01-02", "1957-06", "1957-06/..", "1958"}
	for range 20 {
		got := slices.Clone(want)
		rand.Shuffle(len(got), func(i, j int) { got[i], got[j] = got[j], got[i] })
		slices.SortFunc(got, CompareDates)
		require.Equal(t, want, got)
	}
	require.Zero(t, CompareDates("1957", "1957"))
	require.NotZero(t, CompareDates("1957", "1957~"), "two spellings keep one order")
}

func TestDateAgainstADay(t *testing.T) {
	for _, c := range []struct {
		date             Date
		day              string
		before, startsBy bool
	}{
		{"1957", "1956-12-31", false, false},
		{"1957", "1957-01-01", false, true},
		{"1957", "1957-12-31", false, true},
		{"1957", "1958-01-01", true, true},
		{"195X", "1950-01-01", false, true},
		{"195X", "1959-12-31", false, true},
		{"195X", "1960-01-01", true, true},
		{"1957/..", "2026-03-10", false, true},
		{"1957/..", "1956-12-31", false, false},
		{"../1957", "1900-01-01", false, true},
		{"../1957", "1958-01-01", true, true},
		{"", "1957-01-01", false, true},          // unknown: it may have been so
		{"nonsense", "1957-01-01", false, false}, // and nonsense says nothing
	} {
		require.Equal(t, c.before, c.date.Before(onDay(c.day)), "%s before %s", c.date, c.day)
		require.Equal(t, c.startsBy, c.date.StartsBy(onDay(c.day)), "%s starts by %s", c.date, c.day)
	}
	// A moment counts by its day in UTC.
	require.True(t, Date("1957-06-14").StartsBy(time.Date(1957, 6, 15, 1, 0, 0, 0, time.FixedZone("east", 2*3600))))
	require.False(t, Date("1957-06-14").StartsBy(time.Date(1957, 6, 14, 1, 0, 0, 0, time.FixedZone("east", 2*3600))))
}

// FuzzDateSpan: whatever is written, Span does not panic, and what it reads
// makes sense and is read in the same way again.
func FuzzDateSpan(f *testing.F) {
	for _, s := range []string{"", "1957", "1957-06", "1957-06-14", "195X", "XXXX", "1957~", "1957-06/1971", "1988/..", "../1988", "../..", "0001", "9999-12-31", "1957-02-29", "1957~?", "1957/1956", "//", "-", "1957-06-14/..~"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d := Date(text)
		span, err := d.Span()
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without words")
			}
			if d.Before(monday) || d != "" && d.StartsBy(monday) {
				t.Fatal("what cannot be read answers a question")
			}
			return
		}
		if again, err := d.Span(); err != nil || again != span {
			t.Fatal("read twice, it differs")
		}
		if !span.First.IsZero() && !span.Last.IsZero() && span.Last.Before(span.First) {
			t.Fatalf("it ends before it begins: %v", span)
		}
		for _, at := range []time.Time{span.First, span.Last} {
			if !at.Equal(day(at)) {
				t.Fatalf("not the beginning of a day: %v", at)
			}
		}
		if !span.First.IsZero() && !d.StartsBy(span.First) {
			t.Fatal("it does not start by its first day")
		}
		if d.Before(span.Last) {
			t.Fatal("it ends before its last day")
		}
		if CompareDates(d, d) != 0 {
			t.Fatal("it is not equal to itself")
		}
		if _, _, err := d.edges(); err != nil {
			t.Fatal("its span can be read and its edges cannot")
		}
	})
}
