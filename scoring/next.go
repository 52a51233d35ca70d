package scoring

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// Limits of next/1.
const (
	MaxActions = 100
	// maxLatticeRepairs is the largest number of repairs that are put in any
	// order; the rest come after them.
	maxLatticeRepairs = 15
	// maxLatticeWork bounds the steps of a plan, maxLatticeRoom the figures that
	// are kept, 8 bytes each.
	maxLatticeWork = 50_000_000
	maxLatticeRoom = 1 << 22
)

// The levels of an action, least invasive first. An action of invasiveLevel or
// more waits for all of a lower level that are worth their price;
// destructiveLevel alters or destroys substance.
const (
	invasiveLevel    = 3
	destructiveLevel = 4
)

// NextInput asks which test or repair to take next.
type NextInput struct {
	FaultsInput
	// Complaint are the observations that must be gone in the end; all that were
	// seen true if empty.
	Complaint []string       `json:"complaint,omitempty"`
	Actions   []NextAction   `json:"actions"`
	Openings  []FaultOpening `json:"openings,omitempty"`
	Opened    []string       `json:"opened,omitempty"` // openings that are open now
	// Done are actions that need not be offered again. A repair among them was
	// made, and the complaint is still there.
	Done       []string        `json:"done,omitempty"`
	Rates      NextRates       `json:"rates"`
	Specialist *NextSpecialist `json:"specialist,omitempty"`
}

// NextAction is a test, which reveals an observation, or an attempt to repair a
// cause, after which the complaint is checked.
type NextAction struct {
	ID          string   `json:"id"`
	Level       int      `json:"level"` // 0 to 4, least invasive first
	Minutes     float64  `json:"minutes"`
	Money       float64  `json:"money,omitempty"`
	Points      float64  `json:"points,omitempty"` // lost for good, of the index
	Openings    []string `json:"openings,omitempty"`
	Observation string   `json:"observation,omitempty"`
	Cause       string   `json:"cause,omitempty"`
	Cure        *float64 `json:"cure,omitempty"` // probability that it cures the cause, if that is there
}

// NextRates turn everything into minutes of work.
type NextRates struct {
	MinutesPerPoint *float64 `json:"minutes_per_point,omitempty"`
	MoneyPerHour    *float64 `json:"money_per_hour,omitempty"`
}

// NextSpecialist is the price of handing it over.
type NextSpecialist struct {
	Minutes float64 `json:"minutes,omitempty"`
	Money   float64 `json:"money,omitempty"`
}

// NextResult is what to do next. Costs are in minutes, from now until the
// complaint is gone.
type NextResult struct {
	Next     *NextChoice `json:"next,omitempty"`
	Stop     *NextStop   `json:"stop,omitempty"` // one of the two
	Expected float64     `json:"expected"`       // cost of the plan that begins so, or of the best one when it says stop
	// Exact is whether that is the least of all plans. If not, it is the least
	// of all with at most TestsPlanned more tests, and no plan costs less than
	// Bound.
	Exact        bool         `json:"exact"`
	TestsPlanned int          `json:"tests_planned"`
	Bound        float64      `json:"bound"`
	Left         *float64     `json:"left,omitempty"` // probability that all the repairs leave the complaint
	Leaders      []NextLeader `json:"leaders"`
	Ranking      []NextRank   `json:"ranking"`
	Tree         []NextBranch `json:"tree"`
	Cautions     []string     `json:"cautions"`
}

// NextChoice is the action to take.
type NextChoice struct {
	ID    string   `json:"id"`
	Level int      `json:"level"`
	Cost  float64  `json:"cost"` // of itself, with its openings
	Opens []string `json:"opens"`
	Value float64  `json:"value"` // as in NextRank
}

// NextStop says that a specialist should be asked: "conflict", "nothing-left",
// "level-4" or "dearer".
type NextStop struct {
	Reason string `json:"reason"`
	Say    string `json:"say"`
}

// NextLeader is a cause that is probably there and not cured.
type NextLeader struct {
	ID          string  `json:"id"`
	Probability float64 `json:"probability"`
}

// NextRank is one action weighed.
type NextRank struct {
	ID    string  `json:"id"`
	Level int     `json:"level"`
	Cost  float64 `json:"cost"`
	// Chance that a test shows its observation, or that after a repair the
	// complaint is gone.
	Chance float64 `json:"chance"`
	// Expected is the cost of the best plan that begins with it. Value is what
	// it saves by itself: a test against no further test, a repair tried first
	// against tried last; its own price taken off. Both are nil for what was not
	// weighed.
	Expected *float64 `json:"expected,omitempty"`
	Value    *float64 `json:"value,omitempty"`
	Reason   string   `json:"reason"`
}

