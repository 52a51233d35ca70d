package importers

import (
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// filmUnits are the units of a film gauge with their spellings, folded.
var filmUnits = map[string][]string{
	"µm":  {"µm", "μm", "um", "micron", "microns", "micrometre", "micrometres"},
	"mil": {"mil", "mils", "thou"},
}

// filmTable is what a paint film gauge was read to: one row a reading. Several
// readings of one area make the comparison within the machine possible.
func filmTable() Table {
	return Table{Name: "film", Title: "Readings of a film gauge", Record: "measurement", Columns: []Column{
		machineColumn(),
		{Heading: "area", Also: []string{"place", "where", "panel"}, Pointer: "/place", Needed: true, Says: true,
			Takes: "where the probe stood, in words; a component's id, code or exact name when there is no column for it", Example: "tank top, under the strap"},
		{Heading: "component", Also: []string{"component id", "component code", "position", "code"}, Pointer: "/component", Says: true,
			Takes: "the component of the area, by its id, code or exact name; may be left out when the area names it", Example: "fuel.tank"},
		{Heading: "number", Also: []string{"no", "reading number"}, Says: true,
			Takes: "which reading of the area it is; the row's own number when left out", Example: "1"},
		{Heading: "reading", Also: []string{"value", "thickness", "film", "film thickness"}, Pointer: "/value", Needed: true,
			Takes: "what the gauge showed, above 0", Example: "84"},
		{Heading: "unit", Also: []string{"units"}, Pointer: "/unit", Needed: true, Choices: []string{"µm", "mil"}, Says: true,
			Takes: "µm or mil; 1 mil is 25.4 µm", Example: "µm"},
		{Heading: "instrument", Also: []string{"gauge", "probe", "serial"}, Pointer: "/instrument", Needed: true, Says: true,
			Takes: "which gauge and probe, so that only readings of one are compared", Example: "film gauge 1, ferrous probe"},
		{Heading: "uncertainty", Also: []string{"plus or minus"}, Pointer: "/uncertainty",
			Takes: "plus or minus, in the same unit, as the gauge's sheet states it", Example: "3"},
		byColumn("measured"), dateColumn("when it was measured"), idColumn("fm-<component>-<area>-<date>-<number>"), noteColumn(),
	},
		identify: func(l *line) []identity {
			component := l.position("component")
			if component == "" {
				component = l.position("area")
			}
			return []identity{{l.recordKey(l.filmID(component)), "area", "two rows are one reading of one area; number the readings"}}
		},
		build: func(l *line) []registry.Body {
			m := &registry.Measurement{Quantity: "film thickness", Unit: l.filmUnit(), Instrument: l.text("instrument"), Place: l.text("area")}
			m.Component = l.filmComponent()
			m.ID, m.Valid, m.Note, m.By = l.filmID(m.Component), l.date("date"), l.text("note"), l.person("by")
			if v := l.number("reading", "µm or mil"); v != nil {
				if m.Value = *v; m.Value <= 0 {
					l.fault("reading", "a number above 0", "This is no film", "Leave out a place without film, or say so in the survey.")
				}
			} else if l.text("reading") == "" || cannotTell(l.text("reading")) {
				l.fault("reading", "a number above 0", "There is no reading", "Write what the gauge showed, or leave the row out.")
			}
			if v := l.number("uncertainty", "µm or mil"); v != nil {
				m.Uncertainty = *v
			}
			return []registry.Body{m}
		},
	}
}

// filmComponent is the component of a row: its own column, or else the area.
func (l *line) filmComponent() string {
	switch {
	case l.text("component") != "":
		return l.resolve("component", l.text("component"))
	case l.text("area") == "":
		l.fault("area", "", "It is not said where the probe stood", "Write the area, and its component.")
		return ""
	case len(l.o.Anatomy.find(l.text("area"))) == 0:
		l.fault("area", "a component's id, code or exact name", "It is not said to which component this area belongs", "Add a column component, or write the component as the area.")
		return ""
	}
	return l.resolve("area", l.text("area"))
}

func (l *line) filmUnit() string {
	text := strings.ToLower(l.text("unit"))
	for unit, spellings := range filmUnits {
		for _, s := range spellings {
			if s == text {
				return unit
			}
		}
	}
	message := "This is no unit of a film"
	if text == "" {
		message = "The unit is missing"
	}
	l.fault("unit", "µm, mil", message, "Look on the gauge what it shows; 1 mil is 25.4 µm.")
	return ""
}

// filmID depends on the row alone; readings that carry no number of their own
// are told apart by where they stand in the file.
func (l *line) filmID(component string) string {
	number := l.text("number")
	if number == "" {
		number = strconv.Itoa(l.row.Number)
	}
	if l.part > 0 {
		number += "-" + strconv.Itoa(l.part)
	}
	return l.id("fm-", component, l.text("area"), l.text("date"), number)
}
