package importers

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

// MappingKind names the schema of a saved mapping, and MappingVersion its
// version.
const (
	MappingKind    registry.Kind = "import-mapping"
	MappingVersion int           = 1
)

// Mapping says once which columns of somebody else's table hold what a sheet
// of this program asks for, so that a table can be read as an instrument
// writes it.
type Mapping struct {
	Name  string `json:"name"`
	Sheet string `json:"sheet"`
	About string `json:"about,omitempty"`
	// Separator is ",", ";", "|" or "tab"; "" asks the file.
	Separator string `json:"separator,omitempty"`
	Encoding  string `json:"encoding,omitempty"`
	// Decimal is "comma" or "point"; "" refuses what can be read in two ways.
	Decimal string `json:"decimal,omitempty"`
	// Dates is the order of a date in figures, such as "day-month-year".
	Dates string `json:"dates,omitempty"`
	// Skip is how many rows stand above the headings, or above the first
	// reading where NoHeadings is set.
	Skip       int            `json:"skip,omitempty"`
	NoHeadings bool           `json:"no_headings,omitempty"`
	Columns    []MappedColumn `json:"columns"`
}

// MappedColumn fills one column of the sheet: from columns of the table, or
// with one text for every row.
type MappedColumn struct {
	Fills string `json:"fills"`
	// From are headings of the table, or "#3" for its third column. Several
	// stand for readings across the row: each that is filled in makes a record
	// of its own.
	From   []string `json:"from,omitempty"`
	Always string   `json:"always,omitempty"`
}

// ReadMapping reads a saved mapping. CodeInvalid with every fault when it is
// none, or names a sheet or a column that does not exist.
func ReadMapping(data []byte, v Validator) (Mapping, error) {
	var m Mapping
	if err := v.Validate(MappingKind, MappingVersion, data); err != nil {
		return m, err
	}
	if err := json.Unmarshal(data, &m); err != nil {
		return m, err
	}
	// Space around and between words does not count, in headings or in cells.
	plain := func(text string) string { return strings.Join(strings.Fields(text), " ") }
	for i := range m.Columns {
		c := &m.Columns[i]
		c.Always = plain(c.Always)
		for j := range c.From {
			c.From[j] = plain(c.From[j])
		}
	}
	return m, m.check()
}

// Check holds a mapping against its schema and against the sheet that it names.
func (m Mapping) Check(v Validator) error {
	data, err := json.Marshal(m)
	if err != nil {
		return err
	}
	_, err = ReadMapping(data, v)
	return err
}

var columnNumber = regexp.MustCompile(`^#([1-9][0-9]{0,3})$`)

// check says what the schema cannot: whether the columns are there and fit
// together.
func (m Mapping) check() error {
	var fields []registry.Field
	fault := func(pointer, found, allowed, message, fix string) {
		fields = append(fields, registry.Field{Pointer: pointer, Found: quoted(found), Allowed: allowed, Message: message, Fix: fix})
	}
	t, ok := mappable(m.Sheet)
	if !ok {
		names := MappableSheets()
		fault("/sheet", m.Sheet, strings.Join(names, ", "), "There is no sheet of this name to read a table as", didYouMean(m.Sheet, names, "Name one of those."))
	}
	across, seen := "", map[int]bool{}
	for i, c := range m.Columns {
		at := "/columns/" + strconv.Itoa(i)
		column := t.column(c.Fills)
		switch {
		case !ok:
		case column < 0:
			fault(at+"/fills", c.Fills, strings.Join(t.headings(), ", "), "The sheet has no such column", didYouMean(c.Fills, t.headings(), "Use one of those."))
		case seen[column]:
			fault(at+"/fills", c.Fills, "each once", "The column is filled twice", "Keep one of the lines; readings across the row stand in one line.")
		}
		seen[column] = true
		if (len(c.From) > 0) == (c.Always != "") {
			fault(at, c.Fills, "columns of the table, or one text for every row", "It is not clear what fills this column", "Name the columns that hold it, or the text that every row gets.")
		}
		if len(c.From) > 1 {
			if across != "" {
				fault(at+"/from", c.Fills, "one line", "Only one column can be filled from several: "+across+" is already", "Name one column here.")
			}
			across = c.Fills
		}
		for j, from := range c.From {
			if m.NoHeadings && !columnNumber.MatchString(from) {
				fault(at+"/from/"+strconv.Itoa(j), from, "#1, #2, …", "The table has no headings, so a column goes by its number", "Write # and the number, counted from 1.")
			}
			if from == "" {
				fault(at+"/from/"+strconv.Itoa(j), from, "", "A column of the table is named by space alone", "Write its heading, or # and its number, counted from 1.")
			}
			if strings.Contains(from, ";") { // Lines puts one between columns
				fault(at+"/from/"+strconv.Itoa(j), from, "a heading without a semicolon", "A semicolon stands between two columns", "Write # and the number of the column, counted from 1.")
			}
		}
	}
	for i, c := range t.Columns {
		if ok && c.Needed && !seen[i] {
			fault("/columns", "", c.Heading, "Nothing fills the column "+c.Heading+", which the sheet needs", "Say which column of the table holds it, or what every row gets.")
		}
	}
	if m.Encoding != "" && !slices.Contains(sheet.Encodings(), m.Encoding) {
		fault("/encoding", m.Encoding, strings.Join(sheet.Encodings(), ", "), "The encoding is not known here", "Name one of those.")
	}
	if len(fields) == 0 {
		return nil
	}
	return &registry.Error{Code: registry.CodeInvalid, Message: "The mapping " + quoted(m.Name) + " cannot be used: " + strings.TrimSuffix(fields[0].String(), "."), Fix: "Mend it, and save it again.", Fields: fields}
}

