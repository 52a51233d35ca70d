package catalog

import "slices"

// Gate is a step towards riding, passed with evidence, and taken back when the
// evidence falls. It says what was seen on one day and nothing more.
type Gate struct {
	ID       string `json:"id"`
	Title    string `json:"title"`
	Sentence string `json:"sentence"`
	// NeedsSeal asks for a sealed as-found survey.
	NeedsSeal  bool        `json:"needs_seal"`
	Picture    bool        `json:"picture"`
	SecondName bool        `json:"second_name"`
	Checks     []GateCheck `json:"checks"`
	// LeastChecks is how many passed checks must be named, at least.
	LeastChecks int `json:"least_checks"`
	// Sound lists components that must be recorded as working.
	Sound    []string `json:"sound"`
	Cautions []string `json:"cautions"`
	// LeftToOthers is what local rules or a qualified person must still decide.
	LeftToOthers string `json:"left_to_others"`
	// Also holds sentences that packs have added.
	Also []string `json:"also,omitempty"`
	// Instead names the gate in whose place this one ends the ladder.
	Instead string `json:"instead,omitempty"`
	Basis
}

// GateCheck is a check that belongs to a gate.
type GateCheck struct {
	ID         string   `json:"id"`
	What       string   `json:"what"`
	Components []string `json:"components,omitempty"`
}

func (g Gate) key() string { return g.ID }

func (g Gate) clone() Gate {
	g.Checks = slices.Clone(g.Checks)
	for i := range g.Checks {
		g.Checks[i].Components = slices.Clone(g.Checks[i].Components)
	}
	g.Sound = slices.Clone(g.Sound)
	g.Cautions = slices.Clone(g.Cautions)
	g.Also = slices.Clone(g.Also)
	return g
}

// Gate finds a gate.
func (c *Catalog) Gate(id string) (Gate, bool) { return c.gates.get(id) }

// Gates lists the ladder in its order.
func (c *Catalog) Gates() []Gate { return c.gates.all() }
