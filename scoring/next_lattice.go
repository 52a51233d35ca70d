package scoring

import (
	"math"
	"math/bits"
)

// The plan of next/1 is looked for on a lattice: for each set of results that
// tests have given (a node) and each set of repairs tried in vain, the least
// cost from there on. All costs are weighted with the probability that it comes
// to that, so that they add up over results.

// nextLattice is one question made ready.
type nextLattice struct {
	m         *noisyOr
	complaint []bool    // [observation]: must be gone in the end
	done      []float64 // [cause]: probability that attempts already made would have cured it
	actions   []nextAction
	openings  *openings
	opened    uint64
	stop      float64 // cost of asking a specialist; +Inf when it has no price

	repairs []int // actions on the lattice, those of one cause side by side
	trying  tries // the same repairs, for the inner loops
	tail    []int // repairs that come after all of them
	tests   []int // actions that reveal something not yet seen
	depth   int   // how many tests are planned ahead
	deep    []bool
	open    []uint64 // [set of repairs]: what they have opened
	tailed  float64  // cost of the tail, without openings
	tailing uint64   // openings of the tail
	nodes   map[string]*latticeNode
}

// nextAction is a checked action.
type nextAction struct {
	level       int
	cost        float64 // in minutes, without openings
	opens       uint64
	observation int // −1 for a repair
	cause       int // −1 for a test
	cure        float64
	spent       bool // made already
}

// latticeNode is what some tests have shown, and the costs from there on for
// each set of repairs tried.
type latticeNode struct {
	results []testResult // in the order of the tests
	open    uint64
	persist []float64 // weight of: these results, and the complaint still there
	plain   []float64 // least cost without another test
	least   []float64 // least cost with the tests that are planned
}

// testResult is the result of the action of that number.
type testResult struct {
	action int
	is     bool
}

// sights is what is known at a node.
func (l *nextLattice) sights(results []testResult) *noisyOr {
	m := *l.m
	m.seen = append([]sight(nil), l.m.seen...)
	for _, r := range results {
		m.seen[l.actions[r.action].observation] = seenFalse
		if r.is {
			m.seen[l.actions[r.action].observation] = seenTrue
		}
	}
	return &m
}

// mending are weights of the cases in which the complaint is gone after some
// repairs: only causes that these have cured have brought it about.
type mending struct {
	weights
	other [][]float64 // pull without the complaint
	quiet []float64   // probability that the cause, being there, brings about no complaint
	end   []float64   // worth of each set: the complaint brought about, and by no leak
}

func (l *nextLattice) mending(m *noisyOr, positive []int) mending {
	x := mending{weights: m.weigh(positive), quiet: make([]float64, len(m.prior)), other: make([][]float64, len(m.prior))}
	for c, pull := range x.pull {
		x.quiet[c] = 1
		if pull == nil {
			x.pull[c] = make([]float64, len(positive))
			x.other[c] = x.pull[c]
			continue
		}
		x.other[c] = append([]float64(nil), pull...)
		for j, o := range positive {
			if l.complaint[o] {
				x.quiet[c] = float64(x.quiet[c] * (1 - pull[j]))
				x.other[c][j] = 0
			}
		}
	}
	x.end = x.leaks()
	for j, o := range positive {
		if l.complaint[o] {
			for set := range x.end {
				if set>>j&1 == 0 {
					x.end[set] = 0
				} else {
					x.end[set] = float64(x.end[set] * (1 - x.stay[j]))
				}
			}
		}
	}
	return x
}

// take takes cause c into a cover by raise, or out of a worth by lower.
func (x *mending) take(next, v, scratch []float64, c int, cured float64, step func(v, pull []float64)) {
	copy(next, v)
	step(next, x.pull[c])
	copy(scratch, v)
	step(scratch, x.other[c])
	yes, no := float64(x.on[c]*cured), float64(float64(x.on[c]*(1-cured))*x.quiet[c])
	for i := range next {
		next[i] = float64(x.off[c]*v[i]) + float64(yes*next[i]) + float64(no*scratch[i])
	}
}