// NextBranch is one outcome of an action and what follows.
type NextBranch struct {
	After   string       `json:"after"`
	Outcome string       `json:"outcome"` // "true", "false", "cured", "not-cured"
	Chance  float64      `json:"chance"`
	Leaders []NextLeader `json:"leaders"`
	Next    string       `json:"next,omitempty"`
	Stop    string       `json:"stop,omitempty"` // reason as in NextStop, or "done"
	Then    []NextBranch `json:"then,omitempty"`
}

// Next finds the action with the least expected cost until the complaint is
// gone, several causes being possible at once: a sequential decision problem,
// solved by dynamic programming (Bellman, Dynamic Programming, 1957) over the
// sets of repairs tried, for each set of test results. The model is that of
// Faults. The complaint is gone when every cause that brings it about is cured;
// it is checked after every repair. Attempts are independent and made once. A
// test shows the machine as it was found: a repair in between that cured one of
// several causes is not reckoned to change what it would show.
//
// For that problem the answer is exact when all tests fit into the plan, which
// Exact says; otherwise it is the best of the plans with at most TestsPlanned
// more tests, and Bound is the cost of the cheapest repair of every cause at
// work. An action of level 3 or 4 is not advised while one of levels 0 to 2 has
// positive value. The costs of what comes after are those of going on freely.
//
// It refuses what Faults refuses; (CodeInvalid) actions that are neither a test
// nor a repair, names that are not listed, points or money without a rate; and
// (CodeInsufficient) when there is no complaint; and (CodeTooLarge) sizes beyond
// about a second.
func Next(in NextInput) (NextResult, error) {
	l, judged, err := readNext(in)
	if err != nil {
		return NextResult{}, err
	}
	if err := l.lay(); err != nil {
		return NextResult{}, err
	}
	root := l.node(nil)
	weight := root.persist[0]
	if weight < leastEvidence {
		return NextResult{}, tooImprobable(weight)
	}
	l.deepen(root)
	l.plan(root)
	there, active, unlisted := l.standing(nil, 0)
	out := NextResult{Exact: len(l.tail) == 0 && l.depth >= len(l.tests) && !slices.Contains(l.deep, false), TestsPlanned: l.depth,
		Leaders: l.leaders(in, there, weight, maxLeaders), Tree: []NextBranch{}, Cautions: []string{}}
	pick := l.pick(root, 0)
	out.Expected = root.least[0] / weight
	if pick.action >= 0 {
		out.Expected = pick.expected / weight
	}
	out.Bound = out.Expected
	if !out.Exact {
		out.Bound = min(out.Expected, l.bound(active)/weight)
	}
	if len(l.tail) == 0 {
		left := min(1, root.persist[len(root.persist)-1]/weight)
		out.Left = &left
	}
	stop := pick.stop
	out.Cautions = append(out.Cautions, judged.Cautions...)
	if limit := in.unexplainedAbove(); unlisted/weight > limit && len(in.Done) > 0 {
		judged.Conflict = true
		out.Cautions = append(out.Cautions, "After what was tried in vain, something that is not listed is more probable than the limit allows.")
	}
	if judged.Conflict {
		stop = "conflict"
	}
	if stop != "" {
		out.Stop = &NextStop{stop, stopSays[stop]}
	} else {
		a := in.Actions[pick.action]
		out.Next = &NextChoice{a.ID, a.Level, l.cost(pick.action, l.opened), l.openings.list(l.actions[pick.action].opens &^ l.opened), pick.value / weight}
		out.Tree = l.branches(in, root, 0, pick.action, 2)
	}
	out.Ranking = l.rank(in, root, pick, stop)
	return out, nil
}

var stopSays = map[string]string{
	"conflict":     "No cause in the library explains what was seen. Look for a cause that is missing, or ask a specialist.",
	"nothing-left": "Nothing that is left would help: no test changes the plan, and no repair can end the complaint. Ask a specialist.",
	"level-4":      "Only what alters or destroys substance is left. Ask the owner and a specialist first.",
	"dearer":       "Every way on costs more than a specialist. Ask one.",
}

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

