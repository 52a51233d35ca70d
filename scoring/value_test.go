package scoring

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// An invented prior and fourteen invented sales: the worked example that most
// numbers below belong to.
func drover() ValueInput {
	in := ValueInput{
		Prior:  CoefficientPrior{Mean: []float64{logarithm(4500), 0.90, 0.16, -0.06, 0.30, 0.15}, SD: []float64{0.50, 0.45, 0.08, 0.06, 0.20, 0.20}, Shape: 3, Sigma: 0.22},
		Before: Subject{Features: Features{0.92, 2, 21_000, 0}},
	}
	for i, s := range [][5]float64{
		{5100, .70, 3, 22, 0}, {4000, .85, 3, 18, 0}, {3800, .55, 3, 30, 0}, {6050, .60, 4, 12, 0}, {5800, .90, 4, 9, 0}, {2400, .80, 1, 26, 0},
		{4500, .88, 2, 35, 0}, {8050, .72, 4, 20, 1}, {8150, .92, 4, 14, 1}, {6800, .50, 4, 25, 1}, {4400, .82, 2, 28, 1}, {3700, .45, 4, 15, 0},
		{7500, .86, 3, 24, 1}, {2900, .65, 2, 40, 0},
	} {
		in.Sales = append(in.Sales, Sale{ID: fmt.Sprint("sale-", i+1), Price: s[0], Features: Features{s[1], s[2], s[3] * 1000, s[4]}})
	}
	sympathetic, refinish := 1180.0, 3900.0
	in.Afters = []After{
		{ID: "sympathetic", Features: Features{0.90, 3, 21_000, 0}, Cost: &sympathetic},
		{ID: "refinish", Features: Features{0.62, 4, 21_000, 0}, Cost: &refinish},
	}
	return in
}

func nearQuantiles(t testing.TB, low, median, high float64, got Quantiles, places int) {
	t.Helper()
	near(t, low, got.Low10, places)
	near(t, median, got.Median, places)
	near(t, high, got.High90, places)
}

// Worked example, computed by two implementations in other languages.
func TestValueWorkedExample(t *testing.T) {
	in := drover()
	out, err := Value(in)
	require.NoError(t, err)
	require.Equal(t, 20.0, out.DF)
	near(t, 0.160, out.ResidualSD, 3)
	for j, want := range []float64{8.3476, .7111, .2129, -.0525, .3442, .1225} {
		near(t, want, out.Coefficients[j].Value, 4)
	}
	nearQuantiles(t, 3063, 3872, 4896, *out.Before.Level, 0)
	nearQuantiles(t, 3862, 4852, 6097, *out.Afters[0].Level, 0)
	nearQuantiles(t, 3877, 4872, 6121, *out.Afters[1].Level, 0)
	nearQuantiles(t, 1.181, 1.253, 1.330, out.Afters[0].Ratio, 3)
	nearQuantiles(t, 1.1145, 1.2581, 1.4202, out.Afters[1].Ratio, 4)
	near(t, .0449, out.Afters[0].RatioLogSD, 4)
	near(t, .23, out.Before.Leverage, 2)

	// Net of cost, by a second quadrature (over the level instead of the
	// change) to 12 digits in another language; sampling gave −502, −210, 156
	// for the first.
	nearQuantiles(t, -502.4875, -209.5392, 153.9558, *out.Afters[0].Net, 3)
	near(t, 0.783554, out.Afters[0].ChanceOfLoss.P, 6)
	require.Equal(t, "78 %", out.Afters[0].ChanceOfLoss.Printed)
	nearQuantiles(t, -3441.520, -2913.423, -2302.498, *out.Afters[1].Net, 2)
	near(t, 0.999926, out.Afters[1].ChanceOfLoss.P, 6)
	require.Equal(t, ">99 %", out.Afters[1].ChanceOfLoss.Printed)
	require.Equal(t, "<1 %", out.Afters[0].ChanceOfFall.Printed)
	require.Contains(t, strings.Join(out.Afters[0].Cautions, " "), "only if the form of the model holds")
	near(t, .99997, 1-out.Afters[0].ChanceOfFall.P, 5)

	require.False(t, out.PriorOnly)
	require.False(t, out.Afters[0].MostlyPrior)
	near(t, .5446, *out.Afters[0].FromSales, 4)
	near(t, 8.988, out.Before.NEffective, 3)
	require.Equal(t, Held{14, 12, 14}, *out.Held) // 80 % held 12 of 14, 95 % all

	// Sympathetic against refinish.
	in.Before.Features, in.Afters = Features{0.62, 4, 21_000, 0}, in.Afters[:1]
	out, err = Value(in)
	require.NoError(t, err)
	nearQuantiles(t, .914, .996, 1.086, out.Afters[0].Ratio, 3)
}

