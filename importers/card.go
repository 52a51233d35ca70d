package importers

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"example.org/asfound/importers/picture"
	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

// CardMark is a part of a photograph that is marked in a sheet: a patch of a
// reference card when it has the card's own colour, else an area in question.
type CardMark struct {
	picture.Mark
	Lab *[3]float64 // L, a and b as the card states them
}

var cardHeadings = []string{"name", "left", "top", "width", "height", "L", "a", "b"}

// ReadCardMarks reads a sheet of marks with the columns name, left, top, width
// and height (shares of the picture, 0 to 1), and for the patches of a card L, a
// and b. A row of headings may stand above them. CodeInvalid with every fault,
// each with its row and column. None of these numbers reaches a thousand, so that
// a point or a comma stands before decimals.
func ReadCardMarks(r io.ReadSeeker, o Options) (marks []CardMark, err error) {
	f, err := sheet.Open(r, o.File, sheet.Options{Sheet: o.Sheet, Encoding: o.Encoding, Separator: o.Separator, MaxBytes: o.MaxBytes})
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var faults []registry.Field
	first := true
	err = f.Each(func(row sheet.Row) error {
		if head := first && len(row.Cells) > 1 && foldHeading(row.Cells[1]) == "left"; head || isRemark(row) {
			first = first && !head
			return nil
		}
		first = false
		m, wrong := cardMark(row, o.File)
		if faults = append(faults, wrong...); len(wrong) == 0 {
			marks = append(marks, m)
		}
		return nil
	})
	switch {
	case err != nil:
		return nil, err
	case len(faults) > 0:
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: faults[0].String(), Fix: "Mend the rows listed.", Fields: faults}
	}
	return marks, nil
}

func cardMark(row sheet.Row, file string) (m CardMark, faults []registry.Field) {
	cells := slices.Clone(row.Cells)
	for len(cells) > 0 && strings.TrimSpace(cells[len(cells)-1]) == "" {
		cells = cells[:len(cells)-1]
	}
	if n := len(cells); n != 5 && n != 8 {
		return m, []registry.Field{{File: file, Row: row.Number, Found: fmt.Sprintf("%d columns", n), Allowed: strings.Join(cardHeadings, ", "), Message: "The row is neither a patch nor an area",
			Fix: "Give a patch all eight columns, and an area the first five."}}
	}
	v := make([]float64, len(cells))
	for i := 1; i < len(cells); i++ {
		var err error
		if v[i], err = parseNumber(strings.Replace(strings.TrimSpace(cells[i]), ",", ".", 1), storedDecimal); err != nil {
			faults = append(faults, registry.Field{File: file, Row: row.Number, Found: quoted(cells[i]), Message: inColumn(cardHeadings[i], err.Error()), Fix: "Write a number with a point."})
		}
	}
	m.Mark = picture.Mark{ID: strings.TrimSpace(cells[0]), X: v[1], Y: v[2], Width: v[3], Height: v[4]}
	if m.ID == "" {
		faults = append(faults, registry.Field{File: file, Row: row.Number, Message: inColumn("name", "The mark has no name"), Fix: "Name it."})
	}
	if len(cells) == 8 {
		m.Lab = &[3]float64{v[5], v[6], v[7]}
	}
	return m, faults
}
