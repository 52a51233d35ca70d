package scoring

import (
	"slices"
	"strings"
)

// Limits of next/1.
const (
	MaxActions = 100
	// maxLatticeRepairs is the largest number of repairs that are put in any
	// order; the rest come after them.
	maxLatticeRepairs = 15
	// maxLatticeWork bounds the steps of a plan, maxLatticeRoom the figures that
	// are kept, 8 bytes each.
	maxLatticeWork = 36_000_000
	maxLatticeRoom = 1 << 22
	// leastPersisting is the smallest share of a difference that is more than
	// rounding.
	leastPersisting = 1e-10
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
// nor a repair, names that are not listed, points or money without a rate, and
// repairs in vain that by the model would have ended the complaint;
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
	if weight <= float64(leastPersisting*judged.Evidence) {
		var fs faults
		fs.add("/done", strings.Join(in.Done, ", "), "repairs that may leave the complaint", "By the model these would have ended the complaint",
			"Mend the chances of a cure or the leaks: something that is not listed keeps it there.")
		return NextResult{}, fs.err("The next step")
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
