package scoring_test

import (
	"fmt"

	"example.org/asfound/scoring"
)

// What would a sympathetic recommissioning do to the value of a machine? Prior
// and sales are invented; the catalog holds the prior that is used.
func ExampleValue() {
	cost := 1180.0
	in := scoring.ValueInput{
		Prior: scoring.CoefficientPrior{
			Mean:  []float64{8.4118, 0.90, 0.16, -0.06, 0.30, 0.15}, // e^8.4118 = 4500 for a middling machine
			SD:    []float64{0.50, 0.45, 0.08, 0.06, 0.20, 0.20},
			Shape: 3, Sigma: 0.22,
		},
		Before: scoring.Subject{Features: scoring.Features{Originality: 0.92, Condition: 2, Distance: 21_000}},
		Afters: []scoring.After{{ID: "sympathetic", Features: scoring.Features{Originality: 0.90, Condition: 3, Distance: 21_000}, Cost: &cost}},
	}
	for i, s := range []struct{ price, originality, condition, miles, tier float64 }{
		{5100, .70, 3, 22_000, 0}, {4000, .85, 3, 18_000, 0}, {3800, .55, 3, 30_000, 0}, {6050, .60, 4, 12_000, 0}, {5800, .90, 4, 9_000, 0},
		{2400, .80, 1, 26_000, 0}, {4500, .88, 2, 35_000, 0}, {8050, .72, 4, 20_000, 1}, {8150, .92, 4, 14_000, 1}, {6800, .50, 4, 25_000, 1},
		{4400, .82, 2, 28_000, 1}, {3700, .45, 4, 15_000, 0}, {7500, .86, 3, 24_000, 1}, {2900, .65, 2, 40_000, 0},
	} {
		in.Sales = append(in.Sales, scoring.Sale{ID: fmt.Sprint("sale-", i+1), Price: s.price,
			Features: scoring.Features{Originality: s.originality, Condition: s.condition, Distance: s.miles, Tier: s.tier}})
	}
	out, err := scoring.Value(in)
	if err != nil {
		fmt.Println(err)
		return
	}
	a := out.Afters[0]
	fmt.Printf("after/before %.2f (80 %% within %.2f to %.2f)\n", a.Ratio.Median, a.Ratio.Low10, a.Ratio.High90)
	fmt.Printf("net of cost GBP %.0f (%.0f to %.0f), chance of loss %s\n", a.Net.Median, a.Net.Low10, a.Net.High90, a.ChanceOfLoss.Printed)
	// Output:
	// after/before 1.25 (80 % within 1.18 to 1.33)
	// net of cost GBP -210 (-502 to 154), chance of loss 78 %
}
