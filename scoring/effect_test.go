package scoring

import (
	"fmt"
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Worked example: a donor magneto for one whose expected credit is 0.8956, 30
// of 474 points, looked at over ten years.
func TestEffectMagneto(t *testing.T) {
	in := read[EffectInput](t, "magneto.effect.json")
	for _, c := range []struct{ lossPerYear, forGood, survival float64 }{
		{0.02, 0.0049, 0.819}, // tagged and boxed with the machine
		{0.05, 0.0093, 0.607}, // returned unlisted
		{0.10, 0.0142, 0.368}, // loose
	} {
		in.Parts[0].LossPerYear = &c.lossPerYear
		out, err := Effect(in)
		require.NoError(t, err)
		near(t, 0.0219, out.Now.Mean, 4)
		near(t, c.forGood, out.ForGood.Mean, 4)
		near(t, c.survival, *out.Parts[0].Survival, 3)
		near(t, c.survival, Survival(c.lossPerYear, 10), 3)
	}
	// Without a custody that lets it come back nothing is discounted.
	for _, custody := range []string{"", CustodyNone, CustodyEvidenceOnly, CustodyLost, CustodyDestroyed} {
		in.Parts[0].Custody = custody
		out, err := Effect(in)
		require.NoError(t, err)
		require.Equal(t, out.Now, out.ForGood)
		require.Nil(t, out.Parts[0].Survival)
	}
	// Nor for an act that cannot be undone, whatever is typed.
	in.Parts[0].Custody, in.Parts[0].Reversible = CustodyKept, false
	out, err := Effect(in)
	require.NoError(t, err)
	require.Equal(t, out.Now, out.ForGood)
}

func TestWitnessIsLostOncePerOpening(t *testing.T) {
	in := EffectInput{TotalWeight: 1000, Openings: []Opening{{"timing-cover", 1.2}, {"head", 2}, {"timing-cover", 1.2}}}
	out, err := Effect(in)
	require.NoError(t, err)
	near(t, 0.0032, out.Now.Mean, 12)
	require.Equal(t, out.Now, out.ForGood)
	require.Equal(t, 0.0, out.Now.SD)
	near(t, 0.0032, out.Now.Median, 12)
	require.Len(t, out.Openings, 2)
	in.Openings[2].WitnessPoints = 1.3
	_, err = Effect(in)
	refused(t, err, registry.CodeInvalid, "/openings/2/witness_points")
}

// One object worked on: equal distributions before and after are no change at
// all; of two objects the difference is uncertain, though zero on average.
func TestSamePartIsPaired(t *testing.T) {
	d := Distribution{{"original", 0.7}, {"donor", 0.3}}
	in := EffectInput{TotalWeight: 100, Parts: []EffectPart{{ID: "p", Weight: 10, Credit: Distribution{{"original", 1}, {"donor", 0.5}, {"spoilt", 0.9}},
		Before: d, After: d, SamePart: true}}}
	out, err := Effect(in)
	require.NoError(t, err)
	require.Equal(t, 0.0, out.Now.SD)
	require.Equal(t, 0.0, out.Now.High80)
	in.Parts[0].SamePart = false
	out, err = Effect(in)
	require.NoError(t, err)
	require.InDelta(t, 0, out.Now.Mean, 1e-15)
	require.Greater(t, out.Now.SD, 0.01)
	// A tenth of the credit of an original goes; a donor part stays what it is.
	in.Parts[0].SamePart, in.Parts[0].After = true, Distribution{{"spoilt", 0.7}, {"donor", 0.3}}
	out, err = Effect(in)
	require.NoError(t, err)
	near(t, 0.007, out.Now.Mean, 12)
	near(t, 0.01, out.Now.High80, 12)
	require.Equal(t, 0.0, out.Now.Low80)
}

func TestAGainIsNoLastingGainUnlessItCannotBeUndone(t *testing.T) {
	in := EffectInput{TotalWeight: 100, Parts: []EffectPart{{ID: "silencer", Weight: 10, Credit: Distribution{{"reproduction", 0.2}, {"new-old-stock", 0.7}},
		Before: Distribution{{"reproduction", 1}}, After: Distribution{{"new-old-stock", 1}}, Reversible: true}}}
	out, err := Effect(in)
	require.NoError(t, err)
	near(t, -0.05, out.Now.Mean, 12)
	require.Equal(t, 0.0, out.ForGood.Mean)
	in.Parts[0].Reversible = false
	out, err = Effect(in)
	require.NoError(t, err)
	require.Equal(t, out.Now, out.ForGood)
}

// drawEffect draws an intervention whose parts lose on average.
func drawEffect(t *rapid.T) EffectInput {
	in := EffectInput{TotalWeight: 1000}
	for i := range rapid.IntRange(1, 5).Draw(t, "parts") {
		n := rapid.IntRange(1, 4).Draw(t, "states")
		p := EffectPart{ID: fmt.Sprint("p", i), Weight: float64(rapid.IntRange(0, 50).Draw(t, "weight")), Credit: drawCredit(t, n, "credit"),
			Before: drawDistribution(t, n, "before"), After: drawDistribution(t, n, "after"), SamePart: rapid.Bool().Draw(t, "same"),
			Reversible: rapid.Bool().Draw(t, "reversible"), Custody: rapid.SampledFrom(append(custodies[:], "")).Draw(t, "custody"),
			LossPerYear: new(rapid.Float64Range(0, 1).Draw(t, "loss")), Years: new(rapid.Float64Range(0, 50).Draw(t, "years")),
			RefitChance: new(rapid.Float64Range(0, 1).Draw(t, "refit"))}
		mean := 0.0
		for j, c := range p.Credit {
			mean += c.Value * (p.Before[j].Value - p.After[j].Value)
		}
		if mean < 0 {
			p.Before, p.After = p.After, p.Before
		}
		in.Parts = append(in.Parts, p)
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "openings") {
		in.Openings = append(in.Openings, Opening{fmt.Sprint("o", i/2), 0.3})
	}
	return in
}

func TestForGoodIsNeverAboveNow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawEffect(t)
		out, err := Effect(in)
		require.NoError(t, err)
		require.LessOrEqual(t, out.ForGood.Mean, out.Now.Mean+1e-15)
		for i, p := range out.Parts {
			require.LessOrEqual(t, p.ForGoodMean, p.NowMean+1e-15)
			if !in.Parts[i].Reversible {
				require.Equal(t, p.NowMean, p.ForGoodMean)
			}
		}
		text(t, out)
		// All irreversible: equal as whole distributions.
		for i := range in.Parts {
			in.Parts[i].Reversible = false
		}
		out, err = Effect(in)
		require.NoError(t, err)
		require.Equal(t, out.Now, out.ForGood)
	})
}

