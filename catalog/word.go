package catalog

import (
	"slices"

	"example.org/asfound/registry"
)

// Word is a word of the trade in plain language.
type Word struct {
	ID          string `json:"id"`
	Word        string `json:"word"`
	Explanation string `json:"explanation"`
	Basis
}

func (w Word) key() string { return w.ID }
func (w Word) clone() Word { return w }

// Word explains a word: one of the catalog's, or one of the registry's
// vocabulary of states, custodies, kinds of evidence and the like.
func (c *Catalog) Word(id string) (Word, bool) {
	if w, ok := c.words.get(id); ok {
		return w, true
	}
	for _, terms := range [][]registry.Term{registry.Origins(), registry.Finishes(), registry.Specifications(), registry.AssemblyStates(),
		registry.Functions(), registry.Custodies(), registry.Witnesses(), registry.EvidenceKinds()} {
		if i := slices.IndexFunc(terms, func(t registry.Term) bool { return t.ID == id }); i >= 0 {
			return Word{ID: id, Word: id, Explanation: terms[i].Meaning, Basis: Basis{From: "vocabulary"}}, true
		}
	}
	return Word{}, false
}

// Words lists the catalog's own words.
func (c *Catalog) Words() []Word { return c.words.all() }
