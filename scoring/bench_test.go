package scoring

import (
	"fmt"
	"testing"
)

// manyParts is an input of the size of a whole machine: 160 components in 17
// groups, weights of 0 to 97 points that sum to 1000, eight states with credits
// in twentieths, every state possible either way. The first switched groups
// have a switch.
func manyParts(switched int) IndexInput {
	weights := [][]float64{
		{44, 40, 14, 10, 8, 4, 4, 3, 2, 2, 0},
		{18, 18, 7, 5, 3, 2, 2, 2, 2, 0, 0, 0},
		{48, 21, 13, 8, 4, 4, 4, 3, 3, 2, 2, 0, 0},
		{16, 5, 3, 3, 2, 2, 2, 2, 1, 0},
		{13, 4, 3, 3, 1, 0},
		{10, 6, 5, 3, 1, 0, 0, 0},
		{21, 6, 6, 6, 3, 3, 3, 3, 2, 2, 2, 2, 0, 0},
		{18, 10, 10, 9, 8, 8, 3, 2, 1, 0},
		{11, 2, 1},
		{7, 7, 7, 7, 5, 3, 2, 1, 0, 0, 0},
		{7, 6, 4, 3, 2, 2, 2, 2},
		{11, 11, 7, 7, 5, 4, 4, 3, 3, 3, 2, 0},
		{97, 24, 10, 10, 8, 7, 7, 5, 5},
		{14, 10, 2, 0},
		{3, 3, 3, 3, 2, 2, 2, 0, 0, 0},
		{13, 13, 11, 7, 7, 6, 5, 5},
		{15, 10, 10, 8, 8, 5, 4, 0, 0, 0, 0},
	}
	credit := Distribution{{"original", 1}, {"period-service", 0.8}, {"new-old-stock", 0.7}, {"donor", 0.55},
		{"period-accessory", 0.45}, {"reproduction", 0.2}, {"substitute", 0.05}, {"missing", 0}}
	shares := func(p ...float64) Distribution {
		d := make(Distribution, len(p))
		for i, v := range p {
			d[i] = Entry[float64]{credit[i].Key, v}
		}
		return d
	}
	ifIntact := shares(0.80, 0.05, 0.03, 0.04, 0.03, 0.02, 0.02, 0.01)
	ifSwapped := shares(0.02, 0.20, 0.08, 0.50, 0.05, 0.10, 0.03, 0.02)
	var in IndexInput
	for i, group := range weights {
		a := Assembly{ID: fmt.Sprint("assembly-", i), Intact: 1}
		if i < switched {
			a.Intact = 0.9
		}
		for j, w := range group {
			p := IndexPart{ID: fmt.Sprint("part-", i, "-", j), Weight: w, Credit: credit, IfIntact: ifIntact}
			if i < switched {
				p.IfSwapped = ifSwapped
			}
			a.Parts = append(a.Parts, p)
		}
		in.Assemblies = append(in.Assemblies, a)
	}
	return in
}

// BenchmarkIndex160 computes one index of a whole machine: with independent
// parts, for which the aim is 2 ms on a quiet machine, and with twelve and all
// seventeen groups switched, which about doubles and triples the products.
func BenchmarkIndex160(b *testing.B) {
	for _, switched := range []int{0, 12, 17} {
		b.Run(fmt.Sprint("switched=", switched), func(b *testing.B) {
			in := manyParts(switched)
			for b.Loop() {
				if _, err := Index(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
