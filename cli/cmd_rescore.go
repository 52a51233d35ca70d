package cli

import (
	"fmt"
	"io"

	"example.org/asfound/workshop"
)

type rescoreCommand struct {
	Standpoint string `help:"the policy that sets the credits, such as period-use; the catalog's first when left out"`
	By         string `help:"the index to order by: substance, surface or correctness" default:"substance"`
	Limit      int    `help:"how many machines to print at most, 0 for all" default:"20"`
	CSV        string `name:"csv" type:"path" help:"write every machine to this file instead"`
	XLSX       string `name:"xlsx" type:"path" help:"write every machine to this workbook instead"`
}

// Run looks at the whole register from one standpoint.
func (x *rescoreCommand) Run(c *call) error {
	if x.Limit < 0 {
		return badFlag("--limit", fmt.Sprint(x.Limit), "20, or 0 for all")
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	bar := c.progress("machines")
	r, err := w.Rescore(c.ctx, x.Standpoint, x.By, bar.at)
	bar.end()
	if err != nil {
		return err
	}
	if x.CSV != "" || x.XLSX != "" {
		return c.writeSheets(x.CSV, x.XLSX, func() (workshop.List, error) { return workshop.ListRescored(r), nil })
	}
	if x.Limit > 0 && len(r.Rows) > x.Limit {
		r.Rows = r.Rows[:x.Limit]
	}
	return c.print(r, func(w io.Writer) { writeRescored(w, r) })
}

func writeRescored(w io.Writer, r *workshop.Rescored) {
	fmt.Fprintf(w, "The register from the standpoint “%s” (%s): %s\n", r.Title, r.Standpoint, r.Sentence)
	if r.Machines == 0 {
		fmt.Fprintln(w, "No machine is in this registry yet. Take one in with \"asfound take-in\".")
		return
	}
	fmt.Fprintln(w, "Each figure is the mean of an index, from 0 to 1, ± one standard deviation; \"asfound show\" gives the whole distribution of a machine.")
	for _, x := range r.Indices {
		if x.Count > 0 {
			fmt.Fprintf(w, "  %s: the mean lies from %.2f to %.2f over %d machines, in the middle at %.2f.\n", x.Name, x.Low, x.High, x.Count, x.Median)
		}
		if x.Refused > 0 {
			fmt.Fprintf(w, "  %s: %d of %d machines have no figure, because too few of their components are surveyed or their evidence contradicts itself.\n", x.Name, x.Refused, r.Machines)
		}
	}
	fmt.Fprintf(w, "%-28s %-15s %-15s %s\n", "machine", "substance", "surface", "correctness")
	for i := range r.Rows {
		row := &r.Rows[i]
		fmt.Fprintf(w, "%-28s %-15s %-15s %s\n", row.ID, meanWords(row.Substance), meanWords(row.Surface), meanWords(row.Correctness))
	}
	if left := r.Machines - len(r.Rows); left > 0 {
		fmt.Fprintf(w, "%d more: repeat it with --limit 0, or write a sheet with --csv.\n", left)
	}
}

func meanWords(m workshop.RescoredMean) string {
	if m.Refused {
		return "no figure"
	}
	return fmt.Sprintf("%.2f ± %.2f", m.Mean, m.SD)
}