// Two sales of such machines differ by more, the less of the residual belongs
// to the machine: worked example.
func TestValueResidualShare(t *testing.T) {
	for share, want := range map[float64]float64{0: .2301, .5: .1658, .8: .1105, 1: .0449} {
		in := drover()
		in.ResidualShare = &share
		out, err := Value(in)
		require.NoError(t, err)
		near(t, want, out.Afters[0].RatioLogSD, 4)
		near(t, 1.25308, out.Afters[0].Ratio.Median, 5)
		require.Equal(t, share < 1, strings.Contains(strings.Join(out.Cautions, " "), "compares two sales"))
		if share == .5 { // by the second quadrature, as above
			nearQuantiles(t, -1154.699, -211.5719, 809.8705, *out.Afters[0].Net, 2)
			near(t, 0.611992, out.Afters[0].ChanceOfLoss.P, 6)
		}
	}
}

// The factors by which 10 and 90 % lie from the median, by number of sales:
// worked example.
func TestValueNarrowsWithSales(t *testing.T) {
	full := drover()
	for _, c := range []struct {
		n            int
		level, ratio float64
	}{{0, 1.94, 1.114}, {3, 1.36, 1.104}, {6, 1.32, 1.079}, {10, 1.28, 1.068}, {14, 1.26, 1.061}} {
		in := full
		in.Sales = full.Sales[:c.n]
		out, err := Value(in)
		require.NoError(t, err)
		near(t, c.ratio, out.Afters[0].Ratio.High90/out.Afters[0].Ratio.Median, 3)
		m, err := readValue(in)
		require.NoError(t, err)
		near(t, c.level, exponential(m.t90*out.Before.LevelLogSD), 2)
		if c.n < 10 {
			require.Nil(t, out.Before.Level)
			require.Nil(t, out.Afters[0].Net)
			require.Nil(t, out.Afters[0].ChanceOfLoss)
			require.NotEmpty(t, out.Before.Refusals)
			require.True(t, out.Afters[0].MostlyPrior)
			require.Contains(t, strings.Join(out.Afters[0].Cautions, " "), "mostly prior")
		}
		require.Equal(t, c.n == 0, out.PriorOnly)
	}
}

// A machine unlike those sold has no level, but a ratio: worked example.
func TestValueRefusesFarLevels(t *testing.T) {
	in := drover()
	in.Before.Features = Features{0.92, 3, 40, 1} // crated, 40 miles
	out, err := Value(in)
	require.NoError(t, err)
	near(t, 2.87, out.Before.Leverage, 2)
	require.Nil(t, out.Before.Level)
	said := strings.Join(out.Before.Refusals, " ")
	require.Contains(t, said, "leverage 2.87")
	require.Contains(t, said, "distance 40 mi (sales: 9000 to 40000 mi)")
	require.NotZero(t, out.Afters[0].Ratio.Median)
	require.NotNil(t, out.Afters[0].Level)
	require.Nil(t, out.Afters[0].Net)
	require.Contains(t, strings.Join(out.Afters[0].Refusals, " "), "they need the level before and after")
	require.Contains(t, strings.Join(out.Afters[0].Cautions, " "), "beyond the sales before")

	in.Before.Features = Features{0.40, 0, 21_000, 0} // a box of parts
	out, err = Value(in)
	require.NoError(t, err)
	near(t, 1.82, out.Before.Leverage, 2)
	require.Nil(t, out.Before.Level)
}

