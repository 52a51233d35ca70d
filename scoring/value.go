package scoring

import (
	"math"
	"slices"
	"strconv"
)

// Limits of a valuation.
const (
	MaxSales  = 2000
	MaxAfters = 50
	MaxMakes  = 200
)

// When a level is refused, and when a ratio counts as mostly prior. All three
// are assumptions.
const (
	MinEffectiveSales = 5.0
	MaxLeverage       = 1.0
	minFromSales      = 0.5
)

// DefaultResidualShare is the share of the residual that stays with a machine
// through the act: all of it, the question of an owner who asks what the act
// does to this machine.
const DefaultResidualShare = 1.0

// ValueInput asks what a machine is worth before and after each of several
// acts, by sales of like machines and a prior. All prices are in one currency
// and of one kind, which the caller sees to.
type ValueInput struct {
	Sales []Sale `json:"sales"` // may be empty: the prior then speaks alone
	// Prior has six coefficients in the order intercept, originality,
	// condition, distance, tier, originality_condition; see Value.
	Prior CoefficientPrior `json:"prior"`
	// Makes lets makes differ by a random amount. Nil takes all alike.
	Makes  *MakeSpread `json:"makes,omitempty"`
	Before Subject     `json:"before"`
	Afters []After     `json:"afters"`
	// ResidualShare is the share of the residual that belongs to the machine
	// and is the same before and after, 0 to 1; DefaultResidualShare when nil.
	// Below 1 the question is how two sales of such machines would differ.
	ResidualShare *float64 `json:"residual_share,omitempty"`
}

// Features are what the price is explained by.
type Features struct {
	Originality float64 `json:"originality"` // index, 0 to 1
	Condition   float64 `json:"condition"`   // 0 to 5
	Distance    float64 `json:"distance"`    // miles, 1 to 1e6
	Tier        float64 `json:"tier"`        // 1 documented and running, 0 not, between for in part
}

// Sale is one comparable sale.
type Sale struct {
	ID    string `json:"id"`
	Date  string `json:"date,omitempty"` // only to find duplicates
	Make  string `json:"make,omitempty"`
	Model string `json:"model,omitempty"` // only to find duplicates
	// Price paid, above 0, to 1e12.
	Price float64 `json:"price"`
	Features
	// LogIndex is the logarithm of a stated price index at the sale, 0 for the
	// level of prices that the answer is wanted in; −20 to 20, 0 when nil.
	LogIndex *float64 `json:"log_index,omitempty"`
}

// Subject is the machine as it stands.
type Subject struct {
	Make string `json:"make,omitempty"`
	Features
}

// After is the same machine after an act.
type After struct {
	ID string `json:"id"`
	Features
	// Cost of the act in the currency of the sales, 0 to 1e12. Without it
	// there is no net figure.
	Cost *float64 `json:"cost,omitempty"`
}

// MakeSpread says how far makes differ: the logarithm of a make's level has
// the standard deviation Tau, stated beside the residual standard deviation
// Sigma that it was found with. Only their ratio counts. 0.001 to 10 each.
type MakeSpread struct {
	Tau   float64 `json:"tau"`
	Sigma float64 `json:"sigma"`
}

// Quantiles are the values below which the truth lies with 10, 50 and 90 %.
type Quantiles struct {
	Low10  float64 `json:"low10"`
	Median float64 `json:"median"`
	High90 float64 `json:"high90"`
}

// Chance is a probability, and how to say it: never more than ">99 %".
type Chance struct {
	P       float64 `json:"p"`
	Printed string  `json:"printed"`
}

// ValueResult holds the ratios first: they are better known than the levels.
type ValueResult struct {
	Afters []AfterValue `json:"afters"`
	Before LevelValue   `json:"before"`
	// Coefficients and SE are location and scale of the posterior, a Student-t
	// with DF degrees of freedom; makes stand last as "make:" and their name.
	Coefficients  Distribution `json:"coefficients"`
	SE            Distribution `json:"se"`
	ResidualSD    float64      `json:"residual_sd"` // of a logarithm
	DF            float64      `json:"df"`
	Sales         int          `json:"sales"`
	ResidualShare float64      `json:"residual_share"`
	PriorOnly     bool         `json:"prior_only"`
	Makes         []MakeEffect `json:"makes,omitempty"`
	// Held says how well each sale was foretold by the others.
	Held       *Held       `json:"held,omitempty"`
	Influence  []Influence `json:"influence"`
	Duplicates [][]string  `json:"duplicates"`
	Outliers   []Outlier   `json:"outliers"`
	Cautions   []string    `json:"cautions"`
}

