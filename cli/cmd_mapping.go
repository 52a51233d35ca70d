package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
)

type mappingCommand struct {
	Save   mappingSaveCommand   `cmd:"" help:"save which columns of somebody else's table hold what, under a name"`
	List   mappingListCommand   `cmd:"" help:"list the saved mappings"`
	Show   mappingShowCommand   `cmd:"" help:"show a saved mapping"`
	Remove mappingRemoveCommand `cmd:"" help:"remove a saved mapping; what was imported by it stays"`
}

type mappingSaveCommand struct {
	Name       string   `arg:"" help:"name of the mapping, such as gauge-b"`
	Sheet      string   `default:"film" help:"the sheet that the table is read as: film, survey, evidence, …"`
	Column     []string `sep:"none" placeholder:"LINE" help:"what fills a column: \"reading: R1; R2\" for columns of the table (several are readings across the row), \"reading: #3\" for the third column, \"unit = µm\" for what every row gets; may be repeated"`
	Separator  string   `help:"what stands between cells: , or ; or tab or |; the file is asked when left out"`
	Encoding   string   `help:"encoding of a CSV file that is not UTF-8, such as windows-1252"`
	Decimal    string   `help:"the sign before decimals: comma or point"`
	Dates      string   `help:"order of dates in figures: day-month-year, month-day-year or year-month-day"`
	Skip       int      `help:"how many rows stand above the headings"`
	NoHeadings bool     `help:"the table has no headings; its columns go by number, such as #3"`
	About      string   `help:"which instrument or program writes such tables"`
	File       string   `type:"path" help:"take the whole mapping from a JSON file instead"`
}

// Run saves a mapping.
func (x *mappingSaveCommand) Run(c *call) error {
	m := importers.Mapping{Name: x.Name, Sheet: x.Sheet, About: x.About, Separator: x.Separator, Encoding: x.Encoding, Decimal: x.Decimal, Dates: x.Dates, Skip: x.Skip, NoHeadings: x.NoHeadings}
	var err error
	if x.File != "" {
		if m, err = readMappingFile(x.File); err != nil {
			return err
		}
		m.Name = x.Name
	} else if m.Columns, err = importers.ParseMappedColumns(x.Column); err != nil {
		return err
	}
	if err := c.saveMapping(m); err != nil {
		return err
	}
	return c.print(m, printer("Saved. Use it: asfound import FILE --mapping "+m.Name))
}

// readMappingFile reads a mapping from a file of somebody else's; whether it is
// one is checked when it is saved.
func readMappingFile(name string) (m importers.Mapping, err error) {
	f, err := openInput(name)
	if err != nil {
		return m, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, 1<<20))
	if err != nil {
		return m, err
	}
	if err := json.Unmarshal(data, &m); err != nil {
		return m, registry.Refuse(registry.CodeInvalid, "Begin with the output of \"asfound mapping show NAME --json\".", "%s is no mapping: %v", name, err)
	}
	return m, nil
}

type mappingListCommand struct{}

// Run lists the mappings.
func (mappingListCommand) Run(c *call) error {
	list, err := c.mappings()
	if err != nil {
		return err
	}
	return c.print(list, func(w io.Writer) {
		if len(list) == 0 {
			fmt.Fprintln(w, "No mapping is saved. Save one with \"asfound mapping save\".")
		}
		for _, m := range list {
			fmt.Fprintf(w, "%s: read as the sheet %s. %s\n", m.Name, m.Sheet, m.About)
		}
	})
}

type mappingShowCommand struct {
	Name string `arg:"" help:"name of the mapping"`
}

// Run shows one mapping.
func (x *mappingShowCommand) Run(c *call) error {
	m, err := c.mapping(x.Name)
	if err != nil {
		return err
	}
	return c.print(m, func(w io.Writer) {
		fmt.Fprintf(w, "%s: read as the sheet %s. %s\n", m.Name, m.Sheet, m.About)
		for _, l := range m.Lines() {
			fmt.Fprintf(w, "  %s\n", l)
		}
		for _, s := range []struct{ name, value string }{{"separator", m.Separator}, {"encoding", m.Encoding}, {"decimal", m.Decimal}, {"dates", m.Dates}, {"rows skipped", strconv.Itoa(m.Skip)}} {
			if s.value != "" && s.value != "0" {
				fmt.Fprintf(w, "  (%s: %s)\n", s.name, s.value)
			}
		}
		if m.NoHeadings {
			fmt.Fprintln(w, "  (the table has no headings)")
		}
	})
}

type mappingRemoveCommand struct {
	Name string `arg:"" help:"name of the mapping"`
}

// Run removes one mapping.
func (x *mappingRemoveCommand) Run(c *call) error {
	if err := c.removeMapping(x.Name); err != nil {
		return err
	}
	return c.print(map[string]string{"removed": x.Name}, printer("Removed: "+x.Name))
}
