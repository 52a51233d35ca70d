package scoring

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func decimal(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// digits counts the digits in which got agrees with a certified value, at most
// 16; for a certified 0 the places after the point.
func digits(got, want float64) float64 {
	switch {
	case got == want:
		return 16
	case want == 0:
		return -math.Log10(math.Abs(got))
	}
	return min(16, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

// certifiedSet is one of the NIST Statistical Reference Datasets.
type certifiedSet struct {
	RegressionInput
	Coefficients, SE []string
	ResidualSD, R2   string
}

func certified(t testing.TB, name string) certifiedSet {
	t.Helper()
	raw, err := os.ReadFile("../testdata/checkvalues/nist_linear.json")
	require.NoError(t, err)
	var file struct {
		Sets map[string]struct {
			Degree       int
			Coefficients []string
			SE           []string `json:"se"`
			ResidualSD   string   `json:"residual_sd"`
			R2           string   `json:"r2"`
			Y            []string
			X            [][]string
		}
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	set, ok := file.Sets[name]
	require.True(t, ok, name)
	out := certifiedSet{RegressionInput{Intercept: true}, set.Coefficients, set.SE, set.ResidualSD, set.R2}
	for i, cells := range set.X {
		var row []float64
		if set.Degree == 0 {
			for _, c := range cells {
				row = append(row, decimal(t, c))
			}
		} else { // powers, each rounded once
			x, _ := new(big.Rat).SetString(cells[0])
			power := big.NewRat(1, 1)
			for range set.Degree {
				v, _ := power.Mul(power, x).Float64()
				row = append(row, v)
			}
		}
		out.X, out.Y = append(out.X, row), append(out.Y, decimal(t, set.Y[i]))
	}
	return out
}

// Certified values of the NIST Statistical Reference Datasets.
func TestRegressionOnCertifiedData(t *testing.T) {
	for name, least := range map[string]float64{"Norris": 9, "Pontius": 9, "Longley": 9,
		"Wampler1": 6, "Wampler2": 6, "Wampler3": 6, "Wampler4": 6, "Wampler5": 6, "Filip": 6} {
		set := certified(t, name)
		out, err := Regression(set.RegressionInput)
		require.NoError(t, err, name)
		require.Equal(t, len(set.Coefficients), out.Rank)
		require.Equal(t, float64(len(set.Y)-out.Rank), out.DF)
		worst := map[string]float64{"coefficient": 16, "se": 16,
			"residual sd": digits(out.ResidualSD, decimal(t, set.ResidualSD)), "r2": digits(*out.R2, decimal(t, set.R2))}
		for j := range set.Coefficients {
			worst["coefficient"] = min(worst["coefficient"], digits(out.Coefficients[j].Value, decimal(t, set.Coefficients[j])))
			worst["se"] = min(worst["se"], digits(out.SE[j].Value, decimal(t, set.SE[j])))
		}
		for what, d := range worst {
			require.Greater(t, d, least, "%s: %s has %.1f digits", name, what, d)
		}
		t.Logf("%s: condition %.3g, digits %v", name, out.Condition, worst)
	}
}

// houses is the regression of Anglin and Gençay 1996, table II: the logarithm
// of the price on eleven features.
func houses(t testing.TB) RegressionInput {
	t.Helper()
	raw, err := os.ReadFile("../testdata/checkvalues/house_prices.csv")
	require.NoError(t, err)
	reader := csv.NewReader(strings.NewReader(string(raw)))
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	require.NoError(t, err)
	in := RegressionInput{Intercept: true, Names: []string{"driveway", "recreation", "fullbase", "gasheat", "aircon", "garage", "prefer",
		"log lotsize", "log bedrooms", "log bathrooms", "log stories"}}
	place := map[string]int{}
	for j, name := range rows[0] {
		place[name] = j
	}
	for _, cells := range rows[1:] {
		var row []float64
		for _, name := range in.Names {
			plain, logged := strings.CutPrefix(name, "log ")
			if !logged {
				plain = name
			}
			cell := cells[place[plain]]
			switch {
			case cell == "yes":
				cell = "1"
			case cell == "no":
				cell = "0"
			}
			v := decimal(t, cell)
			if logged {
				v = logarithm(v)
			}
			row = append(row, v)
		}
		in.X, in.Y = append(in.X, row), append(in.Y, logarithm(decimal(t, cells[place["price"]])))
	}
	require.Len(t, in.X, 546)
	return in
}

// Expected numbers: the published table to its digits, and R 4.2.2's lm() on
// the same data beyond them.
func TestRegressionOnHousePrices(t *testing.T) {
	in := houses(t)
	in.Predict = in.X[:1]
	coverage := 0.95
	in.Coverage = &coverage
	out, err := Regression(in)
	require.NoError(t, err)
	for j, want := range []struct{ estimate, se float64 }{
		{7.9204813758341, 0.2191781005025}, {0.1095446758977, 0.0283597008966}, {0.0597030002633, 0.0261513380699},
		{0.0956442909343, 0.0216552719055}, {0.1733506513167, 0.0441159730511}, {0.1707836381385, 0.0212669290743},
		{0.0489159783069, 0.0115415544079}, {0.1296758999320, 0.0227794692176}, {0.3129159210927, 0.0269214106211},
		{0.0887914388035, 0.0437255998169}, {0.2637721968344, 0.0312154145519}, {0.1652339431225, 0.0249349488149},
	} {
		require.Greater(t, digits(out.Coefficients[j].Value, want.estimate), 10.0, out.Coefficients[j].Key)
		require.Greater(t, digits(out.SE[j].Value, want.se), 10.0, out.SE[j].Key)
	}
	require.Greater(t, digits(out.ResidualSD, 0.211281151539), 10.0)
	require.Greater(t, digits(*out.R2, 0.683906494177), 10.0)
	require.Equal(t, 534.0, out.DF)
	require.Greater(t, digits(out.Predictions[0].Fit, 11.1009594539), 10.0)
	require.Greater(t, digits(out.Predictions[0].SE, 0.0259933946569), 10.0)
	require.Greater(t, digits(out.Predictions[0].Low, 10.6827860944), 10.0)
	require.Greater(t, digits(out.Predictions[0].High, 11.5191328133), 10.0)

	residuals, err := Residuals(in)
	require.NoError(t, err)
	require.Greater(t, digits(Smearing(residuals), 1.02175399971), 10.0)
	b, _ := out.Coefficients.Get("aircon")
	se, _ := out.SE.Get("aircon")
	plain, corrected := LogEffect(b, se*se)
	require.Greater(t, digits(plain, 0.186234065444), 10.0)
	require.Greater(t, digits(corrected, 0.185965839454), 10.0)
	require.Equal(t, 1.0, Smearing(nil))
}

// A library with its own factorisation agrees on random problems, with a
// prior's rows written out where there is one.
func TestRegressionAgreesWithALibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawRegression(t)
		out, err := Regression(in)
		require.NoError(t, err)
		first := 0
		if in.Intercept {
			first = 1
		}
		p := first + len(in.X[0])
		var rows [][]float64
		var y []float64
		for i, row := range in.X {
			full := append([]float64{1}, row...)
			rows, y = append(rows, full[1-first:]), append(y, in.Y[i])
		}
		if in.Prior != nil {
			for j, sd := range in.Prior.SD {
				row := make([]float64, p)
				row[j] = in.Prior.Sigma / sd
				rows, y = append(rows, row), append(y, in.Prior.Mean[j]*row[j])
			}
		}
		m := mat.NewDense(len(rows), p, nil)
		for i, row := range rows {
			m.SetRow(i, row)
		}
		var qr mat.QR
		qr.Factorize(m)
		var beta mat.Dense
		require.NoError(t, qr.SolveTo(&beta, false, mat.NewDense(len(y), 1, y)))
		squares := 0.0
		for i, row := range rows {
			e := y[i]
			for j, v := range row {
				e -= v * beta.At(j, 0)
			}
			squares += e * e
		}
		df, scale := float64(len(y)-p), squares
		if in.Prior != nil {
			df = 2*in.Prior.Shape + float64(len(in.Y))
			scale = 2*(in.Prior.Shape-1)*in.Prior.Sigma*in.Prior.Sigma + squares
		}
		require.Equal(t, df, out.DF)
		require.InDelta(t, math.Sqrt(scale/df), out.ResidualSD, 1e-9)
		for j := range p {
			require.InDelta(t, beta.At(j, 0), out.Coefficients[j].Value, 1e-8)
		}
		var gram, inverse mat.Dense
		gram.Mul(m.T(), m)
		require.NoError(t, inverse.Inverse(&gram))
		for j := range p {
			require.InEpsilon(t, out.ResidualSD*math.Sqrt(inverse.At(j, j)), out.SE[j].Value, 1e-7)
		}
	})
}

// drawRegression draws a problem that can be solved: a random matrix whose
// columns are far from dependent.
func drawRegression(t *rapid.T) RegressionInput {
	p := rapid.IntRange(1, 4).Draw(t, "columns")
	n := rapid.IntRange(p+4, 300).Draw(t, "rows")
	in := RegressionInput{Intercept: rapid.Bool().Draw(t, "intercept")}
	seed := rapid.Uint64().Draw(t, "seed")
	next := func() float64 { // −1 to 1
		seed = seed*6364136223846793005 + 1442695040888963407
		return float64(int64(seed)>>11) / (1 << 52)
	}
	for range n {
		row := make([]float64, p)
		for j := range row {
			row[j] = next() + float64(j)
		}
		in.X, in.Y = append(in.X, row), append(in.Y, 3*next()+row[0])
	}
	if rapid.Bool().Draw(t, "prior") {
		prior := CoefficientPrior{Shape: rapid.SampledFrom([]float64{1.5, 3, 20}).Draw(t, "shape"), Sigma: rapid.SampledFrom([]float64{0.2, 2}).Draw(t, "sigma")}
		k := p
		if in.Intercept {
			k++
		}
		for range k {
			prior.Mean = append(prior.Mean, 4*next())
			prior.SD = append(prior.SD, rapid.SampledFrom([]float64{0.05, 0.5, 10}).Draw(t, "sd"))
		}
		in.Prior = &prior
	}
	return in
}

// Another zero and another unit of a column change its own coefficient as they
// must, and nothing else.
func TestRegressionDoesNotDependOnUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawRegression(t)
		in.Intercept, in.Prior = true, nil
		in.Predict = [][]float64{in.X[0]}
		a, err := Regression(in)
		require.NoError(t, err)
		unit := rapid.SampledFrom([]float64{1e-30, 0.001, 1609.344, 1e30}).Draw(t, "unit")
		moved := in
		moved.X = nil
		for _, row := range in.X {
			row = append([]float64{}, row...)
			row[0] = (row[0] + 1024) * unit
			moved.X = append(moved.X, row)
		}
		moved.Predict = [][]float64{moved.X[0]}
		b, err := Regression(moved)
		require.NoError(t, err)
		require.InEpsilon(t, a.Coefficients[1].Value, b.Coefficients[1].Value*unit, 1e-8)
		require.InEpsilon(t, a.SE[1].Value, b.SE[1].Value*unit, 1e-8)
		// Few rows and a large shift cost digits: up to 1e-8 of them.
		require.InEpsilon(t, a.ResidualSD, b.ResidualSD, 1e-8)
		require.InEpsilon(t, *a.R2, *b.R2, 1e-8)
		require.InEpsilon(t, a.Condition, b.Condition, 1e-8)
		require.InDelta(t, a.Predictions[0].Low, b.Predictions[0].Low, 1e-8)
	})
}

