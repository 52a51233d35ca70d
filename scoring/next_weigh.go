package scoring

import (
	"cmp"
	"math"
	"slices"

	"example.org/asfound/registry"
)

// lay chooses what is planned with: the repairs with the largest chance for
// their cost, and how many tests ahead. It refuses when not even one test could
// be weighed in time.
func (l *nextLattice) lay() error {
	there, _, _ := l.standing(nil, 0)
	var able []int
	for i, a := range l.actions {
		switch {
		case a.spent:
		case a.observation >= 0:
			if l.m.seen[a.observation] == unseen {
				l.tests = append(l.tests, i)
			}
		case a.cure > 0 && there[a.cause] > 0 && l.brings(a.cause):
			able = append(able, i)
		}
	}
	slices.SortStableFunc(able, func(a, b int) int {
		x := float64(float64(there[l.actions[a].cause]*l.actions[a].cure) * l.cost(b, l.opened))
		y := float64(float64(there[l.actions[b].cause]*l.actions[b].cure) * l.cost(a, l.opened))
		return cmp.Compare(y, x)
	})
	if (1+2*len(l.tests))*l.absorbing(1) > maxFaultWork/2 {
		return registry.Refuse(registry.CodeTooLarge, "Leave out causes that cannot be meant, or tests that nobody will make.",
			"%d causes, %d tests and %d observations seen true are too many to weigh", len(l.m.prior), len(l.tests), len(l.m.positive()))
	}
	repairs := min(len(able), maxLatticeRepairs)
	for repairs > 0 && !l.affords(1+2*len(l.tests), repairs, 1) {
		repairs--
	}
	l.repairs, l.tail = able[:repairs:repairs], able[repairs:]
	slices.SortFunc(l.repairs, func(a, b int) int {
		return cmp.Or(cmp.Compare(l.actions[a].cause, l.actions[b].cause), cmp.Compare(a, b))
	})
	for _, a := range l.tail {
		l.tailed += l.actions[a].cost
		l.tailing |= l.actions[a].opens
	}
	l.open = make([]uint64, 1<<repairs)
	for i, a := range l.repairs {
		for set := range 1 << i {
			l.open[1<<i|set] = l.open[set] | l.actions[a].opens
		}
	}
	l.trying = l.tries()
	// The number of nodes with up to depth of n tests is Σ C(n,j)·2ʲ.
	nodes, more := 1, 1
	for l.depth = 0; l.depth < len(l.tests); l.depth++ {
		more = more * 2 * (len(l.tests) - l.depth) / (l.depth + 1)
		if l.depth > 0 && !l.affords(nodes+more, repairs, l.depth+1) {
			break
		}
		nodes += more
	}
	l.deep = make([]bool, len(l.actions))
	for i := range l.deep {
		l.deep[i] = true
	}
	return nil
}

// affords says whether a number of nodes is within the limits. A node takes in
// all causes once, and then goes through every set of repairs.
func (l *nextLattice) affords(nodes, repairs, depth int) bool {
	each := (l.sets(depth)+repairs+len(l.tests))<<repairs + l.absorbing(depth)
	return nodes<<repairs <= maxLatticeRoom && nodes <= maxLatticeWork/each
}

// sets is how many sets of observations seen true a cover has at a node of that
// depth, in the mean: each test that turns out true doubles them.
func (l *nextLattice) sets(depth int) int {
	sets := 1 << len(l.m.positive())
	for range depth {
		sets += sets / 2
	}
	return sets
}

// absorbing is the work of taking in all causes.
func (l *nextLattice) absorbing(depth int) int {
	return 2 * len(l.m.prior) * (len(l.m.positive()) + depth) * l.sets(depth)
}

// brings says whether a cause can bring the complaint about.
func (l *nextLattice) brings(cause int) bool {
	for o, is := range l.complaint {
		if is && l.m.link[o][cause] > 0 {
			return true
		}
	}
	return false
}

