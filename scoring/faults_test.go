package scoring

import (
	"errors"
	"fmt"
	"math/bits"
	"math/rand/v2"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// noStart is the worked example of a machine that does not start: six causes,
// four observations.
func noStart(seen Ordered[bool]) FaultsInput {
	in := FaultsInput{
		Causes: []FaultCause{{"stale-fuel", 0.55}, {"blocked-jet", 0.45}, {"weak-magneto", 0.50}, {"stuck-exhaust-valve", 0.25}, {"tap-cork-dry", 0.40}, {"wrong-timing", 0.10}},
		Observations: []FaultObservation{
			{"no-start", 0.02, Distribution{{"stale-fuel", 0.55}, {"blocked-jet", 0.70}, {"weak-magneto", 0.75}, {"stuck-exhaust-valve", 0.95}, {"tap-cork-dry", 0.60}, {"wrong-timing", 0.60}}},
			{"no-spark", 0.03, Distribution{{"weak-magneto", 0.70}}},
			{"low-pressure", 0.12, Distribution{{"stuck-exhaust-valve", 0.97}}},
			{"no-fuel", 0.04, Distribution{{"stale-fuel", 0.05}, {"tap-cork-dry", 0.75}}},
		},
		Seen: seen, Source: "worked example",
	}
	if in.Seen == nil {
		in.Seen = Ordered[bool]{}
	}
	return in
}

// The printed table of the worked example: prior, then no start, then also no
// spark and good pressure, then also no fuel. Stale fuel is explained away by
// the missing spark, .587 to .565; after three observations two or more causes
// are there with .88.
func TestFaultsWorkedExample(t *testing.T) {
	for _, c := range []struct {
		seen Ordered[bool]
		want []float64
	}{
		{nil, []float64{0.55, 0.45, 0.50, 0.25, 0.40, 0.10}},
		{Ordered[bool]{{"no-start", true}}, []float64{0.587, 0.498, 0.557, 0.294, 0.436, 0.111}},
		{Ordered[bool]{{"no-start", true}, {"no-spark", true}, {"low-pressure", false}}, []float64{0.570, 0.476, 0.970, 0.011, 0.419, 0.106}},
		{Ordered[bool]{{"no-start", true}, {"no-spark", true}, {"low-pressure", false}, {"no-fuel", true}}, []float64{0.584, 0.465, 0.965, 0.010, 0.891, 0.103}},
	} {
		out, err := Faults(noStart(c.seen))
		require.NoError(t, err)
		for i, want := range c.want {
			near(t, want, out.Posterior[i].Value, 3)
		}
		require.False(t, out.Conflict)
		if len(c.seen) == 3 {
			near(t, 0.88, out.TwoOrMore, 2)
			require.Equal(t, "weak-magneto", out.Leaders[0].ID)
			require.Equal(t, "no-spark", out.Leaders[0].For.Observation)
		}
	}
	out, err := Faults(noStart(Ordered[bool]{{"no-start", true}, {"no-spark", true}}))
	require.NoError(t, err)
	near(t, 0.565, value(t, out.Posterior, "stale-fuel"), 3)
	for _, l := range out.Leaders {
		if l.ID == "stale-fuel" {
			require.Equal(t, "no-spark", l.Against.Observation)
			near(t, 0.587, l.Against.Without, 3)
		}
	}
}

// drawFaults draws a small model and what was seen of it, with some hard links.
func drawFaults(t *rapid.T, causes, observations int) FaultsInput {
	chance := rapid.SampledFrom([]float64{0.01, 0.05, 0.1, 0.25, 0.4, 0.6, 0.9, 0.99})
	in := FaultsInput{Seen: Ordered[bool]{}}
	for c := range rapid.IntRange(1, causes).Draw(t, "causes") {
		in.Causes = append(in.Causes, FaultCause{fmt.Sprint("c", c), chance.Draw(t, "prior")})
	}
	for o := range rapid.IntRange(1, observations).Draw(t, "observations") {
		links := Distribution{}
		for _, c := range in.Causes {
			if rapid.IntRange(0, 2).Draw(t, "linked") > 0 {
				links = append(links, Entry[float64]{c.ID, rapid.SampledFrom([]float64{0, 0.02, 0.2, 0.5, 0.8, 0.97, 1}).Draw(t, "link")})
			}
		}
		in.Observations = append(in.Observations, FaultObservation{fmt.Sprint("o", o), rapid.SampledFrom([]float64{0, 0.01, 0.1, 0.5}).Draw(t, "leak"), links})
		if k := rapid.IntRange(0, 3).Draw(t, "seen"); k > 0 {
			in.Seen = append(in.Seen, Entry[bool]{fmt.Sprint("o", o), k > 1})
		}
	}
	return in
}

// asNetwork writes a model as a general network: the causes, then for each
// observation what the listed causes do, its leak, and itself.
func asNetwork(in FaultsInput) (n network, seen func(uint) bool) {
	for _, c := range in.Causes {
		n = append(n, rootChance(c.Prior))
	}
	var on, off uint
	for _, o := range in.Observations {
		caused := len(n)
		n = append(n, func(set uint) float64 {
			missing := 1.0
			for c := range in.Causes {
				if q, ok := o.Links.Get(in.Causes[c].ID); ok && set>>c&1 == 1 {
					missing *= 1 - q
				}
			}
			return 1 - missing
		}, rootChance(o.Leak), byParents([]float64{0, 1, 1, 1}, caused, caused+1))
		if v, ok := in.Seen.Get(o.ID); ok && v {
			on |= 1 << (caused + 2)
		} else if ok {
			off |= 1 << (caused + 2)
		}
	}
	return n, when(on, off)
}

// Every figure is what going through all combinations gives; what cannot be is
// refused exactly when its probability is 0.
func TestFaultsAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawFaults(t, 4, 3)
		n, seen := asNetwork(in)
		evidence := n.probability(seen, always)
		out, err := Faults(in)
		if evidence == 0 {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
			return
		}
		require.NoError(t, err)
		same := func(want, got float64) { require.InDelta(t, want, got, 1e-12) }
		same(evidence, out.Evidence)
		causes := uint(1)<<len(in.Causes) - 1
		for c := range in.Causes {
			same(n.probability(when(1<<c, 0), seen), out.Posterior[c].Value)
		}
		same(n.probability(when(0, causes), seen), out.None)
		same(n.probability(func(set uint) bool { return bits.OnesCount(set&causes) > 1 }, seen), out.TwoOrMore)
		single := 1.0
		for o, x := range in.Observations {
			node := uint(1) << (len(in.Causes) + 3*o)
			v, ok := in.Seen.Get(x.ID)
			if p := n.probability(when(node<<2, 0), always); ok && v {
				same(n.probability(when(0, node), seen), value(t, out.Unexplained, x.ID))
				single *= p
			} else if ok {
				single *= 1 - p
			} else {
				same(n.probability(when(node<<2, 0), seen), value(t, out.Expected, x.ID))
			}
		}
		require.InEpsilon(t, single/evidence, out.Rarer, 1e-9)
		require.Equal(t, len(in.Observations), len(out.Expected)+len(in.Seen)) // and no more
		for _, l := range out.Leaders {
			for _, s := range []*FaultSpeaks{l.For, l.Against} {
				if s != nil {
					less := in
					less.Seen = nil
					for _, e := range in.Seen {
						if e.Key != s.Observation {
							less.Seen = append(less.Seen, e)
						}
					}
					again, err := Faults(less)
					require.NoError(t, err)
					same(value(t, again.Posterior, l.ID), s.Without)
				}
			}
		}
	})
}