// One freak sale: worked example. And what is told of it is what leaving it
// out gives, exactly.
func TestValueInfluence(t *testing.T) {
	in := drover()
	in.Sales[4].Price = float64(5800 * 3)
	out, err := Value(in)
	require.NoError(t, err)
	near(t, 4339, out.Before.Level.Median, 0)
	in.Sales[4].Price = 5800 * 2
	out, err = Value(in)
	require.NoError(t, err)
	near(t, 4161, out.Before.Level.Median, 0)
	require.Contains(t, text(t, out.Outliers), `{"id":"sale-5","why":["its price is above what the others foretell`)

	for i := range in.Sales {
		one := in
		one.Sales = append(append([]Sale{}, in.Sales[:i]...), in.Sales[i+1:]...)
		m, err := readValue(one)
		require.NoError(t, err)
		before, err := readValue(in)
		require.NoError(t, err)
		x := m.row(in.Before.Features, "")
		require.InDelta(t, m.f.at(m.f.place(x))-before.f.at(before.f.place(x)), logarithm(out.Influence[i].Level), 1e-11)
		for k, a := range in.Afters {
			d := m.difference(in.Before.Features, a.Features)
			require.InDelta(t, m.f.along(m.f.step(d))-before.f.along(before.f.step(d)), logarithm(out.Influence[i].Ratios[k]), 1e-11)
		}
		s := in.Sales[i]
		place := m.f.place(m.row(s.Features, ""))
		z := m.f.t.whiten(place)
		require.InDelta(t, (logarithm(s.Price)-m.f.at(place))/(m.sd*math.Sqrt(1+dot(z, z))), out.Influence[i].Residual, 1e-9)
		require.Equal(t, out.DF-1, m.df)
	}
}

// Partial pooling: tau 0.25 and sigma 0.16 keep these shares of a make's own
// mean, by hand: n·0.0625/(n·0.0625 + 0.0256).
func TestMakeShrinkage(t *testing.T) {
	for own, want := range map[int]float64{0: 0, 1: .71, 2: .83, 5: .92} {
		near(t, want, MakeShrinkage(own, .25, .16), 2)
	}
}

// A make with n own sales widens the level as found by these factors (worked
// example: the residual sd and the leverage of the fourteen sales, and tau²
// times what shrinkage does not keep). The exact model says the same without
// own sales; own sales tell it something of the other coefficients too, so that
// it may only be narrower. The ratio does not care.
func TestValueMakes(t *testing.T) {
	base, err := Value(drover())
	require.NoError(t, err)
	t90 := studentQuantile(0.9, base.DF)
	for own, want := range map[int]float64{0: 1.50, 1: 1.34, 2: 1.31, 5: 1.29} {
		kept := MakeShrinkage(own, .25, .16)
		formula := math.Exp(t90 * math.Sqrt(base.ResidualSD*base.ResidualSD*(1+base.Before.Leverage)+.25*.25*(1-kept)))
		near(t, want, formula, 2)

		in := drover()
		in.Makes, in.Before.Make = &MakeSpread{.25, .16}, "Thirlbeck"
		for i := range own { // at what the others foretell, so that nothing else moves
			in.Sales = append(in.Sales, Sale{ID: fmt.Sprint("own-", i), Make: "Thirlbeck", Price: exponential(base.Coefficients[0].Value),
				Features: Features{0.7, 3, 20_000, 0}})
		}
		out, err := Value(in)
		require.NoError(t, err)
		exact := exponential(t90 * out.Before.LevelLogSD * base.ResidualSD / out.ResidualSD)
		require.NotNil(t, out.Before.Level)
		t.Logf("own %d: formula %.4f, exact %.4f", own, formula, exact)
		require.Less(t, exact, formula+1e-3)
		if own == 0 {
			near(t, 1.50, exact, 2)
			require.Contains(t, strings.Join(out.Cautions, " "), "No sale is of the make")
			near(t, base.Afters[0].Ratio.High90, out.Afters[0].Ratio.High90, 9)
			near(t, base.Afters[0].RatioLogSD, out.Afters[0].RatioLogSD, 9)
		}
		require.Equal(t, "make:Thirlbeck", out.Coefficients[6].Key)
		require.Equal(t, []MakeEffect{{"Thirlbeck", own, kept}}, out.Makes)
	}
}

