package cli

import (
	"context"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"

	"example.org/asfound/exchange"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

type exportCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
	Format  string `arg:"" help:"prov, jsonld, objectid, objectid-text or ics; see docs/exchange.md"`
	Output  string `short:"o" type:"path" help:"file to write; standard output when left out"`
	Private bool   `help:"with names and whole numbers; the public edition when left out"`
	Base    string `help:"where the record is published, such as https://example.org/register/; begins every identifier"`
}

// Run writes a machine's record in an open standard. What leaves is public
// unless somebody says otherwise.
func (x *exportCommand) Run(c *call) error {
	if x.Base != "" && !strings.HasPrefix(x.Base, "https://") && !strings.HasPrefix(x.Base, "http://") {
		return badFlag("--base", x.Base, "https://example.org/register/")
	}
	f, err := exchange.FormatOf(x.Format)
	if err != nil {
		return err
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	in, err := exportInput(c.ctx, w, x.Machine, !x.Private)
	if err != nil {
		return err
	}
	in.Base = x.Base
	out, err := f.Write(in)
	if err != nil {
		return err
	}
	if x.Output == "" {
		_, err = c.Stdout.Write(out)
		return err
	}
	if err := writeFile(x.Output, func(w io.Writer) error { _, err := w.Write(out); return err }); err != nil {
		return err
	}
	return c.print(map[string]string{f.Name: x.Output}, printer("Written: "+x.Output))
}

func exportInput(ctx context.Context, w *workshop.Workshop, machine string, public bool) (exchange.Input, error) {
	r, err := w.Report(ctx, machine, workshop.ReportOptions{Public: public})
	if err != nil {
		return exchange.Input{}, err
	}
	d, err := w.Load(ctx, machine, workshop.At{})
	return exchange.Input{Report: r, Dossier: d}, err
}

type provenanceCommand struct {
	File string `arg:"" type:"path" help:"a PROV-JSON document, of this program or another"`
}

// provenanceRead is what reading a PROV document answers with.
type provenanceRead struct {
	Records map[string]int     `json:"records"` // how many of each kind
	Acts    []exchange.ProvAct `json:"acts"`
}

// Run checks a PROV-JSON document and tells it as a story. Nothing is recorded.
func (x *provenanceCommand) Run(c *call) error {
	raw, err := os.ReadFile(x.File)
	if err != nil {
		return registry.Refuse(registry.CodeNotFound, "Check its name.", "The file %s cannot be read", x.File)
	}
	doc, err := exchange.ReadProv(raw)
	if err != nil {
		return err
	}
	out := provenanceRead{doc.Count(), doc.Acts()}
	return c.print(out, func(w io.Writer) {
		fmt.Fprintln(w, "The document can be read. It holds:")
		for _, kind := range slices.Sorted(maps.Keys(out.Records)) {
			fmt.Fprintf(w, "  %-20s %d\n", kind, out.Records[kind])
		}
		for _, a := range out.Acts {
			fmt.Fprintf(w, "%s  %s\n", orDash(a.When), a.Label)
			for _, row := range []struct {
				says string
				list []string
			}{{"by", a.By}, {"used", a.Used}, {"made", a.Generated}, {"ended", a.Ended}} {
				if len(row.list) > 0 {
					wrap(w, "    "+row.says+": "+strings.Join(row.list, "; "), "      ")
				}
			}
		}
		fmt.Fprintln(w, "Nothing of it was recorded: judge it first, and record what you believe as evidence that names it as its source.")
	})
}
