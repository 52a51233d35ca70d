package importers

import (
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

// sheetSource reads one kind of sheet from one file.
type sheetSource struct {
	table  Table
	o      Options
	file   *sheet.File
	layout *layout
	report Report
	seed   maphash.Seed
	// twins are the rows that share something which may be named only once, by
	// the hash of what they share.
	twins map[uint64][]int
}

// openSheet opens a file and reads it once: for its headings, for duplicates
// and for what makes it unreadable.
func openSheet(t Table, r io.ReadSeeker, o Options) (*sheetSource, error) {
	if o.Anatomy == nil {
		o.Anatomy = NewAnatomy(nil, nil, nil)
	}
	if m := o.Mapping; m != nil {
		if o.Encoding == "" {
			o.Encoding = m.Encoding
		}
		if o.Separator == 0 {
			o.Separator = m.separatorRune()
		}
	}
	s, err := openAs(t, r, o)
	if o.Mapping != nil && o.Separator != 0 && registry.CodeOf(err) == registry.CodeInvalid {
		// The rows that were rejected come back with a separator of their own.
		o.Separator, o.Encoding = 0, ""
		if again, other := openAs(t, r, o); other == nil {
			return again, nil
		}
	}
	return s, err
}

func openAs(t Table, r io.ReadSeeker, o Options) (*sheetSource, error) {
	f, err := sheet.Open(r, o.File, sheet.Options{Sheet: o.Sheet, Encoding: o.Encoding, Separator: o.Separator, MaxBytes: o.MaxBytes})
	if err != nil {
		return nil, err
	}
	s := &sheetSource{table: t, o: o, file: f, seed: maphash.MakeSeed()}
	if err := s.survey(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return s, nil
}

// errEnough ends a reading that has seen what it wanted.
var errEnough = errors.New("enough")

// survey is the first reading.
func (s *sheetSource) survey() error {
	var err error
	if s.layout, err = s.columns(); err != nil {
		return err
	}
	s.report = Report{File: s.o.File, Importer: s.table.Name, Format: s.file.Format, Sheet: s.file.Sheet, Encoding: s.file.Encoding,
		Separator: separatorName(s.file.Separator), HeaderRow: s.layout.row, Headings: s.layout.headings,
		Warnings: s.layout.unknownColumns()}
	if e := s.file.Encoding; s.o.Encoding == "" && strings.HasPrefix(e, "windows") {
		s.report.Warnings = append(s.report.Warnings, registry.Field{File: s.o.File,
			Message: "The file is not UTF-8 and was read as Windows-1252, the usual encoding of western Europe",
			Fix:     "Look at a name with an accent; if it is wrong, say which encoding the file has."})
	}
	return s.findTwins()
}

// columns finds the columns, by the headings or by the mapping.
func (s *sheetSource) columns() (ly *layout, err error) {
	if m := s.o.Mapping; m != nil {
		if ly, err = m.layout(&s.table, s.o.File, s.file); err != nil {
			return nil, err
		}
		ly.decimal = map[string]decimal{"": typedDecimal, "point": pointDecimal, "comma": commaDecimal}[m.Decimal]
	} else {
		rows, err := firstRows(s.file, headerWithin)
		if err != nil {
			return nil, err
		}
		if ly, err = findHeader(&s.table, s.o.File, rows); err != nil {
			return nil, err
		}
	}
	if s.file.Format == "XLSX" {
		ly.decimal = storedDecimal
	}
	return ly, nil
}

func separatorName(r rune) string {
	switch r {
	case 0:
		return ""
	case '\t':
		return "tab"
	}
	return string(r)
}

func firstRows(f *sheet.File, n int) ([]sheet.Row, error) {
	var rows []sheet.Row
	err := f.Each(func(r sheet.Row) error {
		if rows = append(rows, r); len(rows) == n {
			return errEnough
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return rows, err
}

// findTwins notes every row that shares an identity with another, so that both
// can be told of it. It keeps eight bytes for each identity, and reads the file
// once more when there are any twins.
func (s *sheetSource) findTwins() error {
	var all []uint64
	unheaded := s.layout.mapping != nil // a mapping has none
	err := s.rows(func(row sheet.Row) error {
		for place := 0; place < len(row.Cells) && !unheaded; place++ {
			if cell := row.Cells[place]; !s.layout.headed(place) && strings.TrimSpace(cell) != "" {
				unheaded = true
				s.report.Warnings = append(s.report.Warnings, registry.Field{File: s.o.File, Row: row.Number, Found: quoted(cell),
					Message: fmt.Sprintf("Column %d has no heading and was not read", place+1), Fix: "Head the column, or empty it."})
			}
		}
		s.eachKey(row, func(key uint64) { all = append(all, key) })
		return nil
	})
	if err != nil {
		return err
	}
	s.twins = map[uint64][]int{}
	slices.Sort(all)
	for i := 1; i < len(all); i++ {
		if all[i] == all[i-1] {
			s.twins[all[i]] = nil
		}
	}
	if len(s.twins) == 0 {
		return nil
	}
	return s.rows(func(row sheet.Row) error {
		s.eachKey(row, func(key uint64) {
			if rows, twice := s.twins[key]; twice {
				s.twins[key] = append(rows, row.Number)
			}
		})
		return nil
	})
}

// eachKey gives the keys of all that a row says.
func (s *sheetSource) eachKey(row sheet.Row, fn func(key uint64)) {
	for _, l := range s.lines(row) {
		if !l.says() {
			continue
		}
		for _, id := range l.layout.table.identify(l) {
			if key := l.key(s.seed, id); key != 0 {
				fn(key)
			}
		}
	}
}

// key is the hash of one of a row's identities; 0 for one without content.
func (l *line) key(seed maphash.Seed, id identity) uint64 {
	if id.key == "" {
		return 0
	}
	var h maphash.Hash
	h.SetSeed(seed)
	for _, text := range []string{l.machine(), "\x00", id.column, "\x00", id.key} {
		_, _ = h.WriteString(text) // never an error
	}
	return h.Sum64()
}

// rows gives the rows below the headings that are not remarks.
func (s *sheetSource) rows(give func(sheet.Row) error) error {
	return s.file.Each(func(r sheet.Row) error {
		if r.Number <= s.layout.row || isRemark(r) {
			return nil
		}
		return give(r)
	})
}

// isRemark says whether the first cell with text begins with a "#" that stands
// alone, as the help in the templates does.
func isRemark(r sheet.Row) bool {
	for _, c := range r.Cells {
		if c = strings.TrimSpace(c); c != "" {
			return c == "#" || strings.HasPrefix(c, "# ")
		}
	}
	return true
}

// says whether a row says anything beyond which part it is about, who looked
// and when.
func (l *line) says() bool {
	if l.row.Fault != "" {
		return true
	}
	for i, c := range l.layout.table.Columns {
		if !c.Says && !nothing(strings.Trim(l.raw(i), " \t\r\n\u00a0")) {
			return true
		}
	}
	return false
}

func (s *sheetSource) Report() Report { return s.report }

func (s *sheetSource) Close() error { return s.file.Close() }

// result is what became of one row.
type result struct {
	drafts  []Draft
	leftOut bool
	err     error
}

func (s *sheetSource) Each(take func(Draft) error) error {
	s.report.Rows, s.report.Records, s.report.Rejected, s.report.LeftOut = 0, 0, 0, 0
	return inOrder(s.o.Workers, s.rows, s.work, func(r result) error {
		if r.err != nil {
			return r.err
		}
		if r.leftOut {
			s.report.LeftOut++
		}
		return s.report.handOn(r.drafts, take)
	})
}

// work makes the drafts of one row. A row stands or falls as a whole: when one
// of its records has a fault, one draft comes out with all of them.
func (s *sheetSource) work(row sheet.Row) result {
	lines := s.lines(row)
	l := lines[0]
	if !l.says() {
		return result{leftOut: true}
	}
	d := Draft{File: s.o.File, Row: row.Number, Machine: l.machine(), Cells: row.Cells}
	if row.Fault != "" {
		d.Faults = []registry.Field{{File: s.o.File, Row: row.Number, Message: row.Fault, Fix: "Close the quotation mark, or take it away."}}
		return result{drafts: []Draft{d}}
	}
	var bodies []registry.Body
	for _, l := range lines {
		made, err := s.make(l)
		if err != nil {
			return result{err: err}
		}
		bodies = append(bodies, made...)
		for _, f := range l.faults {
			if !slices.Contains(d.Faults, f) { // a fault of what the readings share is told once
				d.Faults = append(d.Faults, f)
			}
		}
	}
	if len(bodies) > 0 {
		d.Body = bodies[0]
	}
	out := []Draft{d}
	if d.Good() && len(bodies) > 1 {
		for _, b := range bodies[1:] {
			extra := d
			extra.Body = b
			out = append(out, extra)
		}
	}
	return result{drafts: out}
}

// make makes the records of one line, and notes its faults.
func (s *sheetSource) make(l *line) ([]registry.Body, error) {
	bodies := s.table.build(l)
	l.tooManyCells()
	if len(s.twins) > 0 {
		for _, id := range s.table.identify(l) {
			if rows := s.twins[l.key(s.seed, id)]; len(rows) > 1 {
				l.fault(id.column, "", fmt.Sprintf("Rows %s: %s", rowList(rows), id.what), "Keep one of the rows.")
			}
		}
	}
	for _, b := range bodies {
		if s.table.partial {
			break
		}
		if err := l.check(b); err != nil {
			return nil, err
		}
	}
	return bodies, nil
}

// rowList names rows, the first six of them.
func rowList(rows []int) string {
	var b strings.Builder
	for i, r := range rows {
		switch {
		case i == 6:
			return b.String() + " and others"
		case i > 0 && i == len(rows)-1:
			b.WriteString(" and ")
		case i > 0:
			b.WriteString(", ")
		}
		b.WriteString(strconv.Itoa(r))
	}
	return b.String()
}

// tooManyCells adds a fault when text stands to the right of the last heading,
// as it does when a separator slipped into a cell.
func (l *line) tooManyCells() {
	if l.layout.mapping != nil {
		return // it names the columns that are read, and the rest is passed over
	}
	for place := len(l.layout.headings); place < len(l.row.Cells); place++ {
		if c := strings.TrimSpace(l.row.Cells[place]); c != "" {
			l.faults = append(l.faults, registry.Field{File: l.layout.file, Row: l.row.Number, Found: quoted(c),
				Message: fmt.Sprintf("The row has text in column %d, and there are only %d headings", place+1, len(l.layout.headings)),
				Fix:     "Put a cell with a separator in it into quotation marks, or head the column."})
			return
		}
	}
}