// mappable finds the sheet that a table can be read as.
func mappable(name string) (Table, bool) {
	if !slices.Contains(MappableSheets(), name) {
		return Table{}, false
	}
	return TableNamed(name)
}

// MappableSheets names the sheets that a table can be read as by a mapping.
func MappableSheets() []string {
	var names []string
	for _, i := range Importers() {
		if _, ok := TableNamed(i.Name); ok {
			names = append(names, i.Name)
		}
	}
	return names
}

// Lines writes the columns of a mapping as a person types them: "reading: R1;
// R2" for columns of the table, "unit = µm" for one text in every row.
func (m Mapping) Lines() []string {
	var out []string
	for _, c := range m.Columns {
		if c.Always != "" {
			out = append(out, c.Fills+" = "+c.Always)
			continue
		}
		out = append(out, c.Fills+": "+strings.Join(c.From, "; "))
	}
	return out
}

// ParseMappedColumns reads what Lines writes. CodeInvalid names each line that
// cannot be read.
func ParseMappedColumns(lines []string) ([]MappedColumn, error) {
	var out []MappedColumn
	var fields []registry.Field
	for i, line := range lines {
		cut := strings.IndexAny(line, ":=")
		if cut < 1 || strings.TrimSpace(line[cut+1:]) == "" {
			fields = append(fields, registry.Field{Pointer: "/columns", Found: quoted(line), Message: fmt.Sprintf("Line %d cannot be read", i+1),
				Fix: `Write "reading: R1" for a column of the table, or "unit = µm" for what every row gets.`})
			continue
		}
		c := MappedColumn{Fills: strings.TrimSpace(line[:cut])}
		if line[cut] == '=' {
			c.Always = strings.TrimSpace(line[cut+1:])
		} else {
			c.From = split(line[cut+1:], ";")
		}
		out = append(out, c)
	}
	if len(fields) > 0 {
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: fields[0].Message, Fix: fields[0].Fix, Fields: fields}
	}
	return out, nil
}

// separatorRune is the separator as the reader of sheets takes it.
func (m *Mapping) separatorRune() rune {
	switch m.Separator {
	case "":
		return 0
	case "tab":
		return '\t'
	}
	return rune(m.Separator[0])
}

