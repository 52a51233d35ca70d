package scoring

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// manyRows is a regression of 10⁵ rows and 12 columns.
func manyRows() RegressionInput {
	r := rand.New(rand.NewPCG(1, 2))
	in := RegressionInput{Intercept: true}
	for range 100_000 {
		row, y := make([]float64, 12), 3.0
		for j := range row {
			row[j] = r.NormFloat64() + float64(j)
			y += row[j] / float64(j+1)
		}
		in.X, in.Y = append(in.X, row), append(in.Y, y+r.NormFloat64())
	}
	return in
}

// BenchmarkRegression has to stay within twice the time of the bare
// factorisation below, with centring, scaling, condition and errors included.
func BenchmarkRegression(b *testing.B) {
	in := manyRows()
	b.Run("regression", func(b *testing.B) {
		for b.Loop() {
			if _, err := Regression(in); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("bare-qr-of-a-library", func(b *testing.B) {
		m := mat.NewDense(len(in.X), 12, nil)
		for i, row := range in.X {
			m.SetRow(i, row)
		}
		var qr mat.QR
		for b.Loop() {
			qr.Factorize(m)
		}
	})
}

// BenchmarkValue is the worked example, and a long list of sales of many makes.
func BenchmarkValue(b *testing.B) {
	many := drover()
	for i := range 1986 {
		s := many.Sales[i%14]
		s.ID, s.Make, s.Price = fmt.Sprint("more-", i), fmt.Sprint("make-", i%40), s.Price*(1+float64(i%17)/100)
		many.Sales = append(many.Sales, s)
	}
	many.Makes, many.Before.Make = &MakeSpread{.25, .16}, "make-1"
	for name, in := range map[string]ValueInput{"sales=14": drover(), "sales=2000,makes=40": many} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Value(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
