package scoring

import (
	"fmt"
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Worked example, checked by an independent second implementation: the petrol
// tank with its papers, to four places.
func TestOriginTank(t *testing.T) {
	out, err := Origin(read[OriginInput](t, "tank.origin.json"))
	require.NoError(t, err)
	states := []string{"original", "period-service", "new-old-stock", "donor", "reproduction", "other"}
	without, ok := out.Without.Get("photo-1959")
	require.True(t, ok)
	for i, s := range states {
		require.Equal(t, s, out.Posterior[i].Key)
		near(t, []float64{0.9933, 0.0037, 0.0001, 0.0012, 0.0000, 0.0017}[i], out.Posterior[i].Value, 4)
		near(t, []float64{0.9226, 0.0308, 0.0048, 0.0347, 0.0003, 0.0068}[i], without[i].Value, 4)
		require.LessOrEqual(t, out.Band[i].Value[0], out.Posterior[i].Value)
		require.GreaterOrEqual(t, out.Band[i].Value[1], out.Posterior[i].Value)
	}
	// Bits before any evidence, after mark and patina, and after the picture.
	require.Len(t, out.EntropyBits, 6)
	near(t, 1.52, out.EntropyBits[0], 2)
	near(t, 0.52, out.EntropyBits[4], 2)
	near(t, 0.07, out.EntropyBits[5], 2)
	require.True(t, out.Moved)
	require.False(t, out.Conflict)
	require.Empty(t, out.Caution)
	require.Equal(t, []string{"limited", "limited", "moderate"},
		[]string{out.Clusters[0].Words, out.Clusters[1].Words, out.Clusters[2].Words})
	for _, c := range out.Clusters {
		require.Equal(t, "original", c.Favours)
	}
}

// Worked example: reliability 0.95 turns the 50 : 1 of the picture, original
// against donor, into 31.7 : 1. Over the five states the mixed ratio is
// (0.95·0.5 + 0.05·m)/(0.95·0.01 + 0.05·m), m = 0.1132.
func TestReliabilityMixing(t *testing.T) {
	in := read[OriginInput](t, "tank.origin.json")
	in.Evidence = in.Evidence[4:]
	l, err := LogLikelihood(in)
	require.NoError(t, err)
	near(t, 31.7, math.Exp(value(t, l, "original")-value(t, l, "donor")), 1)
	near(t, 0.1132, math.Exp(value(t, l, "other")), 6) // other has the mean
}

// Textbook screening example: prevalence 1 %, sensitivity 90 %, false alarms
// 9 %.
func TestOriginScreening(t *testing.T) {
	out, err := Origin(OriginInput{States: []string{"ill", "well"}, Prior: []float64{0.01, 0.99}, Other: new(0.0),
		Evidence: []EvidenceItem{{ID: "test", Cluster: "test", Likelihood: []float64{0.90, 0.09}}}})
	require.NoError(t, err)
	near(t, 0.0917, value(t, out.Posterior, "ill"), 4)
	require.Equal(t, "rests on one kind of evidence only", out.Caution)
}

// Enumeration of a hidden switch: the switch is on with 0.8 under one state and
// 0.3 under the other, an item shows with 0.9 when it is on and 0.1 when not.
// n items have the exact ratio 2.18, 2.60, 2.66, 2.67 for n = 1, 2, 3, 5.
func TestOrderedDiscountAgainstAHiddenSwitch(t *testing.T) {
	exact := func(n int) float64 {
		a, b := math.Pow(0.9, float64(n)), math.Pow(0.1, float64(n))
		return (0.8*a + 0.2*b) / (0.3*a + 0.7*b)
	}
	ordered := func(n int, rho float64) float64 {
		in := OriginInput{States: []string{"a", "b"}, Prior: []float64{0.5, 0.5}, Other: new(0.0), Rho: &rho}
		for i := range n {
			in.Evidence = append(in.Evidence, EvidenceItem{ID: fmt.Sprint(i), Cluster: "one", Likelihood: []float64{0.74, 0.34}})
		}
		out, err := Origin(in)
		require.NoError(t, err)
		return value(t, out.Posterior, "a") / value(t, out.Posterior, "b")
	}
	for _, c := range []struct {
		n            int
		exact, naive float64
		rho          float64 // at which the rule gives the exact ratio
	}{{1, 2.18, 2.18, 0.75}, {2, 2.60, 4.74, 0.771}, {3, 2.66, 10.3, 0.788}, {5, 2.67, 48.8, 0.793}} {
		require.InDelta(t, c.exact, exact(c.n), 0.005)
		require.InDelta(t, c.naive, ordered(c.n, 0), 0.05)
		require.InDelta(t, exact(c.n), ordered(c.n, c.rho), 0.01)
		// The default is on the cautious side of naive and near the truth.
		require.LessOrEqual(t, exact(c.n), ordered(c.n, DefaultRho)+1e-9)
		require.Less(t, ordered(c.n, DefaultRho), 1.07*exact(c.n))
	}
}

func TestOriginWithoutEvidenceMovesNothing(t *testing.T) {
	for _, prior := range [][]float64{{0.7, 0.3}, {0.686, 0.294}} { // sums to 1, or to 1 − other
		out, err := Origin(OriginInput{States: []string{"a", "b"}, Prior: prior})
		require.NoError(t, err)
		require.False(t, out.Moved)
		near(t, 0.686, value(t, out.Posterior, "a"), 12)
		near(t, 0.294, value(t, out.Posterior, "b"), 12)
		near(t, 0.02, value(t, out.Posterior, "other"), 12)
		require.Empty(t, out.Caution)
		require.Empty(t, out.Clusters)
		require.Len(t, out.EntropyBits, 1)
	}
}

func TestOriginConflict(t *testing.T) {
	in := OriginInput{States: []string{"original", "donor", "reproduction"}, Prior: []float64{0.6, 0.3, 0.1},
		Evidence: []EvidenceItem{
			{ID: "stamp", Cluster: "stamp", Likelihood: []float64{0.9, 0.01, 0.01}},
			{ID: "bill", Cluster: "paper", Likelihood: []float64{0.01, 0.9, 0.3}},
		}}
	out, err := Origin(in)
	require.NoError(t, err)
	require.True(t, out.Conflict)
	require.Equal(t, []string{"stamp", "paper"}, out.ConflictBetween)
	require.Equal(t, "original", out.ConflictOver)
	require.Contains(t, out.Caution, "contradict")
	// Within one cluster it is disagreement, not conflict.
	in.Evidence[1].Cluster = "stamp"
	out, err = Origin(in)
	require.NoError(t, err)
	require.False(t, out.Conflict)
}

func TestOriginZeros(t *testing.T) {
	in := OriginInput{States: []string{"a", "b"}, Prior: []float64{0.5, 0.5}, Other: new(0.0), Evidence: []EvidenceItem{
		{ID: "1", Cluster: "x", Likelihood: []float64{0.5, 0}},
	}}
	out, err := Origin(in)
	require.NoError(t, err)
	require.Equal(t, 1.0, value(t, out.Posterior, "a"))
	require.Equal(t, 0.0, out.EntropyBits[1])
	require.Equal(t, maxRatio, out.Clusters[0].Ratio)
	require.Equal(t, "extremely strong", out.Clusters[0].Words)

	in.Evidence = append(in.Evidence, EvidenceItem{ID: "2", Cluster: "y", Likelihood: []float64{0, 0.5}})
	_, err = Origin(in)
	refused(t, err, registry.CodeInvalid, "/evidence")
	in.Evidence[1].Reliability = new(0.9)
	_, err = Origin(in)
	require.NoError(t, err)
	in.Evidence[1].Likelihood = []float64{0, 0}
	_, err = Origin(in)
	refused(t, err, registry.CodeInvalid, "/evidence/1/likelihood")
}

// One state and no other: there is nothing to compare with, and no NaN.
func TestOriginOneState(t *testing.T) {
	out, err := Origin(OriginInput{States: []string{"a"}, Prior: []float64{1}, Other: new(0.0),
		Evidence: []EvidenceItem{{ID: "e", Cluster: "c", Likelihood: []float64{0.3}}}})
	require.NoError(t, err)
	require.Equal(t, 1.0, value(t, out.Posterior, "a"))
	require.False(t, out.Moved)
	require.Equal(t, ClusterFinding{ID: "c", Items: 1, Ratio: 1, Words: "none"}, out.Clusters[0])
	text(t, out)
}

// The scale as published for forensic reporting; the lowest step differs
// between summaries.
func TestVerbalScale(t *testing.T) {
	for ratio, want := range map[float64]string{0.3: "none", 1: "none", 1.5: "limited", 9.99: "limited", 10: "moderate",
		99: "moderate", 100: "moderately strong", 1000: "strong", 9999: "strong", 10000: "extremely strong", 1e12: "extremely strong"} {
		require.Equal(t, want, Verbal(ratio), "%v", ratio)
	}
}

func drawOrigin(t *rapid.T) OriginInput {
	n := rapid.IntRange(1, 5).Draw(t, "states")
	in := OriginInput{States: stateNames[:n], Prior: drawShares(t, n, "prior"),
		Other: new(rapid.Float64Range(0.001, 0.5).Draw(t, "other")), Rho: new(rapid.Float64Range(0, 1).Draw(t, "rho"))}
	for i := range rapid.IntRange(0, 6).Draw(t, "items") {
		e := EvidenceItem{ID: fmt.Sprint("e", i), Cluster: rapid.SampledFrom([]string{"x", "y", "z"}).Draw(t, "cluster"),
			Reliability: new(rapid.Float64Range(0, 1).Draw(t, "r")),
			Likelihood:  rapid.SliceOfN(rapid.Float64Range(0, 1), n, n).Draw(t, "likelihood")}
		e.Likelihood[rapid.IntRange(0, n-1).Draw(t, "possible")] = 0.5
		in.Evidence = append(in.Evidence, e)
	}
	return in
}

func TestPosteriorIsADistribution(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawOrigin(t)
		out, err := Origin(in)
		require.NoError(t, err)
		all := []Distribution{out.Posterior}
		for _, w := range out.Without {
			all = append(all, w.Value)
		}
		for _, d := range all {
			sum := 0.0
			for _, e := range d {
				require.True(t, e.Value >= 0 && e.Value <= 1)
				sum += e.Value
			}
			require.InDelta(t, 1, sum, 1e-12)
		}
		for i, b := range out.Band {
			require.True(t, b.Value[0] <= out.Posterior[i].Value && out.Posterior[i].Value <= b.Value[1])
		}
		require.Len(t, out.EntropyBits, len(in.Evidence)+1)
		for _, h := range out.EntropyBits {
			require.True(t, h >= 0 && h <= math.Log2(float64(len(in.States)+1))+1e-9)
		}
		text(t, out) // no NaN, no infinity
	})
}

