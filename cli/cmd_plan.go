package cli

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

type planCommand struct {
	Machine  string   `arg:"" help:"the machine's name in the registry"`
	Money    *float64 `help:"at most this much money, in the currency of the options"`
	Hours    *float64 `help:"at most this many hours of work"`
	Lead     *float64 `help:"at most this many days of waiting for parts"`
	Function *float64 `help:"at least this chance that all of it works, 0 to 1"`
	By       string   `name:"pick-by" help:"what matters most within the limits: for_good, money or works" default:"for_good" enum:"for_good,money,works"`
}

// Run finds the plans that no other plan beats.
func (p *planCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.Plan(c.ctx, p.Machine, workshop.PlanRequest{Pick: p.By,
		Limits: scoring.PlanLimits{Money: p.Money, Hours: p.Hours, Lead: p.Lead, Works: p.Function}})
	if err != nil {
		return err
	}
	return c.print(r, func(w io.Writer) { writePlan(w, r) })
}

// plansShown is how many plans a page of text lists.
const plansShown = 15

func writePlan(w io.Writer, r *workshop.PlanReport) {
	k := r.Result.Counts
	fmt.Fprintf(w, "%s combinations, %s against a requirement or exclusion, %s feasible; %s leave out what must be put right", k.Combinations, k.Infeasible, k.Feasible, k.Gated)
	if k.OverLimit != nil {
		fmt.Fprintf(w, ", %s over a limit", k.OverLimit)
	}
	if k.Dominated != nil {
		fmt.Fprintf(w, ", %s beaten by another in every respect", k.Dominated)
	}
	fmt.Fprintf(w, "; %d remain, each the best of its kind.\n", k.Front)
	if pick := r.Result.Pick; pick != nil {
		for _, line := range pick.Explain {
			wrap(w, line, "  ")
		}
	}
	fmt.Fprintf(w, "\n   %10s %7s %6s %13s %13s %9s\n", "money "+r.Currency, "hours", "days", "points now", "for good", "works")
	order := make([]int, len(r.Result.Front))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := r.Result.Front[a], r.Result.Front[b]
		if x.ForGood < y.ForGood || x.ForGood == y.ForGood && x.Money < y.Money {
			return -1
		}
		return 1
	})
	step := max(1, (len(order)+plansShown-1)/plansShown)
	for n, i := range order {
		picked := r.Result.Pick != nil && r.Result.Pick.Plan == i
		if n%step != 0 && !picked && n != len(order)-1 {
			continue
		}
		p := r.Result.Front[i]
		mark := "  "
		if picked {
			mark = "▸ "
		}
		fmt.Fprintf(w, "%s %10.0f %7.1f %6.0f %13.1f %13.1f %9s\n", mark, p.Money, p.Hours, p.Lead, p.Now, p.ForGood, scoring.Percent(p.Works))
		var chosen []string
		for _, o := range p.Options {
			chosen = append(chosen, o.Value)
		}
		wrap(w, "    "+strings.Join(chosen, ", "), "      ")
	}
	if step > 1 {
		fmt.Fprintf(w, "  one in %d is shown; --json gives all %d\n", step, len(order))
	}
	for _, a := range r.Assumptions {
		wrap(w, "- "+a, "  ")
	}
	if len(r.Settled) > 0 {
		wrap(w, "Already worked on, and left out: "+strings.Join(r.Settled, ", ")+".", "  ")
	}
}