// layout finds the columns of a mapping in a file. What a mapping leaves out is
// passed over knowingly, and brings no warning.
func (m *Mapping) layout(t *Table, file string, f *sheet.File) (*layout, error) {
	rows, err := firstRows(f, m.Skip+headerWithin)
	if err != nil {
		return nil, err
	}
	ly := &layout{table: t, file: file, row: m.Skip, places: make([]int, len(t.Columns)), named: map[string]int{}, mapping: m, fixed: make([]string, len(t.Columns))}
	for i, c := range t.Columns {
		ly.places[i] = -1
		ly.named[c.Heading] = i
	}
	if m.NoHeadings {
		_, err := ly.mapped(nil, 0)
		return ly, err
	}
	var nearestMiss error
	fewest := 0
	for _, row := range rows {
		if row.Number <= m.Skip {
			continue
		}
		ly.row, ly.headings = row.Number, row.Cells
		lacks, err := ly.mapped(row.Cells, row.Number)
		if err == nil {
			return ly, nil
		}
		if nearestMiss == nil || lacks < fewest {
			nearestMiss, fewest = err, lacks
		}
	}
	if nearestMiss == nil {
		nearestMiss = registry.Refuse(registry.CodeInvalid, "Lower the number of rows that the mapping skips.", "%s has no row below the first %d, which the mapping %q skips", orThe(file), m.Skip, m.Name)
	}
	return nil, nearestMiss
}

// mapped puts the columns of a mapping on the cells of a row of headings, and
// says how many of them are not there.
func (ly *layout) mapped(headings []string, row int) (int, error) {
	ly.across = nil
	var fields []registry.Field
	for _, c := range ly.mapping.Columns {
		i := ly.table.column(c.Fills)
		ly.fixed[i] = c.Always
		var places []int
		for _, from := range c.From {
			place := placeOf(headings, from)
			if place < 0 {
				fields = append(fields, registry.Field{File: ly.file, Row: row, Message: fmt.Sprintf("There is no column %q, from which the mapping %q fills %s", from, ly.mapping.Name, c.Fills),
					Fix: didYouMean(from, headings, "Look whether the file has more rows above its headings, or another separator, and mend the mapping.")})
				continue
			}
			places = append(places, place)
		}
		if len(places) > 0 {
			ly.places[i] = places[0]
		}
		if len(places) > 1 {
			ly.acrossColumn, ly.across = i, places
		}
	}
	if len(fields) == 0 {
		return 0, nil
	}
	return len(fields), &registry.Error{Code: registry.CodeInvalid, Message: orThe(ly.file) + " does not fit the mapping " + quoted(ly.mapping.Name) + ": " + strings.TrimSuffix(fields[0].Message, "."), Fix: fields[0].Fix, Fields: fields}
}

// placeOf is where a column of the table stands: by its number, by its heading
// as it is, or by its heading as headings are compared; -1 when nowhere.
func placeOf(headings []string, from string) int {
	if n := columnNumber.FindStringSubmatch(from); n != nil {
		place, _ := strconv.Atoi(n[1])
		return place - 1
	}
	exact := func(h string) bool { return strings.TrimSpace(h) == strings.TrimSpace(from) }
	if i := slices.IndexFunc(headings, exact); i >= 0 {
		return i
	}
	key := foldHeading(from)
	return slices.IndexFunc(headings, func(h string) bool { return key != "" && foldHeading(h) == key })
}

// lines makes the lines of a row: one, or, where readings stand across it, one
// for each that is filled in.
func (s *sheetSource) lines(row sheet.Row) []*line {
	first := &line{layout: s.layout, o: &s.o, row: row}
	if len(s.layout.across) == 0 {
		return []*line{first}
	}
	var out []*line
	for i := range s.layout.across {
		l := &line{layout: s.layout, o: &s.o, row: row, part: i + 1}
		if !nothing(strings.TrimSpace(l.raw(s.layout.acrossColumn))) {
			out = append(out, l)
		}
	}
	if len(out) == 0 {
		return []*line{first}
	}
	return out
}

var figuresDate = regexp.MustCompile(`^(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})(?:[ T,].*)?$`)

// day turns a date in figures into year-month-day by the order that the
// mapping states, and leaves the time of day off; anything else stays.
func (m *Mapping) day(text string) string {
	if m == nil || m.Dates == "" {
		return text
	}
	f := figuresDate.FindStringSubmatch(text)
	if f == nil {
		return text
	}
	year, month, day := f[1], f[2], f[3]
	switch m.Dates {
	case "day-month-year":
		day, month, year = f[1], f[2], f[3]
	case "month-day-year":
		month, day, year = f[1], f[2], f[3]
	}
	if len(year) != 4 { // which century is not guessed
		return text
	}
	two := func(s string) string { return strings.Repeat("0", max(0, 2-len(s))) + s }
	return year + "-" + two(month) + "-" + two(day)
}