// With everything but the make known, the exact model is the shrinkage formula.
func TestValueMakesAreTheShrinkageFormula(t *testing.T) {
	for own := range 8 {
		in := drover()
		in.Sales = nil
		for j := range in.Prior.SD {
			in.Prior.SD[j] = 1e-6
		}
		in.Makes, in.Before.Make = &MakeSpread{.25, .16}, "Thirlbeck"
		in.Before.Features = Features{0.7, 3, 20_000, 0}
		for i := range own {
			in.Sales = append(in.Sales, Sale{ID: fmt.Sprint(i), Make: "Thirlbeck", Price: 4500 * math.Exp(0.2), Features: in.Before.Features})
		}
		m, err := readValue(in)
		require.NoError(t, err)
		kept := MakeShrinkage(own, .25, .16)
		place := m.f.place(m.row(in.Before.Features, "Thirlbeck"))
		z := m.f.t.whiten(place)
		require.InDelta(t, .25*.25/(.16*.16)*(1-kept), dot(z, z), 1e-8)
		require.InDelta(t, math.Log(4500)+0.2*kept, m.f.at(place), 1e-8)
	}
}

// drawValue draws a valuation of a few sales.
func drawValue(t *rapid.T) ValueInput {
	features := func(label string) Features {
		return Features{float64(rapid.IntRange(0, 20).Draw(t, label+" originality")) / 20, float64(rapid.IntRange(0, 5).Draw(t, label+" condition")),
			float64(rapid.IntRange(1, 60_000).Draw(t, label+" distance")), float64(rapid.IntRange(0, 1).Draw(t, label+" tier"))}
	}
	makes := []string{"", "Skerrow", "Thirlbeck"}
	in := drover()
	in.Sales, in.Afters = []Sale{}, []After{}
	for i := range rapid.IntRange(0, 30).Draw(t, "sales") {
		in.Sales = append(in.Sales, Sale{ID: fmt.Sprint(i), Make: rapid.SampledFrom(makes).Draw(t, "make"),
			Price: float64(rapid.IntRange(500, 20_000).Draw(t, "price")), Features: features("sale")})
	}
	in.Before = Subject{rapid.SampledFrom(makes).Draw(t, "make"), features("before")}
	for i := range rapid.IntRange(0, 2).Draw(t, "afters") {
		cost := float64(rapid.IntRange(0, 3000).Draw(t, "cost"))
		in.Afters = append(in.Afters, After{fmt.Sprint(i), features("after"), &cost})
	}
	if rapid.Bool().Draw(t, "spread") {
		in.Makes = &MakeSpread{.25, .16}
	}
	if rapid.Bool().Draw(t, "share") {
		share := float64(rapid.IntRange(0, 10).Draw(t, "share")) / 10
		in.ResidualShare = &share
	}
	return in
}

func TestValueProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawValue(t)
		out, err := Value(in)
		require.NoError(t, err)
		runsAlike(t, MethodValue, in, out)
		wide := func(q Quantiles) float64 { return q.High90 / q.Low10 }
		for i, a := range out.Afters {
			require.True(t, a.Ratio.Low10 <= a.Ratio.Median && a.Ratio.Median <= a.Ratio.High90)
			if a.Net != nil {
				require.True(t, a.Net.Low10 <= a.Net.Median && a.Net.Median <= a.Net.High90)
				// The chance of loss is the place of 0 among the quantiles.
				for _, q := range []struct{ at, p float64 }{{a.Net.Low10, 0.1}, {a.Net.Median, 0.5}, {a.Net.High90, 0.9}} {
					require.True(t, math.Abs(q.at) < 1e-6 || (q.at > 0) == (a.ChanceOfLoss.P < q.p), "%v %v", q, a.ChanceOfLoss)
				}
			}
			if a.Level != nil && out.ResidualShare == 1 && in.Afters[i].Features == in.Before.Features {
				require.Equal(t, Quantiles{1, 1, 1}, a.Ratio)
			}
			if a.Level != nil && out.ResidualShare == 1 && a.FromSales != nil && *a.FromSales > 0.9 {
				require.Less(t, wide(a.Ratio), wide(*a.Level))
			}
			require.True(t, a.NEffective <= float64(len(in.Sales))+1e-9)
		}
		for _, v := range out.Influence {
			require.True(t, v.Leverage >= 0 && v.Leverage < 1)
		}
		require.NotContains(t, text(t, out), "Inf")
	})
}

// The ratio of the worked example is narrower than either level.
func TestRatioIsBetterKnownThanLevels(t *testing.T) {
	out, err := Value(drover())
	require.NoError(t, err)
	wide := func(q Quantiles) float64 { return q.High90 / q.Low10 }
	for _, a := range out.Afters {
		require.Less(t, wide(a.Ratio), wide(*a.Level))
		require.Less(t, wide(a.Ratio), wide(*out.Before.Level))
	}
}