// Quickscore (Heckerman 1989) is another exact sum, over sets of observations
// seen true with alternating signs. At the largest size it agrees as far as its
// differences let it.
func TestFaultsAgainstQuickscore(t *testing.T) {
	in := manyFaults(20, 15, 12)
	m, err := readFaults(in)
	require.NoError(t, err)
	positive := m.positive()
	w := m.weigh(positive)
	score := func(certain int) float64 {
		sum := 0.0
		for set := range 1 << len(positive) {
			p := w.rest
			for j, o := range positive {
				if set>>j&1 == 1 {
					p *= 1 - m.leak[o]
				}
			}
			for c := range m.prior {
				missing := w.on[c]
				for j, o := range positive {
					if set>>j&1 == 1 {
						missing *= 1 - m.link[o][c]
					}
				}
				if c != certain {
					missing += w.off[c]
				}
				p *= missing
			}
			if bits.OnesCount(uint(set))%2 == 1 {
				p = -p
			}
			sum += p
		}
		return sum
	}
	out, err := Faults(in)
	require.NoError(t, err)
	evidence := score(-1)
	require.InEpsilon(t, evidence, out.Evidence, 1e-6)
	for c := range in.Causes {
		require.InDelta(t, score(c)/evidence, out.Posterior[c].Value, 1e-6)
	}
}

