package importers

import (
	"bytes"
	"errors"
	"io"
	"strings"

	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

// Importer reads one kind of file.
type Importer struct {
	Name  string
	Reads string // one sentence for a person
	// Records are the kinds of record that come out.
	Records []registry.Kind
	// Fits says how well a file fits, by its first bytes and, for a table, by
	// its first rows: 0 is not at all, more is better.
	Fits func(head []byte, rows []sheet.Row) int
	Open func(r io.ReadSeeker, o Options) (Source, error)
}

// Importers lists what can be read into records, in the order in which they are
// tried. The inventory (ReadInventory) and photos (PhotoFolder) stand apart,
// since they are more, or less, than records.
func Importers() []Importer {
	return []Importer{
		sheetImporter("survey", "An as-found survey as XLSX or CSV: one row a component, with the joints beside them.", "survey", "joint"),
		sheetImporter("evidence", "A list of evidence as XLSX or CSV: one row an item.", "evidence"),
		sheetImporter("joints", "A witness register as XLSX or CSV: one row a joint.", "joint"),
		sheetImporter("parts", "A list of parts and when they were fitted, as XLSX or CSV.", "fitting"),
		sheetImporter("removed", "A list of removed parts and where they are kept, as XLSX or CSV.", "removed-part"),
		sheetImporter("sales", "A list of sales of like machines as XLSX or CSV.", "comparable-sale"),
		sheetImporter("film", "Readings of a paint film gauge as XLSX or CSV: one row a reading.", "measurement"),
		sheetImporter("searches", "A log of looking for what is needed, as XLSX or CSV: one row a look.", "search"),
		sheetImporter("part-numbers", "A list of part numbers with what took their place, as XLSX or CSV.", "part-number"),
		{Name: "json", Reads: "Records of any kind as JSON: one, a list, or one a line.", Records: registry.Kinds(), Fits: fitsJSON, Open: openJSON},
	}
}

// Named finds an importer by name.
func Named(name string) (Importer, error) {
	var names []string
	for _, i := range Importers() {
		if i.Name == name {
			return i, nil
		}
		names = append(names, i.Name)
	}
	return Importer{}, registry.Refuse(registry.CodeInvalid, "Name one of: "+strings.Join(names, ", ")+".", "There is no importer %q", name)
}

// Detect chooses the importer for a file. CodeInvalid when none fits, with what
// the nearest one lacks, or when two fit alike.
func Detect(r io.ReadSeeker, o Options) (Importer, error) {
	head := make([]byte, 4096)
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return Importer{}, err
	}
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return Importer{}, err
	}
	head = head[:n]
	var rows []sheet.Row
	if fitsJSON(head, nil) == 0 {
		f, err := sheet.Open(r, o.File, sheet.Options{Sheet: o.Sheet, Encoding: o.Encoding, Separator: o.Separator, MaxBytes: o.MaxBytes})
		if err != nil {
			return Importer{}, err
		}
		if rows, err = firstRows(f, headerWithin); err != nil {
			return Importer{}, errors.Join(err, f.Close())
		}
		if err := f.Close(); err != nil {
			return Importer{}, err
		}
	}
	var best Importer
	var alike []string
	score := 0
	for _, i := range Importers() {
		switch fits := i.Fits(head, rows); {
		case fits > score:
			best, score, alike = i, fits, []string{i.Name}
		case fits == score && fits > 0:
			alike = append(alike, i.Name)
		}
	}
	switch len(alike) {
	case 1:
		return best, nil
	case 0:
		var names []string
		for _, i := range Importers() {
			names = append(names, i.Name)
		}
		return Importer{}, registry.Refuse(registry.CodeInvalid, "Begin with a template, or say which it is: "+strings.Join(names, ", ")+".",
			"The headings of %s fit no kind of sheet", orThe(o.File))
	}
	return Importer{}, registry.Refuse(registry.CodeInvalid, "Say which it is.", "%s could be any of: %s", orThe(o.File), strings.Join(alike, ", "))
}

func sheetImporter(name, reads string, records ...registry.Kind) Importer {
	return Importer{Name: name, Reads: reads, Records: records,
		Fits: func(_ []byte, rows []sheet.Row) int {
			table, _ := TableNamed(name)
			ly, err := findHeader(&table, "", rows)
			if err != nil {
				return 0
			}
			// What counts is how much of the file is understood; needed columns
			// only tip the scale between sheets that understand as much.
			fits := 0
			for i, place := range ly.places {
				if place >= 0 {
					fits += 16
					if table.Columns[i].Needed {
						fits++
					}
				}
			}
			return fits
		},
		Open: func(r io.ReadSeeker, o Options) (Source, error) {
			table, _ := TableNamed(name)
			s, err := openSheet(table, r, o)
			if err != nil {
				return nil, err
			}
			return s, nil
		},
	}
}

func fitsJSON(head []byte, _ []sheet.Row) int {
	head = bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), " \t\r\n")
	if len(head) > 0 && (head[0] == '{' || head[0] == '[') {
		return 1
	}
	return 0
}