// LevelValue is what a machine would fetch, in the currency of the sales.
type LevelValue struct {
	// Level is nil when it is refused.
	Level *Quantiles `json:"level,omitempty"`
	// LevelLogSD is the scale of the level's logarithm: what is not known of
	// the coefficients, of the make, and of a single sale.
	LevelLogSD float64 `json:"level_log_sd"`
	// Leverage is xᵀVx: how far the features lie from where the sales speak, in
	// units of the residual variance. That of a machine which is itself among
	// the sales is below 1. It and NEffective take the make to be mixed as it
	// is among the sales, for what a make is not known by is in LevelLogSD.
	Leverage float64 `json:"leverage"`
	// NEffective is how many sales of equal weight the level rests on:
	// (Σ|wᵢ|)²/Σwᵢ², wᵢ the change of the level's logarithm with that of sale
	// i; sales listed as duplicates of one another count as one.
	NEffective float64  `json:"n_effective"`
	Refusals   []string `json:"refusals"`
}

// AfterValue compares one act with the machine as it stands.
type AfterValue struct {
	ID    string    `json:"id"`
	Ratio Quantiles `json:"ratio"` // after / before
	// RatioLogSD is the scale of the ratio's logarithm.
	RatioLogSD float64 `json:"ratio_log_sd"`
	// FromSales is the share of the prior variance of the ratio's logarithm
	// that the sales took away, 0 to 1; nil when nothing differs.
	FromSales    *float64 `json:"from_sales,omitempty"`
	MostlyPrior  bool     `json:"mostly_prior"`   // FromSales is below one half
	ChanceOfFall Chance   `json:"chance_of_fall"` // that the ratio is below 1
	LevelValue
	Cost *float64 `json:"cost,omitempty"`
	// Net is level after − level before − cost; nil without a cost, and when
	// either level is refused. So is ChanceOfLoss, that Net is below 0.
	Net          *Quantiles `json:"net,omitempty"`
	ChanceOfLoss *Chance    `json:"chance_of_loss,omitempty"`
	Cautions     []string   `json:"cautions"`
}

// MakeEffect is what is known of one make.
type MakeEffect struct {
	Make  string `json:"make"`
	Sales int    `json:"sales"`
	// Kept is MakeShrinkage: how much of its own mean the make would keep if
	// everything else were known.
	Kept float64 `json:"kept"`
}

// Value fits, to the logarithms of the prices,
//
//	ln P = β₀ + β₁(o − 0.7) + β₂(c − 3) + β₃ ln(distance/20 000 mi) + β₄ tier
//	       + β₅(o − 0.7)(c − 3) + u(make) + ε
//
// with the prior of CoefficientPrior on the six β and u(make) ~ N(0,
// σ²·tau²/sigma²), by Regression's least squares with one row more for each
// coefficient. A level is a Student-t with location xᵀm and scale
// √(b/a · (1 + xᵀVx)); the difference of two logarithms has location dᵀm and
// scale √(b/a · (dᵀVd + 2(1−φ))), d = x₁ − x₀ and φ the share of the residual
// that stays with the machine. Log-linear explanation of prices is the
// published approach (S. Rosen, Hedonic prices and implicit markets, 1974).
//
// Everything is given as medians and quantiles: the mean of an exponentiated
// Student-t is infinite.
//
// It refuses (CodeInvalid) a malformed input. It withholds a level, with
// reasons in Refusals, that rests on fewer than MinEffectiveSales, whose
// leverage is above MaxLeverage, or whose features lie outside those of the
// sales; the ratio stands even then and says how much of it is prior.
func Value(in ValueInput) (ValueResult, error) {
	m, err := readValue(in)
	if err != nil {
		return ValueResult{}, err
	}
	out := ValueResult{Afters: []AfterValue{}, DF: m.df, ResidualSD: m.sd, Sales: len(in.Sales), ResidualShare: m.share,
		PriorOnly: len(in.Sales) == 0, Duplicates: Duplicates(in.Sales), Cautions: m.cautions(in)}
	beta, length := m.f.coefficients()
	for j, name := range m.coefficientNames() {
		out.Coefficients = append(out.Coefficients, Entry[float64]{name, beta[j]})
		out.SE = append(out.SE, Entry[float64]{name, float64(length[j] * m.sd)})
	}
	for _, name := range m.makes {
		own := 0
		for _, s := range in.Sales {
			if s.Make == name {
				own++
			}
		}
		out.Makes = append(out.Makes, MakeEffect{name, own, MakeShrinkage(own, in.Makes.Tau, in.Makes.Sigma)})
	}
	zBefore := m.f.t.whiten(m.f.place(m.row(in.Before.Features, in.Before.Make)))
	out.Before = m.level(in, in.Before.Features, in.Before.Make, out.Duplicates)
	steps := make([][]float64, len(in.Afters))
	for i, a := range in.Afters {
		value := m.after(in, a, zBefore, out.Before, out.Duplicates)
		steps[i] = m.f.t.whiten(m.f.step(m.difference(in.Before.Features, a.Features)))
		out.Afters = append(out.Afters, value)
	}
	out.Influence = m.influence(in, zBefore, steps)
	out.Held = m.held()
	out.Outliers = Outliers(out.Influence, m.df)
	return out, nil
}

