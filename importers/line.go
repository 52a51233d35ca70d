package importers

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"example.org/asfound/importers/sheet"
	"example.org/asfound/registry"
)

// line is one row on its way to becoming records: its cells by column, and the
// faults that were found in them so far.
type line struct {
	layout *layout
	o      *Options
	row    sheet.Row
	faults []registry.Field
	part   int // which of several readings across the row, from 1; else 0
}

// layout is where the columns of a table stand in one file.
type layout struct {
	table    *Table
	file     string
	row      int      // of the headings
	headings []string // as they stand in the file
	places   []int    // by column of the table: the place in the file, or -1
	named    map[string]int
	decimal  decimal

	// A mapping says where the columns are. fixed are its texts by column, and
	// across the places of acrossColumn where readings stand across the row.
	mapping      *Mapping
	fixed        []string
	acrossColumn int
	across       []int
}

// at gives the table's column with a heading. The heading is one of the table's
// own, so a miss is a mistake in this package.
func (l *line) at(heading string) int {
	i, ok := l.layout.named[heading]
	if !ok {
		panic("importers: the table " + l.layout.table.Name + " has no column " + heading)
	}
	return i
}

// raw is the cell of a column as it stood, "" when there is none.
func (l *line) raw(column int) string {
	place := l.place(column)
	switch {
	case place < 0 && l.layout.fixed != nil:
		return l.layout.fixed[column]
	case place < 0 || place >= len(l.row.Cells):
		return ""
	}
	return l.row.Cells[place]
}

// place is where the cell of a column stands; -1 when nowhere.
func (l *line) place(column int) int {
	if l.part > 0 && column == l.layout.acrossColumn {
		return l.layout.across[l.part-1]
	}
	return l.layout.places[column]
}

// title is how the file itself heads a column of this line.
func (l *line) title(column int) string {
	switch p := l.place(column); {
	case p >= 0 && p < len(l.layout.headings):
		return strings.TrimSpace(l.layout.headings[p])
	case p >= 0:
		return "#" + strconv.Itoa(p+1)
	}
	return l.layout.title(column)
}

// text is the cell of a column without space around it and without the
// apostrophe that guards a formula sign. A dash alone is nothing.
func (l *line) text(heading string) string {
	s := strings.Trim(l.raw(l.at(heading)), " \t\r\n\u00a0\ufeff")
	if len(s) > 1 && s[0] == '\'' && isFormula(s[1:]) {
		s = s[1:]
	}
	if nothing(s) {
		return ""
	}
	return s
}

// title is how the file itself heads a column.
func (ly *layout) title(column int) string {
	if p := ly.places[column]; p >= 0 {
		return strings.TrimSpace(ly.headings[p])
	}
	return ly.table.Columns[column].Heading
}

// fault adds a fault of one cell.
func (l *line) fault(heading, allowed, message, fix string) {
	i := l.at(heading)
	c := l.layout.table.Columns[i]
	l.faults = append(l.faults, registry.Field{File: l.layout.file, Row: l.row.Number,
		Pointer: strings.ReplaceAll(c.Pointer, "*", "0"), Found: quoted(strings.TrimSpace(l.raw(i))), Allowed: allowed,
		Message: inColumn(l.title(i), message), Fix: fix})
}

func inColumn(title, message string) string { return fmt.Sprintf("Column %q: %s", title, message) }

// term reads a word of a vocabulary; open is what "cannot tell" becomes there.
func (l *line) term(heading string, terms []registry.Term, open string) string {
	text := l.text(heading)
	if text == "" {
		return ""
	}
	if cannotTell(text) {
		return open
	}
	word := foldTerm(text)
	for _, t := range terms {
		if t.ID == word {
			return word
		}
	}
	ids := registry.TermIDs(terms)
	l.fault(heading, strings.Join(ids, ", "), "This word is not in the vocabulary", didYouMean(word, ids, "Use one of the listed words, or leave the cell empty."))
	return ""
}