// Nothing done changes nothing and loses its cost for certain.
func TestValueOfDoingNothing(t *testing.T) {
	in := drover()
	cost, free := 10.0, 0.0
	in.Afters = []After{{"polish", in.Before.Features, &cost}, {"leave", in.Before.Features, &free}}
	out, err := Value(in)
	require.NoError(t, err)
	require.Equal(t, Quantiles{1, 1, 1}, out.Afters[0].Ratio)
	require.Equal(t, Quantiles{-10, -10, -10}, *out.Afters[0].Net)
	require.Equal(t, Chance{1, ">99 %"}, *out.Afters[0].ChanceOfLoss)
	require.Equal(t, Chance{0, "<1 %"}, *out.Afters[1].ChanceOfLoss)
	require.Nil(t, out.Afters[0].FromSales)
}

// The price index moves a sale to the level of prices asked for.
func TestValueLogIndex(t *testing.T) {
	in := drover()
	a, err := Value(in)
	require.NoError(t, err)
	for i := range in.Sales {
		up := float64(i) / 10
		in.Sales[i].LogIndex = &up
		in.Sales[i].Price *= math.Exp(up)
	}
	b, err := Value(in)
	require.NoError(t, err)
	require.InEpsilon(t, a.Before.Level.Median, b.Before.Level.Median, 1e-12)
}

// The quadrature: the rule is exact for polynomials, and the probability of a
// gain is that of sampling-free special cases.
func TestJointPosterior(t *testing.T) {
	for power := range 23 {
		got := integral(func(x float64) float64 { return math.Pow(x, float64(power)) }, 0, 1)
		require.InDelta(t, 1/float64(power+1), got, 1e-14)
	}
	j := joint{level: math.Log(4000), change: 0.2, a: 1.2, b: 0.05, d: 0.1, sd: 0.16, df: 20}
	// A gain below 0 is a fall, whatever the level.
	require.InDelta(t, j.fall(), j.below(0), 1e-12)
	require.InDelta(t, j.fall(), j.below(-1e-12), 1e-9)
	require.InDelta(t, j.fall(), j.below(1e-12), 1e-9)
	require.InDelta(t, 1, j.below(1e9), 1e-9)
	require.InDelta(t, 0, j.below(-1e9), 1e-9)
	rapid.Check(t, func(t *rapid.T) {
		j := joint{level: rapid.Float64Range(-3, 12).Draw(t, "level"), change: rapid.Float64Range(-1.5, 1.5).Draw(t, "change"),
			a: rapid.Float64Range(1, 8).Draw(t, "a"), sd: rapid.Float64Range(0.02, 0.6).Draw(t, "sd"), df: rapid.Float64Range(2.5, 60).Draw(t, "df"),
			d: rapid.SampledFrom([]float64{1e-8, 0.01, 0.3, 4}).Draw(t, "d")}
		j.b = rapid.Float64Range(-0.9, 0.9).Draw(t, "correlation") * math.Sqrt((j.a-0.5)*j.d)
		level := math.Exp(j.level)
		for _, p := range []float64{0.1, 0.5, 0.9} {
			k := j.quantile(p)
			require.LessOrEqual(t, j.below(k-1e-11*level), p+1e-8)
			require.GreaterOrEqual(t, j.below(k+1e-11*level), p-1e-8)
		}
		require.LessOrEqual(t, j.below(-level/2), j.below(-level/3)+1e-9)
		require.LessOrEqual(t, j.below(level/3), j.below(level/2)+1e-9)
	})
}

func TestDuplicatesAreShown(t *testing.T) {
	in := drover()
	for i := range in.Sales[:3] {
		in.Sales[i].Date, in.Sales[i].Make, in.Sales[i].Model, in.Sales[i].Price = "2025-10-04", "Skerrow", "Drover 350", 5100
	}
	in.Sales[1].Price = 4000
	out, err := Value(in)
	require.NoError(t, err)
	require.Equal(t, [][]string{{"sale-1", "sale-3"}}, out.Duplicates)
	require.Equal(t, 14, out.Sales) // nothing is dropped
	require.Len(t, out.Influence, 14)
	m, err := readValue(in)
	require.NoError(t, err)
	z := m.f.t.whiten(m.f.place(m.row(in.Before.Features, "")))
	require.Less(t, out.Before.NEffective, m.effective(in, z, nil))
	in.Sales[2].Model = ""
	require.Empty(t, Duplicates(in.Sales))
}

