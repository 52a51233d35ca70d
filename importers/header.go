package importers

import (
	"fmt"
	"slices"
	"strings"

	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

// headerWithin is how many rows may stand above the headings: a title, a date.
const headerWithin = 10

// passedOver are headings that carry nothing and bring no warning.
var passedOver = []string{"group", "component name", wrongHeading}

// findHeader looks for the row of headings: the first that has every column
// that the table needs.
func findHeader(t *Table, file string, rows []sheet.Row) (*layout, error) {
	var nearestMiss *layout
	var lacking []string
	for _, row := range rows {
		ly := &layout{table: t, file: file, row: row.Number, headings: row.Cells, places: make([]int, len(t.Columns)), named: map[string]int{}}
		for i, c := range t.Columns {
			ly.places[i] = -1
			ly.named[c.Heading] = i
		}
		found := 0
		var twice []registry.Field
		for place, heading := range row.Cells {
			i := t.column(heading)
			switch {
			case i < 0:
			case ly.places[i] >= 0:
				twice = append(twice, registry.Field{File: file, Row: row.Number, Found: quoted(heading),
					Message: fmt.Sprintf("The columns %q and %q mean the same", strings.TrimSpace(row.Cells[ly.places[i]]), strings.TrimSpace(heading)),
					Fix:     "Keep one of them."})
			default:
				ly.places[i] = place
				found++
			}
		}
		var lacks []string
		for i, c := range t.Columns {
			if c.Needed && ly.places[i] < 0 {
				lacks = append(lacks, c.Heading)
			}
		}
		if len(lacks) == 0 {
			if len(twice) > 0 {
				return nil, &registry.Error{Code: registry.CodeInvalid, Message: twice[0].Message, Fix: "Keep one of them.", Fields: twice}
			}
			return ly, nil
		}
		if nearestMiss == nil || found > 0 && len(lacks) < len(lacking) {
			nearestMiss, lacking = ly, lacks
		}
	}
	return nil, noHeader(t, file, nearestMiss, lacking)
}

func noHeader(t *Table, file string, miss *layout, lacking []string) error {
	e := &registry.Error{Code: registry.CodeInvalid,
		Message: fmt.Sprintf("%s has no row of headings for the sheet %q", orThe(file), t.Name),
		Fix:     "Begin with a template, or head the columns: " + strings.Join(t.headings(), ", ") + "."}
	if miss == nil {
		e.Message = fmt.Sprintf("%s has no rows", orThe(file))
		return e
	}
	e.Message = fmt.Sprintf("%s lacks columns that the sheet %q needs: %s", orThe(file), t.Name, strings.Join(lacking, ", "))
	for _, heading := range lacking {
		fix := "Add a column with this heading."
		if like := nearest(heading, miss.headings); like != "" {
			fix = fmt.Sprintf("Is the column %q meant? Head it %q.", strings.TrimSpace(like), heading)
		}
		e.Fields = append(e.Fields, registry.Field{File: file, Row: miss.row, Message: "The column " + heading + " is missing", Fix: fix})
	}
	return e
}

func orThe(file string) string {
	if file == "" {
		return "The file"
	}
	return file
}

// unknownColumns warns of columns with a heading that means nothing here.
func (ly *layout) unknownColumns() []registry.Field {
	var out []registry.Field
	if ly.mapping != nil {
		return nil
	}
	for _, heading := range ly.headings {
		h := strings.TrimSpace(heading)
		if h == "" || ly.table.column(h) >= 0 || slices.ContainsFunc(passedOver, func(p string) bool { return foldHeading(p) == foldHeading(h) }) {
			continue
		}
		out = append(out, registry.Field{File: ly.file, Row: ly.row, Found: quoted(h),
			Message: fmt.Sprintf("The column %q is not known and was not read", h),
			Fix:     didYouMean(h, ly.table.headings(), "Put what matters of it into the column note.")})
	}
	return out
}

// used says which places of a row are read or knowingly passed over.
func (ly *layout) headed(place int) bool {
	return place < len(ly.headings) && strings.TrimSpace(ly.headings[place]) != ""
}
