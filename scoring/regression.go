package scoring

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Limits of a regression.
const (
	MaxRows    = 1_000_000
	MaxColumns = 100
)

// MaxCondition is the largest condition number of the centred, scaled columns
// for which figures are given. About 16 − log10(condition) digits survive, so
// at the limit six are left.
const MaxCondition = 1e10

// dependentCondition is where columns count as dependent rather than nearly so:
// beyond it not a digit can be trusted.
const dependentCondition = 1e13

// defaultCoverage is the probability inside a prediction interval when none is
// asked for, the same as everywhere in this program.
const defaultCoverage = 0.8

// RegressionInput is a linear regression of y on the columns of x.
type RegressionInput struct {
	Y []float64 `json:"y"`
	// X has one row for each y, all of one length. Numbers are 0 or 1e-40 to
	// 1e40 in size, in any unit.
	X [][]float64 `json:"x"`
	// Names of the columns of X; x1, x2, … when empty.
	Names []string `json:"names,omitempty"`
	// Intercept says whether a constant is fitted too; it is the first
	// coefficient.
	Intercept bool `json:"intercept"`
	// Prior makes the regression Bayesian. Nil is ordinary least squares.
	Prior *CoefficientPrior `json:"prior,omitempty"`
	// Predict are rows for which a new observation is predicted.
	Predict [][]float64 `json:"predict,omitempty"`
	// Coverage is the probability inside a prediction interval, 0.01 to
	// 0.9999; 0.8 when nil.
	Coverage *float64 `json:"coverage,omitempty"`
}

// CoefficientPrior is what is believed of the coefficients β and of the
// residual variance σ² before any row is seen (normal–inverse-gamma):
//
//	β | σ² ~ N(mean, σ² V₀), V₀ = diag(sd²)/sigma²
//	σ² ~ inverse gamma with this shape a₀ and scale b₀ = (a₀ − 1) sigma²
//
// so that sigma² is the expected residual variance and sd the standard
// deviation of each coefficient when the residuals' is sigma.
type CoefficientPrior struct {
	Mean  []float64 `json:"mean"`  // the intercept first, if there is one
	SD    []float64 `json:"sd"`    // 1e-15 to 1e15
	Shape float64   `json:"shape"` // above 1, to 1e9; 2·shape are its degrees of freedom
	Sigma float64   `json:"sigma"` // 1e-15 to 1e15, in units of y
}

// RegressionResult holds the coefficients by name, in the order of the columns.
// With a prior they are the posterior: mean, and scale of a Student-t with DF
// degrees of freedom.
type RegressionResult struct {
	Coefficients Distribution `json:"coefficients"`
	SE           Distribution `json:"se"`
	// ResidualSD is √(RSS/df), with a prior √(b/a): in units of y.
	ResidualSD float64 `json:"residual_sd"`
	// R2 is the share of the variation of y that the columns take: about its
	// mean with an intercept, about 0 without. Nil with a prior, and when y
	// does not vary.
	R2   *float64 `json:"r2,omitempty"`
	DF   float64  `json:"df"`
	Rank int      `json:"rank"`
	// Condition is the ratio of the largest to the smallest singular value of
	// the columns, centred (with an intercept) and scaled to length 1; with a
	// prior its rows count too.
	Condition   float64      `json:"condition"`
	Rows        int          `json:"rows"`
	Predictions []Prediction `json:"predictions,omitempty"`
}

