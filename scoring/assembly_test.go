package scoring

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func drawAssembly(t *rapid.T, parts int) AssemblyInput {
	in := AssemblyInput{Intact: rapid.Float64Range(0.01, 0.99).Draw(t, "intact"), Rho: new(rapid.Float64Range(0, 1).Draw(t, "rho"))}
	for i := range parts {
		n := rapid.IntRange(1, 4).Draw(t, "states")
		p := AssemblyPart{ID: fmt.Sprint("p", i), IfIntact: drawDistribution(t, n, "if intact"), IfSwapped: drawDistribution(t, n, "if swapped")}
		l := Distribution{}
		for _, s := range stateNames[:rapid.IntRange(0, n).Draw(t, "claimed")] {
			l = append(l, Entry[float64]{s, rapid.Float64Range(-8, 0).Draw(t, "log likelihood")})
		}
		p.LogLikelihood = append(l, Entry[float64]{registry.StateOther, rapid.Float64Range(-8, 0).Draw(t, "other")})
		in.Parts = append(in.Parts, p)
	}
	return in
}

// With evidence on one part only, the part's mixture is the ordinary posterior
// under the mixed prior, by Bayes' rule.
func TestOnePartWithEvidenceIsOrdinaryBayes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawAssembly(t, 2)
		in.Parts[1].LogLikelihood = nil
		out, err := UpdateAssembly(in)
		require.NoError(t, err)
		p := in.Parts[0]
		other, _ := p.LogLikelihood.Get(registry.StateOther)
		want, total := map[string]float64{}, 0.0
		for i, e := range p.IfIntact {
			l, ok := p.LogLikelihood.Get(e.Key)
			if !ok {
				l = other
			}
			want[e.Key] = (in.Intact*e.Value + (1-in.Intact)*p.IfSwapped[i].Value) * math.Exp(l)
			total += want[e.Key]
		}
		for i, e := range out.Parts[0].IfIntact {
			got := out.Intact*e.Value + (1-out.Intact)*out.Parts[0].IfSwapped[i].Value
			require.InDelta(t, want[e.Key]/total, got, 1e-12)
		}
		require.Equal(t, 1.0, out.Parts[1].SwitchRatio)
	})
}

// Adding a part never lowers the support for the side that it speaks for.
func TestAddingAPartIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawAssembly(t, rapid.IntRange(1, 6).Draw(t, "parts"))
		with, err := UpdateAssembly(in)
		require.NoError(t, err)
		less := in
		less.Parts = in.Parts[:len(in.Parts)-1]
		without, err := UpdateAssembly(less)
		require.NoError(t, err)
		switch ratio := with.Parts[len(in.Parts)-1].SwitchRatio; {
		case ratio > 1 && with.Intact < without.Intact-1e-12, ratio < 1 && with.Intact > without.Intact+1e-12:
			t.Fatalf("ratio %v moved intact from %v to %v", ratio, without.Intact, with.Intact)
		}
		// The order of parts is immaterial to the switch, to the last bit.
		slices.Reverse(in.Parts)
		turned, err := UpdateAssembly(in)
		require.NoError(t, err)
		require.Equal(t, with.Intact, turned.Intact)
	})
}

// With ρ = 0 the parts are independent given the switch: full enumeration of
// switch and states is the reference.
func TestAssemblyWithoutDependenceIsTheStarModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawAssembly(t, 3)
		in.Rho = new(0.0)
		in.Switch = Distribution{{StateIntact, -0.5}, {StateSwapped, -1.5}, {registry.StateOther, -1}}
		intact, swapped := in.Intact*math.Exp(-0.5), (1-in.Intact)*math.Exp(-1.5)
		for _, p := range in.Parts {
			a, b := 0.0, 0.0
			for i, e := range p.IfIntact {
				l, ok := p.LogLikelihood.Get(e.Key)
				if !ok {
					l, _ = p.LogLikelihood.Get(registry.StateOther)
				}
				a += e.Value * math.Exp(l)
				b += p.IfSwapped[i].Value * math.Exp(l)
			}
			intact *= a
			swapped *= b
		}
		out, err := UpdateAssembly(in)
		require.NoError(t, err)
		require.InDelta(t, intact/(intact+swapped), out.Intact, 1e-12)
	})
}

func TestAssemblyExclusions(t *testing.T) {
	in := AssemblyInput{Intact: 0.9, Parts: []AssemblyPart{
		{ID: "left", IfIntact: Distribution{{"original", 1}}, IfSwapped: Distribution{{"donor", 1}},
			LogLikelihood: Distribution{{"original", math.Inf(-1)}, {"donor", -1}, {"other", -2}}},
		{ID: "right", IfIntact: Distribution{{"original", 1}}, IfSwapped: Distribution{{"donor", 1}}},
	}}
	out, err := UpdateAssembly(in)
	require.NoError(t, err)
	require.Equal(t, 0.0, out.Intact)
	require.Equal(t, 1/maxRatio, out.Parts[0].SwitchRatio)
	require.Equal(t, 1.0, value(t, out.Parts[0].IfIntact, "original")) // keeps its prior

	in.Parts[1].LogLikelihood = Distribution{{"original", -1}, {"donor", math.Inf(-1)}, {"other", -2}}
	_, err = UpdateAssembly(in)
	refused(t, err, registry.CodeInvalid, "")
	in.Parts[1].LogLikelihood[0].Value = math.Inf(-1)
	_, err = UpdateAssembly(in)
	refused(t, err, registry.CodeInvalid, "/parts/1")

	in.Parts[1].LogLikelihood = Distribution{{"original", -1}}
	_, err = UpdateAssembly(in)
	refused(t, err, registry.CodeInvalid, "/parts/1/log_likelihood/other")
	in.Parts[1].LogLikelihood = nil
	in.Switch = Distribution{{StateIntact, math.NaN()}}
	_, err = UpdateAssembly(in)
	refused(t, err, registry.CodeInvalid, "/switch/intact")
	refused(t, err, registry.CodeInvalid, "/switch/swapped")
	in.Switch, in.Intact = nil, 2
	_, err = UpdateAssembly(in)
	refused(t, err, registry.CodeInvalid, "/intact")
}

// A claim's evidence goes all the way to the index.
func TestFromClaimToIndex(t *testing.T) {
	tank := read[OriginInput](t, "tank.origin.json")
	l, err := LogLikelihood(tank)
	require.NoError(t, err)
	out, err := UpdateAssembly(AssemblyInput{Intact: 0.9, Parts: []AssemblyPart{{ID: "tank",
		IfIntact:  Distribution{{"original", 0.9}, {"donor", 0.08}, {"other", 0.02}},
		IfSwapped: Distribution{{"donor", 0.7}, {"reproduction", 0.28}, {"other", 0.02}}, LogLikelihood: l}}})
	require.NoError(t, err)
	require.Greater(t, out.Intact, 0.9)
	p := out.Parts[0]
	result, err := Index(IndexInput{Assemblies: []Assembly{{ID: "fuel", Intact: out.Intact, Parts: []IndexPart{{ID: "tank", Weight: 60,
		Credit:   Distribution{{"original", 1}, {"donor", 0.55}, {"reproduction", 0.2}, {"other", 0.2}},
		IfIntact: p.IfIntact, IfSwapped: p.IfSwapped}}}}})
	require.NoError(t, err)
	require.Greater(t, result.Mean, 0.95)
}
