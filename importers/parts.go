package importers

import (
	"strings"

	"example.org/asfound/registry"
)

// partsTable is the list of what sat in which position over the years: one row
// a part, one after the other.
func partsTable() Table {
	return Table{Name: "parts", Title: "Parts and when they were fitted", Record: "fitting", Columns: []Column{
		machineColumn(),
		componentColumn("/component"),
		{Heading: "part", Also: []string{"what", "description"}, Pointer: "/part", Needed: true, Takes: "which part, in words", Example: "gearbox shell of 1959"},
		{Heading: "stamp", Also: []string{"part number", "number", "mark"}, Pointer: "/stamp", Takes: "what is stamped or cast on it, as read", Example: "G3 59"},
		{Heading: "from", Also: []string{"fitted", "fitted from", "since"}, Pointer: "/valid", Needed: true,
			Takes: "when it was fitted, in the forms of a date; empty when it is not known", Example: "1959-10"},
		{Heading: "to", Also: []string{"until", "fitted until", "removed"}, Pointer: "/valid", Takes: "when it came off; empty means that it is fitted now", Example: ""},
		example(termColumn("origin", "/origin", registry.Origins(), "where from"), "donor"),
		{Heading: "evidence", Also: []string{"evidence ids", "shown by"}, Pointer: "/evidence", Takes: "ids of the evidence for it, with a space, ; or | between them", Example: "ev-invoice-1959"},
		idColumn("ft-<component>-<from>"), noteColumn(),
	},
		identify: func(l *line) []identity {
			c := l.position("component")
			return []identity{{l.recordKey(l.id("ft-", c, l.text("from"))), "component", "two rows fit a part to one position at the same time, and two parts cannot take one position"}}
		},
		build: func(l *line) []registry.Body {
			f := &registry.Fitting{Component: l.component("component"), Part: l.text("part"), Stamp: l.text("stamp")}
			f.ID, f.Note = l.id("ft-", f.Component, l.text("from")), l.text("note")
			f.Origin = l.term("origin", registry.Origins(), "undetermined")
			f.Evidence = l.list("evidence")
			f.Valid = l.span("from", "to")
			return []registry.Body{f}
		},
	}
}

// span joins two columns to one span of time.
func (l *line) span(from, to string) registry.Date {
	faults := len(l.faults)
	a, b := l.date(from), l.date(to)
	if len(l.faults) > faults {
		return ""
	}
	if a == "" && b == "" {
		l.fault(from, "a date such as 1959-10", "It is not said when the part was fitted", "Write as much as is known, such as 195X, in "+from+" or in "+to+".")
		return ""
	}
	if strings.Contains(string(a), "/") && b == "" {
		return a
	}
	if strings.Contains(string(a)+string(b), "/") {
		l.fault(from, "one date in each of the two columns", "There is a span in one column and a date in the other", "Write one date in each.")
		return ""
	}
	whole := orOpen(a) + "/" + orOpen(b)
	if _, err := whole.Span(); err != nil {
		l.fault(to, "a date that is not before "+quoted(string(a)), err.Error(), "Look whether the two dates were exchanged.")
		return ""
	}
	return whole
}

func orOpen(d registry.Date) registry.Date {
	if d == "" {
		return ".."
	}
	return d
}

// removedTable is the list of removed parts: one row a tag.
func removedTable() Table {
	return Table{Name: "removed", Title: "Removed parts", Record: "removed-part", Columns: []Column{
		machineColumn(),
		componentColumn("/component"),
		{Heading: "tag", Also: []string{"label"}, Pointer: "/tag", Needed: true, Takes: "what is written on the tag that hangs on it", Example: "T-014"},
		{Heading: "what", Also: []string{"part", "description"}, Pointer: "/what", Needed: true, Takes: "what the part is, with its side, in words", Example: "front brake lining, upper"},
		example(needed(termColumn("custody", "/custody", registry.Custodies()[1:], "where is it")), "kept-with-machine"),
		{Heading: "place", Also: []string{"stored", "shelf", "box"}, Pointer: "/place", Takes: "where it is stored; withheld from public copies", Example: "box 3, shelf B"},
		{Heading: "reason", Also: []string{"why"}, Pointer: "/reason", Needed: true, Takes: "why it came off", Example: "lining soaked with oil"},
		{Heading: "condition", Pointer: "/condition", Takes: "in what state it is, in words", Example: ""},
		{Heading: "fasteners", Also: []string{"in the bag"}, Pointer: "/fasteners", Takes: "what is in the same bag", Example: "four rivets"},
		{Heading: "work", Also: []string{"work entry"}, Pointer: "/work", Takes: "the id of the work entry that took it off", Example: ""},
		photosColumn(), byColumn("took it off"), dateColumn("when it came off"), idColumn("rp-<tag>"), noteColumn(),
	},
		identify: func(l *line) []identity {
			return []identity{{l.recordKey(l.id("rp-", l.text("tag"))), "tag", "two parts have one tag"}}
		},
		build: func(l *line) []registry.Body {
			r := &registry.RemovedPart{Component: l.component("component"), Tag: l.text("tag"), What: l.text("what")}
			r.ID, r.Valid = l.id("rp-", r.Tag), l.date("date")
			r.Custody = l.term("custody", registry.Custodies()[1:], "")
			r.Place = registry.Private{Value: l.text("place")}
			r.Reason, r.Condition, r.Fasteners = l.text("reason"), l.text("condition"), l.text("fasteners")
			r.Work, r.Photos, r.By, r.Note = l.text("work"), l.list("photos"), l.person("by"), l.text("note")
			return []registry.Body{r}
		},
	}
}
