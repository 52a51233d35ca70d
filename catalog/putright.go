package catalog

import (
	"slices"
	"strings"
)

// putRightPrefix begins the names of the trials that are derived here.
const putRightPrefix = "put-right-"

// What putting a cause right takes where the library has no trial of its own:
// assumptions, by how far the treatment goes.
const (
	gentleMinutes  = 30  // cleaning, freeing, adjusting, lubricating
	partMinutes    = 60  // another part goes on
	mendingMinutes = 120 // the part itself is mended
	machineMinutes = 300 // it goes to somebody with machines
)

// putRight derives a trial of a cure for every cause that has a cure with a
// known chance and no trial in the library: the cure with the best chance, and
// the opening that its part lies behind. Without it a search would find nothing
// worth knowing about such a cause, since nothing could follow from it.
func (c *Catalog) putRight() []FaultTest {
	tried := map[string]bool{}
	for _, t := range c.tests.rows {
		if t.Repairs != nil {
			tried[t.Repairs.Cause] = true
		}
	}
	var out []FaultTest
	for _, cause := range c.causes.rows {
		best := Cure{}
		for _, cure := range cause.Cures {
			if cure.Chance > best.Chance {
				best = cure
			}
		}
		treatment, ok := c.treatments.get(best.Treatment)
		if tried[cause.ID] || !ok || len(cause.Components) == 0 {
			continue
		}
		t := FaultTest{ID: putRightPrefix + cause.ID, Title: "put right: " + strings.TrimSuffix(lowerFirst(cause.Title), "."),
			How:   "What can be done about it stands among the options for this cause, least invasive first. It needs the owner's word. Then look whether the complaint has gone.",
			Level: TestQuick, Minutes: gentleMinutes, Openings: c.openingFor(cause.Components[0]),
			Consumables: []string{}, Tools: []string{}, Cautions: []string{}, Repairs: &Repair{cause.ID, best.Treatment},
			IfYes: "The complaint has gone: that was it.", IfNo: "It was not that alone: several causes may hold at once.",
			Basis: Basis{Assumption: "Derived from the best cure of the cause and from the opening that its part lies behind; the time is an assumption for work of that kind.", From: cause.From}}
		switch {
		case treatment.NeedsOwnApproval || treatment.Rung >= 13:
			t.Level, t.Minutes = TestAlter, machineMinutes
		case treatment.Rung <= 4:
		case treatment.ReplacesPart:
			t.Level, t.Minutes = TestOpen, partMinutes
		default:
			t.Level, t.Minutes = TestOpen, mendingMinutes
		}
		if len(t.Openings) > 0 {
			t.Level = max(t.Level, TestOpen)
		} else if t.Level >= TestOpen {
			t.NoOpening = "None of the catalog's openings lies before this part."
		}
		out = append(out, t)
	}
	return out
}

// openingFor is the opening of fewest hours that a component lies behind.
func (c *Catalog) openingFor(component string) []string {
	best := ""
	hours := 0.0
	for _, o := range c.openings.rows {
		if slices.Contains(o.Behind, component) && (best == "" || o.Hours < hours) {
			best, hours = o.ID, o.Hours
		}
	}
	if best == "" {
		return []string{}
	}
	return []string{best}
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