// deepen plans a second test among the most valuable ones when there is time
// for one with all of them only.
func (l *nextLattice) deepen(root *latticeNode) {
	if l.depth != 1 || len(l.tests) < 3 {
		return
	}
	few := 1
	for l.affords(1+2*len(l.tests)+2*(few+1)*few, len(l.repairs), 2) {
		few++
	}
	if few < 2 {
		return
	}
	best := slices.Clone(l.tests)
	worth := make([]float64, len(l.actions))
	for _, t := range best {
		worth[t], _ = l.worthOfTest(root, 0, t)
	}
	slices.SortStableFunc(best, func(a, b int) int { return cmp.Compare(worth[b], worth[a]) })
	for i := range l.deep {
		l.deep[i] = slices.Contains(best[:few], i)
	}
	l.depth = 2
	for _, n := range l.nodes {
		n.least = nil
	}
}

// worthOfTest is what a test saves by itself, its price taken off; false when it
// is not planned there.
func (l *nextLattice) worthOfTest(n *latticeNode, set, test int) (float64, bool) {
	no, yes, ok := l.after(n, test)
	if !ok {
		return 0, false
	}
	return n.plain[set] - float64(l.cost(test, n.open|l.open[set])*n.persist[set]) - (no.plain[set] + yes.plain[set]), true
}

// weighed is one action at one point of the plan; costs are weighted.
type weighed struct {
	action          int
	expected, value float64
	chance          float64
}

// picked is what to do at one point of the plan.
type picked struct {
	weighed
	stop   string // or a reason to stop, and no action
	gate   int    // the most valuable action of levels 0 to 2; −1 if none has a positive value
	others []weighed
}

// pick weighs what may be done at a node after a set of repairs.
func (l *nextLattice) pick(n *latticeNode, set int) picked {
	p := picked{weighed: weighed{action: -1}, gate: -1}
	open, persist := n.open|l.open[set], n.persist[set]
	for _, t := range l.tests {
		worth, ok := l.worthOfTest(n, set, t)
		if !ok {
			continue
		}
		no, yes, _ := l.after(n, t)
		p.others = append(p.others, weighed{t, float64(l.cost(t, open)*persist) + (no.least[set] + yes.least[set]), worth, yes.persist[set] / persist})
	}
	for i, a := range l.repairs {
		if set>>i&1 == 1 {
			continue
		}
		with, try := set|1<<i, float64(l.cost(a, open)*persist)
		p.others = append(p.others, weighed{a, try + n.least[with], l.postponed(n, set, i) - (try + n.plain[with]), 1 - n.persist[with]/persist})
	}
	slices.SortFunc(p.others, func(a, b weighed) int { return cmp.Compare(a.action, b.action) })
	trifle := float64(1e-9 * (n.plain[set] + persist))
	highest := 0.0
	for _, w := range p.others {
		if l.actions[w.action].level < invasiveLevel && w.value > max(trifle, highest) {
			highest, p.gate = w.value, w.action
		}
	}
	// One repair may end nothing where two together do.
	useful := n.persist[len(n.persist)-1] < float64((1-1e-12)*persist) || len(l.tail) > 0
	best, lowest := math.Inf(1), destructiveLevel
	for _, w := range p.others {
		level := l.actions[w.action].level
		useful = useful || w.value > trifle
		lowest = min(lowest, level)
		if level >= invasiveLevel && p.gate >= 0 {
			continue
		}
		if w.expected < best-trifle {
			best, p.weighed = w.expected, w
		}
	}
	switch {
	case len(p.others) == 0 || !useful:
		p.stop = "nothing-left"
	case lowest >= destructiveLevel:
		p.stop = "level-4"
	case float64(l.stop*persist) < best:
		p.stop = "dearer"
	}
	if p.stop != "" {
		p.weighed = weighed{action: -1}
	}
	return p
}

// bound is a cost that no plan goes below. The complaint stays until every cause
// at work is cured, so each takes its cheapest repair at least, openings apart;
// where a specialist has a price, a plan may pay that instead of all of them, so
// only the dearest one is sure.
func (l *nextLattice) bound(active []float64) float64 {
	sum, most := 0.0, 0.0
	for c, p := range active {
		cheapest := math.Inf(1)
		for _, a := range append(slices.Clone(l.repairs), l.tail...) {
			if l.actions[a].cause == c {
				cheapest = min(cheapest, l.actions[a].cost)
			}
		}
		if math.IsInf(cheapest, 1) {
			continue
		}
		sum += float64(p * cheapest)
		most = max(most, float64(p*min(cheapest, l.stop)))
	}
	if math.IsInf(l.stop, 1) {
		return sum
	}
	return most
}
