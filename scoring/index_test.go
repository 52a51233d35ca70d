package scoring

import (
	"fmt"
	"math"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Worked example, checked by an independent second implementation and by
// sampling: twelve parts in four assemblies, 474 points.
func TestIndexToy(t *testing.T) {
	in := read[IndexInput](t, "toy.index.json")
	out, err := Index(in)
	require.NoError(t, err)
	near(t, 0.92364, out.Mean, 5)
	near(t, 0.05379, out.SD, 5)
	near(t, 0.9422, out.Median, 4)
	near(t, 0.8019, out.Low90, 4)
	near(t, 0.9768, out.High90, 4)
	near(t, 0.8977, out.WeightBand[0], 4)
	near(t, 0.9419, out.WeightBand[1], 4)
	require.Equal(t, 3530, out.Points)
	require.Equal(t, 474.0, out.TotalWeight)
	require.Equal(t, Lattice{Step: 0.05, Exact: true}, out.Lattice)

	// The same example with the parts taken as independent: each part has its
	// mixture, and the sd shrinks to 0.03800.
	for i := range in.Assemblies {
		a := &in.Assemblies[i]
		for j := range a.Parts {
			p := &a.Parts[j]
			mixed := Distribution{}
			for _, c := range p.Credit {
				x, _ := p.IfIntact.Get(c.Key)
				y, _ := p.IfSwapped.Get(c.Key)
				mixed = append(mixed, Entry[float64]{c.Key, a.Intact*x + (1-a.Intact)*y})
			}
			p.IfIntact, p.IfSwapped = mixed, nil
		}
		a.Intact = 1
	}
	out, err = Index(in)
	require.NoError(t, err)
	near(t, 0.92364, out.Mean, 5)
	near(t, 0.03800, out.SD, 5)
}

// drawIndex draws a machine small enough to enumerate.
func drawIndex(t *rapid.T) IndexInput {
	var in IndexInput
	part := 0
	for i := range rapid.IntRange(1, 3).Draw(t, "assemblies") {
		a := Assembly{ID: fmt.Sprint("a", i), Intact: rapid.SampledFrom([]float64{0, 0.25, 0.9, 1}).Draw(t, "intact")}
		for range rapid.IntRange(1, 2).Draw(t, "parts") {
			n := rapid.IntRange(1, 3).Draw(t, "states")
			a.Parts = append(a.Parts, IndexPart{ID: fmt.Sprint("p", part), Weight: float64(rapid.IntRange(1, 40).Draw(t, "weight")) / 2,
				Credit: drawCredit(t, n, "credit"), IfIntact: drawDistribution(t, n, "intact"), IfSwapped: drawDistribution(t, n, "swapped")})
			part++
		}
		in.Assemblies = append(in.Assemblies, a)
	}
	return in
}

// enumerate goes through every combination of switches and states: the second
// way to the distribution, in whole fortieths of a point.
func enumerate(in IndexInput) (p map[int]float64, total float64) {
	p = map[int]float64{0: 1}
	for _, a := range in.Assemblies {
		next := map[int]float64{}
		for side, share := range []float64{a.Intact, 1 - a.Intact} {
			own := map[int]float64{0: share}
			for _, part := range a.Parts {
				d := part.IfIntact
				if side == 1 {
					d = part.IfSwapped
				}
				grown := map[int]float64{}
				for at, q := range own {
					for _, e := range d {
						c, _ := part.Credit.Get(e.Key)
						grown[at+int(math.Round(part.Weight*c*40))] += q * e.Value
					}
				}
				own = grown
			}
			for at, q := range own {
				for before, r := range p {
					next[before+at] += r * q
				}
			}
		}
		p = next
		for _, part := range a.Parts {
			total += part.Weight
		}
	}
	return p, total
}

func TestConvolutionEqualsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawIndex(t)
		want, total := enumerate(in)
		m, err := readIndex(in)
		require.NoError(t, err)
		g := fit(m.values())
		s := spreadOf(g, m.groups(&g))
		require.True(t, g.lattice().Exact)

		sum, points, mean, square := 0.0, 0, 0.0, 0.0
		for k, p := range s.p {
			at := s.at(k) * 40
			require.InDelta(t, math.Round(at), at, 1e-9)
			require.InDelta(t, want[int(math.Round(at))], p, 1e-13)
			sum += p
			mean += p * s.at(k)
			square += p * s.at(k) * s.at(k)
			if p > 0 {
				points++
			}
		}
		support := 0
		for _, p := range want {
			if p > 0 {
				support++
			}
		}
		require.InDelta(t, 1, sum, 1e-12)
		require.Equal(t, support, points)

		out, err := Index(in)
		require.NoError(t, err)
		require.InDelta(t, mean/total, out.Mean, 1e-12)
		require.InDelta(t, math.Sqrt(max(0, square-mean*mean))/total, out.SD, 1e-6)
		require.Equal(t, points, out.Points)
		for _, q := range []struct{ level, at float64 }{{0.05, out.Low90}, {0.1, out.Low80}, {0.5, out.Median}, {0.9, out.High80}, {0.95, out.High90}} {
			below, reached := 0.0, 0.0
			for at, p := range want {
				v := float64(at) / 40 / total
				if v <= q.at+1e-9 {
					reached += p
				}
				if v < q.at-1e-9 {
					below += p
				}
			}
			require.True(t, reached >= q.level-1e-9, "%v of %v", reached, q.level)
			require.True(t, below < q.level+1e-9, "%v of %v", below, q.level)
		}
		mass := 0.0
		for _, h := range out.Modes {
			require.True(t, h.At >= 0 && h.At <= 1)
			mass += h.Mass
		}
		require.InDelta(t, 1, mass, 1e-12)
		for _, v := range []float64{out.Mean, out.Median, out.Low80, out.High80, out.Low90, out.High90, out.WeightBand[0], out.WeightBand[1]} {
			require.True(t, v >= 0 && v <= 1)
		}
	})
}

