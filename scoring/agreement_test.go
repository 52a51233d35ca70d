package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// kappaOf is kappa of shares, for the derivative below.
func kappaOf(p [][]float64) float64 {
	observed, chance := 0.0, 0.0
	for i := range p {
		row, column := 0.0, 0.0
		for j := range p {
			row += p[i][j]
			column += p[j][i]
		}
		observed += p[i][i]
		chance += row * column
	}
	return (observed - chance) / (1 - chance)
}

// deltaSE is the standard error by the delta method from scratch: the gradient
// of kappa by differences, and the covariance of a multinomial sample.
func deltaSE(counts [][]int) float64 {
	n := 0
	for _, row := range counts {
		for _, c := range row {
			n += c
		}
	}
	p := make([][]float64, len(counts))
	for i, row := range counts {
		p[i] = make([]float64, len(row))
		for j, c := range row {
			p[i][j] = float64(c) / float64(n)
		}
	}
	// Moving a cell without scaling the rest is allowed: the gradient's part
	// along (1, …, 1) is taken away by the covariance.
	const h = 1e-6
	mean, square := 0.0, 0.0
	for i := range p {
		for j := range p {
			v := p[i][j]
			p[i][j] = v + h
			up := kappaOf(p)
			p[i][j] = v - h
			down := kappaOf(p)
			p[i][j] = v
			g := (up - down) / (2 * h)
			mean += v * g
			square += v * g * g
		}
	}
	return math.Sqrt((square - mean*mean) / float64(n))
}

// Textbook table 20, 5, 10, 15: kappa .40.
func TestAgreementExample(t *testing.T) {
	out, err := Agreement(AgreementInput{Counts: [][]int{{20, 5}, {10, 15}}, Settle: 0.6})
	require.NoError(t, err)
	near(t, 0.40, out.Kappa, 12)
	near(t, 0.70, out.Observed, 12)
	near(t, 0.50, out.Chance, 12)
	require.InDelta(t, deltaSE([][]int{{20, 5}, {10, 15}}), *out.SE, 1e-8)
	near(t, out.Kappa-1.959964**out.SE, *out.Low95, 5)
	require.True(t, out.SettleFirst)
	require.Contains(t, out.Advice, "wording first")
}

func TestAgreementEqualsTheDeltaMethod(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 4).Draw(t, "classes")
		counts := make([][]int, n)
		for i := range counts {
			counts[i] = rapid.SliceOfN(rapid.IntRange(1, 40), n, n).Draw(t, "row")
		}
		out, err := Agreement(AgreementInput{Counts: counts, Settle: 0.6})
		require.NoError(t, err)
		if out.SE == nil {
			t.Skip()
		}
		require.InDelta(t, deltaSE(counts), *out.SE, 1e-6)
		require.True(t, *out.Low95 <= out.Kappa && out.Kappa <= *out.High95)
		runsAlike(t, MethodKappa, AgreementInput{Counts: counts, Settle: 0.6}, out)
	})
}

func TestAgreementRefusals(t *testing.T) {
	out, err := Agreement(AgreementInput{Counts: [][]int{{7, 0}, {0, 5}}, Settle: 0.6})
	require.NoError(t, err)
	require.Nil(t, out.Low95, "full agreement of twelve items is not known without error")
	require.Len(t, out.Cautions, 2)
	_, err = Agreement(AgreementInput{Counts: [][]int{{9, 0}, {0, 0}}, Settle: 0.6})
	require.Equal(t, registry.CodeInsufficient, registry.CodeOf(err))
	_, err = Agreement(AgreementInput{Counts: [][]int{{1, 2}, {3}}, Settle: 0.6})
	refused(t, err, registry.CodeInvalid, "/counts/1")
	_, err = Agreement(AgreementInput{Counts: [][]int{{1, 2}, {3, 4}}, Settle: 6})
	refused(t, err, registry.CodeInvalid, "/settle")
	_, err = Run(MethodKappa, []byte(`{"counts":[[1,2.5],[3,4]],"settle":0.6}`))
	refused(t, err, registry.CodeInvalid, "/counts/0/1")
}