// Prediction is one row's: the fit, the standard error of the fit, and the
// interval in which a new observation lies with the probability asked for.
type Prediction struct {
	Fit  float64 `json:"fit"`
	SE   float64 `json:"se"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Regression fits y on the columns of x by Householder's QR factorisation of
// centred, scaled columns. With a prior the posterior is
//
//	V = (V₀⁻¹ + XᵀX)⁻¹, m = V (V₀⁻¹ m₀ + Xᵀy),
//	a = a₀ + n/2, b = b₀ + ½(yᵀy + m₀ᵀV₀⁻¹m₀ − mᵀV⁻¹m)
//
// (A. O'Hagan and J. Forster, Kendall's advanced theory of statistics 2B,
// 2004), computed as least squares with one row more for each coefficient.
//
// It refuses (CodeInvalid) a malformed input and (CodeInsufficient), rather
// than print noise, too few rows, columns that depend on one another or nearly
// do: it names them.
func Regression(in RegressionInput) (RegressionResult, error) {
	f, l, err := regress(in)
	if err != nil {
		return RegressionResult{}, err
	}
	p := len(l.names)
	out := RegressionResult{DF: l.df, ResidualSD: l.sd, Rank: p, Condition: l.condition, Rows: len(in.Y)}
	beta, length := f.coefficients()
	for j, name := range l.names {
		out.Coefficients = append(out.Coefficients, Entry[float64]{name, beta[j]})
		out.SE = append(out.SE, Entry[float64]{name, float64(length[j] * l.sd)})
	}
	if explained, left := f.explained(), f.squares(); in.Prior == nil && explained+left > 0 {
		r2 := explained / (explained + left)
		out.R2 = &r2
	}
	if len(in.Predict) == 0 {
		return out, nil
	}
	coverage := defaultCoverage
	if in.Coverage != nil {
		coverage = *in.Coverage
	}
	t := studentQuantile(0.5+coverage/2, l.df)
	for _, row := range in.Predict {
		u := f.place(row)
		z := f.t.whiten(u)
		leverage := dot(z, z)
		fit, half := f.at(u), float64(float64(t*l.sd)*math.Sqrt(1+leverage))
		out.Predictions = append(out.Predictions, Prediction{Fit: fit, SE: float64(l.sd * math.Sqrt(leverage)), Low: fit - half, High: fit + half})
	}
	return out, nil
}

// line is what a regression says apart from its coefficients.
type line struct {
	names     []string // of the coefficients
	df, sd    float64
	condition float64
}

// regress checks, fits and judges.
func regress(in RegressionInput) (*fitted, line, error) {
	d, l, err := readRegression(in)
	if err != nil {
		return nil, l, err
	}
	p := len(l.names)
	if in.Prior == nil && len(d.y) <= p {
		return nil, l, insufficient("/y", fmt.Sprintf("%d coefficients cannot be told from %d rows", p, len(d.y)),
			fmt.Sprintf("Give at least %d rows, fewer columns, or a prior.", p+1))
	}
	f := d.factor()
	columns := l.names[f.first():]
	if in.Prior == nil {
		if still := f.still(d, columns); len(still) > 0 {
			return nil, l, insufficient("/x", "These columns do not vary, so they cannot be told from the intercept or from nothing: "+strings.Join(still, ", "),
				"Leave them out.")
		}
	}
	if l.condition, err = f.judge(columns); err != nil {
		return nil, l, err
	}
	f.gamma = f.t.solve()
	l.df = float64(len(d.y) - p)
	l.sd = math.Sqrt(f.squares() / max(l.df, 1))
	if in.Prior != nil {
		l.df, l.sd = in.Prior.posterior(len(d.y), f.squares())
	}
	return f, l, nil
}

// posterior gives degrees of freedom 2a and √(b/a).
func (p *CoefficientPrior) posterior(rows int, squares float64) (df, sd float64) {
	a := p.Shape + float64(rows)/2
	b := float64(float64((p.Shape-1)*p.Sigma)*p.Sigma) + squares/2
	return float64(2 * a), math.Sqrt(b / a)
}

// still names the columns without any variation.
func (f *fitted) still(d design, names []string) (still []string) {
	for j, name := range names {
		varies := false
		for _, row := range d.x {
			if row[j] != f.centre[j] {
				varies = true
				break
			}
		}
		if !varies {
			still = append(still, quote(name))
		}
	}
	return still
}

// judge gives the condition number, or refuses and names the columns.
func (f *fitted) judge(names []string) (float64, error) {
	if len(names) == 0 {
		return 1, nil
	}
	values, directions := f.t.singular(f.first())
	least, most := 0, 0
	for j, v := range values {
		if v < values[least] {
			least = j
		}
		if v > values[most] {
			most = j
		}
	}
	dependent := func(v float64) bool { return float64(v*dependentCondition) < values[most] }
	if float64(values[least]*MaxCondition) >= values[most] {
		return values[most] / values[least], nil
	}
	together := map[int]bool{}
	for j, v := range values {
		if j != least && !dependent(v) {
			continue
		}
		top := 0.0
		for _, c := range directions[j] {
			top = max(top, math.Abs(c))
		}
		share := 1e-6
		if !dependent(v) {
			share = 0.1
		}
		for k, c := range directions[j] {
			if math.Abs(c) > float64(share*top) {
				together[k] = true
			}
		}
	}
	var involved []string
	for k, name := range names {
		if together[k] {
			involved = append(involved, quote(name))
		}
	}
	list := strings.Join(involved, ", ")
	if dependent(values[least]) {
		return 0, insufficient("/x", "These columns depend on one another, so their coefficients cannot be told apart: "+list,
			"Leave one of them out, or give a prior.")
	}
	return 0, insufficient("/x", fmt.Sprintf("These columns nearly depend on one another: %s. The condition number is %.2g and at most %g is computed, as too few digits would be right",
		list, values[most]/values[least], MaxCondition), "Leave one of them out, measure from another zero, or give a prior.")
}

// readRegression checks an input.
func readRegression(in RegressionInput) (design, line, error) {
	var fs faults
	d := design{x: in.X, y: in.Y, width: len(in.Names), intercept: in.Intercept}
	first := 0
	if in.Intercept {
		first = 1
	}
	switch {
	case len(in.Names) > 0:
	case len(in.X) > 0:
		d.width = len(in.X[0])
	case in.Prior != nil:
		d.width = max(0, len(in.Prior.Mean)-first)
	}
	fs.count("/x", len(in.X), MaxRows, "rows")
	fs.count("/x/0", d.width, MaxColumns, "columns")
	if len(in.X) != len(in.Y) {
		fs.add("/y", strconv.Itoa(len(in.Y))+" numbers", strconv.Itoa(len(in.X))+" numbers, one for each row of x", "x and y are not of one length", "Give one y for each row.")
	}
	for i, v := range in.Y {
		if !usable(v) {
			fs.size(at("/y", i), v)
		}
	}
	fs.rows("/x", in.X, d.width)
	fs.rows("/predict", in.Predict, d.width)
	if d.width+first == 0 {
		fs.add("/x", "no columns", "at least one column, or an intercept", "There is nothing to fit", "Give a column.")
	}
	if in.Coverage != nil {
		fs.span("/coverage", *in.Coverage, 0.01, 0.9999, "The coverage", "as a probability")
	}
	l := line{names: make([]string, 0, first+d.width)}
	seen := map[string]bool{}
	if in.Intercept {
		l.names = append(l.names, "intercept")
		seen["intercept"] = true
	}
	for j := range min(d.width, MaxColumns) {
		name := "x" + strconv.Itoa(j+1)
		if len(in.Names) > 0 {
			name = in.Names[j]
		}
		fs.unique(at("/names", j), name, "The column "+quote(name), seen)
		l.names = append(l.names, name)
	}
	if in.Prior != nil {
		fs.prior("/prior", *in.Prior, first+d.width)
	}
	if err := fs.err("The regression"); err != nil {
		return d, l, err
	}
	if in.Prior != nil {
		d.mean = in.Prior.Mean
		for _, sd := range in.Prior.SD {
			d.weight = append(d.weight, in.Prior.Sigma/sd)
		}
	}
	return d, l, nil
}

// usable says whether a number is of a size that can be squared and divided
// without leaving the range of a double.
func usable(v float64) bool { size := math.Abs(v); return size == 0 || size >= 1e-40 && size <= 1e40 }

func (fs *faults) size(pointer string, v float64) {
	if !usable(v) {
		fs.add(pointer, number(v), "0, or 1e-40 to 1e40 in size", "This number is too large or too small", "Use another unit.")
	}
}

// rows checks the rows of a table.
func (fs *faults) rows(pointer string, rows [][]float64, width int) {
	for i, row := range rows {
		if len(row) != width {
			fs.add(at(pointer, i), strconv.Itoa(len(row))+" numbers", strconv.Itoa(width)+" numbers", "The rows are not of one length", "Give a number for every column.")
			continue
		}
		if !slices.ContainsFunc(row, func(v float64) bool { return !usable(v) }) {
			continue
		}
		for j, v := range row {
			fs.size(at(at(pointer, i), j), v)
		}
	}
}

// prior checks a prior of p coefficients.
func (fs *faults) prior(pointer string, c CoefficientPrior, p int) {
	for _, list := range []struct {
		name   string
		values []float64
	}{{"/mean", c.Mean}, {"/sd", c.SD}} {
		if len(list.values) != p {
			fs.add(pointer+list.name, strconv.Itoa(len(list.values))+" numbers", strconv.Itoa(p)+" numbers, the intercept first",
				"The prior is not of the right length", "Give one number for each coefficient.")
		}
	}
	for j, v := range c.Mean {
		fs.size(at(pointer+"/mean", j), v)
	}
	for j, v := range c.SD {
		fs.span(at(pointer+"/sd", j), v, 1e-15, 1e15, "The standard deviation of a coefficient", "units of y for one unit of its column")
	}
	if !(c.Shape > 1 && c.Shape <= 1e9) {
		fs.add(pointer+"/shape", number(c.Shape), "above 1, to 1e9", "The shape of the prior is out of range", "3 is weak: it is worth six rows for the residual variance.")
	}
	fs.span(pointer+"/sigma", c.Sigma, 1e-15, 1e15, "The expected residual standard deviation", "units of y")
}

// Residuals gives what the regression leaves of each y, in units of y.
func Residuals(in RegressionInput) ([]float64, error) {
	f, _, err := regress(in)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(in.Y))
	for i, row := range in.X {
		out[i] = in.Y[i] - f.at(f.place(row))
	}
	return out, nil
}

// Smearing is the mean of exp(residual) of a regression of a logarithm: times
// exp(fit) it estimates the mean on the plain scale without assuming a normal
// curve. It is a mean over the sample's own residuals; the mean of an
// exponentiated Student-t is infinite and is given nowhere in this package.
// Source: N. Duan, Smearing estimate: a nonparametric retransformation method,
// 1983. 1 for no residuals.
func Smearing(residuals []float64) float64 {
	if len(residuals) == 0 {
		return 1
	}
	sum := 0.0
	for _, e := range residuals {
		sum += exponential(e)
	}
	return sum / float64(len(residuals))
}

// LogEffect gives the share by which a yes-or-no column with this coefficient
// and variance of the coefficient changes the plain response when its logarithm
// is fitted: exp(b) − 1 (R. Halvorsen and R. Palmquist, 1980), and less biased
// exp(b − variance/2) − 1 (P. Kennedy, 1981).
func LogEffect(coefficient, variance float64) (plain, corrected float64) {
	return exponentialMinusOne(coefficient), exponentialMinusOne(coefficient - variance/2)
}

// exponentialMinusOne is e to the power x, less 1, without loss near 0.
func exponentialMinusOne(x float64) float64 {
	if math.Abs(x) > 0.5 {
		return exponential(x) - 1
	}
	series := 0.0
	for n := 17; n >= 1; n-- {
		series = float64((series + 1) * (x / float64(n)))
	}
	return series
}

func readRegressionInput(r *reader, n *node) (in RegressionInput) {
	row := func(to *[][]float64) func(n *node, pointer string) {
		*to = [][]float64{}
		return r.array(func(n *node, pointer string) {
			values := make([]float64, 0, len(n.values))
			r.numbers(&values)(n, pointer)
			*to = append(*to, values)
		})
	}
	r.object(n, "",
		member{"y", true, r.numbers(&in.Y)},
		member{"x", true, row(&in.X)},
		member{"names", false, func(n *node, pointer string) { r.texts(&in.Names)(n, pointer) }},
		member{"intercept", true, r.flag(&in.Intercept)},
		member{"prior", false, r.prior(&in.Prior)},
		member{"predict", false, func(n *node, pointer string) { row(&in.Predict)(n, pointer) }},
		member{"coverage", false, r.optional(&in.Coverage)},
	)
	return in
}

func (r *reader) prior(to **CoefficientPrior) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		var p CoefficientPrior
		r.object(n, pointer,
			member{"mean", true, r.numbers(&p.Mean)},
			member{"sd", true, r.numbers(&p.SD)},
			member{"shape", true, r.number(&p.Shape)},
			member{"sigma", true, r.number(&p.Sigma)},
		)
		*to = &p
	}
}
