package scoring

import (
	"fmt"

	"example.org/asfound/registry"
)

// AllMet is the probability that every one of several criteria is met.
type AllMet struct {
	// Low and High bound it when nothing is known of how the criteria hang
	// together (Fréchet's bounds): max(0, Σp − (n−1)) and min p.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	// Product is the probability if the criteria were independent.
	Product float64 `json:"product"`
	// Weakest is the place (from 0) of the least probable criterion; the first
	// of several.
	Weakest int `json:"weakest"`
}

// Bounds answers for the conjunction of criteria with the given probabilities.
// Source: M. Fréchet, Généralisations du théorème des probabilités totales,
// 1935. It refuses an empty list (CodeInsufficient) and a value outside [0,1].
func Bounds(p []float64) (AllMet, error) {
	if len(p) == 0 {
		return AllMet{}, insufficient("", "There is no criterion to judge", "Give the probability of each criterion.")
	}
	var fs faults
	for i, v := range p {
		fs.probability(at("", i), v, "The probability of a criterion")
	}
	if err := fs.err("The bounds"); err != nil {
		return AllMet{}, err
	}
	// 1 − Σ(1−p) loses less than Σp − (n−1).
	out := AllMet{High: p[0], Product: 1}
	missing := 0.0
	for i, v := range p {
		missing += 1 - v
		out.Product = float64(out.Product * v)
		if v < p[out.Weakest] {
			out.Weakest = i
		}
	}
	out.Low, out.High = max(0, 1-missing), p[out.Weakest]
	return out, nil
}

// Kappa is Cohen's kappa: how far two people agree beyond chance. table[i][j]
// counts the items that the first person put in class i and the second in
// class j. 1 is full agreement, 0 what chance gives.
//
// Source: J. Cohen, A coefficient of agreement for nominal scales, 1960. It
// refuses a table that is not square, a negative count, and
// (CodeInsufficient) an empty table or one where both used a single class, for
// which chance already agrees fully.
func Kappa(table [][]int) (float64, error) {
	var fs faults
	n := len(table)
	rows, columns := make([]float64, n), make([]float64, n)
	total, agreed := 0.0, 0.0
	for i, row := range table {
		if len(row) != n {
			fs.add(at("", i), fmt.Sprint(len(row)), fmt.Sprint(n), "The table must be square", "Give one row and one column for each class.")
			continue
		}
		for j, count := range row {
			if count < 0 || count > 1<<40 {
				fs.add(at(at("", i), j), fmt.Sprint(count), "0 or more", "A count cannot be negative", "")
			}
			c := float64(count)
			rows[i] += c
			columns[j] += c
			total += c
			if i == j {
				agreed += c
			}
		}
	}
	if err := fs.err("Kappa"); err != nil {
		return 0, err
	}
	chance := 0.0
	for i := range rows {
		chance += float64(rows[i] * columns[i])
	}
	// κ = (p_o − p_e)/(1 − p_e) with both multiplied by total².
	square := float64(total * total)
	if square == chance {
		return 0, registry.Refuse(registry.CodeInsufficient, "Judge items of at least two classes.",
			"Agreement cannot be told from chance: there is nothing to compare")
	}
	return (float64(agreed*total) - chance) / (square - chance), nil
}
