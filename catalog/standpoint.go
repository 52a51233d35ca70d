package catalog

import (
	"maps"

	"example.org/asfound/registry"
)

// DefaultStandpoint is the one from which a machine is looked at unless
// another is asked for.
const DefaultStandpoint = "preservation"

// Standpoint is a policy for scoring: with whose eyes one looks.
type Standpoint struct {
	ID       string `json:"id"`
	Title    string `json:"title"`
	Sentence string `json:"sentence"`
	Version  string `json:"version"`
	// Weights names the table of weights: "anatomy", the components' own.
	Weights string `json:"weights"`
	// Coverage is the share of the weight that must rest on more than the prior
	// before a figure is given.
	Coverage float64 `json:"coverage"`
	// Credits are what each state counts, by question: 0 to 1 in steps of 0.05,
	// with "other".
	Credits map[registry.Proposition]map[string]float64 `json:"credits"`
	// Limits says what the standpoint is not.
	Limits string `json:"limits"`
	Basis
}

func (s Standpoint) key() string { return s.ID }

func (s Standpoint) clone() Standpoint {
	s.Credits = cloneNested(s.Credits)
	return s
}

// Credit gives the credits of a question.
func (s Standpoint) Credit(p registry.Proposition) map[string]float64 {
	return maps.Clone(s.Credits[p])
}

// Standpoint finds a standpoint; "" is DefaultStandpoint.
func (c *Catalog) Standpoint(id string) (Standpoint, bool) {
	if id == "" {
		id = DefaultStandpoint
	}
	return c.standpoints.get(id)
}

// Standpoints lists all standpoints.
func (c *Catalog) Standpoints() []Standpoint { return c.standpoints.all() }