// after compares one act with the machine as it stands.
func (m *valuation) after(in ValueInput, a After, zBefore []float64, before LevelValue, duplicates [][]string) AfterValue {
	d := m.difference(in.Before.Features, a.Features)
	step := m.f.step(d)
	z := m.f.t.whiten(step)
	j := joint{level: m.f.at(m.f.place(m.row(in.Before.Features, in.Before.Make))), change: m.f.along(step), sd: m.sd, df: m.df,
		a: 1 + dot(zBefore, zBefore), b: dot(zBefore, z) - (1 - m.share), d: dot(z, z) + float64(2*(1-m.share))}
	scale := float64(m.sd * math.Sqrt(j.d))
	t := float64(m.t90 * scale)
	out := AfterValue{ID: a.ID, Ratio: quantiles(j.change, t), RatioLogSD: scale, Cost: a.Cost,
		ChanceOfFall: chanceOf(j.fall()), LevelValue: m.level(in, a.Features, in.Before.Make, duplicates), Cautions: []string{}}
	if prior := m.priorVariance(d); prior > 0 {
		share := unit(1 - dot(z, z)/prior)
		out.FromSales, out.MostlyPrior = &share, share < minFromSales
	}
	out.Cautions = m.ratioCautions(in, a, out)
	if before.Level == nil || out.Level == nil {
		if a.Cost != nil {
			out.Refusals = append(out.Refusals, "No net figure and no chance of loss: they need the level before and after.")
		}
		return out
	}
	if a.Cost != nil {
		net := Quantiles{Low10: j.quantile(0.10) - *a.Cost, Median: j.quantile(0.50) - *a.Cost, High90: j.quantile(0.90) - *a.Cost}
		loss := chanceOf(j.loss(*a.Cost))
		out.Net, out.ChanceOfLoss = &net, &loss
	}
	return out
}

// level gives a machine's level, or says why not.
func (m *valuation) level(in ValueInput, f Features, maker string, duplicates [][]string) LevelValue {
	place := m.f.place(m.row(f, maker))
	z := m.f.t.whiten(place)
	mixed := m.f.t.whiten(m.f.place(m.mixed(f)))
	out := LevelValue{LevelLogSD: float64(m.sd * math.Sqrt(1+dot(z, z))), Leverage: dot(mixed, mixed),
		NEffective: m.effective(in, mixed, duplicates)}
	out.Refusals = m.levelRefusals(in, f, out)
	if len(out.Refusals) == 0 {
		q := quantiles(m.f.at(place), float64(m.t90*out.LevelLogSD))
		out.Level = &q
	}
	return out
}

// quantiles exponentiates a symmetrical range of a logarithm.
func quantiles(middle, half float64) Quantiles {
	return Quantiles{exponential(middle - half), exponential(middle), exponential(middle + half)}
}

func chanceOf(p float64) Chance { p = unit(p); return Chance{p, Percent(p)} }

// MakeShrinkage is n·tau²/(n·tau² + sigma²): how much of the mean of its own n
// sales a make keeps; the rest is drawn to the mean of all makes. Source: A.
// Gelman and J. Hill, Data analysis using regression and multilevel models,
// 2007, chapter 12.
func MakeShrinkage(own int, tau, sigma float64) float64 {
	between := float64(float64(float64(own)*tau) * tau)
	return between / (between + float64(sigma*sigma))
}

