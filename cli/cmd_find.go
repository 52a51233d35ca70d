package cli

import (
	"fmt"
	"io"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/tabular"
	"example.org/asfound/workshop"
)

type findCommand struct {
	Words []string `arg:"" optional:"" help:"words, all of which must be found; \"words in quotation marks\" side by side; a star for the rest of a word"`
	// Filters.
	Make           string   `help:"words of the make"`
	Model          string   `help:"words of the model"`
	From           int      `help:"may have been built in this year or later"`
	To             int      `help:"may have been built in this year or earlier"`
	Phase          string   `help:"how far the job has come, such as \"taken in\" or surveyed"`
	Component      string   `help:"what origin, finish and condition are asked of; any component when left out"`
	Origin         string   `help:"origin of a component, such as reproduction"`
	Finish         string   `help:"finish of a component, such as refinished"`
	ConditionMost  *int     `help:"condition at most, 0 to 5; the worst one when no component is named"`
	ConditionLeast *int     `help:"condition at least, 0 to 5; the worst one when no component is named"`
	OpenFault      bool     `help:"with a fault for which nothing was done"`
	Unapproved     bool     `help:"with work or an opening without approval"`
	Waiting        bool     `help:"with a question that the owner has not answered"`
	Survey         string   `help:"none, begun, sealed, or unsealed, which is none or begun"`
	GateOpen       string   `help:"with this gate not passed, by its id"`
	Index          string   `help:"substance, surface or correctness, as found when the survey was sealed"`
	IndexFrom      *float64 `help:"the median of that index at least, 0 to 1"`
	IndexTo        *float64 `help:"the median of that index at most, 0 to 1"`
	Number         string   `help:"a stamped number, with or without spaces and hyphens"`
	// What comes out.
	Public bool   `help:"look in what the public edition shows alone"`
	Limit  int    `help:"how many at most, 1 to 100" default:"20"`
	After  string `help:"continue after the place that an answer gave"`
	CSV    string `name:"csv" type:"path" help:"write all that is found to this file instead"`
	XLSX   string `name:"xlsx" type:"path" help:"write all that is found to this workbook instead"`
}

// Run searches every machine.
func (x *findCommand) Run(c *call) error {
	if x.Limit < 1 || x.Limit > workshop.MaxHits {
		return badFlag("--limit", fmt.Sprint(x.Limit), "20; 1 to 100")
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	q := workshop.FindQuestion{Text: x.text(), Public: x.Public, Limit: x.Limit, After: x.After, Filters: workshop.FindFilters{
		Make: x.Make, Model: x.Model, YearFrom: x.From, YearTo: x.To, Phase: x.Phase, Component: x.Component, Origin: x.Origin, Finish: x.Finish,
		ConditionMost: x.ConditionMost, ConditionLeast: x.ConditionLeast, OpenFault: x.OpenFault, Unapproved: x.Unapproved, Waiting: x.Waiting,
		Survey: x.Survey, GateOpen: x.GateOpen, Index: x.Index, IndexLow: x.IndexFrom, IndexHigh: x.IndexTo, Number: x.Number}}
	if x.CSV != "" || x.XLSX != "" {
		return c.writeSheets(x.CSV, x.XLSX, func() (workshop.List, error) { return w.ListFound(c.ctx, q) })
	}
	found, err := w.Find(c.ctx, q)
	if err != nil {
		return err
	}
	return c.print(found, func(w io.Writer) { writeFound(w, found) })
}

// text is the query. A shell takes quotation marks away, so an argument of
// several words is a phrase, unless it is the only one.
func (x *findCommand) text() string {
	if len(x.Words) == 1 {
		return x.Words[0]
	}
	var out []string
	for _, w := range x.Words {
		if strings.ContainsAny(strings.TrimSpace(w), " \t") && !strings.ContainsAny(w, `"“”«»„`) {
			w = `"` + w + `"`
		}
		out = append(out, w)
	}
	return strings.Join(out, " ")
}

// writeSheets writes a list to one file or two; a name that is empty is not
// wanted.
func (c *call) writeSheets(csv, xlsx string, made func() (workshop.List, error)) error {
	written := map[string]string{}
	for _, to := range [][2]string{{"csv", csv}, {"xlsx", xlsx}} {
		if to[1] == "" {
			continue
		}
		list, err := made()
		if err != nil {
			return err
		}
		if err := writeFile(to[1], func(w io.Writer) error { return tabular.Write(w, to[0], list) }); err != nil {
			return err
		}
		written[to[0]] = to[1]
	}
	return c.print(written, func(w io.Writer) {
		for _, format := range []string{"csv", "xlsx"} {
			if written[format] != "" {
				fmt.Fprintf(w, "Written: %s\n", written[format])
			}
		}
	})
}

func writeFound(w io.Writer, r *workshop.Found) {
	if r.Count == 0 {
		fmt.Fprintln(w, "Nothing was found. Leave a word or a filter out, or write the beginning of a word with a star after it.")
		return
	}
	for _, h := range r.Hits {
		fmt.Fprintf(w, "%-28s %-12s %s%s\n", h.Machine.ID, h.Machine.Phase, h.Machine.Name, invented(h.Machine.Invented))
		for _, p := range h.Places {
			var text strings.Builder
			for _, x := range p.Text {
				if x.Marked {
					text.WriteString("«" + x.Text + "»")
				} else {
					text.WriteString(x.Text)
				}
			}
			where := p.Kind
			if p.Component != "" {
				where += " " + p.Component
			}
			wrap(w, "    "+where+": "+text.String(), "      ")
		}
	}
	if r.Next != "" {
		fmt.Fprintf(w, "There is more: repeat it with --after %s\n", r.Next)
	}
}

type listCommand struct {
	Name    string `arg:"" help:"machines, components, faults, removed-parts, parts-needed, evidence or work"`
	Machine string `arg:"" optional:"" help:"the machine's name in the registry; not for the list of machines"`
	Out     string `short:"o" required:"" type:"path" help:"file to write, which ends in .csv or .xlsx"`
	Public  bool   `help:"with names and numbers masked"`
}

// Run writes a list as a sheet.
func (x *listCommand) Run(c *call) error {
	format := x.Out[strings.LastIndexByte(x.Out, '.')+1:]
	if tabular.MediaTypes[format] == "" {
		return badFlag("-o", x.Out, "list.csv or list.xlsx")
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	var list workshop.List
	switch {
	case x.Name == "machines" && x.Machine == "":
		list = w.ListMachines(c.ctx)
	case x.Machine == "":
		return registry.Refuse(registry.CodeInvalid, "Name it after the list.", "It is not said of which machine the list is wanted")
	default:
		if list, err = w.ListOf(c.ctx, x.Machine, x.Name, workshop.ReportOptions{Public: x.Public}); err != nil {
			return err
		}
	}
	if err := writeFile(x.Out, func(w io.Writer) error { return tabular.Write(w, format, list) }); err != nil {
		return err
	}
	return c.print(map[string]string{format: x.Out}, printer("Written: "+x.Out))
}