// The order of keys must not show, not even in the last bit: a stored input
// comes back with its keys sorted.
func TestOrderOfKeysDoesNotShow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawIndex(t)
		a, err := Index(in)
		require.NoError(t, err)
		for i := range in.Assemblies {
			for j := range in.Assemblies[i].Parts {
				p := &in.Assemblies[i].Parts[j]
				p.Credit, p.IfIntact, p.IfSwapped = backwards(p.Credit), backwards(p.IfIntact), backwards(p.IfSwapped)
			}
		}
		b, err := Index(in)
		require.NoError(t, err)
		require.Equal(t, text(t, a), text(t, b))
	})
}

func TestWeightBandEqualsEveryCornerTried(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawIndex(t)
		spread := rapid.SampledFrom([]float64{0, 0.1, 0.3, 0.9}).Draw(t, "spread")
		in.WeightSpread = &spread
		var weights, credits []float64
		for _, a := range in.Assemblies {
			for _, p := range a.Parts {
				e := 0.0
				for _, c := range p.Credit {
					x, _ := p.IfIntact.Get(c.Key)
					y, _ := p.IfSwapped.Get(c.Key)
					e += c.Value * (a.Intact*x + (1-a.Intact)*y)
				}
				weights, credits = append(weights, p.Weight), append(credits, e)
			}
		}
		low, high := 1.0, 0.0
		for corner := range 1 << len(weights) {
			sum, total := 0.0, 0.0
			for i, w := range weights {
				if corner>>i&1 == 1 {
					w *= 1 + spread
				} else {
					w *= 1 - spread
				}
				sum += w * credits[i]
				total += w
			}
			low, high = min(low, sum/total), max(high, sum/total)
		}
		out, err := Index(in)
		require.NoError(t, err)
		require.InDelta(t, low, out.WeightBand[0], 1e-12)
		require.InDelta(t, high, out.WeightBand[1], 1e-12)
	})
}

// A whole machine: the sum stays 1 to twelve places, and the moments of the
// distribution are the closed forms.
func TestIndexOfAWholeMachine(t *testing.T) {
	for _, switched := range []int{0, 17} {
		m, err := readIndex(manyParts(switched))
		require.NoError(t, err)
		require.Equal(t, 1000.0, m.total)
		g := fit(m.values())
		s := spreadOf(g, m.groups(&g))
		sum, mean, square := 0.0, 0.0, 0.0
		for k, p := range s.p {
			sum += p
			mean += p * s.at(k)
			square += p * s.at(k) * s.at(k)
		}
		wantMean, wantVariance := m.moments()
		require.InDelta(t, 1, sum, 1e-12)
		require.InDelta(t, wantMean, mean, 1e-8)
		require.InEpsilon(t, wantVariance, square-mean*mean, 1e-8)
	}
}

// Two humps: a machine whose only assembly is intact or not.
func TestHumps(t *testing.T) {
	in := IndexInput{Assemblies: []Assembly{
		{ID: "engine", Intact: 0.8, Parts: []IndexPart{
			{ID: "left", Weight: 30, Credit: Distribution{{"original", 1}, {"donor", 0.55}}, IfIntact: Distribution{{"original", 1}}, IfSwapped: Distribution{{"donor", 1}}},
			{ID: "right", Weight: 30, Credit: Distribution{{"original", 1}, {"donor", 0.55}}, IfIntact: Distribution{{"original", 1}}, IfSwapped: Distribution{{"donor", 1}}},
		}},
		{ID: "frame", Intact: 1, Parts: []IndexPart{{ID: "frame", Weight: 40, Credit: Distribution{{"original", 1}}, IfIntact: Distribution{{"original", 1}}}}},
	}}
	out, err := Index(in)
	require.NoError(t, err)
	require.Len(t, out.Modes, 2)
	near(t, 0.73, out.Modes[0].At, 12) // 1 − 0.6 × 0.45
	near(t, 0.2, out.Modes[0].Mass, 12)
	near(t, 1, out.Modes[1].At, 12)
	near(t, 0.8, out.Modes[1].Mass, 12)
	require.Equal(t, 2, out.Points)
	// A hump below 5 % is not told apart.
	in.Assemblies[0].Intact = 0.96
	out, err = Index(in)
	require.NoError(t, err)
	require.Len(t, out.Modes, 1)
}