// The order of causes, observations and what was seen does not matter; a cause
// that is linked to nothing keeps its prior; one more true observation that a
// cause may bring about never makes that cause less probable.
func TestFaultsProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawFaults(t, 6, 5)
		out, err := Faults(in)
		if err != nil {
			t.Skip()
		}
		require.NotContains(t, text(t, out), "null")
		other := in
		other.Causes = append([]FaultCause{{"idle", 0.3}}, rapid.Permutation(in.Causes).Draw(t, "causes")...)
		other.Observations = rapid.Permutation(in.Observations).Draw(t, "observations")
		if len(in.Seen) > 0 {
			other.Seen = rapid.Permutation(in.Seen).Draw(t, "seen")
		}
		again, err := Faults(other)
		require.NoError(t, err)
		require.InDelta(t, 0.3, value(t, again.Posterior, "idle"), 1e-12)
		for _, p := range out.Posterior {
			require.InDelta(t, p.Value, value(t, again.Posterior, p.Key), 1e-12)
		}

		cause := in.Causes[0].ID
		in.Observations = append(in.Observations, FaultObservation{"new", 0.1, Distribution{{cause, 0.6}}})
		in.Seen = append(in.Seen, Entry[bool]{"new", true})
		more, err := Faults(in)
		require.NoError(t, err)
		require.GreaterOrEqual(t, value(t, more.Posterior, cause), value(t, out.Posterior, cause)-1e-12)
	})
}

// The gate speaks for what the list does not explain, and keeps silent for what
// it does.
func TestFaultsGate(t *testing.T) {
	// A rattle that the only listed cause makes once in fifty.
	in := FaultsInput{Causes: []FaultCause{{"loose-guard", 0.05}}, Source: "own log",
		Observations: []FaultObservation{{"rattle", 0.02, Distribution{{"loose-guard", 0.02}}}}, Seen: Ordered[bool]{{"rattle", true}}}
	out, err := Faults(in)
	require.NoError(t, err)
	near(t, 1-0.05*0.02/(0.05*0.02+0.02-0.05*0.02*0.02), out.Unexplained[0].Value, 9)
	require.True(t, out.Conflict)
	require.Contains(t, out.Cautions[0], `No cause in the library explains "rattle"`)
	in.Unexplained = amount(0.99)
	out, err = Faults(in)
	require.NoError(t, err)
	require.False(t, out.Conflict)
	require.Empty(t, out.Cautions)

	// The only cause of one observation brings about the other too, always but
	// once in a thousand; the other was looked for and is not there.
	in = FaultsInput{Causes: []FaultCause{{"burnt-valve", 0.1}}, Source: "own log",
		Observations: []FaultObservation{{"spits", 0, Distribution{{"burnt-valve", 0.9}}}, {"low-pressure", 0.01, Distribution{{"burnt-valve", 0.999}}}},
		Seen:         Ordered[bool]{{"spits", true}, {"low-pressure", false}}}
	out, err = Faults(in)
	require.NoError(t, err)
	near(t, 0.09*(0.99*(1-0.1*0.999))/(0.09*0.99*0.001), out.Rarer, 6)
	require.True(t, out.Conflict)
	in.Rarer = amount(1000)
	out, err = Faults(in)
	require.NoError(t, err)
	require.False(t, out.Conflict)

	in.Source = ""
	out, err = Faults(in)
	require.NoError(t, err)
	require.Equal(t, []string{noSource}, out.Cautions)
}