func readValueInput(r *reader, n *node) (in ValueInput) {
	features := func(f *Features) []member {
		return []member{
			{"originality", true, r.number(&f.Originality)},
			{"condition", true, r.number(&f.Condition)},
			{"distance", true, r.number(&f.Distance)},
			{"tier", true, r.number(&f.Tier)},
		}
	}
	var prior *CoefficientPrior
	r.object(n, "",
		member{"sales", true, r.array(func(n *node, pointer string) {
			var s Sale
			r.object(n, pointer, append(features(&s.Features),
				member{"id", true, r.text(&s.ID)},
				member{"date", false, r.text(&s.Date)},
				member{"make", false, r.text(&s.Make)},
				member{"model", false, r.text(&s.Model)},
				member{"price", true, r.number(&s.Price)},
				member{"log_index", false, r.optional(&s.LogIndex)},
			)...)
			in.Sales = append(in.Sales, s)
		})},
		member{"prior", true, r.prior(&prior)},
		member{"makes", false, func(n *node, pointer string) {
			in.Makes = &MakeSpread{}
			r.object(n, pointer,
				member{"tau", true, r.number(&in.Makes.Tau)},
				member{"sigma", true, r.number(&in.Makes.Sigma)},
			)
		}},
		member{"before", true, func(n *node, pointer string) {
			r.object(n, pointer, append(features(&in.Before.Features), member{"make", false, r.text(&in.Before.Make)})...)
		}},
		member{"afters", true, r.array(func(n *node, pointer string) {
			var a After
			r.object(n, pointer, append(features(&a.Features),
				member{"id", true, r.text(&a.ID)},
				member{"cost", false, r.optional(&a.Cost)},
			)...)
			in.Afters = append(in.Afters, a)
		})},
		member{"residual_share", false, r.optional(&in.ResidualShare)},
	)
	if prior != nil {
		in.Prior = *prior
	}
	return in
}

// features adds what is wrong with the features.
func (fs *faults) features(pointer string, f Features) {
	fs.span(pointer+"/originality", f.Originality, 0, 1, "The index of originality", "as a share")
	fs.span(pointer+"/condition", f.Condition, 0, 5, "The condition", "steps of the scale")
	fs.span(pointer+"/distance", f.Distance, 1, 1e6, "The distance", "miles")
	fs.span(pointer+"/tier", f.Tier, 0, 1, "The tier", "1 for documented and running, 0 for not")
}

// money adds a fault unless v can be a price (above 0) or a cost (0 or more).
func (fs *faults) money(pointer string, v, least float64, what string) {
	if !(v >= least && v <= 1e12) {
		allowed := number(least) + " to 1e12"
		fs.add(pointer, number(v), allowed, what+" is out of range", "Give it in the currency of all sales.")
	}
}

func checkValue(in ValueInput) error {
	var fs faults
	fs.count("/sales", len(in.Sales), MaxSales, "sales")
	seen := map[string]bool{}
	for i, s := range in.Sales {
		here := at("/sales", i)
		fs.unique(here+"/id", s.ID, "A sale", seen)
		fs.money(here+"/price", s.Price, 1e-6, "A price paid")
		fs.features(here, s.Features)
		if s.Make != "" {
			fs.name(here+"/make", s.Make, "A make")
		}
		if s.LogIndex != nil {
			fs.span(here+"/log_index", *s.LogIndex, -20, 20, "The logarithm of the price index", "as a logarithm")
		}
	}
	fs.prior("/prior", in.Prior, len(featureNames))
	for j, v := range in.Prior.Mean {
		fs.span(at("/prior/mean", j), v, -50, 50, "The mean of a coefficient", "of a logarithm")
	}
	for j, v := range in.Prior.SD {
		fs.span(at("/prior/sd", j), v, 1e-6, 10, "The standard deviation of a coefficient", "of a logarithm")
	}
	fs.span("/prior/sigma", in.Prior.Sigma, 0.001, 10, "The expected residual standard deviation", "of a logarithm")
	if in.Makes != nil {
		fs.span("/makes/tau", in.Makes.Tau, 0.001, 10, "The spread of makes", "of a logarithm")
		fs.span("/makes/sigma", in.Makes.Sigma, 0.001, 10, "The residual standard deviation", "of a logarithm")
	}
	if in.Before.Make != "" {
		fs.name("/before/make", in.Before.Make, "A make")
	}
	fs.features("/before", in.Before.Features)
	fs.count("/afters", len(in.Afters), MaxAfters, "acts")
	seen = map[string]bool{}
	for i, a := range in.Afters {
		here := at("/afters", i)
		fs.unique(here+"/id", a.ID, "An act", seen)
		fs.features(here, a.Features)
		if a.Cost != nil {
			fs.money(here+"/cost", *a.Cost, 0, "A cost")
		}
	}
	if in.ResidualShare != nil {
		fs.probability("/residual_share", *in.ResidualShare, "The share of the residual")
	}
	if makes := makesOf(in); len(makes) > MaxMakes {
		fs.add("/sales", strconv.Itoa(len(makes)), "at most "+strconv.Itoa(MaxMakes), "Too many makes", "Leave out the makes of machines that are least like this one.")
	}
	return fs.err("The value")
}

// makesOf lists the makes that get a column, sorted: none without a spread.
func makesOf(in ValueInput) []string {
	if in.Makes == nil {
		return nil
	}
	var makes []string
	for _, s := range in.Sales {
		if s.Make != "" {
			makes = append(makes, s.Make)
		}
	}
	if in.Before.Make != "" {
		makes = append(makes, in.Before.Make)
	}
	slices.Sort(makes)
	return slices.Compact(makes)
}
