package importers

import (
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// Column is one column of a sheet: how it is headed, what it fills, and what it
// takes, in words that the template and the manual print.
type Column struct {
	// Heading is how the template heads it; Also are other headings that mean
	// the same. Case, spaces, hyphens and what stands in brackets do not count.
	Heading string
	Also    []string
	// Pointer is the place in the record that it fills, "*" standing for any
	// place in a list; "" fills nothing.
	Pointer string
	// Record is the kind that Pointer points into, when it is not the sheet's.
	Record registry.Kind
	Needed bool
	// Says marks columns that only say which part a row is about, or who looked
	// and when. A row in which nothing else is filled in is left out.
	Says bool
	// Takes is one line on what may stand in it; Example is one.
	Takes   string
	Example string
	// Choices are the vocabulary that it takes; the template lists them.
	Choices []string
	// Seldom keeps the column out of the template.
	Seldom bool
}

// Table is one kind of sheet.
type Table struct {
	// Name is how the kind is called, and the name of its template.
	Name  string
	Title string
	// Record is the kind of record that a row becomes; "" for the inventory.
	Record  registry.Kind
	Columns []Column
	// Prefill says that the template lists every component, one a row.
	Prefill bool
	// partial says that the records are completed elsewhere, and checked there.
	partial bool
	// identify gives what must not occur twice in a file.
	identify func(*line) []identity
	// build makes the records of a row.
	build func(*line) []registry.Body
}

// identity is something that may be named only once in a file.
type identity struct {
	key    string // without doubt across machines
	column string // heading in the table
	what   string // "two rows for one component"
}

// Tables lists the kinds of sheet. The sheet of captions in a folder of photos is
// among them, though a PhotoFolder reads it.
func Tables() []Table {
	return []Table{surveyTable(), evidenceTable(), jointTable(), partsTable(), removedTable(), inventoryTable(), salesTable(), photoTable(), filmTable(), searchTable(), numberTable(), fastenerTable()}
}

// TableNamed finds a kind of sheet by its name.
func TableNamed(name string) (Table, bool) {
	for _, t := range Tables() {
		if t.Name == name {
			return t, true
		}
	}
	return Table{}, false
}

func (t *Table) headings() []string {
	var out []string
	for _, c := range t.Columns {
		out = append(out, c.Heading)
	}
	return out
}

// column finds the column that a heading means, as it stands or without what
// stands in brackets behind it; -1 when there is none.
func (t *Table) column(heading string) int {
	for _, h := range []string{heading, beforeBracket(heading)} {
		key := foldHeading(h)
		for i, c := range t.Columns {
			if key != "" && (foldHeading(c.Heading) == key || slices.ContainsFunc(c.Also, func(a string) bool { return foldHeading(a) == key })) {
				return i
			}
		}
	}
	return -1
}

// columnOf finds the column that fills a place in a record, by the longest
// pointer that leads to it; -1 when there is none.
func (t *Table) columnOf(kind registry.Kind, pointer string) int {
	best, length := -1, 0
	for i, c := range t.Columns {
		record := c.Record
		if record == "" {
			record = t.Record
		}
		if c.Pointer == "" || record != kind {
			continue
		}
		if n := leads(c.Pointer, pointer); n > length {
			best, length = i, n
		}
	}
	return best
}

// leads says how many steps of a pointer a pattern covers; 0 when it does not
// lead there.
func leads(pattern, pointer string) int {
	want, have := strings.Split(pattern, "/"), strings.Split(pointer, "/")
	if len(want) > len(have) {
		return 0
	}
	for i := range want {
		if want[i] != have[i] && want[i] != "*" {
			return 0
		}
	}
	return len(want)
}

// Columns that every sheet, or most of them, shares.

func machineColumn() Column {
	return Column{Heading: "machine", Also: []string{"machine id", "motorcycle", "bike"}, Says: true,
		Takes: "the machine's id; may be left out when the file is about one machine", Example: "drover-1957"}
}

func componentColumn(pointer string) Column {
	return Column{Heading: "component", Also: []string{"component id", "component code", "position", "code"}, Pointer: pointer, Needed: true, Says: true,
		Takes: "a component's id, its code or its exact name", Example: "fuel.tank"}
}

func nameColumn() Column {
	return Column{Heading: "component name", Also: []string{"name"}, Says: true,
		Takes: "for the reader only; it is not recorded", Example: "petrol tank"}
}

func idColumn(made string) Column {
	return Column{Heading: "id", Also: []string{"record id", "record"}, Pointer: "/id", Seldom: true, Says: true,
		Takes: "the record's own id; made as " + made + " when left out", Example: ""}
}

func byColumn(does string) Column {
	return Column{Heading: "by", Also: []string{"surveyor", "surveyed by", "recorded by", "who"}, Pointer: "/by", Says: true,
		Takes: "the id of the person who " + does, Example: "per-mechanic"}
}

func dateColumn(of string) Column {
	return Column{Heading: "date", Also: []string{"when", "valid"}, Pointer: "/valid", Says: true,
		Takes: of + ", as precisely as is known: 1957, 1957-06, 1957-06-14, 195X, 1957~, 1957-06/1957-09", Example: "2026-03-11"}
}

func photosColumn() Column {
	return Column{Heading: "photos", Also: []string{"photo", "pictures"}, Pointer: "/photos",
		Takes: "ids of photos, with a space, ; or | between them", Example: "ph-tank-left"}
}

func noteColumn() Column {
	return Column{Heading: "note", Also: []string{"notes", "remark", "remarks", "comment"}, Pointer: "/note",
		Takes: "anything else, in words", Example: ""}
}

func termColumn(heading, pointer string, terms []registry.Term, also ...string) Column {
	return Column{Heading: heading, Also: also, Pointer: pointer, Choices: registry.TermIDs(terms),
		Takes: "one of: " + strings.Join(registry.TermIDs(terms), ", ")}
}

// needed marks a column as one that the sheet must have.
func needed(c Column) Column { c.Needed = true; return c }

// example gives a column its example.
func example(c Column, text string) Column { c.Example = text; return c }
