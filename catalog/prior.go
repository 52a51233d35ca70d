package catalog

import (
	"example.org/asfound/registry"
)

// PriorClass is what is thought of a kind of component before anything is
// looked at.
type PriorClass struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// Other is set aside for what nobody has thought of, 0 to 0.5.
	Other float64 `json:"other"`
	// Shares are the probabilities of the states, for each question; each sums
	// to 1 before Other is set aside.
	Shares map[registry.Proposition]map[string]float64 `json:"shares"`
	Basis
}

func (p PriorClass) key() string { return p.ID }

func (p PriorClass) clone() PriorClass {
	p.Shares = cloneNested(p.Shares)
	return p
}

// Prior is a distribution over the states of one question.
type Prior struct {
	Class       string               `json:"class"`
	Proposition registry.Proposition `json:"proposition"`
	// States and P belong together; P sums to 1. The order is that of
	// registry.States.
	States []string  `json:"states"`
	P      []float64 `json:"p"`
	// Other is set aside for what nobody has thought of: the probability of a
	// state is (1 − Other)·P.
	Other float64 `json:"other"`
	Basis
}

// Prior gives the prior of a question about a component, by id or code, or, for
// registry.PropositionAssembly, about an assembly. It answers false when the
// catalog has none: for an unknown name, or a question that is not asked of it.
func (c *Catalog) Prior(name string, p registry.Proposition) (Prior, bool) {
	if p == registry.PropositionAssembly {
		a, ok := c.assemblies.get(name)
		if !ok {
			return Prior{}, false
		}
		return Prior{Class: a.ID, Proposition: p, States: registry.States(p), P: []float64{a.Intact, 1 - a.Intact}, Basis: a.Basis}, true
	}
	component, ok := c.Component(name)
	if !ok {
		return Prior{}, false
	}
	return c.PriorOf(component.Prior, p)
}

// PriorOf gives the prior of a class.
func (c *Catalog) PriorOf(class string, p registry.Proposition) (Prior, bool) {
	pc, ok := c.priors.get(class)
	shares := pc.Shares[p]
	if !ok || shares == nil {
		return Prior{}, false
	}
	states := registry.States(p)
	return Prior{Class: class, Proposition: p, States: states, P: over(shares, states), Other: pc.Other, Basis: pc.Basis}, true
}

// PriorClasses lists all classes.
func (c *Catalog) PriorClasses() []PriorClass { return c.priors.all() }

// Over restricts a prior to some of its states and scales it to sum to 1. It
// answers false when a state is unknown or stands twice, or when the states
// have no probability at all.
func (p Prior) Over(states ...string) (Prior, bool) {
	known := make(map[string]float64, len(p.States))
	for i, s := range p.States {
		known[s] = p.P[i]
	}
	out := p
	out.States, out.P = nil, nil
	sum := 0.0
	for _, s := range states {
		v, ok := known[s]
		if !ok {
			return Prior{}, false
		}
		delete(known, s)
		sum += v
		out.States, out.P = append(out.States, s), append(out.P, v)
	}
	if sum <= 0 {
		return Prior{}, false
	}
	for i := range out.P {
		out.P[i] /= sum
	}
	return out, true
}

// over lists the values of a table in the order of states.
func over(values map[string]float64, states []string) []float64 {
	out := make([]float64, len(states))
	for i, s := range states {
		out[i] = values[s]
	}
	return out
}
