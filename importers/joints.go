package importers

import (
	"regexp"

	"example.org/asfound/registry"
)

// aroundColon is the space around the mark between a sign and its reliability.
var aroundColon = regexp.MustCompile(`\s*[:=]\s*`)

// jointTable is the witness register: one row a joint.
func jointTable() Table {
	return Table{Name: "joints", Title: "Joints and their witness", Record: "joint", Columns: []Column{
		machineColumn(),
		{Heading: "joint", Also: []string{"joint id"}, Pointer: "/joint", Needed: true, Takes: "the short name of the joint", Example: "tank-rear-bolt"},
		{Heading: "components", Also: []string{"component", "between"}, Pointer: "/components", Needed: true,
			Takes: "the components that meet there, with ; between them", Example: "fuel.tank; frame.main"},
		witnessColumn(true),
		{Heading: "sign", Also: []string{"sign of joint", "seen"}, Pointer: "/sign", Needed: true, Takes: "what is seen, in words", Example: "paint bridge unbroken"},
		byColumn("looked"), dateColumn("when it was so"), idColumn("jt-<joint>"), photosColumn(), noteColumn(),
	},
		identify: func(l *line) []identity {
			return []identity{{l.recordKey(l.id("jt-", l.text("joint"))), "joint", "two rows speak of one joint"}}
		},
		build: func(l *line) []registry.Body {
			j := &registry.Joint{Joint: l.text("joint"), Components: l.components("components", false)}
			j.ID, j.Valid = l.id("jt-", j.Joint), l.date("date")
			j.Witness, j.Sign = l.witness(), l.text("sign")
			j.By, j.Photos, j.Note = l.person("by"), l.list("photos"), l.text("note")
			return []registry.Body{j}
		},
	}
}
