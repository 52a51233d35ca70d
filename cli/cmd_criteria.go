package cli

import (
	"fmt"
	"io"

	"example.org/asfound/workshop"
)

type criteriaCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
	Rule    string `help:"one published rule, such as technical-code-2010-group-2; all when left out"`
}

// Run holds a machine's record against published classes.
func (x *criteriaCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.Criteria(c.ctx, x.Machine, x.Rule)
	if err != nil {
		return err
	}
	return c.print(r, func(w io.Writer) { writeCriteria(w, r, x.Rule != "") })
}

// writeCriteria prints the rules; in full when one was asked for.
func writeCriteria(w io.Writer, r *workshop.CriteriaReport, full bool) {
	for _, rule := range r.Rules {
		fmt.Fprintf(w, "%s, %s (%s)\n", rule.Title, rule.Edition, rule.ID)
		for _, c := range rule.Criteria {
			fmt.Fprintf(w, "  %-16s %8s  %s\n", c.Evidence, c.Printed, c.Sentence)
			if !full {
				continue
			}
			if c.From != "" {
				wrap(w, "    "+c.From, "    ")
			}
			if c.Assumption != "" {
				wrap(w, "    Assumed: "+c.Assumption, "    ")
			}
			if c.Help != "" {
				wrap(w, "    To settle it: "+c.Help, "    ")
			}
		}
		wrap(w, "  "+rule.Says, "  ")
		for _, s := range rule.Silent {
			wrap(w, "  Not in the rule: "+s, "  ")
		}
		fmt.Fprintln(w)
	}
	if !full {
		fmt.Fprintln(w, "With --rule and the name of one it is said from what each figure was worked out.")
	}
	wrap(w, r.Statement, "")
}
