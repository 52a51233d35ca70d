package scoring

import (
	"math"
)

// featureNames are the coefficients that every valuation has, in the order of
// its prior.
var featureNames = [6]string{"intercept", "originality", "condition", "distance", "tier", "originality_condition"}

// The zero points of the features, so that the intercept is the logarithm of
// the price of a middling machine.
const (
	middleOriginality = 0.7
	middleCondition   = 3.0
	middleDistance    = 20_000.0 // miles
)

// valuation is a fitted ValueInput.
type valuation struct {
	f     *fitted
	makes []string
	share float64 // of the residual that stays with the machine
	df    float64 // 2a
	sd    float64 // √(b/a)
	t90   float64 // the 0.9 quantile of Student's t
	// precision is σ₀²/sd² of each coefficient but the intercept: V₀⁻¹
	precision []float64
	scale     float64 // b
	least     float64 // b₀, which no scale falls below
	left      []leftOut
}

// row is a machine as columns, without the constant.
func (m *valuation) row(f Features, maker string) []float64 {
	o, c := f.Originality-middleOriginality, f.Condition-middleCondition
	row := make([]float64, 0, 5+len(m.makes))
	row = append(row, o, c, logarithm(f.Distance/middleDistance), f.Tier, float64(o*c))
	for _, name := range m.makes {
		own := 0.0
		if name == maker {
			own = 1
		}
		row = append(row, own)
	}
	return row
}

// mixed is the row of a machine of the mean make of the sales.
func (m *valuation) mixed(f Features) []float64 {
	row := m.row(f, "")
	copy(row[len(row)-len(m.makes):], m.f.centre[len(row)-len(m.makes):])
	return row
}

// difference is after − before; the make is the same and falls out.
func (m *valuation) difference(before, after Features) []float64 {
	from, to := m.row(before, ""), m.row(after, "")
	for j := range to {
		to[j] -= from[j]
	}
	return to
}

// priorVariance is dᵀV₀d in units of the residual variance.
func (m *valuation) priorVariance(d []float64) float64 {
	sum := 0.0
	for j, v := range d {
		sum += float64(v*v) / m.precision[j]
	}
	return sum
}

func (m *valuation) coefficientNames() []string {
	names := featureNames[:]
	for _, name := range m.makes {
		names = append(names, "make:"+name)
	}
	return names
}

// readValue checks and fits.
func readValue(in ValueInput) (*valuation, error) {
	if err := checkValue(in); err != nil {
		return nil, err
	}
	m := &valuation{makes: makesOf(in), share: DefaultResidualShare}
	if in.ResidualShare != nil {
		m.share = *in.ResidualShare
	}
	d := design{intercept: true, width: len(featureNames) - 1 + len(m.makes)}
	for _, s := range in.Sales {
		y := logarithm(s.Price)
		if s.LogIndex != nil {
			y -= *s.LogIndex
		}
		d.y = append(d.y, y)
		d.x = append(d.x, m.row(s.Features, s.Make))
	}
	d.mean = append(d.mean, in.Prior.Mean...)
	for _, sd := range in.Prior.SD {
		d.weight = append(d.weight, in.Prior.Sigma/sd)
	}
	for range m.makes {
		d.mean = append(d.mean, 0)
		d.weight = append(d.weight, in.Makes.Sigma/in.Makes.Tau)
	}
	for _, w := range d.weight[1:] {
		m.precision = append(m.precision, float64(w*w))
	}
	m.f = d.factor()
	m.f.gamma = m.f.t.solve()
	m.df, m.sd = in.Prior.posterior(len(in.Sales), m.f.squares())
	m.scale = float64(float64(m.sd*m.sd)*m.df) / 2
	m.least = float64(float64((in.Prior.Shape-1)*in.Prior.Sigma) * in.Prior.Sigma)
	m.t90 = studentQuantile(0.9, m.df)
	m.leaveOut(d)
	return m, nil
}

// leftOut is what leaving one sale out takes.
type leftOut struct {
	z        []float64
	leverage float64 // of the sale itself, below 1
	change   float64 // of any fit at z: −(z·zᵢ)·change
	residual float64 // standardised by the other sales
}

// leaveOut prepares the exact leave-one-out figures, by the rank-one form of
// the inverse (J. Sherman and W. Morrison, 1950): nothing is fitted again.
func (m *valuation) leaveOut(d design) {
	for i, x := range d.x {
		place := m.f.place(x)
		z := m.f.t.whiten(place)
		l := leftOut{z: z, leverage: min(dot(z, z), 1-1e-12)}
		e, rest := d.y[i]-m.f.at(place), 1-l.leverage
		l.change = e / rest
		scale := max(m.least, m.scale-float64(float64(e*l.change)/2))
		l.residual = e / math.Sqrt(float64(scale/((m.df-1)/2)*rest))
		m.left = append(m.left, l)
	}
}

// effective is how many sales of equal weight a fit rests on.
func (m *valuation) effective(in ValueInput, z []float64, duplicates [][]string) float64 {
	group := map[string]int{}
	for g, ids := range duplicates {
		for _, id := range ids {
			group[id] = g
		}
	}
	weights := make([]float64, len(duplicates), len(duplicates)+len(m.left))
	for i, l := range m.left {
		w := dot(z, l.z)
		if g, twin := group[in.Sales[i].ID]; twin {
			weights[g] += w
		} else {
			weights = append(weights, w)
		}
	}
	sum, squares := 0.0, 0.0
	for _, w := range weights {
		sum += math.Abs(w)
		squares += float64(w * w)
	}
	if squares == 0 {
		return 0
	}
	return float64(sum*sum) / squares
}