func TestOutliers(t *testing.T) {
	require.Empty(t, Outliers(nil, 20))
	got := Outliers([]Influence{
		{ID: "still", Level: 1.02, Ratios: []float64{0.99}, Residual: 2},
		{ID: "low", Level: 1, Residual: -2.9}, // bound 2.86 at 19 degrees of freedom
		{ID: "heavy", Level: 0.9, Ratios: []float64{1, 1.06}},
	}, 20)
	require.Equal(t, []Outlier{
		{"low", []string{"its price is below what the others foretell (standardised residual -2.9, bound ±2.9)"}},
		{"heavy", []string{"without it the level before would be 0.90 times as high", "without it a ratio would be 1.06 times as high"}},
	}, got)
}

func TestValueRefusals(t *testing.T) {
	_, err := Value(drover())
	require.NoError(t, err)
	negative, over := -1.0, 1.5
	for _, c := range []struct {
		pointer string
		spoil   func(in *ValueInput)
	}{
		{"/sales/0/price", func(in *ValueInput) { in.Sales[0].Price = 0 }},
		{"/sales/0/price", func(in *ValueInput) { in.Sales[0].Price = -5100 }},
		{"/sales/0/price", func(in *ValueInput) { in.Sales[0].Price = math.NaN() }},
		{"/sales/1/id", func(in *ValueInput) { in.Sales[1].ID = "sale-1" }},
		{"/sales/0/distance", func(in *ValueInput) { in.Sales[0].Distance = 0 }},
		{"/sales/0/originality", func(in *ValueInput) { in.Sales[0].Originality = 70 }},
		{"/sales/0/condition", func(in *ValueInput) { in.Sales[0].Condition = 6 }},
		{"/sales/0/tier", func(in *ValueInput) { in.Sales[0].Tier = 2 }},
		{"/sales/0/log_index", func(in *ValueInput) { in.Sales[0].LogIndex = &[]float64{100}[0] }},
		{"/prior/mean", func(in *ValueInput) { in.Prior.Mean = in.Prior.Mean[:5] }},
		{"/prior/sd", func(in *ValueInput) { in.Prior.SD = append(in.Prior.SD, 1) }},
		{"/prior/sd/2", func(in *ValueInput) { in.Prior.SD[2] = 0 }},
		{"/prior/sigma", func(in *ValueInput) { in.Prior.Sigma = 0 }},
		{"/makes/tau", func(in *ValueInput) { in.Makes = &MakeSpread{0, .16} }},
		{"/before/distance", func(in *ValueInput) { in.Before.Distance = -3 }},
		{"/afters/1/id", func(in *ValueInput) { in.Afters[1].ID = "sympathetic" }},
		{"/afters/0/cost", func(in *ValueInput) { in.Afters[0].Cost = &negative }},
		{"/afters/0/condition", func(in *ValueInput) { in.Afters[0].Condition = math.Inf(1) }},
		{"/residual_share", func(in *ValueInput) { in.ResidualShare = &over }},
	} {
		in := drover()
		c.spoil(&in)
		_, err := Value(in)
		refused(t, err, registry.CodeInvalid, c.pointer)
	}
	for _, c := range []struct{ input, pointer string }{
		{`{"sales":[{"id":"a"}]}`, "/sales/0/price"},
		{`{"sales":[{"id":"a","currency":"GBP"}]}`, "/sales/0/currency"},
		{`{"sales":[]}`, "/prior"},
		{`{"before":{"originality":1,"condition":2,"distance":3}}`, "/before/tier"},
	} {
		_, err := Run(MethodValue, []byte(c.input))
		refused(t, err, registry.CodeInvalid, c.pointer)
	}
}

