package scoring

import (
	"math"
	"slices"
)

const (
	// leastBoth is how many machines both lists must have: with fewer the
	// estimate is biased downwards (Robson and Regier, 1964). An assumption.
	leastBoth  = 7
	leastFound = 4 // the standard deviation of the count needs more than three
	maxFound   = 10_000
	maxCount   = 1_000_000
)

// SurvivorsInput asks how many machines survive, from two lists, or how many
// were built, from their numbers; or both.
type SurvivorsInput struct {
	Lists *TwoLists    `json:"lists,omitempty"`
	Built *BuiltSerial `json:"built,omitempty"`
}

// TwoLists are two lists of surviving machines.
type TwoLists struct {
	First  SurvivorList `json:"first"`
	Second SurvivorList `json:"second"`
	Both   float64      `json:"both"` // machines that stand in both
}

// SurvivorList is one of them.
type SurvivorList struct {
	Name  string  `json:"name"`
	Count float64 `json:"count"` // machines, each once
	// Sources are where its entries come from. Lists that share one feed each
	// other.
	Sources []string `json:"sources"`
}

// BuiltSerial is numbers of survivors of one unbroken run.
type BuiltSerial struct {
	Numbers []float64 `json:"numbers"`
	First   float64   `json:"first"` // number of the first machine built
	// Gaps says whether numbers were left out: blocks by type or for export.
	Gaps bool `json:"gaps"`
}

// SurvivorsResult is either count or both.
type SurvivorsResult struct {
	Survivors *SurvivorsCount `json:"survivors,omitempty"`
	Built     *BuiltCount     `json:"built,omitempty"`
	Warnings  []string        `json:"warnings"`
}

// SurvivorsCount is by two lists.
type SurvivorsCount struct {
	Seen  float64 `json:"seen"` // machines on either list
	Count float64 `json:"count"`
	SE    float64 `json:"se"`
	Low   float64 `json:"low95"`
	High  float64 `json:"high95"`
}

// BuiltCount is by the largest number.
type BuiltCount struct {
	Found   int     `json:"found"`
	Largest float64 `json:"largest"` // counted from the first as 1
	// Count is unbiased over samples; Bound is what it exceeds in one case of 20
	// only. Mean, SD, Median and High95 are of the posterior with a flat prior.
	Count  float64 `json:"count"`
	Bound  float64 `json:"bound95"`
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"`
	Median float64 `json:"median"`
	High   float64 `json:"high95"`
}

const (
	survivorsWarning = "Keen owners stand in both lists. Then the figure is too low, which makes the machine look rarer than it is and flatters a seller: in a simulation of 90 survivors the mean fell from 90 to 83."
	builtWarning     = "It holds only if every number up to the last was used and any of them is as likely to be found as any other."
)

// Survivors estimates counts of machines.
//
// Two lists (capture and recapture; Chapman, 1951): N = (n₁+1)(n₂+1)/(m+1) − 1
// with the variance of Seber (1970), and an interval for the logarithm of those
// not seen (Chao, 1987), so that it never goes below those that were.
//
// Numbers (the serial number problem; Goodman, 1952; Höhle and Held, 2006): with
// k found and m the largest, m + m/k − 1 is unbiased, m/α^(1/k) a bound; with a
// flat prior the posterior has the mean (m−1)(k−1)/(k−2) and P(N ≥ x) =
// C(m−1, k−1)/C(x−1, k−1).
//
// It refuses (CodeInsufficient) fewer than seven machines in both lists, lists
// that share a source or do not say where they come from, fewer than four
// numbers, and numbers with gaps; and (CodeInvalid) counts that cannot be.
func Survivors(in SurvivorsInput) (SurvivorsResult, error) {
	out := SurvivorsResult{Warnings: []string{}}
	var fs faults
	if in.Lists != nil {
		in.Lists.check(&fs)
	}
	if in.Built != nil {
		in.Built.check(&fs)
	}
	if err := fs.err("The count"); err != nil {
		return SurvivorsResult{}, err
	}
	if in.Lists == nil && in.Built == nil {
		return SurvivorsResult{}, insufficient("", "There are neither two lists nor numbers", "Give one of them.")
	}
	if l := in.Lists; l != nil {
		if err := l.enough(); err != nil {
			return SurvivorsResult{}, err
		}
		c := chapman(l.First.Count, l.Second.Count, l.Both)
		out.Survivors = &c
		out.Warnings = append(out.Warnings, survivorsWarning)
	}
	if b := in.Built; b != nil {
		if b.Gaps {
			return SurvivorsResult{}, insufficient("/built/gaps", "The numbers have gaps, so that the largest says nothing of how many were built", "Take one block without gaps.")
		}
		if len(b.Numbers) < leastFound {
			return SurvivorsResult{}, insufficient("/built/numbers", "Fewer than four numbers leave the count open", "Find more.")
		}
		c := b.count()
		out.Built = &c
		out.Warnings = append(out.Warnings, builtWarning)
	}
	return out, nil
}

// chapman is the estimate from two lists of n and k with m in both.
func chapman(n, k, m float64) SurvivorsCount {
	c := SurvivorsCount{Seen: n + k - m, Count: float64((n+1)*(k+1))/(m+1) - 1}
	variance := float64(float64((n+1)*(k+1))*float64((n-m)*(k-m))) / float64(float64((m+1)*(m+1))*(m+2))
	c.SE = math.Sqrt(variance)
	c.Low, c.High = c.Seen, c.Seen
	if unseen := c.Count - c.Seen; unseen > 0 {
		spread := exponential(float64(normalPoint * math.Sqrt(logOnePlus(variance/float64(unseen*unseen)))))
		c.Low, c.High = c.Seen+unseen/spread, c.Seen+float64(unseen*spread)
	}
	return c
}

