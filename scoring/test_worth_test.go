package scoring

import (
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Worked example: keep or refinish a tank that is original or an old respray; a
// test of sensitivity .90 and specificity .85.
func TestWorthOfTestTank(t *testing.T) {
	for _, c := range []struct {
		original, perfect, test float64
		changes                 bool
	}{{0.70, 90, 0, false}, {0.50, 150, 62.5, true}, {0.30, 210, 139.5, true}} {
		out, err := WorthOfTest(TestInput{States: []string{"original", "respray"}, Prior: []float64{c.original, 1 - c.original},
			Actions: []TestAction{{"keep", []float64{5200, 4100}}, {"refinish", []float64{3900, 4400}}},
			Results: []TestResult{{"original", []float64{0.90, 0.15}}, {"respray", []float64{0.10, 0.85}}}, Cost: 45})
		require.NoError(t, err)
		require.Equal(t, "keep", out.Best)
		near(t, c.perfect, out.Perfect, 9)
		near(t, c.test, out.Test, 9)
		near(t, c.test-45, out.Net, 9)
		near(t, 0.1875, *out.BreakEven, 9)
		require.Equal(t, c.changes, out.Changes)
		require.Greater(t, out.BitsBought, 0.3, "it always tells something for the record")
	}
}

// Raiffa, Decision Analysis, 1968: the oil driller. Drill or not, with a
// seismic test.
func TestWorthOfTestDriller(t *testing.T) {
	out, err := WorthOfTest(TestInput{States: []string{"dry", "wet", "soaking"}, Prior: []float64{0.5, 0.3, 0.2},
		Actions: []TestAction{{"drill", []float64{-70, 50, 200}}, {"do-not", []float64{0, 0, 0}}},
		Results: []TestResult{{"none", []float64{0.6, 0.3, 0.1}}, {"open", []float64{0.3, 0.4, 0.4}}, {"closed", []float64{0.1, 0.3, 0.5}}}, Cost: 10})
	require.NoError(t, err)
	require.Equal(t, "drill", out.Best)
	near(t, 20, out.Mean, 9)
	near(t, 12.5, out.Test, 9)
	near(t, 35, out.Perfect, 9)
	near(t, 2.5, out.Net, 9) // 22.5 with the test at 10, against 20
	for i, want := range []struct {
		chance float64
		best   string
		mean   float64
	}{{0.41, "do-not", 0}, {0.35, "drill", 32.8571}, {0.24, "drill", 87.5}} {
		near(t, want.chance, out.Results[i].Chance, 9)
		require.Equal(t, want.best, out.Results[i].Best)
		near(t, want.mean, out.Results[i].Mean, 4)
	}
	require.Nil(t, out.BreakEven)
}

// 0 ≤ worth of the test ≤ worth of knowing, and both are what a sum over all
// states and results gives; a test that says the state is worth as much as
// knowing it, one that says nothing is worth nothing.
func TestWorthOfTestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		states, actions, results := rapid.IntRange(2, 5).Draw(t, "states"), rapid.IntRange(2, 4).Draw(t, "actions"), rapid.IntRange(1, 4).Draw(t, "results")
		in := TestInput{States: stateNames[:states], Prior: drawShares(t, states, "prior")}
		for a := range actions {
			in.Actions = append(in.Actions, TestAction{stateNames[a], rapid.SliceOfN(rapid.Float64Range(-1000, 1000), states, states).Draw(t, "payoff")})
		}
		for r := range results {
			in.Results = append(in.Results, TestResult{stateNames[r], make([]float64, states)})
		}
		for s := range states {
			for r, p := range drawShares(t, results, "likelihood") {
				in.Results[r].Likelihood[s] = p
			}
		}
		out, err := WorthOfTest(in)
		require.NoError(t, err)
		require.GreaterOrEqual(t, out.Test, 0.0)
		require.LessOrEqual(t, out.Test, out.Perfect)
		require.GreaterOrEqual(t, out.BitsBought, 0.0)
		require.LessOrEqual(t, out.BitsBought, out.BitsBefore+1e-12)
		if !out.Changes {
			require.Equal(t, 0.0, out.Test)
		}
		with := 0.0
		for _, r := range out.Results {
			with += r.Chance * r.Mean
		}
		require.InDelta(t, out.Mean+out.Test, with, 1e-9*max(1, math.Abs(out.Mean)))

		in.Results = nil
		for s := range states {
			r := TestResult{stateNames[s], make([]float64, states)}
			r.Likelihood[s] = 1
			in.Results = append(in.Results, r)
		}
		out, err = WorthOfTest(in)
		require.NoError(t, err)
		require.InDelta(t, out.Perfect, out.Test, 1e-9)
		require.InDelta(t, out.BitsBefore, out.BitsBought, 1e-12)

		in.Results = []TestResult{{"nothing", make([]float64, states)}}
		for s := range states {
			in.Results[0].Likelihood[s] = 1
		}
		out, err = WorthOfTest(in)
		require.NoError(t, err)
		require.Equal(t, 0.0, out.Test)
		require.InDelta(t, 0, out.BitsBought, 1e-12)
	})
}

func TestWorthOfTestRefusals(t *testing.T) {
	for input, pointer := range map[string]string{
		`{"states":["a","b"],"prior":[0.5,0.4],"actions":[{"id":"x","payoff":[1,2]},{"id":"y","payoff":[1,2]}],"results":[{"id":"r","likelihood":[1,1]}]}`:           "/prior",
		`{"states":["a","b"],"prior":[0.5],"actions":[{"id":"x","payoff":[1,2]},{"id":"y","payoff":[1,2]}],"results":[{"id":"r","likelihood":[1,1]}]}`:               "/prior",
		`{"states":["a","b"],"prior":[0.5,0.5],"actions":[{"id":"x","payoff":[1]},{"id":"y","payoff":[1,2]}],"results":[{"id":"r","likelihood":[1,1]}]}`:             "/actions/0/payoff",
		`{"states":["a","b"],"prior":[0.5,0.5],"actions":[{"id":"x","payoff":[1,2]},{"id":"x","payoff":[1,2]}],"results":[{"id":"r","likelihood":[1,1]}]}`:           "/actions/1/id",
		`{"states":["a","b"],"prior":[0.5,0.5],"actions":[{"id":"x","payoff":[1,2]},{"id":"y","payoff":[1,2]}],"results":[{"id":"r","likelihood":[1,0.9]}]}`:         "/results",
		`{"states":["a","b"],"prior":[0.5,0.5],"actions":[{"id":"x","payoff":[1,2]},{"id":"y","payoff":[1,2]}],"results":[{"id":"r","likelihood":[1,1.5]}]}`:         "/results/0/likelihood/1",
		`{"states":["a","b"],"prior":[0.5,0.5],"actions":[{"id":"x","payoff":[1,2]},{"id":"y","payoff":[1,2]}],"results":[{"id":"r","likelihood":[1,1]}],"cost":-1}`: "/cost",
	} {
		_, err := Run(MethodTest, []byte(input))
		refused(t, err, registry.CodeInvalid, pointer)
	}
	_, err := Run(MethodTest, []byte(`{"states":["a"],"prior":[1],"actions":[{"id":"x","payoff":[1]}],"results":[{"id":"r","likelihood":[1]}]}`))
	refused(t, err, registry.CodeInsufficient, "/actions")
}
