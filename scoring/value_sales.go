package scoring

import (
	"fmt"
	"math"
	"slices"
)

// Sales that may be wrong are shown and never dropped: whether a sale was typed
// twice or was a freak is for whoever knows it to say.

// The bounds of Outliers, all assumptions: the probability inside which a sale
// should lie by the others, and the shares by which leaving it out may change
// a level and a ratio.
const (
	OutlierCoverage = 0.99
	LevelInfluence  = 0.10
	RatioInfluence  = 0.05
)

// Influence is what one sale does: factors of what the median would be without
// it to what it is.
type Influence struct {
	ID       string    `json:"id"`
	Level    float64   `json:"level"`    // of the machine before
	Ratios   []float64 `json:"ratios"`   // for each act, in their order
	Leverage float64   `json:"leverage"` // 0 to 1: how far the fit follows this sale
	// Residual is how far the sale lies from what the others foretell, in
	// units of a Student-t with one degree of freedom fewer than the result.
	Residual float64 `json:"residual"`
}

// Held says for how many sales the interval foretold by the others held.
type Held struct {
	Of       int `json:"of"`
	Inside80 int `json:"inside80"`
	Inside95 int `json:"inside95"`
}

// Outlier is a sale to look at again, and why.
type Outlier struct {
	ID  string   `json:"id"`
	Why []string `json:"why"`
}

// Duplicates lists sales of one date, price, make and model, all four stated:
// each group has two or more, in the order given.
func Duplicates(sales []Sale) [][]string {
	type mark struct {
		date, maker, model string
		price              float64
	}
	groups := map[mark][]string{}
	var order []mark
	for _, s := range sales {
		if s.Date == "" || s.Make == "" || s.Model == "" {
			continue
		}
		k := mark{s.Date, s.Make, s.Model, s.Price}
		if len(groups[k]) == 0 {
			order = append(order, k)
		}
		groups[k] = append(groups[k], s.ID)
	}
	out := [][]string{}
	for _, k := range order {
		if len(groups[k]) > 1 {
			out = append(out, groups[k])
		}
	}
	return out
}

// Outliers lists the sales that lie outside OutlierCoverage by the others or
// whose influence passes a bound. df are the degrees of freedom of the result
// that the influences come from.
func Outliers(influences []Influence, df float64) []Outlier {
	out := []Outlier{}
	if len(influences) == 0 || !(df > 1) {
		return out
	}
	bound := studentQuantile(0.5+OutlierCoverage/2, df-1)
	for _, v := range influences {
		var why []string
		if math.Abs(v.Residual) > bound {
			why = append(why, fmt.Sprintf("its price is %s the others foretell (standardised residual %.1f, bound ±%.1f)",
				map[bool]string{true: "above what", false: "below what"}[v.Residual > 0], v.Residual, bound))
		}
		if change(v.Level) > LevelInfluence {
			why = append(why, fmt.Sprintf("without it the level before would be %s as high", times(v.Level)))
		}
		if i := slices.IndexFunc(v.Ratios, func(r float64) bool { return change(r) > RatioInfluence }); i >= 0 {
			why = append(why, fmt.Sprintf("without it a ratio would be %s as high", times(v.Ratios[i])))
		}
		if len(why) > 0 {
			out = append(out, Outlier{v.ID, why})
		}
	}
	return out
}

// change is the share by which a factor is above 1, or its inverse is.
func change(factor float64) float64 { return max(factor, 1/factor) - 1 }

func times(factor float64) string { return fmt.Sprintf("%.2f times", factor) }

// influence gives the figures of each sale, for the machine before and for the
// acts' steps, all whitened.
func (m *valuation) influence(in ValueInput, before []float64, steps [][]float64) []Influence {
	out := []Influence{}
	for i, l := range m.left {
		without := func(z []float64) float64 { return exponential(float64(-dot(z, l.z) * l.change)) }
		v := Influence{ID: in.Sales[i].ID, Level: without(before), Ratios: []float64{}, Leverage: l.leverage, Residual: l.residual}
		for _, z := range steps {
			v.Ratios = append(v.Ratios, without(z))
		}
		out = append(out, v)
	}
	return out
}

// held counts the sales within the interval that the others foretell.
func (m *valuation) held() *Held {
	if len(m.left) == 0 {
		return nil
	}
	at80, at95 := studentQuantile(0.9, m.df-1), studentQuantile(0.975, m.df-1)
	h := &Held{Of: len(m.left)}
	for _, l := range m.left {
		if math.Abs(l.residual) <= at80 {
			h.Inside80++
		}
		if math.Abs(l.residual) <= at95 {
			h.Inside95++
		}
	}
	return h
}
