package scoring

import "math/big"

// maxCountedOneByOne is the largest number of combinations that are gone
// through one by one to split the rest into over a limit and dominated.
const maxCountedOneByOne = 1 << 20

// counts fills in all that can be counted without adding up a plan.
func (q *planQuestion) counts() (PlanCounts, error) {
	c := PlanCounts{Combinations: big.NewInt(1)}
	for _, f := range q.faults {
		c.Combinations.Mul(c.Combinations, big.NewInt(int64(len(f.options))))
	}
	all := q.options(false, noLimits().lead)
	var err error
	if c.Feasible, err = q.count(all); err != nil {
		return c, err
	}
	if c.Feasible.Sign() == 0 {
		var fs faults
		fs.add("/faults", "", "at least one combination", "No combination of options meets every requirement and exclusion", "Take one of them out.")
		return c, fs.err("The plan")
	}
	c.Infeasible = new(big.Int).Sub(c.Combinations, c.Feasible)
	right, err := q.count(q.options(true, noLimits().lead))
	if err != nil {
		return c, err
	}
	c.Gated = new(big.Int).Sub(c.Feasible, right)
	gated := q.options(true, noLimits().lead)
	for f := range q.faults {
		if !q.faults[f].mandatory {
			continue
		}
		one := append([]uint64(nil), all...)
		one[f] = all[f] &^ gated[f]
		n, err := q.count(one)
		if err != nil {
			return c, err
		}
		c.Gates = append(c.Gates, Entry[*big.Int]{q.faults[f].id, n})
	}
	return c, nil
}

// count is the number of feasible combinations of the allowed options.
func (q *planQuestion) count(allowed []uint64) (*big.Int, error) {
	w := q.walk(allowed, false)
	type counted struct {
		situation
		n *big.Int
	}
	now := []counted{{w.start(), big.NewInt(1)}}
	for i, f := range w.order {
		place := map[string]int{}
		var after []counted
		for _, s := range now {
			for o := range q.faults[f].options {
				to, _, ok := w.next(i, &s.situation, o)
				if !ok {
					continue
				}
				k := to.key()
				j, there := place[k]
				if !there {
					j = len(after)
					place[k] = j
					after = append(after, counted{to, new(big.Int)})
				}
				after[j].n.Add(after[j].n, s.n)
			}
		}
		if len(after) > MaxPlanStates {
			return nil, q.tooLarge("The requirements and exclusions are too entangled: more than %s situations must be told apart after %d of %d faults",
				grouped(MaxPlanStates), i+1, len(q.faults))
		}
		now = after
	}
	sum := new(big.Int)
	for _, s := range now {
		sum.Add(sum, s.n)
	}
	return sum, nil
}

// split says what became of the plans that passed the gates.
func (q *planQuestion) split(c *PlanCounts, front int) {
	c.Front = front
	passed := new(big.Int).Sub(c.Feasible, c.Gated)
	over := new(big.Int)
	if q.limits != noLimits() {
		if !c.Combinations.IsInt64() || c.Combinations.Int64() > maxCountedOneByOne {
			return
		}
		within := int64(0)
		q.each(func(t *planTotals) {
			if q.keeps(t, q.limits) {
				within++
			}
		})
		over.Sub(passed, big.NewInt(within))
	}
	c.OverLimit = over
	c.Dominated = new(big.Int).Sub(passed, over)
	c.Dominated.Sub(c.Dominated, big.NewInt(int64(front)))
}

// keeps says whether a whole plan keeps the limits.
func (q *planQuestion) keeps(t *planTotals, l planLimits) bool {
	return t.money <= l.money && t.hours <= l.hours && t.lead <= l.lead && t.works >= l.works
}

// each goes through every plan that is feasible and passes the gates.
func (q *planQuestion) each(visit func(*planTotals)) {
	w := q.walk(q.options(true, noLimits().lead), false)
	chosen := make([]int, len(q.faults))
	var down func(i int, s situation)
	down = func(i int, s situation) {
		if i == len(w.order) {
			t := q.totals(chosen)
			visit(&t)
			return
		}
		for o := range q.faults[w.order[i]].options {
			if after, _, ok := w.next(i, &s, o); ok {
				chosen[w.order[i]] = o
				down(i+1, after)
			}
		}
	}
	down(0, w.start())
}