// component reads one component.
func (l *line) component(heading string) string {
	text := l.text(heading)
	if text == "" {
		l.fault(heading, "", "It is not said which component", "Write its id, its code or its exact name.")
		return ""
	}
	return l.resolve(heading, text)
}

func (l *line) resolve(heading, text string) string {
	ids := l.o.Anatomy.find(text)
	switch len(ids) {
	case 1:
		return ids[0]
	case 0:
		l.fault(heading, "a component's id, code or exact name",
			"There is no such component: "+quoted(text), didYouMean(text, l.o.Anatomy.spellings, "Look it up in the list of components."))
	default:
		l.fault(heading, strings.Join(ids, ", "), "More than one component has this name: "+quoted(text), "Write the id of the one that is meant.")
	}
	return ""
}

// components reads several components, with ; | a line break or, where that is
// without doubt, a comma between them.
func (l *line) components(heading string, assemblies bool) []string {
	text := l.text(heading)
	if text == "" {
		return nil
	}
	var out []string
	for _, piece := range l.pieces(text, assemblies) {
		if id, ok := l.o.Anatomy.assembly(piece); ok && assemblies {
			out = append(out, id)
		} else if id := l.resolve(heading, piece); id != "" {
			out = append(out, id)
		}
	}
	return out
}

func (l *line) pieces(text string, assemblies bool) []string {
	known := func(s string) bool {
		_, assembly := l.o.Anatomy.assembly(s)
		return len(l.o.Anatomy.find(s)) > 0 || assemblies && assembly
	}
	if known(text) {
		return []string{text}
	}
	var out []string
	for _, piece := range split(text, ";|\n") {
		if known(piece) {
			out = append(out, piece)
			continue
		}
		byComma := split(piece, ",")
		if len(byComma) == 1 {
			byComma = []string{piece}
			// Ids and codes hold no space, so a space may part them.
			if words := strings.Fields(piece); len(words) > 1 && known(words[0]) && known(words[len(words)-1]) {
				byComma = words
			}
		}
		out = append(out, byComma...)
	}
	return out
}

// split cuts a text at any of the marks and leaves out what is empty.
func split(text, marks string) []string {
	var out []string
	for _, p := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(marks, r) }) {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return out
}

// list reads identifiers with space, comma, ; or | between them.
func (l *line) list(heading string) []string { return split(l.text(heading), " ,;|\t\r\n") }

// share reads a probability, as 0.85, 0,85 or 85 %.
func (l *line) share(heading string) *float64 {
	text := l.text(heading)
	if text == "" || cannotTell(text) {
		return nil
	}
	v, err := parseNumber(text, l.layout.decimal)
	if err != nil {
		l.fault(heading, "0 to 1, or 0 % to 100 %", err.Error(), "Write 0.85 or 85 % for eighty-five in a hundred.")
		return nil
	}
	if v < 0 || v > 1 {
		l.fault(heading, "0 to 1, or 0 % to 100 %", "A probability lies between 0 and 1", "Write 0.85 or 85 % for eighty-five in a hundred.")
		return nil
	}
	return &v
}

// number reads a number that is not a probability.
func (l *line) number(heading, unit string) *float64 {
	text := l.text(heading)
	if text == "" || cannotTell(text) {
		return nil
	}
	v, err := parseNumber(text, l.layout.decimal)
	if err != nil {
		l.fault(heading, "a number of "+unit, err.Error(), "Write it with a point for decimals and nothing between thousands.")
		return nil
	}
	return &v
}

// count reads a whole number between two limits, both included.
func (l *line) count(heading string, low, high int) *int {
	text := l.text(heading)
	if text == "" || cannotTell(text) {
		return nil
	}
	n, err := parseCount(text, l.layout.decimal)
	if err == nil && n >= low && n <= high {
		return &n
	}
	message, fix := "The number is outside the scale", "Write a whole number on the scale, or leave the cell empty."
	if err != nil {
		message, fix = err.Error(), "Write a whole number, or leave the cell empty."
	}
	l.fault(heading, fmt.Sprintf("a whole number from %d to %d", low, high), message, fix)
	return nil
}

