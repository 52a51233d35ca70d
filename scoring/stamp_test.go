package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

func stamped(stamps ...Stamp) StampInput {
	return StampInput{Build: "1957-06", Prior: 0.8, Lag: Lag{2, 4, 0.02, 216}, Stamps: stamps,
		Schemes: []StampScheme{
			{ID: "month-year", Fields: []string{"month", "year"}, Century: 1900},
			{ID: "quarter-year", Fields: []string{"quarter", "year"}, Century: 1900},
			{ID: "week-year", Fields: []string{"week", "year"}, Century: 1900},
			{ID: "letter", Fields: []string{"letter"}, Century: 1900, Letters: Distribution{{"C", 1957}}},
		},
		Confusions: []CharacterConfusion{{"38", .12}, {"56", .08}, {"17", .06}}}
}

// A worked example: a machine of June 1957, prior 0.80.
func TestStampTable(t *testing.T) {
	for _, tt := range []struct {
		part, code     string
		lag            int
		ratio, factory float64
		places         int
		verdict        string
	}{
		{"dynamo", "3/57", 3, 27.896, .991, 3, "right age"},
		{"magneto", "5/57", 1, 31.380, .992, 3, "right age"},
		{"regulator", "6/57", 0, 23.5, .989, 1, "right age"},
		{"switch", "1/57", 5, 18.6, .987, 1, "right age"},
		{"horn", "2/56", 16, 0.629, .715, 3, "undetermined"},
		{"speed drive", "8/51", 70, .020, .074, 3, "not with the machine"},
		{"head lamp", "11/58", -17, .020, .074, 3, "not with the machine"},
	} {
		out, err := DateStamps(stamped(Stamp{ID: tt.part, Code: tt.code, Scheme: "month-year"}))
		require.NoError(t, err)
		a := out.Stamps[0]
		require.Equal(t, tt.lag, a.Lag, tt.part)
		near(t, tt.ratio, a.Ratio, tt.places)
		near(t, tt.factory, a.Factory, 3)
		require.Equal(t, tt.verdict, a.Verdict, tt.part)
		require.Equal(t, stampSays, out.Says)
	}
}

// A worn "8/56": enumerated by a second program, .9565, .0310, .0060, .0047. A
// worked example prints .954, .031, .006, the first perhaps with a leak of its
// own for dates after the machine.
func TestMisreadStamp(t *testing.T) {
	out, err := DateStamps(stamped(Stamp{ID: "x", Code: "8/56", Scheme: "month-year", Worn: true}))
	require.NoError(t, err)
	a := out.Stamps[0]
	for i, want := range []StampReading{{"8/56", "1956-08", .9565}, {"3/56", "1956-03", .0310}, {"8/55", "1955-08", .0060}, {"8/66", "1966-08", .0047}} {
		require.Equal(t, want.Code, a.Readings[i].Code)
		require.Equal(t, want.Months, a.Readings[i].Months)
		near(t, want.Probability, a.Readings[i].Probability, 4)
	}
	sum := 0.0
	for _, r := range a.Readings {
		sum += r.Probability
	}
	require.InDelta(t, 1, sum, 1e-12)
	// "73/57" is no month as it stands; with 7 for 1 it is 13, with 8 for 3 it is
	// 18: none is a date. "17/57" is 11 misread.
	_, err = DateStamps(stamped(Stamp{ID: "x", Code: "73/57", Scheme: "month-year", Worn: true}))
	refused(t, err, registry.CodeInvalid, "/stamps/0/code")
	out, err = DateStamps(stamped(Stamp{ID: "x", Code: "17/56", Scheme: "month-year", Worn: true}))
	require.NoError(t, err)
	require.Equal(t, "11/56", out.Stamps[0].Readings[0].Code)
}

// The negative binomial of shape 2 and mean 4 is (k+1)/9·(2/3)^k.
func TestLagIsADistribution(t *testing.T) {
	p := Lag{Shape: 2, Mean: 4}.chances()
	sum, mean := 0.0, 0.0
	for k, v := range p {
		if k < 100 {
			require.InDelta(t, float64(k+1)/9*math.Pow(2.0/3, float64(k)), v, 1e-14)
		}
		sum += v
		mean += float64(k) * v
	}
	require.InDelta(t, 1, sum, 1e-12)
	require.InDelta(t, 4, mean, 1e-10)
}