// persist gives for each set of repairs the weight of the results, and of the
// complaint being there after those repairs: the weight of the results less
// that of the complaint being gone. The second is a product of two halves, each
// over the sets of one half of the repairs.
func (l *nextLattice) persist(results []testResult) []float64 {
	m := l.sights(results)
	positive := m.positive()
	x := l.mending(m, positive)
	total := x.total(x.leaks())
	size := 1 << len(positive)
	first := make([]float64, size)
	first[0] = x.rest
	// Causes without a repair on the lattice go in at once.
	attempts := make([][]int, len(m.prior))
	for _, a := range l.repairs {
		attempts[l.actions[a].cause] = append(attempts[l.actions[a].cause], a)
	}
	next, scratch := make([]float64, size), make([]float64, size)
	for c := range m.prior {
		if len(attempts[c]) == 0 {
			x.take(next, first, scratch, c, l.done[c], raise)
			first, next = next, first
		}
	}
	early, late := [][]float64{first}, [][]float64{x.end}
	var before [][]int
	for i := 0; i < len(l.repairs); i += len(before[len(before)-1]) {
		before = append(before, attempts[l.actions[l.repairs[i]].cause])
	}
	for _, list := range before {
		half, step := &early, raise
		if bits.Len(uint(len(early)))-1 >= (len(l.repairs)+1)/2 {
			half, step = &late, lower
		}
		c := l.actions[list[0]].cause
		grown := make([][]float64, len(*half)<<len(list))
		for tried := range 1 << len(list) {
			fails := 1 - l.done[c]
			for i, a := range list {
				if tried>>i&1 == 1 {
					fails = float64(fails * (1 - l.actions[a].cure))
				}
			}
			for set, v := range *half {
				out := make([]float64, size)
				x.take(out, v, scratch, c, 1-fails, step)
				grown[tried*len(*half)|set] = out
			}
		}
		*half = grown
	}
	out := make([]float64, len(early)*len(late))
	for i, u := range late {
		for j, v := range early {
			out[i*len(early)|j] = max(0, total-dot(u, v))
		}
	}
	return out
}

// cost is what an action costs once all of open is open.
func (l *nextLattice) cost(action int, open uint64) float64 {
	a := &l.actions[action]
	if closed := a.opens &^ open; closed != 0 {
		return a.cost + l.openings.price(closed)
	}
	return a.cost
}

// tries are the repairs of the lattice side by side, for the inner loops.
type tries struct {
	cost  []float64
	opens []uint64
	// price is of each set of openings, where they are few.
	price []float64
	from  *openings
}

// maxPriced is up to how many openings every set of them has its price ready.
const maxPriced = 12

func (l *nextLattice) tries() tries {
	t := tries{from: l.openings}
	for _, r := range l.repairs {
		t.cost, t.opens = append(t.cost, l.actions[r].cost), append(t.opens, l.actions[r].opens)
	}
	if n := len(l.openings.cost); n <= maxPriced {
		t.price = make([]float64, 1<<n)
		for set := range t.price {
			t.price[set] = l.openings.price(uint64(set))
		}
	}
	return t
}

// least is the least that one more repair of rest leads to: what it costs, and
// what follows.
func (t *tries) least(best float64, rest uint, open uint64, persist float64, follows []float64, set int) float64 {
	cost, opens := t.cost, t.opens[:len(t.cost)]
	for ; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros(rest)
		c := cost[i]
		if closed := opens[i] &^ open; closed != 0 {
			if t.price != nil {
				c += t.price[closed]
			} else {
				c += t.from.price(closed)
			}
		}
		best = min(best, float64(c*persist)+follows[set|1<<i])
	}
	return best
}

// node computes what follows on some results, and all that may follow on them.
func (l *nextLattice) node(results []testResult) *latticeNode {
	name := resultsName(results)
	if n, ok := l.nodes[name]; ok {
		return n
	}
	n := &latticeNode{results: results, open: l.opened, persist: l.persist(results)}
	for _, r := range results {
		n.open |= l.actions[r.action].opens
	}
	l.nodes[name] = n
	n.plain = l.descend(n, nil)
	if len(results) >= l.depth {
		n.least = n.plain
		return n
	}
	return n
}

// plan computes least for a node and all below it.
func (l *nextLattice) plan(n *latticeNode) *latticeNode {
	if n.least != nil {
		return n
	}
	var after []following
	for _, t := range l.tests {
		if no, yes, ok := l.after(n, t); ok {
			after = append(after, following{t, l.plan(no), l.plan(yes)})
		}
	}
	n.least = n.plain
	if len(after) > 0 {
		n.least = l.descend(n, after)
	}
	return n
}

// after gives the two nodes that a test leads to, when it is planned there.
func (l *nextLattice) after(n *latticeNode, test int) (no, yes *latticeNode, ok bool) {
	if len(n.results) >= l.depth || len(n.results) > 0 && !l.deep[test] {
		return nil, nil, false
	}
	place := 0
	for i, r := range n.results {
		if l.actions[r.action].observation == l.actions[test].observation || !l.deep[r.action] {
			return nil, nil, false
		}
		if r.action < test {
			place = i + 1
		}
	}
	both := [2]*latticeNode{}
	for is := range both {
		results := make([]testResult, 0, len(n.results)+1)
		results = append(append(append(results, n.results[:place]...), testResult{test, is == 1}), n.results[place:]...)
		both[is] = l.node(results)
	}
	return both[0], both[1], true
}