// The order of rows and the blocks they fall into matter in the last digits
// only.
func TestRegressionOfMoreThanABlock(t *testing.T) {
	in := RegressionInput{Intercept: true}
	for i := range 3*blockRows + 5 {
		x := float64(i) / 10
		in.X, in.Y = append(in.X, []float64{x, x * x}), append(in.Y, 2+3*x-x*x/4)
	}
	out, err := Regression(in)
	require.NoError(t, err)
	for j, want := range []float64{2, 3, -0.25} {
		require.InDelta(t, want, out.Coefficients[j].Value, 1e-9)
	}
	require.InDelta(t, 1, *out.R2, 1e-15)
}

func TestRegressionRefusesDependentColumns(t *testing.T) {
	in := RegressionInput{Intercept: true, Names: []string{"age", "year", "length", "width"}}
	for i := range 40 {
		v := float64(i)
		in.X = append(in.X, []float64{v, 1990 - v, math.Mod(v*7, 11), math.Mod(v*5, 13)})
		in.Y = append(in.Y, math.Mod(v*3, 17))
	}
	_, err := Regression(in)
	refused(t, err, registry.CodeInsufficient, "/x")
	require.Contains(t, err.Error(), `"age", "year"`)
	require.NotContains(t, err.Error(), "length")

	// Nearly dependent: a condition number of about 1e11.
	for i := range in.X {
		in.X[i][1] += math.Mod(float64(i*i), 7) * 1e-9
	}
	_, err = Regression(in)
	refused(t, err, registry.CodeInsufficient, "/x")
	require.Contains(t, err.Error(), "nearly")
	require.Contains(t, err.Error(), `"age", "year"`)
	require.NotContains(t, err.Error(), "width")

	// A weak prior makes them separable.
	in.Prior = &CoefficientPrior{Mean: make([]float64, 5), SD: []float64{10, 1, 1, 1, 1}, Shape: 3, Sigma: 1}
	_, err = Regression(in)
	require.NoError(t, err)

	in.Prior = nil
	for i := range in.X {
		in.X[i][1] = 1960
	}
	_, err = Regression(in)
	refused(t, err, registry.CodeInsufficient, "/x")
	require.Contains(t, err.Error(), `do not vary`)
	require.Contains(t, err.Error(), `"year"`)
}

