package scoring

import (
	"math"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// R's lm() on the same data, where R is installed.
func TestRegressionAgainstR(t *testing.T) {
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		t.Skip("R is not installed")
	}
	printed, err := exec.Command(rscript, "../testdata/r/regression.R", "../testdata/checkvalues").Output()
	require.NoError(t, err)

	// datasets::longley: GNP in thousands of millions, people in hundreds of
	// thousands and millions, employed in millions.
	longley := certified(t, "Longley")
	for i, row := range longley.X {
		longley.Y[i] /= 1000
		row[1] /= 1000
		for j := 2; j <= 3; j++ {
			row[j] /= 10
		}
		row[4] /= 1000
	}
	powers := RegressionInput{Intercept: true}
	for i := range 21 {
		x := float64(i)
		powers.X = append(powers.X, []float64{x, x * x, x * x * x})
		powers.Y = append(powers.Y, 1+x+x*x+x*x*x+math.Cos(x))
	}
	results := map[string]RegressionResult{}
	for name, in := range map[string]RegressionInput{"houses": houses(t), "longley": longley.RegressionInput, "powers": powers} {
		results[name], err = Regression(in)
		require.NoError(t, err)
	}
	places := map[string]int{}
	for _, line := range strings.Split(strings.TrimSpace(string(printed)), "\n") {
		cells := strings.Split(line, "\t")
		require.Len(t, cells, 4, line)
		out, first, second := results[cells[0]], decimal(t, cells[2]), decimal(t, cells[3])
		if cells[1] == "fit" {
			require.Greater(t, digits(out.ResidualSD, first), 9.0, line)
			require.Greater(t, digits(*out.R2, second), 9.0, line)
			continue
		}
		j := places[cells[0]]
		places[cells[0]]++
		require.Greater(t, digits(out.Coefficients[j].Value, first), 8.0, line)
		require.Greater(t, digits(out.SE[j].Value, second), 8.0, line)
	}
	require.Equal(t, map[string]int{"houses": 12, "longley": 7, "powers": 4}, places)
}