func resultsName(results []testResult) string {
	name := make([]byte, 0, 3*len(results))
	for _, r := range results {
		is := byte(0)
		if r.is {
			is = 1
		}
		name = append(name, byte(r.action), byte(r.action>>8), is)
	}
	return string(name)
}

// following is a test that may come next at a node, and where it leads.
type following struct {
	test    int
	no, yes *latticeNode
}

// descend is the dynamic program over the sets of repairs tried, gone through
// from the largest. At each it may stop, if that has a price, try a repair that
// is left, or make a test.
func (l *nextLattice) descend(n *latticeNode, after []following) []float64 {
	full := 1<<len(l.repairs) - 1
	least, t := make([]float64, full+1), &l.trying
	for set := full; set >= 0; set-- {
		open, persist := n.open|l.open[set], n.persist[set]
		best := t.least(l.without(n, set), uint(full&^set), open, persist, least, set)
		for i := range after {
			x := &after[i]
			best = min(best, float64(l.cost(x.test, open)*persist)+(x.no.least[set]+x.yes.least[set]))
		}
		least[set] = best
	}
	return least
}

// without is the cost of making nothing more of what is planned: asking a
// specialist, if that has a price; or, when every repair was tried, the tail.
func (l *nextLattice) without(n *latticeNode, set int) float64 {
	cost := math.Inf(1)
	if set == len(l.open)-1 {
		cost = 0
		if len(l.tail) > 0 {
			cost = float64(n.persist[set] * (l.tailed + l.openings.price(l.tailing&^(n.open|l.open[set]))))
		}
	}
	if l.stop < math.Inf(1) {
		cost = min(cost, float64(l.stop*n.persist[set]))
	}
	return cost
}

// postponed is the least cost, without another test, from a set of repairs on
// when the repair at place i of the lattice comes after all the others.
func (l *nextLattice) postponed(n *latticeNode, from, i int) float64 {
	full := len(l.open) - 1
	others := full &^ (1 << i)
	least, t := make([]float64, full+1), &l.trying
	for set := others; set >= 0; set-- {
		if set&from != from || set>>i&1 == 1 {
			continue
		}
		open, persist := n.open|l.open[set], n.persist[set]
		best := l.without(n, set)
		if set == others {
			best = min(best, float64(l.cost(l.repairs[i], open)*persist)+n.plain[full])
		}
		least[set] = t.least(best, uint(others&^set), open, persist, least, set)
	}
	return least[from]
}

// standing gives for each cause the weight of its being there, not cured, with
// the results, the repairs of the set tried and the complaint still there; and
// the weight of its bringing the complaint about; and last the weight of only
// something that is not listed bringing it about.
func (l *nextLattice) standing(results []testResult, tried int) (there, active []float64, unlisted float64) {
	m := l.sights(results)
	positive := m.positive()
	x := l.mending(m, positive)
	cured := append([]float64(nil), l.done...)
	for i, a := range l.repairs {
		if tried>>i&1 == 1 {
			c := l.actions[a].cause
			cured[c] = 1 - float64((1-cured[c])*(1-l.actions[a].cure))
		}
	}
	_, _, present := x.presence(x.leaks())
	n, size := len(m.prior), 1<<len(positive)
	one := make([]float64, n) // as if everything were cured: the complaint need not be gone
	for c := range one {
		one[c] = 1
	}
	quiet, _ := x.unmoved(x.leaks(), one, n, size)
	gone, mended := x.unmoved(x.end, cured, n, size)
	there, active = make([]float64, n), make([]float64, n)
	for c := range there {
		fails := 1 - cured[c]
		there[c] = max(0, float64(fails*present[c])-float64(fails*gone[c]))
		active[c] = max(0, float64(fails*(present[c]-quiet[c])))
	}
	return there, active, max(0, dot(mended, x.leaks())-dot(mended, x.end))
}

// unmoved gives for each cause the weight of its being there and bringing about
// no complaint, every other cause being cured with its probability; and the
// cover by all causes.
func (x *mending) unmoved(worth, cured []float64, n, size int) (out, cover []float64) {
	block := make([]float64, (n+1)*size)
	scratch := make([]float64, size)
	block[0] = x.rest
	for c := range n {
		x.take(block[(c+1)*size:][:size], block[c*size:][:size], scratch, c, cured[c], raise)
	}
	out = make([]float64, n)
	u, next := append([]float64(nil), worth...), make([]float64, size)
	for c := n - 1; c >= 0; c-- {
		copy(scratch, u)
		lower(scratch, x.other[c])
		out[c] = float64(float64(x.on[c]*x.quiet[c]) * dot(block[c*size:][:size], scratch))
		x.take(next, u, scratch, c, cured[c], lower)
		u, next = next, u
	}
	return out, block[n*size:]
}
