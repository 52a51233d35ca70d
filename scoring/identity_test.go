package scoring

import (
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// An invented maker's numbers.
func matching() IdentityInput {
	return IdentityInput{Type: "Roadster", Year: amount(1957),
		Numbers: []ReadNumber{{Where: "frame", Read: "sk 6138"}, {Where: "engine", Read: "SR6138"}},
		Series: []NumberSeries{
			{ID: "frames", Where: "frame", Form: "SK####", Ranges: []NumberRange{{"Roadster", 6000, 6999, 1956, 1958}, {"Trials", 7000, 7199, 1956, 1958}}},
			{ID: "engines", Where: "engine", Form: "SR#+", Ranges: []NumberRange{{"Roadster", 6000, 6999, 1956, 1958}}},
			{ID: "early", Where: "frame", Form: "K###", Ranges: []NumberRange{{"Roadster", 1, 999, 1949, 1952}}},
		},
		Record: &NumberRecord{Numbers: []RecordedNumber{{"frame", "SK6138"}, {"engine", "SR 6138"}}, Authentic: "unknown"}}
}

func states(t *testing.T, in IdentityInput) string {
	t.Helper()
	out, err := Identity(in)
	require.NoError(t, err)
	s := ""
	for i, r := range out.Ladder {
		require.Equal(t, string("abcde"[i]), r.Rung)
		require.NotEmpty(t, r.Question)
		require.NotEmpty(t, r.Why)
		s += map[string]string{rungHolds: "+", rungNot: "-", rungUnknown: "?"}[r.State]
	}
	return s
}

// Each rung by itself: it holds, it does not, it is unknown.
func TestIdentityLadder(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(in *IdentityInput)
		want   string
	}{
		{"all but the record's own authenticity", func(in *IdentityInput) {}, "++++?"},
		{"record proved", func(in *IdentityInput) { in.Record.Authentic, in.Record.Basis = "yes", "the works' own book, seen" }, "+++++"},
		{"record forged", func(in *IdentityInput) { in.Record.Authentic, in.Record.Basis = "no", "the ink is new" }, "++++-"},
		{"no record", func(in *IdentityInput) { in.Record = nil }, "+++??"},
		{"one number in the record", func(in *IdentityInput) { in.Record.Numbers = in.Record.Numbers[:1] }, "+++??"},
		{"another engine", func(in *IdentityInput) { in.Numbers[1].Read = "SR6140" }, "+++-?"},
		{"doubtful, both in range", func(in *IdentityInput) { in.Numbers[0].Read = "SK61[38]8" }, "?++??"},
		{"doubtful, one in range", func(in *IdentityInput) { in.Numbers[0].Read = "SK[68]138" }, "?+???"},
		{"doubtful, neither in the record", func(in *IdentityInput) { in.Numbers[0].Read = "SK61[45]8" }, "?++-?"},
		{"unreadable", func(in *IdentityInput) { in.Numbers[0].Read = "SK613?" }, "-++??"},
		{"wrong form", func(in *IdentityInput) { in.Numbers[0].Read = "SKX138" }, "+---?"},
		{"form of other years", func(in *IdentityInput) { in.Numbers[0].Read = "K138" }, "+---?"},
		{"of another type", func(in *IdentityInput) { in.Numbers[0].Read, in.Record.Numbers[0].Number = "SK7001", "SK7001" }, "++-+?"},
		{"no type", func(in *IdentityInput) { in.Type = "" }, "++?+?"},
		{"no tables", func(in *IdentityInput) { in.Series = nil }, "+??+?"},
		{"no year", func(in *IdentityInput) { in.Year = nil }, "++++?"},
	} {
		in := matching()
		tt.change(&in)
		require.Equal(t, tt.want, states(t, in), tt.name)
	}
}

func TestIdentityDetails(t *testing.T) {
	in := matching()
	in.Numbers[0].Read, in.Numbers[0].Altered = "SK[68]138", true
	out, err := Identity(in)
	require.NoError(t, err)
	require.Equal(t, 2, out.Numbers[0].Possible)
	require.Equal(t, []string{"SK6138"}, out.Numbers[0].Within)
	require.Contains(t, out.Numbers[0].Rungs[0].Why, "SK6138, SK8138")
	require.Contains(t, out.Stop, "tell the owner")
	require.Equal(t, identitySays, out.Says)
}

