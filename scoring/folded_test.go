package scoring

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/asfound/registry"
)

// foldable is an index over three states under credits of its own, and the same
// with the credits left out.
func foldable(t *rapid.T, states []string, credit []float64) (whole, left IndexInput) {
	share := rapid.Float64Range(0, 1)
	distribution := func() Distribution {
		a, b := share.Draw(t, "p"), share.Draw(t, "q")
		return Distribution{{states[0], a * b}, {states[1], a * (1 - b)}, {states[2], 1 - a*b - a*(1-b)}}
	}
	n := 0
	for range rapid.IntRange(1, 4).Draw(t, "assemblies") {
		a := Assembly{ID: number(float64(n)) + "a", Intact: rapid.SampledFrom([]float64{0, 0.25, 0.9, 1}).Draw(t, "intact")}
		b := a
		for range rapid.IntRange(1, 4).Draw(t, "parts") {
			n++
			p := IndexPart{ID: number(float64(n)), Weight: float64(rapid.IntRange(0, 40).Draw(t, "weight")), IfIntact: distribution()}
			if a.Intact != 1 {
				p.IfSwapped = distribution()
			}
			q, keeps := p, rapid.SampledFrom([]float64{1, 1, 0.6}).Draw(t, "keeps")
			for s, name := range states {
				p.Credit = append(p.Credit, Entry[float64]{name, credit[s] * keeps})
				q.Credit = append(q.Credit, Entry[float64]{name, keeps})
			}
			a.Parts, b.Parts = append(a.Parts, p), append(b.Parts, q)
		}
		whole.Assemblies, left.Assemblies = append(whole.Assemblies, a), append(left.Assemblies, b)
	}
	return whole, left
}

// TestFoldedIsTheIndex compares with Index, which knows nothing of the folding.
func TestFoldedIsTheIndex(t *testing.T) {
	states, credit := []string{"original", "donor", "missing"}, []float64{1, 0.55, 0.05}
	rapid.Check(t, func(t *rapid.T) {
		whole, left := foldable(t, states, credit)
		want, err := Index(whole)
		folded, foldErr := Fold(left, states)
		require.Equal(t, registry.CodeOf(err), registry.CodeOf(foldErr))
		if err != nil {
			return // no weight at all
		}
		mean, sd := folded.Under(credit)
		require.InDelta(t, want.Mean, mean, 1e-12)
		// The variance is a difference of sums: half of the digits are left near 0.
		require.InDelta(t, want.SD, sd, 2e-8)
	})
}

// TestFoldedByHand is worked out on paper: one part of 10 points, half original
// and half missing: mean ½, sd ½; and two such parts under one switch of ½.
func TestFoldedByHand(t *testing.T) {
	states := []string{"original", "missing"}
	ones := Distribution{{"original", 1}, {"missing", 1}}
	f, err := Fold(IndexInput{Assemblies: []Assembly{{ID: "a", Intact: 1, Parts: []IndexPart{
		{ID: "p", Weight: 10, Credit: ones, IfIntact: Distribution{{"original", 0.5}, {"missing", 0.5}}}}}}}, states)
	require.NoError(t, err)
	mean, sd := f.Under([]float64{1, 0})
	require.Equal(t, [2]float64{0.5, 0.5}, [2]float64{mean, sd})
	mean, sd = f.Under([]float64{1, 1}) // every state counts alike: nothing is uncertain
	require.Equal(t, [2]float64{1, 0}, [2]float64{mean, sd})
	part := func(id string) IndexPart {
		return IndexPart{ID: id, Weight: 10, Credit: ones, IfIntact: Distribution{{"original", 1}}, IfSwapped: Distribution{{"missing", 1}}}
	}
	f, err = Fold(IndexInput{Assemblies: []Assembly{{ID: "a", Intact: 0.5, Parts: []IndexPart{part("p"), part("q")}}}}, states)
	require.NoError(t, err)
	mean, sd = f.Under([]float64{1, 0}) // both or none
	require.Equal(t, [2]float64{0.5, 0.5}, [2]float64{mean, sd})
	_, err = Fold(IndexInput{Assemblies: []Assembly{{ID: "a", Intact: 0.5, Parts: []IndexPart{part("p")}}}}, states[:1])
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}
