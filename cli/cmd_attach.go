package cli

import (
	"fmt"
	"io"
	"strconv"

	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

type attachCommand struct {
	Machine   string   `arg:"" help:"the machine"`
	Component string   `arg:"" help:"component, by id, code or name"`
	Method    string   `arg:"" help:"thread, stamp, tyre, film, colour, identity, vin, serial, capacity, piston, gearing or torque"`
	Of        string   `placeholder:"ID" help:"which stamp or area, where the input has several"`
	Listed    string   `placeholder:"THREAD" help:"the thread that the maker lists, such as \"BSF 1/4\""`
	Photo     []string `placeholder:"ID" help:"a picture that shows it; may be repeated"`
	Note      string   `help:"anything else worth keeping"`
}

// Run computes the input on standard input and keeps the result as evidence.
func (x *attachCommand) Run(c *call) error {
	input, err := io.ReadAll(io.LimitReader(c.Stdin, scoring.MaxInputBytes+1))
	if err != nil {
		return err
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	out, err := w.AttachEvidence(c.ctx, workshop.Request{Machine: x.Machine, Actor: c.line.As}, workshop.BenchEvidence{Component: x.Component, Method: x.Method,
		Input: input, Of: x.Of, Listed: x.Listed, Photos: x.Photo, Note: x.Note})
	if err != nil {
		return err
	}
	return c.print(out, func(w io.Writer) {
		e := out.Evidence
		wrap(w, e.Says, "  ")
		bears := e.Bears[0]
		fmt.Fprintf(w, "Recorded as %s: evidence on the %s of %s, in the cluster %s, by %s.\n", e.ID, bears.Proposition, bears.Component, e.Cluster, x.Method)
		wrap(w, bears.Why, "  ")
		if e.Limits != "" {
			wrap(w, "Limits: "+e.Limits, "  ")
		}
		fmt.Fprintf(w, "Compute it again: asfound recalc %s\n", x.Machine+"/"+strconv.FormatUint(out.Receipt.Version, 10))
	})
}