func TestIdentityRefusals(t *testing.T) {
	for _, tt := range []struct {
		change  func(in *IdentityInput)
		pointer string
	}{
		{func(in *IdentityInput) { in.Numbers[0].Read = "SK[3]" }, "/numbers/0/read"},
		{func(in *IdentityInput) { in.Numbers[0].Read = "SK[38" }, "/numbers/0/read"},
		{func(in *IdentityInput) { in.Numbers[0].Read = "SK?????" }, "/numbers/0/read"},
		{func(in *IdentityInput) { in.Numbers[0].Read = "SK€" }, "/numbers/0/read"},
		{func(in *IdentityInput) { in.Numbers[0].Read = " " }, "/numbers/0/read"},
		{func(in *IdentityInput) { in.Numbers[1].Where = "frame" }, "/numbers/1/where"},
		{func(in *IdentityInput) { in.Series[0].Ranges[0].Last = 1 }, "/series/0/ranges/0"},
		{func(in *IdentityInput) { in.Record.Authentic = "maybe" }, "/record/authentic"},
		{func(in *IdentityInput) { in.Record.Authentic = "yes" }, "/record/basis"},
		{func(in *IdentityInput) { in.Year = amount(57) }, "/year"},
	} {
		in := matching()
		tt.change(&in)
		_, err := Identity(in)
		refused(t, err, registry.CodeInvalid, tt.pointer)
	}
	_, err := Identity(IdentityInput{})
	refused(t, err, registry.CodeInsufficient, "/numbers")
}

// Published numbers of 49 CFR 565 and its explanations, with sums by hand; the
// last is a European one with Z as filler.
func TestVINCheckDigit(t *testing.T) {
	for _, tt := range []struct {
		number, use string
		sum         int
		expected    string
		verdict     string
		years       []int
	}{
		{"1M8GDM9AXKP042788", "used", 351, "X", "agrees", []int{1989, 2019}},
		{"11111111111111111", "used", 89, "1", "agrees", []int{2001, 2031}},
		{"1HGCM82633A004352", "used", 311, "3", "agrees", []int{2003, 2033}},
		{"1HGCM82633A004353", "used", 313, "5", "fails", []int{2003, 2033}},
		{"WP0ZZZ99ZTS392124", "not-used", 459, "8", "not checked", []int{1996, 2026}},
		{"WP0ZZZ99ZTS392124", "unknown", 459, "8", "not checked", []int{1996, 2026}},
	} {
		out, err := VIN(VINInput{tt.number, tt.use})
		require.NoError(t, err, tt.number)
		require.Len(t, out.Numbers, 1)
		a := out.Numbers[0]
		require.Equal(t, tt.sum, a.Sum, tt.number)
		require.Equal(t, tt.expected, a.Expected)
		require.Equal(t, tt.verdict, a.Verdict)
		require.Equal(t, tt.years, a.ModelYears)
		require.Equal(t, tt.number[11:], a.Serial)
	}
}

// The thirty codes of 49 CFR 565.15: A 1980, H 1987, J 1988, K 1989, N 1992, P
// 1993, R 1994, V 1997, Y 2000, 1 2001, 9 2009; I, O, Q, U, Z and 0 are none.
func TestVINModelYear(t *testing.T) {
	for code, year := range map[string]int{"A": 1980, "H": 1987, "J": 1988, "K": 1989, "N": 1992, "P": 1993, "R": 1994, "T": 1996, "V": 1997, "Y": 2000, "1": 2001, "9": 2009} {
		require.Equal(t, []int{year, year + 30}, vin("111111111"+code+"1111111", "used").ModelYears, code)
	}
	for _, code := range []string{"U", "Z", "0"} {
		require.Empty(t, vin("111111111"+code+"1111111", "used").ModelYears)
	}
	require.True(t, vin("1A9111111K1ABC111", "used").SmallMaker)
}

// A doubtful character: the digit tells, where the market uses it.
func TestVINDoubtful(t *testing.T) {
	out, err := VIN(VINInput{"1HGCM82633A00435[238]", "used"})
	require.NoError(t, err)
	require.Len(t, out.Numbers, 3)
	require.Equal(t, "agrees", out.Numbers[0].Verdict)
	require.Equal(t, "fails", out.Numbers[1].Verdict)
	require.Equal(t, "fails", out.Numbers[2].Verdict)
}

func TestVINRefusals(t *testing.T) {
	for number, found := range map[string]string{
		"1HGCM8263OA00435":   "16 characters",
		"1HGCM8263OA004352":  "the letter O at position 10",
		"1HGCM8263IA004352":  "the letter I at position 10",
		"1HGCM8263QA004352":  "the letter Q",
		"1HGCM82633A0043521": "18 characters",
		"1HGCM82633A-04352":  "\"-\" at position 12",
		"1HGCM82633A00435?":  "1HGCM82633A00435?",
		"":                   "",
	} {
		_, err := VIN(VINInput{number, "used"})
		refused(t, err, registry.CodeInvalid, "/number")
		require.ErrorContains(t, err, found, number)
	}
	_, err := VIN(VINInput{"1HGCM8263OA00435", "used"})
	require.ErrorContains(t, err, "2 faults")
	_, err = VIN(VINInput{"1HGCM82633A004352", "EU"})
	refused(t, err, registry.CodeInvalid, "/check_digit")
}
