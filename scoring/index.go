package scoring

import (
	"cmp"
	"math"
	"slices"
)

// DefaultWeightSpread is how far each weight is taken to be uncertain: ±30 %,
// an assumption. Weights are a convention, and the band says what hangs on it.
const DefaultWeightSpread = 0.30

// IndexInput asks how original a machine is under one standpoint: weights and
// credits are the standpoint's, probabilities the evidence's.
type IndexInput struct {
	Assemblies []Assembly `json:"assemblies"`
	// WeightSpread is the relative uncertainty of each weight, 0 to 0.99;
	// DefaultWeightSpread when nil.
	WeightSpread *float64 `json:"weight_spread,omitempty"`
}

// Assembly is parts that stand or fall together: an engine that was replaced as
// a whole took everything in it along.
type Assembly struct {
	ID string `json:"id"`
	// Intact is the probability that the assembly came with this machine, 0
	// to 1. At 1 its parts are independent.
	Intact float64     `json:"intact"`
	Parts  []IndexPart `json:"parts,omitempty"`
}

// IndexPart is one component.
type IndexPart struct {
	ID string `json:"id"` // unique in the whole input
	// Weight is the share of the component in the machine, in points: 0, or
	// 1e-9 to 1e9.
	Weight float64 `json:"weight"`
	// Credit is what a state counts, 0 to 1. It may hold more states than the
	// distributions do.
	Credit Distribution `json:"credit"`
	// IfIntact and IfSwapped are the probabilities of the states, given that
	// the assembly is intact or came from elsewhere. Each sums to 1 within
	// 1e-9. IfSwapped may be left out only when Intact is 1.
	IfIntact  Distribution `json:"if_intact"`
	IfSwapped Distribution `json:"if_swapped,omitempty"`
}

// IndexResult is the distribution of the index, a number from 0 to 1: the
// weighted mean of the credits. Quantiles are the smallest value whose
// cumulative probability reaches the level.
type IndexResult struct {
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"`
	Median float64 `json:"median"`
	Low80  float64 `json:"low80"` // 10 % lie below
	High80 float64 `json:"high80"`
	Low90  float64 `json:"low90"` // 5 % lie below
	High90 float64 `json:"high90"`
	// Modes are the humps, from low to high. Print them when there are two.
	Modes []Hump `json:"modes"`
	// WeightBand is the lowest and highest mean that the uncertainty of the
	// weights allows.
	WeightBand [2]float64 `json:"weight_band"`
	// TotalWeight is the sum of the weights, in points.
	TotalWeight float64 `json:"total_weight"`
	// Points is the number of values with a probability above 0.
	Points  int     `json:"points"`
	Lattice Lattice `json:"lattice"`
}

// Index computes the exact distribution of O = Σ wᵢ c(Sᵢ) / Σ wᵢ, where the
// parts of an assembly share a hidden switch (intact or swapped) and are
// independent given the switch. Mean and sd are the closed forms
//
//	E = Σ_a [π m₁ + (1−π) m₀] / W
//	Var = Σ_a [π v₁ + (1−π) v₀ + π(1−π)(m₁−m₀)²] / W²
//
// everything else is read off the distribution, which is built by convolution
// on an integer lattice: no sampling, no normal curve, nothing cut off.
//
// It refuses (CodeInvalid) a malformed input and a state without a credit, and
// (CodeInsufficient) an input without parts or with no weight at all.
func Index(in IndexInput) (IndexResult, error) {
	m, err := readIndex(in)
	if err != nil {
		return IndexResult{}, err
	}
	g := fit(m.values())
	s := spreadOf(g, m.groups(&g))
	total := m.total
	mean, variance := m.moments()
	out := IndexResult{Mean: unit(mean / total), SD: math.Sqrt(variance) / total, TotalWeight: total,
		Modes: humps(&s, total), Points: s.count, Lattice: g.lattice()}
	q := s.quantiles(0.05, 0.10, 0.50, 0.90, 0.95)
	for i, to := range []*float64{&out.Low90, &out.Low80, &out.Median, &out.High80, &out.High90} {
		*to = unit(q[i] / total)
	}
	out.WeightBand = m.weightBand()
	return out, nil
}

// unit keeps rounding from leaving [0,1].
func unit(v float64) float64 { return min(max(v, 0), 1) }

// model is a checked IndexInput without parts of weight 0. Outcomes are in
// points.
type model struct {
	assemblies []modelAssembly
	total      float64 // of all weights, in points
	spread     float64
}

type modelAssembly struct {
	intact float64
	parts  []modelPart
}

type modelPart struct {
	weight          float64
	intact, swapped []outcome // swapped is empty when the assembly is intact for certain
}

