package cli

import (
	"fmt"
	"io"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

type sumCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
	Figure  string `arg:"" help:"the figure, such as index:substance, origin:fuel.tank, effect:OPTION:surface or kept:PROPOSAL:cost; the pages link to them all"`
	Input   bool   `help:"print only what went in, for calc"`
	Public  bool   `help:"of the public edition"`
}

// Run takes a figure apart.
func (s *sumCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.Report(c.ctx, s.Machine, workshop.ReportOptions{Public: s.Public})
	if err != nil {
		return err
	}
	f, err := w.Figure(c.ctx, r, s.Figure)
	if err != nil {
		return err
	}
	if s.Input && c.json {
		return registry.Refuse(registry.CodeInvalid, "Leave one of them out.", "--input and --json both say what to print")
	}
	if s.Input {
		_, err = fmt.Fprintf(c.Stdout, "%s\n", f.Input)
		return err
	}
	return c.print(f, func(w io.Writer) {
		wrap(w, f.Title, "")
		if f.Words != "" {
			wrap(w, f.Words, "  ")
		}
		fmt.Fprintf(w, "method %s, catalog %s\n", f.Method, f.Catalog)
		for _, a := range f.Assumptions {
			wrap(w, "- "+a, "  ")
		}
		fmt.Fprintf(w, "Compute it again: asfound sum %s %s --input | asfound calc %s\n", s.Machine, s.Figure, f.Method)
	})
}