func TestStampSchemes(t *testing.T) {
	schemes := stamped().Schemes
	for _, tt := range []struct {
		scheme int
		code   string
		want   string
	}{
		{0, "3/57", "1957-03"}, {0, "0357", "1957-03"}, {0, "12 1956", "1956-12"}, {0, "1.57", "1957-01"},
		{1, "2/56", "1956-04 to 1956-06"}, {2, "27 58", "1958-06 to 1958-07"}, {2, "1/57", "1956-12 to 1957-01"}, {3, "c", "1957-01 to 1957-12"},
	} {
		got, why := schemes[tt.scheme].read(tt.code)
		require.Empty(t, why, tt.code)
		require.Equal(t, tt.want, got.String(), tt.code)
	}
	for _, tt := range []struct {
		scheme int
		code   string
	}{{0, "13/57"}, {0, "0/57"}, {0, "3/5"}, {0, "3/57/1"}, {0, "57"}, {0, "A/57"}, {0, "3/57000"}, {1, "5/56"}, {2, "54/58"}, {2, "53/58"}, {3, "Q"}, {3, "7"}} {
		_, why := schemes[tt.scheme].read(tt.code)
		require.NotEmpty(t, why, tt.code)
	}
}

func TestStampRefusals(t *testing.T) {
	for _, tt := range []struct {
		change  func(in *StampInput)
		pointer string
	}{
		{func(in *StampInput) { in.Stamps[0].Code = "13/57" }, "/stamps/0/code"},
		{func(in *StampInput) { in.Stamps[0].Code = "" }, "/stamps/0/code"},
		{func(in *StampInput) { in.Stamps[0].Scheme = "moon-year" }, "/stamps/0/scheme"},
		{func(in *StampInput) { in.Stamps = append(in.Stamps, in.Stamps[0]) }, "/stamps/1/id"},
		{func(in *StampInput) { in.Build = "1957" }, "/build"},
		{func(in *StampInput) { in.Build = "1957-13" }, "/build"},
		{func(in *StampInput) { in.Prior = 1.2 }, "/prior"},
		{func(in *StampInput) { in.Lag.Leak = 0 }, "/lag/leak"},
		{func(in *StampInput) { in.Schemes[0].Fields = []string{"month"} }, "/schemes/0/fields"},
		{func(in *StampInput) { in.Schemes[0].Fields[0] = "fortnight" }, "/schemes/0/fields/0"},
		{func(in *StampInput) { in.Confusions[0].Characters = "3" }, "/confusions/0/characters"},
	} {
		in := stamped(Stamp{ID: "dynamo", Code: "3/57", Scheme: "month-year"})
		tt.change(&in)
		_, err := DateStamps(in)
		refused(t, err, registry.CodeInvalid, tt.pointer)
	}
	_, err := DateStamps(stamped(Stamp{ID: "a", Code: "13/57", Scheme: "month-year"}))
	require.ErrorContains(t, err, "there is no month 13")
	_, err = DateStamps(stamped())
	refused(t, err, registry.CodeInsufficient, "/stamps")
}

// Examples of the codes as tyre trade pages print them.
func TestTyreCodes(t *testing.T) {
	for _, tt := range []struct {
		code     string
		triangle bool
		week     int
		years    []int
	}{
		{"127", false, 12, []int{1977, 1987, 1997}},
		{"127", true, 12, []int{1997}},
		{"2316", false, 23, []int{2016}},
		{"2409", false, 24, []int{2009}},
		{"4106", false, 41, []int{2006}},
		{"4819", false, 48, []int{2019}},
		{"188", false, 18, []int{1978, 1988, 1998}},
		{"379", false, 37, []int{1979, 1989, 1999}},
		{"536", false, 53, []int{1976}}, // of the three years only 1976 had 53 weeks (ISO 8601)
	} {
		out, err := TyreDate(TyreInput{Code: tt.code, Triangle: tt.triangle})
		require.NoError(t, err, tt.code)
		require.Equal(t, tt.week, out.Week)
		require.Equal(t, tt.years, out.Years, tt.code)
	}
	for _, code := range []string{"6212", "0016", "540", "", "27", "23161", "2x16", "+127", "-12"} {
		_, err := TyreDate(TyreInput{Code: code})
		refused(t, err, registry.CodeInvalid, "/code")
	}
	_, err := TyreDate(TyreInput{Code: "6212"})
	require.ErrorContains(t, err, "no week 62")
	_, err = TyreDate(TyreInput{Code: "2316", Triangle: true})
	refused(t, err, registry.CodeInvalid, "/triangle")
}

func TestTyreAge(t *testing.T) {
	out, err := TyreDate(TyreInput{Code: "127", On: "1990-03-25"})
	require.NoError(t, err)
	require.Equal(t, []int{1977, 1987}, out.Years, "1997 was still to come")
	require.InDelta(t, 13, *out.OldestYears, 0.03)
	require.InDelta(t, 3, *out.YoungestYears, 0.03)
	_, err = TyreDate(TyreInput{Code: "2316", On: "2016-05-01"})
	refused(t, err, registry.CodeInvalid, "/code")
}