func TestRegressionRefusals(t *testing.T) {
	good := func() RegressionInput {
		return RegressionInput{Intercept: true, X: [][]float64{{1}, {2}, {3}, {5}}, Y: []float64{1, 3, 2, 4},
			Prior: &CoefficientPrior{Mean: []float64{0, 0}, SD: []float64{1, 1}, Shape: 3, Sigma: 1}}
	}
	_, err := Regression(good())
	require.NoError(t, err)
	coverage := 1.0
	for _, c := range []struct {
		pointer string
		spoil   func(in *RegressionInput)
	}{
		{"/x/2", func(in *RegressionInput) { in.X[2] = []float64{1, 2} }},
		{"/x/2/0", func(in *RegressionInput) { in.X[2][0] = math.NaN() }},
		{"/x/2/0", func(in *RegressionInput) { in.X[2][0] = math.Inf(1) }},
		{"/x/2/0", func(in *RegressionInput) { in.X[2][0] = 1e-200 }},
		{"/y/1", func(in *RegressionInput) { in.Y[1] = 1e200 }},
		{"/y", func(in *RegressionInput) { in.Y = in.Y[:3] }},
		{"/x", func(in *RegressionInput) { in.Intercept, in.X, in.Prior = false, [][]float64{{}, {}, {}, {}}, nil }},
		{"/names/1", func(in *RegressionInput) { in.Names = []string{"a", "a"} }},
		{"/names/0", func(in *RegressionInput) { in.Names = []string{"intercept"} }},
		{"/x/0", func(in *RegressionInput) { in.Names = []string{"a", "b"} }},
		{"/predict/0", func(in *RegressionInput) { in.Predict = [][]float64{{1, 2}} }},
		{"/coverage", func(in *RegressionInput) { in.Coverage = &coverage }},
		{"/prior/mean", func(in *RegressionInput) { in.Prior.Mean = []float64{0} }},
		{"/prior/sd", func(in *RegressionInput) { in.Prior.SD = []float64{1, 1, 1} }},
		{"/prior/sd/1", func(in *RegressionInput) { in.Prior.SD[1] = 0 }},
		{"/prior/mean/0", func(in *RegressionInput) { in.Prior.Mean[0] = math.NaN() }},
		{"/prior/shape", func(in *RegressionInput) { in.Prior.Shape = 1 }},
		{"/prior/sigma", func(in *RegressionInput) { in.Prior.Sigma = -1 }},
	} {
		in := good()
		c.spoil(&in)
		_, err := Regression(in)
		refused(t, err, registry.CodeInvalid, c.pointer)
		_, err = Residuals(in)
		require.Error(t, err)
	}
	in := good()
	in.Prior, in.X, in.Y = nil, in.X[:2], in.Y[:2]
	_, err = Regression(in)
	refused(t, err, registry.CodeInsufficient, "/y")

	// Without rows the posterior is the prior.
	in = good()
	in.X, in.Y = nil, nil
	in.Prior.Mean = []float64{7, -2}
	out, err := Regression(in)
	require.NoError(t, err)
	require.Equal(t, Distribution{{"intercept", 7}, {"x1", -2}}, out.Coefficients)
	near(t, math.Sqrt(2.0/3), out.ResidualSD, 12) // b/a = (a₀−1)σ²/a₀
	require.Equal(t, 6.0, out.DF)

	// A response that does not vary has no share to explain.
	flat := RegressionInput{Intercept: true, X: [][]float64{{1}, {2}, {4}}, Y: []float64{5, 5, 5}}
	out, err = Regression(flat)
	require.NoError(t, err)
	require.Nil(t, out.R2)
	require.Equal(t, 5.0, out.Coefficients[0].Value)
}

