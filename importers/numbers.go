package importers

import (
	"io"
	"slices"
	"strings"

	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

// numberHeadings head a column of numbers in a list.
var numberHeadings = []string{"number", "frame number", "frame", "frame no", "serial", "serial number"}

// ReadNumbers reads a list of numbers from a sheet: the column that is headed
// number or frame number, or the first one where no heading says so. What does
// not look like a number is left to the caller. CodeInvalid for a file that
// holds none.
func ReadNumbers(r io.ReadSeeker, o Options) (numbers []string, err error) {
	f, err := sheet.Open(r, o.File, sheet.Options{Sheet: o.Sheet, Encoding: o.Encoding, Separator: o.Separator, MaxBytes: o.MaxBytes})
	if err != nil {
		return nil, err
	}
	defer f.Close()
	place, first := 0, true
	err = f.Each(func(row sheet.Row) error {
		if first {
			first = false
			if i := slices.IndexFunc(row.Cells, func(c string) bool {
				return slices.ContainsFunc(numberHeadings, func(h string) bool { return foldHeading(h) == foldHeading(beforeBracket(c)) })
			}); i >= 0 {
				place = i
				return nil
			}
		}
		if place < len(row.Cells) {
			if n := strings.TrimSpace(row.Cells[place]); n != "" {
				numbers = append(numbers, n)
			}
		}
		return nil
	})
	if err == nil && len(numbers) == 0 {
		err = registry.Refuse(registry.CodeInvalid, "Write one number a row, under the heading number.", "%s holds no numbers", orThe(o.File))
	}
	return numbers, err
}