// leaders are the causes that are most probably there and not cured.
func (l *nextLattice) leaders(in NextInput, there []float64, weight float64, most int) []NextLeader {
	out := []NextLeader{}
	for c, p := range there {
		out = append(out, NextLeader{in.Causes[c].ID, min(1, p/weight)})
	}
	slices.SortStableFunc(out, func(a, b NextLeader) int { return cmp.Compare(b.Probability, a.Probability) })
	return out[:min(len(out), most)]
}

// branches says what each outcome of an action leads to.
func (l *nextLattice) branches(in NextInput, n *latticeNode, set, action, levels int) []NextBranch {
	out := []NextBranch{}
	add := func(outcome string, to *latticeNode, tried int) {
		chance := to.persist[tried] / n.persist[set]
		b := NextBranch{After: in.Actions[action].ID, Outcome: outcome, Chance: min(1, chance), Leaders: []NextLeader{}}
		if to.persist[tried] > float64(1e-12*n.persist[set]) {
			there, _, _ := l.standing(to.results, tried)
			b.Leaders = l.leaders(in, there, to.persist[tried], 3)
			if p := l.pick(to, tried); p.stop != "" {
				b.Stop = p.stop
			} else if b.Next = in.Actions[p.action].ID; levels > 1 {
				b.Then = l.branches(in, to, tried, p.action, levels-1)
			}
		}
		out = append(out, b)
	}
	if i := slices.Index(l.repairs, action); i >= 0 {
		add("not-cured", n, set|1<<i)
		out = append(out, NextBranch{After: in.Actions[action].ID, Outcome: "cured", Chance: max(0, 1-out[0].Chance), Leaders: []NextLeader{}, Stop: "done"})
		return out
	}
	no, yes, _ := l.after(n, action)
	add("true", yes, set)
	add("false", no, set)
	return out
}

// rank lists every action that is not done, with the reason why it is not next.
func (l *nextLattice) rank(in NextInput, root *latticeNode, pick picked, stop string) []NextRank {
	weight := root.persist[0]
	var out []NextRank
	for i, a := range in.Actions {
		if slices.Contains(in.Done, a.ID) {
			continue
		}
		r := NextRank{ID: a.ID, Level: a.Level, Cost: l.cost(i, l.opened)}
		at := slices.IndexFunc(pick.others, func(w weighed) bool { return w.action == i })
		switch {
		case at >= 0:
			w := pick.others[at]
			expected, value := w.expected/weight, w.value/weight
			r.Expected, r.Value, r.Chance = &expected, &value, min(1, max(0, w.chance))
			r.Reason = l.reason(in, w, pick, stop, weight)
		case a.Observation != "":
			r.Reason = "What it would show is known."
		case slices.Contains(l.tail, i):
			r.Reason = "Not weighed: its chance for its cost is less than that of the " + strconv.Itoa(len(l.repairs)) + " repairs that were."
		default:
			r.Reason = "It cannot end the complaint."
		}
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b NextRank) int {
		first := func(r NextRank) float64 {
			switch {
			case pick.action >= 0 && stop == "" && r.ID == in.Actions[pick.action].ID:
				return math.Inf(-1)
			case r.Expected == nil:
				return math.MaxFloat64
			}
			return *r.Expected
		}
		return cmp.Compare(first(a), first(b))
	})
	return append([]NextRank{}, out...)
}

// reason says in words why an action is next, or why it is not.
func (l *nextLattice) reason(in NextInput, w weighed, pick picked, stop string, weight float64) string {
	minutes := func(v float64) string { return strconv.FormatFloat(v/weight, 'f', 1, 64) + " min" }
	var parts []string
	level := l.actions[w.action].level
	switch {
	case stop != "":
		parts = append(parts, "Not advised: "+stop+".")
	case w.action == pick.action:
		return "The least expected cost of all that may come next."
	case pick.gate >= 0 && level >= invasiveLevel:
		parts = append(parts, "Barred: level "+strconv.Itoa(level)+" while "+in.Actions[pick.gate].ID+" of level "+
			strconv.Itoa(l.actions[pick.gate].level)+" is worth its price.")
	default:
		parts = append(parts, "To begin with it costs "+minutes(w.expected-pick.expected)+" more.")
	}
	if l.actions[w.action].observation >= 0 && w.value <= 0 {
		parts = append(parts, "By itself it costs more than it saves.")
	}
	return strings.Join(parts, " ")
}