// normalPoint is the 97.5 % point of the normal distribution.
const normalPoint = 1.959963984540054

// count is the estimate from numbers.
func (b *BuiltSerial) count() BuiltCount {
	k := float64(len(b.Numbers))
	m := slices.Max(b.Numbers) - b.First + 1
	c := BuiltCount{Found: len(b.Numbers), Largest: m, Count: m + m/k - 1, Bound: float64(m * exponential(-logarithm(0.05)/k)),
		Mean: float64((m-1)*(k-1)) / (k - 2)}
	c.SD = math.Sqrt(float64(float64((k-1)*(m-1))*(m-k+1))/(k-3)) / (k - 2)
	c.Median, c.High = b.quantile(m, 0.5), b.quantile(m, 0.95)
	return c
}

// quantile is the smallest count N with P(N ≤ count) ≥ p, by halving; the tail
// is the product of (m−1−i)/(x−1−i) over the first k−1 whole numbers i.
func (b *BuiltSerial) quantile(m, p float64) float64 {
	tail := func(x float64) float64 { // P(N ≥ x)
		q := 1.0
		for i := range len(b.Numbers) - 1 {
			q = float64(q * ((m - 1 - float64(i)) / (x - 1 - float64(i))))
		}
		return q
	}
	low, high := m-1, m
	for tail(high+1) > 1-p {
		low, high = high, float64(2*high)
	}
	for high-low > 1 {
		middle := math.Floor((low + high) / 2)
		if tail(middle+1) <= 1-p {
			high = middle
		} else {
			low = middle
		}
	}
	return high
}

func (l *TwoLists) check(fs *faults) {
	for _, x := range []struct {
		pointer string
		list    SurvivorList
	}{{"/lists/first", l.First}, {"/lists/second", l.Second}} {
		fs.name(x.pointer+"/name", x.list.Name, "A list")
		fs.whole(x.pointer+"/count", x.list.Count, maxCount, "machines")
		fs.count(x.pointer+"/sources", len(x.list.Sources), maxNumbers, "sources")
		for i, s := range x.list.Sources {
			fs.name(at(x.pointer+"/sources", i), s, "A source")
		}
	}
	fs.whole("/lists/both", l.Both, maxCount, "machines")
	if least := min(l.First.Count, l.Second.Count); l.Both > least {
		fs.add("/lists/both", number(l.Both), "at most "+number(least), "More machines stand in both lists than in one of them", "Count again.")
	}
}

// enough says whether two lists bear an estimate.
func (l *TwoLists) enough() error {
	for _, x := range []struct {
		pointer string
		sources []string
	}{{"/lists/first/sources", l.First.Sources}, {"/lists/second/sources", l.Second.Sources}} {
		if len(x.sources) == 0 {
			return insufficient(x.pointer, "Where this list has its entries from is not known, so that it may have copied the other", "Name its sources.")
		}
	}
	for i, s := range l.Second.Sources {
		if slices.Contains(l.First.Sources, s) {
			return insufficient(at("/lists/second/sources", i), "The lists share the source "+quote(s)+": what both have says nothing of how many there are", "Take lists of which neither feeds the other.")
		}
	}
	if l.Both < leastBoth {
		return insufficient("/lists/both", "Fewer than seven machines stand in both lists: the estimate would be too low, and nobody could say by how much", "Lengthen the lists. Seen so far: "+number(l.First.Count+l.Second.Count-l.Both)+".")
	}
	return nil
}

func (b *BuiltSerial) check(fs *faults) {
	fs.serial("/built/first", b.First)
	fs.count("/built/numbers", len(b.Numbers), maxFound, "numbers")
	seen := map[float64]bool{}
	for i, v := range b.Numbers {
		here := at("/built/numbers", i)
		fs.serial(here, v)
		if v < b.First {
			fs.add(here, number(v), "at least "+number(b.First), "This number comes before the first", "Correct one of them.")
		}
		if seen[v] {
			fs.add(here, number(v), "each machine once", "This number stands twice", "Leave one out.")
		}
		seen[v] = true
	}
}

// whole adds a fault unless v is a whole number from 0.
func (fs *faults) whole(pointer string, v, most float64, unit string) {
	if !(v >= 0 && v <= most && v == math.Trunc(v)) {
		fs.add(pointer, number(v), "a whole number of "+unit+", 0 to "+number(most), "A count is in ones", "Count again.")
	}
}

func readSurvivorsInput(r *reader, n *node) (in SurvivorsInput) {
	list := func(to *SurvivorList) func(n *node, pointer string) {
		return func(n *node, pointer string) {
			r.object(n, pointer,
				member{"name", true, r.text(&to.Name)},
				member{"count", true, r.number(&to.Count)},
				member{"sources", true, r.texts(&to.Sources)},
			)
		}
	}
	r.object(n, "",
		member{"lists", false, func(n *node, pointer string) {
			in.Lists = &TwoLists{}
			r.object(n, pointer,
				member{"first", true, list(&in.Lists.First)},
				member{"second", true, list(&in.Lists.Second)},
				member{"both", true, r.number(&in.Lists.Both)},
			)
		}},
		member{"built", false, func(n *node, pointer string) {
			in.Built = &BuiltSerial{}
			r.object(n, pointer,
				member{"numbers", true, r.numbers(&in.Built.Numbers)},
				member{"first", true, r.number(&in.Built.First)},
				member{"gaps", true, r.flag(&in.Built.Gaps)},
			)
		}},
	)
	return in
}
