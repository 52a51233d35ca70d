package scoring

import (
	"math/bits"
	"testing"

	"github.com/stretchr/testify/require"
)

// network is any Bayes net of two-valued nodes, answered by going through every
// combination: slow, and independent of the engine that it checks. A node comes
// after its parents; chance is its probability of being true given the set of
// all nodes before it.
type network []func(set uint) float64

// probability of everything for which query and given hold, and of what given
// holds for.
func (n network) probability(query, given func(set uint) bool) float64 {
	both, all := 0.0, 0.0
	for set := uint(0); set < 1<<len(n); set++ {
		if !given(set) {
			continue
		}
		p := 1.0
		for i, chance := range n {
			if c := chance(set); set>>i&1 == 1 {
				p *= c
			} else {
				p *= 1 - c
			}
		}
		all += p
		if query(set) {
			both += p
		}
	}
	return both / all
}

func always(uint) bool { return true }

// when holds for sets with all of on and none of off.
func when(on, off uint) func(uint) bool {
	return func(set uint) bool { return set&on == on && set&off == 0 }
}

func rootChance(p float64) func(uint) float64 { return func(uint) float64 { return p } }

// byParents reads a table by the parents, the first one being the lowest bit.
func byParents(table []float64, parents ...int) func(uint) float64 {
	return func(set uint) float64 {
		row := 0
		for i, p := range parents {
			row |= int(set>>p&1) << i
		}
		return table[row]
	}
}

// Lauritzen and Spiegelhalter, Local computations with probabilities on
// graphical structures, 1988: a visit to Asia. The check values are enumerated
// from their tables.
func TestNetworkAsia(t *testing.T) {
	const a, tub, l, b, e, x, d = 1, 4, 8, 16, 32, 64, 128
	asia := network{rootChance(0.01), rootChance(0.5), byParents([]float64{0.01, 0.05}, 0), byParents([]float64{0.01, 0.10}, 1), byParents([]float64{0.30, 0.60}, 1),
		byParents([]float64{0, 1, 1, 1}, 2, 3), byParents([]float64{0.05, 0.98}, 5), byParents([]float64{0.1, 0.7, 0.8, 0.9}, 5, 4)}
	for _, c := range []struct {
		on, off, node uint
		want          float64
		places        int
	}{
		{0, 0, tub, 0.0104, 9}, {0, 0, l, 0.055, 9}, {0, 0, b, 0.45, 9}, {0, 0, e, 0.064828, 9}, {0, 0, x, 0.11029004, 9}, {0, 0, d, 0.4359706, 9},
		{a | d, 0, tub, 0.08775096, 8}, {a | d, 0, l, 0.09952515, 8}, {a | d, 0, b, 0.81140207, 8}, {a | d, 0, e, 0.18229985, 8},
		{a | d, x, tub, 0.0022487, 7}, {a | d, x, l, 0.00255042, 8}, {a | d, x, b, 0.86276077, 8},
		{x | d, 0, tub, 0.11393333, 8}, {x | d, 0, l, 0.6212528, 7}, {x | d, 0, b, 0.68186854, 8},
	} {
		near(t, c.want, asia.probability(when(c.node, 0), when(c.on, c.off)), c.places)
	}
	near(t, 0.004501375, asia.probability(when(a|d, 0), always), 9)
}

// Russell and Norvig, Artificial Intelligence: the burglar alarm.
func TestNetworkBurglary(t *testing.T) {
	const b, e, a, j, m = 1, 2, 4, 8, 16
	alarm := network{rootChance(0.001), rootChance(0.002), byParents([]float64{0.001, 0.94, 0.29, 0.95}, 0, 1), byParents([]float64{0.05, 0.90}, 2), byParents([]float64{0.01, 0.70}, 2)}
	near(t, 0.2841718354, alarm.probability(when(b, 0), when(j|m, 0)), 10)
	near(t, 0.002084100239, alarm.probability(when(j|m, 0), always), 12)
	near(t, 0.000628111, alarm.probability(when(j|m|a, b|e), always), 9)
}

