package importers

import (
	"strings"

	"example.org/asfound/registry"
)

// searchTable is the log of looking for what is needed: one row a look.
func searchTable() Table {
	return Table{Name: "searches", Title: "Looks for what is needed", Record: "search", Columns: []Column{
		machineColumn(),
		{Heading: "looked for", Also: []string{"wanted", "needed"}, Pointer: "/what", Needed: true, Takes: "what is needed, in the words of the option that needs it", Example: "brake shoes, new old stock"},
		{Heading: "component", Also: []string{"component id", "component code", "position", "code"}, Pointer: "/component", Says: true,
			Takes: "the component that it is for, by its id, code or exact name", Example: "brakes.front.linings"},
		{Heading: "where", Also: []string{"looked at", "place"}, Pointer: "/where", Needed: true, Takes: "where it was looked for", Example: "autumn jumble"},
		needed(dateColumn("when, or over what time, somebody looked")),
		{Heading: "found", Also: []string{"seen"}, Pointer: "/found", Needed: true, Choices: []string{"yes", "no"}, Takes: "whether one was on offer", Example: "yes"},
		{Heading: "asked", Also: []string{"price asked"}, Pointer: "/asked/amount", Takes: "what was asked for it, with a point or comma for decimals", Example: "60"},
		{Heading: "currency", Pointer: "/asked/currency", Takes: "three letters of ISO 4217", Example: "GBP"},
		byColumn("looked"), idColumn("sr-<looked for>-<where>-<date>"), noteColumn(),
	},
		identify: func(l *line) []identity {
			return []identity{{l.recordKey(l.id("sr-", l.text("looked for"), l.text("where"), l.text("date"))), "looked for", "two rows are one look"}}
		},
		build: func(l *line) []registry.Body {
			s := &registry.Search{What: l.text("looked for"), Component: l.component("component"), Where: l.text("where"), By: l.person("by")}
			s.ID, s.Valid, s.Note = l.id("sr-", l.text("looked for"), l.text("where"), l.text("date")), l.date("date"), l.text("note")
			if v := l.yes("found"); v != nil {
				s.Found = *v
			} else if l.text("found") == "" {
				l.fault("found", "yes or no", "It is not said whether one was found", "Write yes or no: a look that found nothing counts too.")
			}
			if l.text("asked") != "" {
				s.Asked = l.money("asked")
			}
			return []registry.Body{s}
		},
	}
}

// numberTable is a list of part numbers: one row a number.
func numberTable() Table {
	return Table{Name: "part-numbers", Title: "Part numbers", Record: "part-number", Columns: []Column{
		machineColumn(),
		{Heading: "number", Also: []string{"part number", "part no"}, Pointer: "/number", Needed: true, Takes: "the part number, as it stands in the list", Example: "D-1147"},
		{Heading: "part", Also: []string{"description", "title"}, Pointer: "/what", Needed: true, Takes: "what it is", Example: "brake shoe"},
		{Heading: "replaced by", Also: []string{"superseded by", "later number"}, Pointer: "/replaced_by", Takes: "the number that took its place", Example: "D-2210"},
		{Heading: "fits", Also: []string{"components", "for"}, Pointer: "/fits", Takes: "the components that it fits, with ; between them", Example: "brakes.front.linings"},
		{Heading: "source", Also: []string{"list", "from"}, Pointer: "/source", Needed: true, Takes: "the list, its edition and page", Example: "spares list of 1957, page 31"},
		byColumn("typed it"), idColumn("pn-<number>"), noteColumn(),
	},
		identify: func(l *line) []identity {
			return []identity{{l.recordKey(l.id("pn-", l.text("number"))), "number", "two rows have one number"}}
		},
		build: func(l *line) []registry.Body {
			p := &registry.PartNumber{Number: l.text("number"), What: l.text("part"), ReplacedBy: l.text("replaced by"), Source: l.text("source"), By: l.person("by")}
			p.ID, p.Note = l.id("pn-", p.Number), l.text("note")
			if l.text("fits") != "" {
				p.Fits = l.components("fits", false)
			}
			return []registry.Body{p}
		},
	}
}

// money reads an amount whose currency stands in its own column.
func (l *line) money(heading string) registry.Money {
	plain, err := plainNumber(strings.NewReplacer(" ", "", "\u00a0", "", "\u202f", "", "'", "").Replace(l.text(heading)), l.layout.decimal)
	var m registry.Money
	if err == nil {
		m, err = registry.ParseMoney(plain, strings.ToUpper(l.text("currency")))
	}
	if err != nil {
		l.fault(heading, "an amount such as 4200 or 4200.50", "This is not an amount of money without doubt", "Write it with a point for decimals, nothing between thousands, and the currency in its own column.")
	}
	return m
}
