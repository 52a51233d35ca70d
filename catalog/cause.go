package catalog

import "slices"

// Cause is something that may be wrong with a machine, whatever was noticed of
// it. Causes are shared by complaints, and several may hold at once.
type Cause struct {
	ID       string `json:"id"`
	Title    string `json:"title"`
	Sentence string `json:"sentence"`
	// Components are where it sits, by id, the likeliest first.
	Components []string `json:"components"`
	// Prior is the probability that it holds on a machine laid up for decades,
	// before anything is tried and whatever else is wrong.
	Prior float64 `json:"prior"`
	// Cures are treatments that would end it, least invasive first. To leave it
	// is always possible and not listed.
	Cures []Cure `json:"cures"`
	Basis
}

// Cure is a treatment of a cause.
type Cure struct {
	Treatment string `json:"treatment"`
	// Chance is the probability that the treatment ends the cause, where it
	// holds; 0 says that it is not known.
	Chance float64 `json:"chance,omitempty"`
}

func (x Cause) key() string { return x.ID }

func (x Cause) clone() Cause {
	x.Components = slices.Clone(x.Components)
	x.Cures = slices.Clone(x.Cures)
	return x
}

// Cure gives the chance of a treatment; false when it is no cure, or when its
// chance is not known.
func (x Cause) Cure(treatment string) (chance float64, ok bool) {
	for _, cure := range x.Cures {
		if cure.Treatment == treatment {
			return cure.Chance, cure.Chance > 0
		}
	}
	return 0, false
}

// Cause finds a cause.
func (c *Catalog) Cause(id string) (Cause, bool) { return c.causes.get(id) }

// Causes lists all causes.
func (c *Catalog) Causes() []Cause { return c.causes.all() }