// Two states, one cluster: another item that speaks for the same state never
// lowers its probability, whatever its strength and its place.
func TestAddingASameSignItemNeverLowersSupport(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := OriginInput{States: []string{"a", "b"}, Prior: []float64{0.5, 0.5}, Other: new(0.0),
			Rho: new(rapid.Float64Range(0, 1).Draw(t, "rho"))}
		for i := range rapid.IntRange(1, 8).Draw(t, "items") {
			weak := rapid.Float64Range(0.001, 1).Draw(t, "b")
			strong := rapid.Float64Range(weak, 1).Draw(t, "a")
			in.Evidence = append(in.Evidence, EvidenceItem{ID: fmt.Sprint(i), Cluster: "one",
				Reliability: new(rapid.Float64Range(0, 1).Draw(t, "r")), Likelihood: []float64{strong, weak}})
		}
		out, err := Origin(in)
		require.NoError(t, err)
		with, _ := out.Posterior.Get("a")
		for _, w := range out.Without {
			less, _ := w.Value.Get("a")
			if less > with+1e-12 {
				t.Fatalf("without %s support is %v, with it %v", w.Key, less, with)
			}
		}
	})
}

func TestOriginRefusals(t *testing.T) {
	good := func() OriginInput {
		return OriginInput{States: []string{"a", "b"}, Prior: []float64{0.7, 0.3},
			Evidence: []EvidenceItem{{ID: "e", Cluster: "c", Likelihood: []float64{0.5, 0.1}}}}
	}
	_, err := Origin(good())
	require.NoError(t, err)
	for _, c := range []struct {
		pointer string
		spoil   func(in *OriginInput)
	}{
		{"/states", func(in *OriginInput) { in.States, in.Prior = nil, nil }},
		{"/states/1", func(in *OriginInput) { in.States[1] = "a" }},
		{"/states/0", func(in *OriginInput) { in.States[0] = "" }},
		{"/states/0", func(in *OriginInput) { in.States[0] = "other" }},
		{"/prior", func(in *OriginInput) { in.Prior = nil }},
		{"/prior", func(in *OriginInput) { in.Prior = []float64{0.7, 0.29} }},
		{"/prior/1", func(in *OriginInput) { in.Prior[1] = math.NaN() }},
		{"/other", func(in *OriginInput) { in.Other = new(1.0) }},
		{"/rho", func(in *OriginInput) { in.Rho = new(-0.1) }},
		{"/evidence/0/id", func(in *OriginInput) { in.Evidence[0].ID = "" }},
		{"/evidence/1/id", func(in *OriginInput) { in.Evidence = append(in.Evidence, in.Evidence[0]) }},
		{"/evidence/0/cluster", func(in *OriginInput) { in.Evidence[0].Cluster = "" }},
		{"/evidence/0/reliability", func(in *OriginInput) { in.Evidence[0].Reliability = new(1.01) }},
		{"/evidence/0/likelihood", func(in *OriginInput) { in.Evidence[0].Likelihood = []float64{1} }},
		{"/evidence/0/likelihood/1", func(in *OriginInput) { in.Evidence[0].Likelihood[1] = math.Inf(1) }},
	} {
		in := good()
		c.spoil(&in)
		_, err := Origin(in)
		refused(t, err, registry.CodeInvalid, c.pointer)
	}
}
