// Package tabular writes lists as sheets that other programs read: CSV and
// XLSX, row by row, with texts that no spreadsheet program computes.
package tabular

import (
	"encoding/csv"
	"errors"
	"io"
	"strconv"

	"github.com/xuri/excelize/v2"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// MediaTypes are the formats with their media types.
var MediaTypes = map[string]string{
	"csv":  "text/csv; charset=utf-8",
	"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}

// Write writes a list in one of the formats. CodeUnsupported for another.
func Write(w io.Writer, format string, l workshop.List) error {
	switch format {
	case "csv":
		return writeCSV(w, l)
	case "xlsx":
		return writeXLSX(w, l)
	}
	return registry.Refuse(registry.CodeUnsupported, "Ask for csv or xlsx.", "Lists are not written in the format %q", format)
}

func writeCSV(w io.Writer, l workshop.List) error {
	// The mark lets spreadsheet programs see that it is UTF-8.
	if _, err := io.WriteString(w, "\ufeff"); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	if err := out.Write(l.Headings); err != nil {
		return err
	}
	err := l.Each(func(cells []any) error {
		row := make([]string, len(cells))
		for i, c := range cells {
			row[i] = text(c)
		}
		return out.Write(row)
	})
	out.Flush()
	return errors.Join(err, out.Error())
}

// text is a cell of CSV. Numbers have a point and no unit, which stands in the
// heading.
func text(cell any) string {
	switch c := cell.(type) {
	case float64:
		return strconv.FormatFloat(c, 'f', -1, 64)
	case int:
		return strconv.Itoa(c)
	case string:
		return importers.GuardFormula(c)
	}
	return ""
}

// widest is how wide a column of a workbook is, in letters.
const widest = 40

func writeXLSX(w io.Writer, l workshop.List) (err error) {
	f := excelize.NewFile()
	defer func() { err = errors.Join(err, f.Close()) }()
	name := l.Name
	if err := f.SetSheetName("Sheet1", name); err != nil {
		return err
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	if err != nil {
		return err
	}
	out, err := f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	for i, h := range l.Headings {
		if err := out.SetColWidth(i+1, i+1, float64(min(widest, len(h)+4))); err != nil {
			return err
		}
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	head := make([]any, len(l.Headings))
	for i, h := range l.Headings {
		head[i] = excelize.Cell{StyleID: bold, Value: h}
	}
	if err := out.SetRow("A1", head); err != nil {
		return err
	}
	row := 1
	// Cells hold texts as texts: what begins like a formula is none.
	if err := l.Each(func(cells []any) error {
		row++
		at, err := excelize.CoordinatesToCellName(1, row)
		if err != nil {
			return registry.Refuse(registry.CodeTooLarge, "Narrow the list, or ask for csv.", "The list has more rows than a workbook holds")
		}
		return out.SetRow(at, cells)
	}); err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return err
	}
	_, err = f.WriteTo(w)
	return err
}
