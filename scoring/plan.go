package scoring

import (
	"math/big"
	"slices"
)

// Limits of a plan. What lies within them may still be too much to be exact;
// it is then refused, never shortened.
const (
	MaxPlanFaults   = 200
	MaxPlanOptions  = 50 // of one fault
	MaxPlanOpenings = 64
	// MaxPlanStates is the largest number of different situations (what is
	// open, what is required or forbidden) after any fault.
	MaxPlanStates = 20_000
	// MaxPlanSteps is the largest number of partial plans that are looked at.
	MaxPlanSteps = 10_000_000
	// MaxPlanFront is the largest front that is answered.
	MaxPlanFront = 20_000
)

// The three things that a plan is judged by.
const (
	ByForGood = "for_good" // least loss for good
	ByMoney   = "money"    // least money
	ByWorks   = "works"    // best chance that all works
)

// PlanInput asks for the best plans of a machine: one option for each fault.
type PlanInput struct {
	Faults   []PlanFault   `json:"faults"`
	Openings []PlanOpening `json:"openings,omitempty"`
	Limits   PlanLimits    `json:"limits,omitzero"`
	// Pick names what matters most within the limits, one of ByForGood,
	// ByMoney and ByWorks. The result then names that plan and says in words
	// why others lost.
	Pick string `json:"pick,omitempty"`
}

// PlanFault is one trouble and what can be done about it.
type PlanFault struct {
	ID string `json:"id"`
	// Mandatory faults must be put right: an option with Works 0 (such as
	// leaving a dead brake) is not taken. This is the gate of a machine that
	// is to be ridden.
	Mandatory bool         `json:"mandatory,omitempty"`
	Options   []PlanOption `json:"options"`
}

// PlanOption is one way to treat a fault; leaving it is an option too.
type PlanOption struct {
	ID    string  `json:"id"`
	Money float64 `json:"money,omitempty"` // in the caller's currency, not negative
	Hours float64 `json:"hours,omitempty"` // of work
	Lead  float64 `json:"lead,omitempty"`  // days of waiting for something
	// Now and ForGood are points of originality lost as the machine then
	// stands, and for good. A gain is negative.
	Now     float64 `json:"now,omitempty"`
	ForGood float64 `json:"for_good,omitempty"`
	// Works is the chance that the fault is then put right; 1 if nil.
	Works *float64 `json:"works,omitempty"`
	// Opens lists the openings it needs; those they need come by themselves.
	Opens []string `json:"opens,omitempty"`
	// Requires and Excludes name options of other faults, by their name or, where
	// several have it, as "fault/option"; and openings: some other choice must,
	// or must not, open them.
	Requires []string `json:"requires,omitempty"`
	Excludes []string `json:"excludes,omitempty"`
}

// PlanOpening is something that is taken off to get at what is behind. It is
// paid for once, however many options need it.
type PlanOpening struct {
	ID      string   `json:"id"`
	Money   float64  `json:"money,omitempty"`
	Hours   float64  `json:"hours,omitempty"`
	Lead    float64  `json:"lead,omitempty"`     // days
	ForGood float64  `json:"for_good,omitempty"` // points of evidence lost; they count in now too
	Needs   []string `json:"needs,omitempty"`    // openings that must be made first
}

// PlanLimits are budgets; nil is no limit.
type PlanLimits struct {
	Money *float64 `json:"money,omitempty"` // at most
	Hours *float64 `json:"hours,omitempty"` // at most
	Lead  *float64 `json:"lead,omitempty"`  // at most, days
	Works *float64 `json:"works,omitempty"` // at least
}

// PlanResult is the front: every plan within the limits for which no other has
// at most its loss for good and its money, at least its chance, and one of them
// better. Of plans that agree in all three one is listed.
type PlanResult struct {
	// Front is sorted by loss for good, then money.
	Front  []PlanChoice `json:"front"`
	Counts PlanCounts   `json:"counts"`
	Pick   *PlanPick    `json:"pick,omitempty"`
}

// PlanChoice is one plan with what it comes to.
type PlanChoice struct {
	// Options gives the option of each fault, in the order of the input.
	Options  Ordered[string] `json:"options"`
	Openings []string        `json:"openings"`
	Money    float64         `json:"money"`
	Hours    float64         `json:"hours"`
	Lead     float64         `json:"lead"` // the longest wait, not the sum; days
	Now      float64         `json:"now"`
	ForGood  float64         `json:"for_good"`
	// Works is the product over the faults, which takes them as independent,
	// to 12 digits.
	Works float64 `json:"works"`
}

