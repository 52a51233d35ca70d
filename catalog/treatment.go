package catalog

import (
	"slices"

	"example.org/asfound/registry"
)

// Treatment is a rung of the ladder of what can be done, least invasive first.
type Treatment struct {
	ID            string `json:"id"`
	Rung          int    `json:"rung"`
	Title         string `json:"title"`
	Sentence      string `json:"sentence"`
	SubstanceKept string `json:"substance_kept"`
	// Reversible is yes, partly or no. Only yes earns a discount on what is
	// lost for good.
	Reversible    string   `json:"reversible"`
	ReversibleWhy string   `json:"reversible_why"`
	When          string   `json:"when"` // go there when
	Undo          string   `json:"undo"`
	InHandFirst   []string `json:"in_hand_first"`
	// After is how states stand afterwards, by question, where they are
	// replaced.
	After map[registry.Proposition]map[string]float64 `json:"after,omitempty"`
	// Keeps is the lowest and highest share of the credit that stays, by
	// question, where the part stays.
	Keeps map[registry.Proposition][]float64 `json:"keeps,omitempty"`
	// Acts are what doing it involves; see Acts.
	Acts         []string `json:"acts"`
	ReplacesPart bool     `json:"replaces_part"`
	// NeedsOwnApproval marks a rung that the owner must approve by name.
	NeedsOwnApproval bool `json:"needs_own_approval"`
	// Keep is what usually becomes of the part that comes off; nil when none
	// does.
	Keep *Keep `json:"keep,omitempty"`
	Basis
}

// Keep is how a removed part is kept unless something else is promised.
type Keep struct {
	Custody     string  `json:"custody"`
	LossPerYear float64 `json:"loss_per_year"` // chance per year that it goes astray, 0 to 1
	Years       float64 `json:"years"`
	RefitChance float64 `json:"refit_chance"` // chance that it can go back as it was, 0 to 1
}

func (t Treatment) key() string { return t.ID }

func (t Treatment) clone() Treatment {
	t.InHandFirst = slices.Clone(t.InHandFirst)
	t.After = cloneNested(t.After)
	if t.Keeps != nil {
		keeps := make(map[registry.Proposition][]float64, len(t.Keeps))
		for p, v := range t.Keeps {
			keeps[p] = slices.Clone(v)
		}
		t.Keeps = keeps
	}
	t.Acts = slices.Clone(t.Acts)
	if t.Keep != nil {
		keep := *t.Keep
		t.Keep = &keep
	}
	return t
}

// Promise turns the usual keeping into the form that an option records; nil
// when the treatment takes no part off.
func (t Treatment) Promise() *registry.KeepPromise {
	if t.Keep == nil {
		return nil
	}
	return &registry.KeepPromise{Custody: t.Keep.Custody, LossPerYear: t.Keep.LossPerYear, Years: t.Keep.Years, RefitChance: t.Keep.RefitChance}
}

// Treatment finds a treatment.
func (c *Catalog) Treatment(id string) (Treatment, bool) { return c.treatments.get(id) }

// Treatments lists the ladder by rung.
func (c *Catalog) Treatments() []Treatment {
	list := c.treatments.all()
	slices.SortStableFunc(list, func(a, b Treatment) int { return a.Rung - b.Rung })
	return list
}