// Values by incomplete beta functions to 25 digits; t(0.975, 9) stands in every
// printed table as 2.26216. A library is held against the rest.
func TestStudent(t *testing.T) {
	for _, c := range []struct{ p, df, want float64 }{
		{0.9, 20, 1.3253407069850463}, {0.975, 9, 2.2621571627982055}, {0.995, 19, 2.8609346064649792},
		{0.9, 2, 1.8856180831641267}, {0.999, 3.5, 8.3155676045161173}, {0.5, 4, 0}, {0.1, 20, -1.3253407069850463},
	} {
		require.InDelta(t, c.want, studentQuantile(c.p, c.df), 2e-14*max(1, math.Abs(c.want)))
	}
	for _, c := range []struct{ t, df, want float64 }{
		{-1.25, 2, 0.16886691073373905}, {0.01, 7, 0.50384984117818911}, {3.3, 20, 0.99821180864015188},
		{-8, 20, 5.8283141357442613e-8}, {-40, 5, 9.2059810858864772e-8}, {0.7, 100000, 0.75803553357633892}, {-5, 546, 3.8684842611448557e-7},
	} {
		require.InEpsilon(t, c.want, studentBelow(c.t, c.df), 1e-12, "%v %v", c.t, c.df)
	}
	require.Equal(t, 1.0, studentBelow(math.Inf(1), 5))
	require.InDelta(t, 0, studentBelow(math.Inf(-1), 2), 1e-100)
	rapid.Check(t, func(t *rapid.T) {
		df := rapid.SampledFrom([]float64{2.5, 3, 8, 20, 21, 150, 4001}).Draw(t, "df")
		x := rapid.Float64Range(-12, 12).Draw(t, "t")
		p := rapid.Float64Range(0.001, 0.999).Draw(t, "p")
		library := distuv.StudentsT{Sigma: 1, Nu: df}
		if math.Abs(x) > 0.1 { // nearer 0 the library loses digits
			require.InDelta(t, library.CDF(x), studentBelow(x, df), 1e-10)
		}
		require.InDelta(t, library.Prob(x), studentDensity(x, df), 1e-10)
		require.InDelta(t, p, studentBelow(studentQuantile(p, df), df), 1e-13)
	})
}

