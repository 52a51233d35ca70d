package cli

import (
	"fmt"
	"io"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

type duplicatesCommand struct {
	List duplicatesListCommand `cmd:"" default:"withargs" help:"list the numbers that two machines have"`
	Say  duplicatesSayCommand  `cmd:"" help:"say what is to be thought of one of them, with the reason"`
}

type duplicatesListCommand struct {
	Machine string `arg:"" optional:"" help:"of this machine alone"`
	After   string `help:"continue after the place that an answer gave"`
}

// Run lists the numbers that two machines have.
func (x *duplicatesListCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	var list *workshop.DuplicatesList
	if x.Machine != "" {
		if _, err := w.Load(c.ctx, x.Machine, workshop.At{}); err != nil {
			return err
		}
		list, err = w.DuplicatesOf(c.ctx, x.Machine)
	} else {
		list, err = w.Duplicates(c.ctx, x.After)
	}
	if err != nil {
		return err
	}
	return c.print(list, func(w io.Writer) { writeDuplicates(w, list) })
}

// sureWords say how near two readings come to each other.
var sureWords = map[string]string{
	workshop.SureExact: "the same", workshop.SureAlike: "one character apart, which looks alike",
	workshop.SureFar: "apart only in characters that look alike", workshop.SureDoubtful: "the same in one reading of a doubtful character",
}

func writeDuplicates(w io.Writer, list *workshop.DuplicatesList) {
	if len(list.Duplicates) == 0 {
		fmt.Fprintln(w, "No number stands on two machines.")
		return
	}
	for _, d := range list.Duplicates {
		a, b := d.Machines[0], d.Machines[1]
		fmt.Fprintf(w, "%-8s %s: %s and %s: %s, %s\n", d.Where, a.Machine, a.Reading, b.Machine, b.Reading, sureWords[d.Sure])
		if d.Said != nil {
			fmt.Fprintf(w, "         settled on %s as %s: %s\n", d.Said.At.Format("2 January 2006"), strings.ReplaceAll(d.Said.Says, "-", " "), d.Said.Why)
		}
	}
	fmt.Fprintf(w, "Nothing is said yet of %d of them. These are whole numbers: they are for whoever keeps the registry.\n", list.Open)
	if list.Next != "" {
		fmt.Fprintf(w, "There are more: --after %q\n", list.Next)
	}
}

type duplicatesSayCommand struct {
	Target target `embed:""`
	Other  string `arg:"" help:"the other machine's name in the registry"`
	Says   string `arg:"" help:"same-machine, different-machines or one-is-wrong"`
	Where  string `default:"frame" help:"where the number stands"`
	Why    string `required:"" help:"what was looked at, and by whom"`
}

// Run records what is to be thought of a shared number.
func (x *duplicatesSayCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.SayOfNumber(c.ctx, x.Target.request(c), &registry.SharedNumber{Where: x.Where, Other: registry.Private{Value: x.Other}, Says: x.Says, Why: x.Why, By: c.line.As})
	if err != nil {
		return err
	}
	return c.printReceipt(r, "Recorded")
}

type statisticsCommand struct {
	Make  string `help:"of this make and model alone"`
	Model string `help:"of this make and model alone"`
	Least int    `help:"tell only of groups of at least so many machines, as readers are told" default:"0"`
}

// Run counts over the register.
func (x *statisticsCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	if (x.Make == "") != (x.Model == "") {
		return badFlag("--make", x.Make, "a make, together with --model")
	}
	s, err := w.Statistics(c.ctx, workshop.StatisticsQuestion{Make: x.Make, Model: x.Model, Least: x.Least})
	if err != nil {
		return err
	}
	return c.print(s, func(w io.Writer) { writeStatistics(w, s) })
}

func writeStatistics(w io.Writer, s *workshop.Statistics) {
	fmt.Fprintf(w, "%d machines on record, %d of them invented for demonstration.\n", s.Machines, s.Invented)
	for _, list := range []struct {
		title  string
		groups []workshop.Group
	}{{"By model", s.Models}, {"By decade", s.Decades}, {"By phase", s.Phases}} {
		if len(list.groups) == 0 {
			continue
		}
		fmt.Fprintf(w, "%s\n", list.title)
		for _, g := range list.groups {
			fmt.Fprintf(w, "  %6d  %s\n", g.Machines, g.Words())
		}
	}
	for _, g := range s.Groups {
		fmt.Fprintf(w, "%s\n", g.Name)
		for _, x := range g.Components {
			if x.Finish != nil {
				fmt.Fprintf(w, "  %-38s finish left alone %3.0f %%, %.0f to %.0f %%, of %d\n", x.Name, 100*x.Finish.Share, 100*x.Finish.Low, 100*x.Finish.High, x.Untouched.Looked)
			}
			if x.Share != nil {
				fmt.Fprintf(w, "  %-38s original %3.0f %%, %.0f to %.0f %%, of %d\n", x.Name, 100*x.Share.Share, 100*x.Share.Low, 100*x.Share.High, x.Original.Looked)
			}
		}
	}
	for _, r := range s.Refused {
		wrap(w, "- "+r, "  ")
	}
	fmt.Fprintf(w, "Method %s. No machine, person or number is in this answer.\n", s.Method)
}