// date reads a date as precisely as it is given.
func (l *line) date(heading string) registry.Date {
	text := l.text(heading)
	if text == "" || text == "?" {
		return ""
	}
	if day, clock, ok := strings.Cut(text, "T"); ok && len(day) == 10 && strings.Contains(clock, ":") {
		text = day
	}
	text = l.layout.mapping.day(text)
	d := registry.Date(strings.ReplaceAll(text, " ", ""))
	if _, err := d.Span(); err != nil {
		fix := "Write only as much as is known: year, year-month or year-month-day."
		switch {
		case dayFirst.MatchString(text):
			fix = "Days and months can be taken for one another here: write year-month-day, such as 1957-06-14."
		case serial.MatchString(text):
			fix = "It looks like the inner number of a spreadsheet's date: format the cell as a date, or write year-month-day."
		}
		l.fault(heading, "1957, 1957-06, 1957-06-14, 195X, 1957~, 1957-06/1957-09, 1988/..", err.Error(), fix)
		return ""
	}
	return d
}

var (
	dayFirst = regexp.MustCompile(`^\d{1,2}[./-]\d{1,2}[./-]\d{2,4}$`)
	serial   = regexp.MustCompile(`^\d{5}(\.\d+)?$`)
)

// yes reads yes or no; nil when the cell is open.
func (l *line) yes(heading string) *bool {
	text := l.text(heading)
	if text == "" || cannotTell(text) {
		return nil
	}
	var v bool
	switch strings.ToLower(text) {
	case "yes", "y", "true", "1", "x", "✓", "✔":
		v = true
	case "no", "n", "false", "0":
	default:
		l.fault(heading, "yes, no", "This is neither yes nor no", "Write yes or no, or leave the cell empty.")
		return nil
	}
	return &v
}

// person reads who did something; empty falls back to the options.
func (l *line) person(heading string) string {
	if text := l.text(heading); text != "" {
		return text
	}
	return l.o.By
}

// machine is what the row says it belongs to.
func (l *line) machine() string {
	if _, ok := l.layout.named["machine"]; !ok {
		return ""
	}
	return l.text("machine")
}

// id is the record's id as given, or one made of parts. It never depends on
// anything but the row, so a file read twice gives the same ids.
func (l *line) id(prefix string, parts ...string) string {
	if given := l.text("id"); given != "" {
		return given
	}
	return makeID(prefix, parts...)
}

// isOwnID says whether an identifier is what makeID makes of its own letters: no
// hyphen stands twice or before a full stop, and neither at the end.
func isOwnID(id string) bool {
	for i := 1; i < len(id); i++ {
		if id[i-1] == '-' && (id[i] == '-' || id[i] == '.') {
			return false
		}
	}
	return len(id) > 0 && id[len(id)-1] != '-' && id[len(id)-1] != '.'
}

// makeID makes an identifier out of texts: small letters and figures stay,
// everything else becomes a hyphen. What would be too long ends in eight
// figures of its SHA-256.
func makeID(prefix string, parts ...string) string {
	whole := strings.Join(parts, "-")
	if registry.CheckID("", prefix+whole) == nil && isOwnID(prefix+whole) {
		return prefix + whole
	}
	return foldedID(prefix, whole)
}

func foldedID(prefix, whole string) string {
	var b strings.Builder
	b.WriteString(prefix)
	lossless := true
	for _, r := range strings.ToLower(whole) {
		last := b.String()[b.Len()-1]
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '_', r == '.' && last != '.' && last != '-':
			b.WriteRune(r)
		case r == '-':
			if last != '-' {
				b.WriteByte('-')
			}
		default:
			lossless = lossless && r < 0x80
			if last != '-' {
				b.WriteByte('-')
			}
		}
	}
	id := strings.TrimRight(b.String(), "-.")
	if len(id) > registry.MaxIDLength || !lossless {
		sum := sha256.Sum256([]byte(whole))
		id = strings.TrimRight(id[:min(len(id), registry.MaxIDLength-9)], "-.") + "-" + hex.EncodeToString(sum[:4])
	}
	return id
}