func TestFaultsRefusals(t *testing.T) {
	for input, pointer := range map[string]string{
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":0,"links":{"a":1}}],"seen":{"y":true}}`:                                                        "/seen/y",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":0,"links":{"b":1}}],"seen":{}}`:                                                                "/observations/0/links/b",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","links":{"a":1}}],"seen":{}}`:                                                                         "/observations/0/leak",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":0,"links":{"a":1.5}}],"seen":{}}`:                                                              "/observations/0/links/a",
		`{"causes":[{"id":"a","prior":-0.1}],"observations":[{"id":"x","leak":0,"links":{"a":1}}],"seen":{}}`:                                                               "/causes/0/prior",
		`{"causes":[{"id":"a"}],"observations":[],"seen":{}}`:                                                                                                               "/causes/0/prior",
		`{"causes":[{"id":"a","prior":0.1},{"id":"a","prior":0.1}],"observations":[],"seen":{}}`:                                                                            "/causes/1/id",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":0,"links":{}},{"id":"x","leak":0,"links":{}}],"seen":{}}`:                                      "/observations/1/id",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":0,"links":{"a":1}}],"seen":{"x":1}}`:                                                           "/seen/x",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":0,"links":{"a":1}}],"seen":{},"rarer_than":0}`:                                                 "/rarer_than",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":0,"links":{"a":1}}],"seen":{},"unexplained_above":2}`:                                          "/unexplained_above",
		`{"causes":[{"id":"a","prior":0.1}],"observations":[{"id":"x","leak":1,"links":{}}],"seen":{"x":false}}`:                                                            "/seen/x",
		`{"causes":[{"id":"a","prior":1}],"observations":[{"id":"x","leak":0,"links":{"a":1}}],"seen":{"x":false}}`:                                                         "/seen/x",
		`{"causes":[{"id":"a","prior":0}],"observations":[{"id":"x","leak":0,"links":{"a":1}}],"seen":{"x":true}}`:                                                          "/seen/x",
		`{"causes":[{"id":"a","prior":0.5}],"observations":[{"id":"x","leak":0,"links":{"a":1}},{"id":"y","leak":0,"links":{"a":0.2}}],"seen":{"x":false,"y":true}}`:        "/seen/y",
		`{"causes":[{"id":"a","prior":0.5}],"observations":[{"id":"x","leak":0.1,"links":{"a":1}}],"seen":{"x":false,"x":true}}`:                                            "/seen/x",
		`{"causes":[{"id":"a","prior":0.5}],"observations":[{"id":"x","leak":0.1,"links":{"a":1}}],"seen":{},"source":"` + strings.Repeat("x", 201) + `"}`:                  "/source",
		`{"causes":[{"id":"a","prior":0.5}],"observations":[{"id":"x","leak":0,"links":{"a":1}},{"id":"y","leak":0,"links":{"a":0}}],"seen":{"x":true,"y":true},"speed":1}`: "/speed",
	} {
		_, err := Run(MethodFaults, []byte(input))
		refused(t, err, registry.CodeInvalid, pointer)
	}
	// The contradiction is told with its reason.
	_, err := Faults(FaultsInput{Causes: []FaultCause{{"a", 0.5}}, Seen: Ordered[bool]{{"x", false}, {"y", true}},
		Observations: []FaultObservation{{"x", 0, Distribution{{"a", 1}}}, {"y", 0, Distribution{{"a", 0.2}}}}})
	var e *registry.Error
	require.True(t, errors.As(err, &e))
	require.Contains(t, e.Fields[0].Message, `"a" is ruled out by "x" seen false`)

	_, err = Run(MethodFaults, []byte(`{"causes":[],"observations":[],"seen":{}}`))
	refused(t, err, registry.CodeInsufficient, "/causes")
	_, err = Faults(manyFaults(20, 16, 16))
	refused(t, err, registry.CodeInvalid, "/seen")
	_, err = Faults(manyFaults(200, 100, 15))
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))

	in := manyFaults(1, 15, 15)
	for o := range in.Observations {
		in.Observations[o].Leak, in.Observations[o].Links = 1e-20, nil
	}
	_, err = Faults(in)
	require.Equal(t, registry.CodeInsufficient, registry.CodeOf(err))
}

// manyFaults is a model in which every cause may bring about every observation,
// the first of which were seen true and the next, as far as ten, false.
func manyFaults(causes, observations, positive int) FaultsInput {
	r := rand.New(rand.NewPCG(1, uint64(causes)))
	in := FaultsInput{Seen: Ordered[bool]{}}
	for c := range causes {
		in.Causes = append(in.Causes, FaultCause{fmt.Sprint("cause-", c), 0.02 + 0.3*r.Float64()})
	}
	for o := range observations {
		x := FaultObservation{ID: fmt.Sprint("observation-", o), Leak: 0.01 + 0.05*r.Float64()}
		for c := range causes {
			x.Links = append(x.Links, Entry[float64]{fmt.Sprint("cause-", c), 0.8 * r.Float64() * r.Float64()})
		}
		in.Observations = append(in.Observations, x)
		if o < max(positive, 10) {
			in.Seen = append(in.Seen, Entry[bool]{x.ID, o < positive})
		}
	}
	return in
}

// BenchmarkFaults answers for 20 causes and 15 observations that all hang
// together, for which the aim is 10 ms, and for a whole library.
func BenchmarkFaults(b *testing.B) {
	for _, c := range [][3]int{{20, 15, 5}, {20, 15, 8}, {20, 15, 15}, {60, 80, 5}} {
		b.Run(fmt.Sprintf("causes=%d/observations=%d/true=%d", c[0], c[1], c[2]), func(b *testing.B) {
			in := manyFaults(c[0], c[1], c[2])
			for b.Loop() {
				if _, err := Faults(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
