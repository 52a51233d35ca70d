package importers

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/xuri/excelize/v2"

	"example.org/asfound/registry"
)

// remark begins a cell of help; rows that begin with it are not read.
const remark = "# "

// dropRows is how many rows of a template have the lists of words.
const dropRows = 2000

// WriteTemplate writes an empty sheet of one kind, as "xlsx" or "csv": the
// headings, a row of help under them that the importers pass over, and for a
// survey every component. A workbook has lists of the words that a column
// takes. Read back as it is, a template gives no drafts.
func WriteTemplate(w io.Writer, table, format string, a *Anatomy) error {
	t, ok := TableNamed(table)
	if !ok {
		var names []string
		for _, t := range Tables() {
			names = append(names, t.Name)
		}
		return registry.Refuse(registry.CodeInvalid, "Name one of: "+strings.Join(names, ", ")+".", "There is no sheet %q", table)
	}
	if a == nil {
		a = NewAnatomy(nil, nil, nil)
	}
	switch format {
	case "csv":
		return templateCSV(w, t, a)
	case "xlsx":
		return templateXLSX(w, t, a)
	}
	return registry.Refuse(registry.CodeUnsupported, "Ask for xlsx or csv.", "There are no templates in the format %q", format)
}

// templateColumns are those that a template shows.
func templateColumns(t Table) []Column {
	var out []Column
	for _, c := range t.Columns {
		if !c.Seldom {
			out = append(out, c)
		}
	}
	return out
}

// help is what stands under a heading.
func (c Column) help() string {
	text := c.Takes
	if c.Needed {
		text += " (needed)"
	}
	if c.Example != "" {
		text += "; such as " + c.Example
	}
	return remark + text
}

// prefilled gives the cells of a component's row.
func prefilled(columns []Column, c Component) []string {
	row := make([]string, len(columns))
	for i, col := range columns {
		switch col.Heading {
		case "component":
			row[i] = c.ID
		case "component name":
			row[i] = c.Name
		}
	}
	return row
}

func templateCSV(w io.Writer, t Table, a *Anatomy) error {
	columns := templateColumns(t)
	// The mark lets spreadsheet programs see that it is UTF-8.
	if _, err := io.WriteString(w, "\ufeff"); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	var head, help []string
	for _, c := range columns {
		head, help = append(head, c.Heading), append(help, c.help())
	}
	rows := [][]string{head, help}
	if t.Prefill {
		for _, c := range a.Components() {
			rows = append(rows, prefilled(columns, c))
		}
	}
	for _, row := range rows {
		for i := range row {
			row[i] = GuardFormula(row[i])
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

const (
	mainSheet = "asfound"
	listSheet = "lists"
)

func templateXLSX(w io.Writer, t Table, a *Anatomy) (err error) {
	f := excelize.NewFile()
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := f.SetSheetName("Sheet1", mainSheet); err != nil {
		return err
	}
	columns := templateColumns(t)
	b := &bookWriter{f: f}
	bold := b.style(&excelize.Style{Font: &excelize.Font{Bold: true}, Fill: excelize.Fill{Type: "pattern", Color: []string{"E7E6E6"}, Pattern: 1}})
	small := b.style(&excelize.Style{Font: &excelize.Font{Italic: true, Size: 9, Color: "595959"}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	asText := b.style(&excelize.Style{NumFmt: 49}) // what is typed stays as it is typed
	for i, c := range columns {
		name := b.column(i + 1)
		if isText(c) {
			b.do(f.SetColStyle(mainSheet, name, asText))
		}
		b.text(mainSheet, i+1, 1, c.Heading)
		b.text(mainSheet, i+1, 2, c.help())
		b.do(f.SetCellStyle(mainSheet, name+"1", name+"1", bold))
		b.do(f.SetCellStyle(mainSheet, name+"2", name+"2", small))
		b.do(f.SetColWidth(mainSheet, name, name, 22))
	}
	b.do(f.SetRowHeight(mainSheet, 2, 90))
	b.do(f.SetPanes(mainSheet, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}))
	if t.Prefill {
		for i, c := range a.Components() {
			for j, cell := range prefilled(columns, c) {
				if cell != "" {
					b.text(mainSheet, j+1, i+3, cell)
				}
			}
		}
	}
	b.lists(columns, a)
	if b.err != nil {
		return fmt.Errorf("make the template %s: %w", t.Name, b.err)
	}
	_, err = f.WriteTo(w)
	return err
}

// isText says whether a column holds words, which a spreadsheet program must
// not turn into dates or numbers. Dates such as 1957-06 are words too.
func isText(c Column) bool {
	switch c.Heading {
	case "condition", "count", "reliability", "price", "distance", "substance", "surface", "number", "reading", "uncertainty":
		return false
	}
	return !strings.HasPrefix(c.Heading, likelihood)
}

// bookWriter keeps the first error, so that the steps read one after another.
type bookWriter struct {
	f   *excelize.File
	err error
}

func (b *bookWriter) do(err error) {
	if b.err == nil {
		b.err = err
	}
}

func (b *bookWriter) style(s *excelize.Style) int {
	id, err := b.f.NewStyle(s)
	b.do(err)
	return id
}

func (b *bookWriter) column(n int) string {
	name, err := excelize.ColumnNumberToName(n)
	b.do(err)
	return name
}

// text writes a cell as text, whatever it begins with.
func (b *bookWriter) text(sheet string, column, row int, s string) {
	b.do(b.f.SetCellStr(sheet, fmt.Sprint(b.column(column), row), s))
}

// lists puts the words that columns take on a hidden sheet, and drop-down lists
// that point at them into the columns. Other text is allowed with a warning,
// since "cannot tell" may stand anywhere.
func (b *bookWriter) lists(columns []Column, a *Anatomy) {
	if _, err := b.f.NewSheet(listSheet); err != nil {
		b.do(err)
		return
	}
	used := 0
	for i, c := range columns {
		words := c.Choices
		if c.Heading == "component" || c.Heading == "components" {
			words = nil
			for _, known := range a.Components() {
				words = append(words, known.ID)
			}
		}
		if len(words) == 0 {
			continue
		}
		used++
		for row, word := range append([]string{c.Heading}, words...) {
			b.text(listSheet, used, row+1, word)
		}
		at, from := b.column(i+1), b.column(used)
		v := excelize.NewDataValidation(true)
		v.SetSqref(fmt.Sprintf("%s3:%s%d", at, at, dropRows))
		v.SetSqrefDropList(fmt.Sprintf("%s!$%s$2:$%s$%d", listSheet, from, from, len(words)+1))
		v.SetError(excelize.DataValidationErrorStyleWarning, "Not in the list", "The word is not in the list. It may be refused when the sheet is read.")
		b.do(b.f.AddDataValidation(mainSheet, v))
	}
	b.do(b.f.SetSheetVisible(listSheet, false))
}