// Worked example: chemistry in a tank. 84.7 and 349.8 are 4750 (1 − e^(−0.9·x))
// for index losses of 0.02 and 0.085; the tail mean by hand is (0.04 · 349.8 +
// 0.01 · 84.7)/0.05.
func TestRisk(t *testing.T) {
	value, per, none, local, finish := 4750.0, 0.9, 0.0, 0.02, 0.085
	in := RiskInput{Source: "own log, 50 tanks", Value: &value, PerIndex: &per, Outcomes: []Outcome{
		{ID: "no harm", Probability: .86, Money: &none}, {ID: "local damage", Probability: .10, IndexLoss: &local}, {ID: "finish lost", Probability: .04, IndexLoss: &finish}}}
	out, err := Risk(in)
	require.NoError(t, err)
	near(t, 22.47, out.Expected, 1)
	near(t, 84.7, out.VaR95, 1)
	near(t, 296.8, out.CVaR95, 1)
	near(t, 349.8, out.VaR99, 1)
	raw, err := json.Marshal(in)
	require.NoError(t, err)
	got, err := Run(MethodRisk, raw)
	require.NoError(t, err)
	require.Equal(t, text(t, out), string(got))

	// The figures as money, to the pence.
	first, second := 84.7, 349.8
	in = RiskInput{Source: "own log", Outcomes: []Outcome{{ID: "a", Probability: .86, Money: &none}, {ID: "b", Probability: .10, Money: &first}, {ID: "c", Probability: .04, Money: &second}}}
	out, err = Risk(in)
	require.NoError(t, err)
	near(t, 22.462, out.Expected, 9)
	near(t, 296.78, out.CVaR95, 9)

	for _, c := range []struct {
		code    registry.Code
		pointer string
		spoil   func(in *RiskInput)
	}{
		{registry.CodeInsufficient, "/source", func(in *RiskInput) { in.Source = " " }},
		{registry.CodeInvalid, "/outcomes", func(in *RiskInput) { in.Outcomes[0].Probability = .5 }},
		{registry.CodeInvalid, "/outcomes", func(in *RiskInput) { in.Outcomes = nil }},
		{registry.CodeInvalid, "/outcomes/0/probability", func(in *RiskInput) { in.Outcomes[0].Probability = math.NaN() }},
		{registry.CodeInvalid, "/outcomes/1/id", func(in *RiskInput) { in.Outcomes[1].ID = "a" }},
		{registry.CodeInvalid, "/outcomes/1", func(in *RiskInput) { in.Outcomes[1].Money = nil }},
		{registry.CodeInvalid, "/outcomes/1", func(in *RiskInput) { in.Outcomes[1].IndexLoss = &local }},
		{registry.CodeInvalid, "/outcomes/1/index_loss", func(in *RiskInput) { in.Outcomes[1].Money, in.Outcomes[1].IndexLoss = nil, &local }},
		{registry.CodeInvalid, "/value", func(in *RiskInput) { in.Value = &none }},
	} {
		bad := in
		bad.Outcomes = append([]Outcome{}, in.Outcomes...)
		c.spoil(&bad)
		_, err := Risk(bad)
		refused(t, err, c.code, c.pointer)
	}
	_, err = Run(MethodRisk, []byte(`{"outcomes":[{"id":"a","probability":1,"money":5}]}`))
	refused(t, err, registry.CodeInsufficient, "/source")
}

// The edges of the tail: an outcome that just fills it, and one that crosses it.
func TestRiskTail(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "outcomes")
		in := RiskInput{Source: "drawn"}
		for i, p := range drawShares(t, n, "p") {
			loss := float64(rapid.IntRange(-50, 500).Draw(t, "loss"))
			in.Outcomes = append(in.Outcomes, Outcome{ID: fmt.Sprint(i), Probability: p, Money: &loss})
		}
		out, err := Risk(in)
		require.NoError(t, err)
		require.LessOrEqual(t, out.VaR95, out.CVaR95+1e-9)
		require.LessOrEqual(t, out.VaR95, out.VaR99)
		require.LessOrEqual(t, out.Expected, out.CVaR95+1e-9)
		// Rockafellar and Uryasev's form: VaR + E[(loss − VaR)⁺]/0.05.
		excess, below, upTo := 0.0, 0.0, 0.0
		for _, o := range in.Outcomes {
			excess += o.Probability * max(0, *o.Money-out.VaR95)
			if *o.Money < out.VaR95 {
				below += o.Probability
			}
			if *o.Money <= out.VaR95 {
				upTo += o.Probability
			}
		}
		require.InDelta(t, out.VaR95+excess/0.05, out.CVaR95, 1e-6)
		require.True(t, upTo >= 0.95-1e-9 && below < 0.95+1e-9)
	})
}