// Murphy, A brief introduction to graphical models and Bayesian networks, 1998:
// the sprinkler, with its explaining away.
func TestNetworkSprinkler(t *testing.T) {
	const s, r, w = 2, 4, 8
	sprinkler := network{rootChance(0.5), byParents([]float64{0.5, 0.1}, 0), byParents([]float64{0.2, 0.8}, 0), byParents([]float64{0, 0.9, 0.9, 0.99}, 1, 2)}
	near(t, 0.6471, sprinkler.probability(when(w, 0), always), 9)
	near(t, 0.429764, sprinkler.probability(when(s, 0), when(w, 0)), 6)
	near(t, 0.707928, sprinkler.probability(when(r, 0), when(w, 0)), 6)
	near(t, 0.194499, sprinkler.probability(when(s, 0), when(w|r, 0)), 6)

	// Given the clouds the wet grass is a noisy OR of .9 and .9 without a leak,
	// so the engine gives the same.
	for cloudy, prior := range [][2]float64{{0.5, 0.2}, {0.1, 0.8}} {
		out, err := Faults(FaultsInput{Causes: []FaultCause{{"sprinkler", prior[0]}, {"rain", prior[1]}},
			Observations: []FaultObservation{{"wet", 0, Distribution{{"sprinkler", 0.9}, {"rain", 0.9}}}}, Seen: Ordered[bool]{{"wet", true}}})
		require.NoError(t, err)
		given := func(set uint) bool { return set&w != 0 && int(set&1) == cloudy }
		near(t, sprinkler.probability(when(s, 0), given), out.Posterior[0].Value, 12)
		near(t, sprinkler.probability(when(r, 0), given), out.Posterior[1].Value, 12)
		near(t, sprinkler.probability(when(s|r, 0), given), out.TwoOrMore, 12)
	}
}

// de Kleer and Williams, Diagnosing multiple faults, 1987: three multipliers
// and two adders, output F wrong and G right. Each conflict says that one of
// its members is faulty: an observation without a leak, with links of 1.
func TestFaultsPolybox(t *testing.T) {
	in := FaultsInput{Causes: []FaultCause{{"M1", 0.01}, {"M2", 0.01}, {"M3", 0.01}, {"A1", 0.01}, {"A2", 0.01}},
		Observations: []FaultObservation{
			{"first", 0, Distribution{{"M1", 1}, {"M2", 1}, {"A1", 1}}},
			{"second", 0, Distribution{{"M1", 1}, {"M3", 1}, {"A1", 1}, {"A2", 1}}}},
		Seen: Ordered[bool]{{"first", true}, {"second", true}}}
	out, err := Faults(in)
	require.NoError(t, err)
	for cause, want := range map[string]float64{"M1": 0.497635, "A1": 0.497635, "M2": 0.019609, "M3": 0.014780, "A2": 0.014780} {
		near(t, want, value(t, out.Posterior, cause), 6)
	}
	require.Equal(t, 0.0, out.None)

	// The same over every set of faulty parts, and the four minimal ones.
	box := network{rootChance(0.01), rootChance(0.01), rootChance(0.01), rootChance(0.01), rootChance(0.01)}
	consistent := func(set uint) bool { return set&0b01011 != 0 && set&0b11101 != 0 }
	for c := range box {
		near(t, box.probability(when(1<<c, 0), consistent), out.Posterior[c].Value, 12)
	}
	minimal := func(set uint) bool {
		for rest := set; rest != 0; rest &= rest - 1 {
			if consistent(set &^ (rest & -rest)) {
				return false
			}
		}
		return consistent(set)
	}
	count := 0
	for set := uint(0); set < 32; set++ {
		if minimal(set) {
			count++
			want := 0.495
			if bits.OnesCount(set) == 2 {
				want = 0.005
			}
			near(t, want, box.probability(func(s uint) bool { return s == set }, minimal), 3)
		}
	}
	require.Equal(t, 4, count)
}
