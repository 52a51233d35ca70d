package scoring

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// relaxedSteps is how many partial plans are looked at to say what a limit
// costs; beyond it that is left unsaid, in so many words.
const relaxedSteps = MaxPlanSteps / 4

// maxDiffers is how many faults a sentence lists.
const maxDiffers = 5

// pick finds the plan for one preference and says why it is that one.
func (q *planQuestion) pick(by string, front []PlanChoice) *PlanPick {
	p := &PlanPick{By: by, Plan: -1, Explain: []string{}}
	if len(front) == 0 {
		p.Explain = append(p.Explain, "No plan keeps all the limits.")
		p.Explain = append(p.Explain, q.relaxed(by, nil)...)
		return p
	}
	ranked := make([]int, len(front))
	for i := range ranked {
		ranked[i] = i
	}
	slices.SortStableFunc(ranked, func(a, b int) int { return prefer(by, &front[a], &front[b]) })
	won := &front[ranked[0]]
	p.Plan = ranked[0]
	why := map[string]string{ByForGood: "loses least for good", ByMoney: "costs least money", ByWorks: "is the most likely to work"}[by]
	p.Explain = append(p.Explain, fmt.Sprintf("Of %d plans on the front this one %s: %s.", len(front), why, figures(won)))
	// The nearest by the preference, and the best by each other aim.
	told := map[int]bool{p.Plan: true}
	lost := func(i int, lead string) {
		if !told[i] {
			told[i] = true
			p.Explain = append(p.Explain, fmt.Sprintf("%s (plan %d) lost: %s. It differs in %s.", lead, i, trade(&front[i], won), differs(&front[i], won)))
		}
	}
	for k := 1; k < len(ranked) && k <= 2; k++ {
		lost(ranked[k], "The next")
	}
	for _, other := range []string{ByForGood, ByMoney, ByWorks} {
		if other == by {
			continue
		}
		top := slices.MinFunc(indices(len(front)), func(a, b int) int { return prefer(other, &front[a], &front[b]) })
		lost(top, map[string]string{ByForGood: "The plan that loses least for good", ByMoney: "The cheapest", ByWorks: "The surest"}[other])
	}
	p.Explain = append(p.Explain, q.relaxed(by, won)...)
	return p
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// prefer orders plans by one aim first and then by the others.
func prefer(by string, a, b *PlanChoice) int {
	points, money, works := cmp.Compare(a.ForGood, b.ForGood), cmp.Compare(a.Money, b.Money), cmp.Compare(b.Works, a.Works)
	switch by {
	case ByMoney:
		return cmp.Or(money, points, works)
	case ByWorks:
		return cmp.Or(works, points, money)
	}
	return cmp.Or(points, money, works)
}

func figures(c *PlanChoice) string {
	return fmt.Sprintf("%s points for good, %s points now, money %s, %s h of work, %s days of waiting, chance that all works %s",
		number(c.ForGood), number(c.Now), number(c.Money), number(c.Hours), number(c.Lead), Percent(c.Works))
}

// trade says what plan a gives and takes against plan b.
func trade(a, b *PlanChoice) string {
	var worse, better []string
	for _, d := range []struct {
		a, b       float64
		more, less string
	}{
		{a.ForGood, b.ForGood, "%s points more for good", "%s points less for good"},
		{a.Money, b.Money, "%s more money", "%s less money"},
		{a.Hours, b.Hours, "%s h more work", "%s h less work"},
		{a.Lead, b.Lead, "%s days longer to wait", "%s days less to wait"},
	} {
		by := number(digits12(math.Abs(d.a - d.b)))
		if d.a > d.b {
			worse = append(worse, fmt.Sprintf(d.more, by))
		} else if d.a < d.b {
			better = append(better, fmt.Sprintf(d.less, by))
		}
	}
	if a.Works < b.Works {
		worse = append(worse, fmt.Sprintf("a smaller chance (%s against %s)", chance(a.Works), chance(b.Works)))
	} else if a.Works > b.Works {
		better = append(better, fmt.Sprintf("a larger chance (%s against %s)", chance(a.Works), chance(b.Works)))
	}
	s := strings.Join(worse, ", ")
	if len(better) > 0 {
		s += ", for " + strings.Join(better, ", ")
	}
	return s
}

// chance writes a chance that is compared with three places, where two might
// look alike.
func chance(p float64) string { return fmt.Sprintf("%.3f", p) }

// differs lists where plan a departs from plan b.
func differs(a, b *PlanChoice) string {
	var out []string
	for i, o := range a.Options {
		if o.Value != b.Options[i].Value {
			out = append(out, fmt.Sprintf("%s: %s instead of %s", o.Key, o.Value, b.Options[i].Value))
		}
	}
	if n := len(out); n > maxDiffers {
		out = append(out[:maxDiffers], fmt.Sprintf("and %d more", n-maxDiffers))
	}
	return strings.Join(out, ", ")
}

// relaxed says for each limit what would be best without it.
func (q *planQuestion) relaxed(by string, won *PlanChoice) []string {
	var out []string
	l, none := q.limits, noLimits()
	for _, lifted := range []struct {
		what  string
		with  planLimits // without this limit
		miss  func(*PlanChoice) float64
		short string
	}{
		{"money (" + number(float64(l.money)/q.scale.money) + ")", planLimits{none.money, l.hours, l.lead, l.works},
			func(c *PlanChoice) float64 { return c.Money - float64(l.money)/q.scale.money }, "%s over"},
		{"work (" + number(float64(l.hours)/q.scale.hours) + " h)", planLimits{l.money, none.hours, l.lead, l.works},
			func(c *PlanChoice) float64 { return c.Hours - float64(l.hours)/q.scale.hours }, "%s h over"},
		{"waiting (" + number(float64(l.lead)/q.scale.lead) + " days)", planLimits{l.money, l.hours, none.lead, l.works},
			func(c *PlanChoice) float64 { return c.Lead - float64(l.lead)/q.scale.lead }, "%s days over"},
		{"the chance (" + number(l.works) + ")", planLimits{l.money, l.hours, l.lead, none.works},
			func(c *PlanChoice) float64 { return math.Ceil(float64((l.works-c.Works)*1000)) / 1000 }, "%s short"},
	} {
		if lifted.with == l {
			continue
		}
		say := "Without the limit on " + lifted.what
		front, err := q.front(lifted.with, relaxedSteps)
		if err != nil {
			out = append(out, say+" there are too many plans to say exactly what would be best.")
			continue
		}
		var top *PlanChoice
		for _, t := range front {
			if c := q.choice(t); top == nil || prefer(by, &c, top) < 0 {
				top = &c
			}
		}
		switch {
		case top == nil:
			out = append(out, say+" there would still be no plan.")
		case won != nil && !better(by, top, won):
			out = append(out, say+" nothing better would be found: the limit costs nothing.")
		default:
			miss := fmt.Sprintf(lifted.short, number(digits12(lifted.miss(top))))
			out = append(out, fmt.Sprintf("%s the best would be %s. It is %s.", say, figures(top), miss))
		}
	}
	return out
}

// better says whether a is truly better than b by one aim.
func better(by string, a, b *PlanChoice) bool {
	switch by {
	case ByMoney:
		return a.Money < b.Money
	case ByWorks:
		return a.Works > b.Works
	}
	return a.ForGood < b.ForGood
}