func TestASubsetNeverLosesMoreForGood(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawEffect(t)
		all, err := Effect(in)
		require.NoError(t, err)
		sub := EffectInput{TotalWeight: in.TotalWeight}
		for _, p := range in.Parts {
			if rapid.Bool().Draw(t, "keep part") {
				sub.Parts = append(sub.Parts, p)
			}
		}
		for _, o := range in.Openings {
			if rapid.Bool().Draw(t, "keep opening") {
				sub.Openings = append(sub.Openings, o)
			}
		}
		if len(sub.Parts)+len(sub.Openings) == 0 {
			return
		}
		some, err := Effect(sub)
		require.NoError(t, err)
		require.LessOrEqual(t, some.ForGood.Mean, all.ForGood.Mean+1e-15)
	})
}

// Two reversible parts by hand enumeration: the distribution, not only its
// mean.
func TestForGoodDistribution(t *testing.T) {
	part := func(id string) EffectPart {
		return EffectPart{ID: id, Weight: 10, Credit: Distribution{{"original", 1}, {"reproduction", 0.2}},
			Before: Distribution{{"original", 1}}, After: Distribution{{"reproduction", 1}}, Reversible: true, Custody: CustodyElsewhere,
			LossPerYear: new(0.0), Years: new(10.0), RefitChance: new(0.8)}
	}
	out, err := Effect(EffectInput{TotalWeight: 100, Parts: []EffectPart{part("left"), part("right")}})
	require.NoError(t, err)
	near(t, 0.16, out.Now.Median, 12)
	// Nothing with 0.64, one part (0.08) with 0.32, both (0.16) with 0.04.
	near(t, 0.2*0.16, out.ForGood.Mean, 12)
	near(t, math.Sqrt(2*0.2*0.8)*0.08, out.ForGood.SD, 12)
	require.Equal(t, 0.0, out.ForGood.Median)
	near(t, 0.08, out.ForGood.High80, 12)
}

func TestEffectRefusals(t *testing.T) {
	for _, c := range []struct {
		pointer string
		spoil   func(in *EffectInput, p *EffectPart)
	}{
		{"/total_weight", func(in *EffectInput, p *EffectPart) { in.TotalWeight = 0 }},
		{"/total_weight", func(in *EffectInput, p *EffectPart) { in.TotalWeight = 29 }},
		{"/parts/0/id", func(in *EffectInput, p *EffectPart) { p.ID = "" }},
		{"/parts/0/weight", func(in *EffectInput, p *EffectPart) { p.Weight = math.NaN() }},
		{"/parts/0/before", func(in *EffectInput, p *EffectPart) { p.Before = nil }},
		{"/parts/0/after/donor", func(in *EffectInput, p *EffectPart) {
			p.Credit = p.Credit[:1]
			p.Before = Distribution{{"original", 1}}
		}},
		{"/parts/0/custody", func(in *EffectInput, p *EffectPart) { p.Custody = "fitted" }},
		{"/parts/0/loss_per_year", func(in *EffectInput, p *EffectPart) { p.LossPerYear = nil }},
		{"/parts/0/years", func(in *EffectInput, p *EffectPart) { p.Years = new(-1.0) }},
		{"/parts/0/refit_chance", func(in *EffectInput, p *EffectPart) { p.RefitChance = new(1.5) }},
		{"/openings/0/id", func(in *EffectInput, p *EffectPart) { in.Openings = []Opening{{"", 1}} }},
	} {
		in := read[EffectInput](t, "magneto.effect.json")
		c.spoil(&in, &in.Parts[0])
		_, err := Effect(in)
		refused(t, err, registry.CodeInvalid, c.pointer)
	}
	_, err := Effect(EffectInput{TotalWeight: 100})
	refused(t, err, registry.CodeInsufficient, "")
}