func readIndex(in IndexInput) (*model, error) {
	var fs faults
	m := &model{spread: DefaultWeightSpread}
	if in.WeightSpread != nil {
		m.spread = *in.WeightSpread
		fs.span("/weight_spread", m.spread, 0, 0.99, "The uncertainty of the weights", "as a share, 0.3 for ±30 %")
	}
	fs.count("/assemblies", len(in.Assemblies), MaxAssemblies, "assemblies")
	assemblies, parts := map[string]bool{}, map[string]bool{}
	for i, a := range in.Assemblies {
		here := at("/assemblies", i)
		fs.unique(here+"/id", a.ID, "An assembly", assemblies)
		fs.probability(here+"/intact", a.Intact, "The probability of being intact")
		ma := modelAssembly{intact: a.Intact, parts: make([]modelPart, 0, len(a.Parts))}
		var credit Distribution // sorted
		for j, p := range a.Parts {
			there := at(here+"/parts", j)
			fs.unique(there+"/id", p.ID, "A part", parts)
			fs.weight(there+"/weight", p.Weight, "A weight")
			if j == 0 || !same(p.Credit, a.Parts[j-1].Credit) { // parts often share one table
				credit = fs.table(there+"/credit", p.Credit, "A credit")
			}
			mp := modelPart{weight: p.Weight, intact: fs.credited(there+"/if_intact", p.IfIntact, credit, "The distribution if intact")}
			switch {
			case len(p.IfSwapped) > 0:
				mp.swapped = fs.credited(there+"/if_swapped", p.IfSwapped, credit, "The distribution if swapped")
			case a.Intact != 1:
				fs.add(there+"/if_swapped", "", "a distribution; it may be left out only when intact is 1",
					"It is not said what the part is if the assembly was swapped", "Add it, or set intact to 1.")
			}
			if a.Intact == 1 {
				mp.swapped = nil
			}
			if p.Weight > 0 {
				mp.weigh()
				m.total += p.Weight
				ma.parts = append(ma.parts, mp)
			}
		}
		if len(ma.parts) > 0 {
			m.assemblies = append(m.assemblies, ma)
		}
	}
	fs.count("/assemblies", len(parts), MaxParts, "parts")
	if err := fs.err("The index"); err != nil {
		return nil, err
	}
	if m.total == 0 {
		return nil, insufficient("/assemblies", "There is no part with any weight, so there is no index", "Add parts with weights.")
	}
	return m, nil
}

// same says whether two tables are one in memory.
func same(a, b Distribution) bool { return len(a) == len(b) && len(a) > 0 && &a[0] == &b[0] }

// weigh turns credits into points.
func (p *modelPart) weigh() {
	for _, list := range [][]outcome{p.intact, p.swapped} {
		for i := range list {
			list[i].value = float64(list[i].value * p.weight)
		}
	}
}

// values lists every value that each part may take, for the lattice.
func (m *model) values() [][]outcome {
	var all [][]outcome
	for _, a := range m.assemblies {
		for _, p := range a.parts {
			all = append(all, slices.Concat(p.intact, p.swapped))
		}
	}
	return all
}

// groups places every part on the lattice.
func (m *model) groups(g *grid) []group {
	var out []group
	n := 0
	for _, a := range m.assemblies {
		switched := group{p: a.intact}
		for _, p := range a.parts {
			intact := g.place(n, p.intact)
			if a.intact == 1 {
				out = append(out, group{p: 1, first: [][]lump{intact}})
			} else {
				switched.first = append(switched.first, intact)
				switched.second = append(switched.second, g.place(n, p.swapped))
			}
			n++
		}
		if a.intact != 1 {
			out = append(out, switched)
		}
	}
	return out
}

// moments gives mean and variance in points, by the closed forms.
func (m *model) moments() (mean, variance float64) {
	for _, a := range m.assemblies {
		var m1, v1, m0, v0 float64
		for _, p := range a.parts {
			mean, variance := moments(p.intact)
			m1 += mean
			v1 += variance
			mean, variance = moments(p.swapped)
			m0 += mean
			v0 += variance
		}
		d := m1 - m0
		both := float64(a.intact * (1 - a.intact))
		mean += float64(a.intact*m1) + float64((1-a.intact)*m0)
		variance += float64(a.intact*v1) + float64((1-a.intact)*v0) + float64(both*float64(d*d))
	}
	return mean, variance
}

// weightBand is the range of Σ wᵢ eᵢ / Σ wᵢ, eᵢ = E[credit], when each weight
// may lie anywhere within ± spread. The extreme has every weight at an end:
// with the parts sorted by credit, heavy below and light above some cut gives
// the least mean, the other way round the greatest (N. Karnik and J. Mendel,
// Centroid of a type-2 fuzzy set, 2001). Every cut is tried.
func (m *model) weightBand() [2]float64 {
	type term struct{ credit, weight float64 }
	var terms []term
	for _, a := range m.assemblies {
		for _, p := range a.parts {
			m1, _ := moments(p.intact)
			m0, _ := moments(p.swapped)
			points := float64(a.intact*m1) + float64((1-a.intact)*m0)
			terms = append(terms, term{points / p.weight, p.weight})
		}
	}
	slices.SortStableFunc(terms, func(a, b term) int { return cmp.Compare(a.credit, b.credit) })
	// below[i] and above[i] are weight and weight × credit of the terms before
	// and from i on.
	n := len(terms)
	below, above := make([][2]float64, n+1), make([][2]float64, n+1)
	for i, t := range terms {
		below[i+1] = [2]float64{below[i][0] + t.weight, below[i][1] + float64(t.weight*t.credit)}
	}
	for i := n - 1; i >= 0; i-- {
		above[i] = [2]float64{above[i+1][0] + terms[i].weight, above[i+1][1] + float64(terms[i].weight*terms[i].credit)}
	}
	light, heavy := 1-m.spread, 1+m.spread
	band := [2]float64{1, 0}
	for i := range below {
		least := (float64(heavy*below[i][1]) + float64(light*above[i][1])) / (float64(heavy*below[i][0]) + float64(light*above[i][0]))
		most := (float64(light*below[i][1]) + float64(heavy*above[i][1])) / (float64(light*below[i][0]) + float64(heavy*above[i][0]))
		band[0], band[1] = min(band[0], least), max(band[1], most)
	}
	return [2]float64{unit(band[0]), unit(band[1])}
}