// A quantile is the smallest value that reaches its level, so of two halves
// the median is the lower.
func TestMedianOfTwoHalves(t *testing.T) {
	out, err := Index(IndexInput{Assemblies: []Assembly{{ID: "a", Intact: 1, Parts: []IndexPart{{ID: "p", Weight: 1,
		Credit: Distribution{{"a", 0.25}, {"b", 1}}, IfIntact: Distribution{{"a", 0.5}, {"b", 0.5}}}}}}})
	require.NoError(t, err)
	require.Equal(t, 0.25, out.Median)
	require.Equal(t, 1.0, out.High80)
}

// Values that are no decimals are quantised; the mean is kept, and the result
// says so.
func TestQuantisedLattice(t *testing.T) {
	third := Distribution{{"a", 1}, {"b", 1.0 / 3}, {"c", 0}}
	in := IndexInput{Assemblies: []Assembly{{ID: "x", Intact: 1}}}
	for i, w := range []float64{math.Pi, math.E, math.Sqrt2} {
		in.Assemblies[0].Parts = append(in.Assemblies[0].Parts, IndexPart{ID: fmt.Sprint(i), Weight: w, Credit: third,
			IfIntact: Distribution{{"a", 0.5}, {"b", 0.3}, {"c", 0.2}}})
	}
	m, err := readIndex(in)
	require.NoError(t, err)
	g := fit(m.values())
	s := spreadOf(g, m.groups(&g))
	require.False(t, g.lattice().Exact)
	sum, mean := 0.0, 0.0
	for k, p := range s.p {
		sum += p
		mean += p * s.at(k)
	}
	want, _ := m.moments()
	require.InDelta(t, 1, sum, 1e-12)
	require.InDelta(t, want, mean, 1e-9)
	out, err := Index(in)
	require.NoError(t, err)
	require.InDelta(t, 0.6, out.Mean, 1e-12)
	require.InDelta(t, 1, out.High90, 1e-4) // 0.125 of the probability is at 1
}

func TestIndexRefusals(t *testing.T) {
	good := func() IndexInput {
		return IndexInput{Assemblies: []Assembly{{ID: "a", Intact: 0.9, Parts: []IndexPart{{ID: "p", Weight: 10,
			Credit: Distribution{{"original", 1}, {"donor", 0.55}}, IfIntact: Distribution{{"original", 0.9}, {"donor", 0.1}},
			IfSwapped: Distribution{{"donor", 1}}}}}}}
	}
	_, err := Index(good())
	require.NoError(t, err)
	for _, c := range []struct {
		pointer string
		spoil   func(a *Assembly, p *IndexPart)
	}{
		{"/assemblies/0/id", func(a *Assembly, p *IndexPart) { a.ID = "" }},
		{"/assemblies/0/intact", func(a *Assembly, p *IndexPart) { a.Intact = math.NaN() }},
		{"/assemblies/0/parts/0/id", func(a *Assembly, p *IndexPart) { p.ID = "" }},
		{"/assemblies/0/parts/1/id", func(a *Assembly, p *IndexPart) { a.Parts = append(a.Parts, *p) }},
		{"/assemblies/0/parts/0/weight", func(a *Assembly, p *IndexPart) { p.Weight = -1 }},
		{"/assemblies/0/parts/0/weight", func(a *Assembly, p *IndexPart) { p.Weight = math.Inf(1) }},
		{"/assemblies/0/parts/0/credit/donor", func(a *Assembly, p *IndexPart) { p.Credit[1].Value = 1.1 }},
		{"/assemblies/0/parts/0/credit/original", func(a *Assembly, p *IndexPart) { p.Credit[1].Key = "original" }},
		{"/assemblies/0/parts/0/if_intact/donor", func(a *Assembly, p *IndexPart) { p.Credit = p.Credit[:1] }},
		{"/assemblies/0/parts/0/if_intact", func(a *Assembly, p *IndexPart) { p.IfIntact = nil }},
		{"/assemblies/0/parts/0/if_intact", func(a *Assembly, p *IndexPart) { p.IfIntact[0].Value = 0.8 }},
		{"/assemblies/0/parts/0/if_swapped", func(a *Assembly, p *IndexPart) { p.IfSwapped = nil }},
		{"/assemblies/0/parts/0/if_swapped/a~1b", func(a *Assembly, p *IndexPart) { p.IfSwapped[0].Key = "a/b" }},
	} {
		in := good()
		c.spoil(&in.Assemblies[0], &in.Assemblies[0].Parts[0])
		_, err := Index(in)
		refused(t, err, registry.CodeInvalid, c.pointer)
	}
	in := good()
	in.Assemblies[0].Intact, in.Assemblies[0].Parts[0].IfSwapped = 1, nil
	_, err = Index(in)
	require.NoError(t, err)
	in.Assemblies[0].Parts[0].Weight = 0
	_, err = Index(in)
	refused(t, err, registry.CodeInsufficient, "/assemblies")
	_, err = Index(IndexInput{})
	refused(t, err, registry.CodeInsufficient, "/assemblies")
}
