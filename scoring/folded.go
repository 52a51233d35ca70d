package scoring

import (
	"math"
	"slices"
)

// Folded is an index with the credits left out. Mean and variance of index/1
// are polynomials in the credits of the states,
//
//	E·W = Σ_s Linear(s) c(s)
//	Var·W² = Σ_s,t Square(s,t) c(s) c(t),
//
// so that a machine of 160 components folds into a few dozen numbers, from which
// both follow under any credits without looking at a component again. The other
// figures of the distribution do not.
type Folded struct {
	Weight float64   // W, the sum of the weights, in points
	Linear []float64 // one for each state, in points
	// Square is the upper triangle of a symmetric matrix, row by row, in points²;
	// what lies below the diagonal is counted in it.
	Square []float64
}

// SquareSize is the length of Folded.Square for a number of states.
func SquareSize(states int) int { return states * (states + 1) / 2 }

// Fold leaves the credits out of an index. In the input, Credit holds for each
// part and state the share of the state's credit that counts there, which is 1
// unless work has taken of it. It refuses what Index refuses, and (CodeInvalid)
// a state that is not listed.
func Fold(in IndexInput, states []string) (Folded, error) {
	m, err := readIndex(in)
	if err != nil {
		return Folded{}, err
	}
	n := len(states)
	out := Folded{Weight: m.total, Linear: make([]float64, n), Square: make([]float64, SquareSize(n))}
	var fs faults
	points := func(p IndexPart, d Distribution, here string) []float64 { // probability and what a full credit would bring, of each state
		v := make([]float64, 2*n)
		for _, e := range d {
			i := slices.Index(states, e.Key)
			if i < 0 {
				fs.add(here, quote(e.Key), "the states listed", "A state is not listed", "Add it to the list.")
				continue
			}
			share, _ := p.Credit.Get(e.Key)
			v[i], v[n+i] = e.Value, float64(share*p.Weight)
		}
		return v
	}
	for i, a := range in.Assemblies {
		intact, swapped := make([]float64, n), make([]float64, n)
		for j, p := range a.Parts {
			if p.Weight == 0 {
				continue
			}
			here := at(at("/assemblies", i)+"/parts", j)
			out.part(intact, points(p, p.IfIntact, here+"/if_intact"), a.Intact)
			if a.Intact != 1 {
				out.part(swapped, points(p, p.IfSwapped, here+"/if_swapped"), 1-a.Intact)
			}
		}
		between := make([]float64, n)
		for s := range states {
			out.Linear[s] += float64(a.Intact*intact[s]) + float64((1-a.Intact)*swapped[s])
			between[s] = intact[s] - swapped[s]
		}
		if a.Intact != 1 {
			out.outer(between, float64(a.Intact*(1-a.Intact)))
		}
	}
	return out, fs.err("The index")
}

// part adds a part's own variance, weighted, and its points to a sum. v holds
// probabilities and, behind them, points.
func (f *Folded) part(sum, v []float64, by float64) {
	n := len(sum)
	mean := make([]float64, n)
	for s := range sum {
		mean[s] = float64(v[s] * v[n+s])
		sum[s] += mean[s]
		f.Square[f.place(s, s)] += float64(by * float64(mean[s]*v[n+s]))
	}
	f.outer(mean, -by)
}

// outer adds by·v·vᵀ.
func (f *Folded) outer(v []float64, by float64) {
	k := 0
	for s := range v {
		for t := s; t < len(v); t++ {
			x := float64(by * float64(v[s]*v[t]))
			if t != s {
				x = float64(2 * x)
			}
			f.Square[k] += x
			k++
		}
	}
}

// place is where row s and column t stand in Square, s ≤ t.
func (f *Folded) place(s, t int) int {
	n := len(f.Linear)
	return s*n - s*(s-1)/2 + t - s
}

// Under gives mean and standard deviation, 0 to 1, under the credits of the
// states, in their order. They are those of Index but for rounding.
func (f Folded) Under(credit []float64) (mean, sd float64) {
	variance, k := 0.0, 0
	for s, c := range credit {
		mean += float64(f.Linear[s] * c)
		row := 0.0
		for t := s; t < len(credit); t++ {
			row += float64(f.Square[k] * credit[t])
			k++
		}
		variance += float64(row * c)
	}
	return unit(mean / f.Weight), math.Sqrt(max(variance, 0)) / f.Weight
}