func TestRegressionRunsByName(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawRegression(t)
		out, err := Regression(in)
		require.NoError(t, err)
		runsAlike(t, MethodRegression, in, out)
	})
	for _, c := range []struct{ input, pointer string }{
		{`{"y":[1],"x":[[1]]}`, "/intercept"},
		{`{"y":[1],"x":[1],"intercept":true}`, "/x/0"},
		{`{"y":[1],"x":[["1"]],"intercept":true}`, "/x/0/0"},
		{`{"y":[1],"x":[[1]],"intercept":true,"prior":{"mean":[],"sd":[],"shape":2}}`, "/prior/sigma"},
		{`{"y":[1],"x":[[1]],"intercept":true,"weights":[1]}`, "/weights"},
	} {
		_, err := Run(MethodRegression, []byte(c.input))
		refused(t, err, registry.CodeInvalid, c.pointer)
	}
}

func ExampleRegression() {
	out, err := Regression(RegressionInput{Intercept: true, Names: []string{"miles"},
		Y: []float64{0.4, 0.7, 1.1, 1.3}, X: [][]float64{{100}, {200}, {300}, {400}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, c := range out.Coefficients {
		fmt.Printf("%s %.5f ± %.5f\n", c.Key, c.Value, out.SE[i].Value)
	}
	// Output:
	// intercept 0.10000 ± 0.07246
	// miles 0.00310 ± 0.00026
}
