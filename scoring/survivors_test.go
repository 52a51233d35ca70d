package scoring

import (
	"math/rand/v2"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

func lists(n, k, m float64) SurvivorsInput {
	return SurvivorsInput{Lists: &TwoLists{SurvivorList{"register", n, []string{"owners' forms"}}, SurvivorList{"sales", k, []string{"catalogues"}}, m}}
}

// Worked examples: 38 and 29 with 11 in both; 100 and 100 with 20.
func TestSurvivorsOfTwoLists(t *testing.T) {
	out, err := Survivors(lists(38, 29, 11))
	require.NoError(t, err)
	s := out.Survivors
	require.Equal(t, 56.0, s.Seen)
	near(t, 96.5, s.Count, 1)
	near(t, 17.43, s.SE, 2)
	near(t, 74, s.Low, 0)
	near(t, 147, s.High, 0)
	require.Contains(t, out.Warnings[0], "flatters a seller")
	out, err = Survivors(lists(100, 100, 20))
	require.NoError(t, err)
	near(t, 484.7619, out.Survivors.Count, 4)
	// The published example of ten turtles marked, fifteen caught, five of them
	// marked: 28.33, variance 34.92. It has too few in both for an answer here.
	turtles := chapman(10, 15, 5)
	near(t, 28.3333, turtles.Count, 4)
	near(t, 34.9206, turtles.SE*turtles.SE, 4)
	// All of one list in the other: no more than were seen.
	out, err = Survivors(lists(10, 10, 10))
	require.NoError(t, err)
	require.Equal(t, SurvivorsCount{10, 10, 0, 10, 10}, *out.Survivors)
}

// 90 survivors, 42 and 32 of a hundred of which find their way onto a list. By
// equal chance the interval covers the truth as it says; when keen owners stand
// in both, the mean falls short of it.
func TestSurvivorsCoverTheTruth(t *testing.T) {
	simulate := func(keen float64) (mean, covered float64) {
		random := rand.New(rand.NewPCG(3, 4))
		sum, inside, answered := 0.0, 0, 0
		for range 4000 {
			n, k, m := 0.0, 0.0, 0.0
			for range 90 {
				p, q := 0.42, 0.32
				if random.Float64() < 0.5 {
					p, q = p*(1+keen), q*(1+keen)
				} else {
					p, q = p*(1-keen), q*(1-keen)
				}
				first, second := random.Float64() < p, random.Float64() < q
				if first {
					n++
				}
				if second {
					k++
				}
				if first && second {
					m++
				}
			}
			out, err := Survivors(lists(n, k, m))
			if err != nil {
				continue
			}
			answered++
			sum += out.Survivors.Count
			if out.Survivors.Low <= 90 && out.Survivors.High >= 90 {
				inside++
			}
		}
		return sum / float64(answered), float64(inside) / float64(answered)
	}
	mean, covered := simulate(0)
	require.InDelta(t, 90, mean, 2)
	require.InDelta(t, 0.94, covered, 0.02)
	mean, _ = simulate(0.35)
	require.Less(t, mean, 85.0)
}

// The serial numbers 19, 40, 42, 60: 74 unbiased, bound 126.88; flat prior 88.5
// with 50.22, median 75, 95 % point 159 (exact, discrete). Seventeen numbers
// with 1874 the largest: 1983 and 1998 ± 133.
func TestBuiltFromNumbers(t *testing.T) {
	out, err := Survivors(SurvivorsInput{Built: &BuiltSerial{Numbers: []float64{19, 40, 42, 60}, First: 1}})
	require.NoError(t, err)
	b := out.Built
	require.Equal(t, 74.0, b.Count)
	near(t, 126.88, b.Bound, 2)
	require.Equal(t, 88.5, b.Mean)
	near(t, 50.2220, b.SD, 4)
	require.Equal(t, 75.0, b.Median)
	require.Equal(t, 159.0, b.High)

	numbers := []float64{6000 + 1874 - 1}
	for i := range 16 {
		numbers = append(numbers, 6000+float64(i))
	}
	out, err = Survivors(SurvivorsInput{Built: &BuiltSerial{Numbers: numbers, First: 6000}})
	require.NoError(t, err)
	near(t, 1983, out.Built.Count, 0)
	near(t, 1998, out.Built.Mean, 0)
	near(t, 133, out.Built.SD, 0)
}

// The posterior by the sum over all counts.
func TestBuiltEqualsEnumeration(t *testing.T) {
	b := BuiltSerial{Numbers: []float64{3, 9, 20, 21, 33}, First: 1}
	weights, all := []float64{}, 0.0
	for n := 33; n < 200_000; n++ { // 1 / C(n, 5)
		w := 120.0
		for i := range 5 {
			w /= float64(n - i)
		}
		weights = append(weights, w)
		all += w
	}
	quantile := func(p float64) float64 {
		sum := 0.0
		for i, w := range weights {
			if sum += w; sum >= p*all {
				return float64(33 + i)
			}
		}
		return 0
	}
	c := b.count()
	require.Equal(t, quantile(0.5), c.Median)
	require.Equal(t, quantile(0.95), c.High)
}

func TestSurvivorsRefusals(t *testing.T) {
	shared := lists(38, 29, 11)
	shared.Lists.Second.Sources = []string{"catalogues", "owners' forms"}
	unnamed := lists(38, 29, 11)
	unnamed.Lists.First.Sources = nil
	for _, tt := range []struct {
		in      SurvivorsInput
		code    registry.Code
		pointer string
	}{
		{lists(38, 29, 6), registry.CodeInsufficient, "/lists/both"},
		{shared, registry.CodeInsufficient, "/lists/second/sources/1"},
		{unnamed, registry.CodeInsufficient, "/lists/first/sources"},
		{lists(38, 29, 30), registry.CodeInvalid, "/lists/both"},
		{lists(38.5, 29, 11), registry.CodeInvalid, "/lists/first/count"},
		{SurvivorsInput{}, registry.CodeInsufficient, ""},
		{SurvivorsInput{Built: &BuiltSerial{Numbers: []float64{1, 2, 3, 4}, First: 1, Gaps: true}}, registry.CodeInsufficient, "/built/gaps"},
		{SurvivorsInput{Built: &BuiltSerial{Numbers: []float64{1, 2, 3}, First: 1}}, registry.CodeInsufficient, "/built/numbers"},
		{SurvivorsInput{Built: &BuiltSerial{Numbers: []float64{1, 2, 3, 3}, First: 1}}, registry.CodeInvalid, "/built/numbers/3"},
		{SurvivorsInput{Built: &BuiltSerial{Numbers: []float64{1, 2, 3, 4}, First: 2}}, registry.CodeInvalid, "/built/numbers/0"},
	} {
		_, err := Survivors(tt.in)
		refused(t, err, tt.code, tt.pointer)
	}
}