// PlanCounts says what became of every combination of options. All are exact.
type PlanCounts struct {
	Combinations *big.Int `json:"combinations"` // the product of the numbers of options
	Infeasible   *big.Int `json:"infeasible"`   // against a requirement or an exclusion
	Feasible     *big.Int `json:"feasible"`     // the rest
	Gated        *big.Int `json:"gated"`        // feasible, and a mandatory fault is not put right
	// Gates counts for each mandatory fault the feasible plans that leave it;
	// a plan may leave several.
	Gates Ordered[*big.Int] `json:"gates,omitempty"`
	// OverLimit and Dominated split what then remains. They are left out when
	// there are limits and too many combinations to count one by one.
	OverLimit *big.Int `json:"over_limit,omitempty"`
	Dominated *big.Int `json:"dominated,omitempty"` // or equal to a plan on the front in all three
	Front     int      `json:"front"`
}

// PlanPick is the plan for one preference.
type PlanPick struct {
	By   string `json:"by"`
	Plan int    `json:"plan"` // index into the front; -1 when nothing keeps the limits
	// Explain is sentences: the plan, why others on the front lost, and what
	// each limit costs.
	Explain []string `json:"explain"`
}

// Plan gives the exact front of a machine's plans over loss for good (points),
// money and the chance that all works. Hours, lead, money and works may be
// limited.
//
// It goes through the faults one by one and keeps, for each situation (what is
// open and will be needed again, what is required or forbidden), the partial
// plans that no other of that situation dominates. Where hours are limited they
// count in that comparison, or the only plan that fits could be thrown away.
// Nothing is weighted, sampled or cut off. The situations follow Bellman's
// principle of optimality with vector costs (Nemhauser and Ullmann 1969 for the
// knapsack, Daellenbach and De Kluyver 1980 in general).
//
// It refuses (CodeInvalid) malformed input: a negative cost, an opening that
// needs itself, names that do not exist or stand twice, more than six decimals,
// a fault none of whose options can ever be taken; and (CodeTooLarge) a
// question whose answer would go beyond MaxPlanStates, MaxPlanSteps or
// MaxPlanFront.
func Plan(in PlanInput) (PlanResult, error) {
	q, err := readPlan(in)
	if err != nil {
		return PlanResult{}, err
	}
	counts, err := q.counts()
	if err != nil {
		return PlanResult{}, err
	}
	front, err := q.front(q.limits, MaxPlanSteps)
	if err != nil {
		return PlanResult{}, err
	}
	q.split(&counts, len(front))
	out := PlanResult{Front: make([]PlanChoice, len(front)), Counts: counts}
	for i, p := range front {
		out.Front[i] = q.choice(p)
	}
	if in.Pick != "" {
		out.Pick = q.pick(in.Pick, out.Front)
	}
	return out, nil
}

// planTotals is one whole plan in whole steps of each figure.
type planTotals struct {
	chosen                           []int // the option of each fault
	open                             uint64
	money, hours, lead, now, forGood int64
	works                            float64
}

// totals adds up a choice of options, fault by fault in the order of the input.
func (q *planQuestion) totals(chosen []int) planTotals {
	t := planTotals{chosen: slices.Clone(chosen), works: 1}
	for f, o := range chosen {
		x := &q.faults[f].options[o]
		t.money += x.money
		t.hours += x.hours
		t.lead = max(t.lead, x.lead)
		t.now += x.now
		t.forGood += x.forGood
		t.works = float64(t.works * x.works)
		t.open |= x.opens
	}
	for i := range q.openings {
		if o := &q.openings[i]; t.open&(1<<i) != 0 {
			t.money += o.money
			t.hours += o.hours
			t.lead = max(t.lead, o.lead)
			t.now += o.forGood
			t.forGood += o.forGood
		}
	}
	t.works = digits12(t.works)
	return t
}

// choice puts a plan into words and the caller's units.
func (q *planQuestion) choice(t planTotals) PlanChoice {
	c := PlanChoice{Openings: []string{}, Works: t.works,
		Money: float64(t.money) / q.scale.money, Hours: float64(t.hours) / q.scale.hours, Lead: float64(t.lead) / q.scale.lead,
		Now: float64(t.now) / q.scale.points, ForGood: float64(t.forGood) / q.scale.points}
	for f, o := range t.chosen {
		c.Options = append(c.Options, Entry[string]{q.faults[f].id, q.faults[f].options[o].id})
	}
	for i, o := range q.openings {
		if t.open&(1<<i) != 0 {
			c.Openings = append(c.Openings, o.id)
		}
	}
	return c
}
