package catalog

import (
	"maps"
	"slices"

	"example.org/asfound/registry"
)

// Sign is something that can be found and that is likelier under one answer
// than under another.
type Sign struct {
	ID          string               `json:"id"`
	Proposition registry.Proposition `json:"proposition"`
	Evidence    string               `json:"evidence"` // a kind of registry.EvidenceKinds
	// Cluster groups signs that may repeat one another.
	Cluster string `json:"cluster"`
	// Reliability is how far a sighting is trusted unless it says otherwise, 0
	// to 1.
	Reliability float64 `json:"reliability"`
	Sentence    string  `json:"sentence"`
	// Likelihood is P(sign | state), for every state of the proposition.
	Likelihood map[string]float64 `json:"likelihood"`
	Basis
}

func (s Sign) key() string { return s.ID }

func (s Sign) clone() Sign {
	s.Likelihood = maps.Clone(s.Likelihood)
	return s
}

// Over lists the likelihoods in the order of the states given; an unknown
// state answers false.
func (s Sign) Over(states ...string) ([]float64, bool) {
	for _, state := range states {
		if _, ok := s.Likelihood[state]; !ok {
			return nil, false
		}
	}
	return over(s.Likelihood, states), true
}

// Sign finds a sign.
func (c *Catalog) Sign(id string) (Sign, bool) { return c.signs.get(id) }

// Signs lists all signs.
func (c *Catalog) Signs() []Sign { return c.signs.all() }

// SignsFor lists the signs that speak to a proposition.
func (c *Catalog) SignsFor(p registry.Proposition) []Sign {
	return slices.DeleteFunc(c.signs.all(), func(s Sign) bool { return s.Proposition != p })
}

// SurveyTable says how far a surveyor's word is to be trusted: how often each
// word is written when a given state is true.
type SurveyTable struct {
	Proposition registry.Proposition `json:"proposition"`
	Evidence    string               `json:"evidence"`
	Cluster     string               `json:"cluster"`
	Reliability float64              `json:"reliability"`
	// Facts are words that are taken as seen and not weighed: an empty place is
	// empty.
	Facts []string `json:"facts"`
	// Given holds P(word | state) as Given[state][word]; each state's row sums
	// to 1 over the words. "undetermined" says nothing and is not in it.
	Given map[string]map[string]float64 `json:"given"`
	Basis
}

func (s SurveyTable) key() string { return string(s.Proposition) }

func (s SurveyTable) clone() SurveyTable {
	s.Facts = slices.Clone(s.Facts)
	s.Given = cloneNested(s.Given)
	return s
}

// Likelihood is P(word | state) for each state. It answers false for a word
// that is not in the table, such as "undetermined", which moves nothing.
func (s SurveyTable) Likelihood(word string) (map[string]float64, bool) {
	if _, ok := s.Given[word]; !ok {
		return nil, false
	}
	out := make(map[string]float64, len(s.Given))
	for state, words := range s.Given {
		out[state] = words[word]
	}
	return out, true
}

// Survey gives the table for a surveyor's words about origin, finish or
// specification.
func (c *Catalog) Survey(p registry.Proposition) (SurveyTable, bool) {
	return c.survey.get(string(p))
}
