package catalog

import (
	"maps"
	"slices"

	"example.org/asfound/registry"
)

// Group is a division of the anatomy.
type Group struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// Points is the sum over its components; set by Load.
	Points float64 `json:"points"`
	Basis
}

// Component is one position of the anatomy. What sits there may be exchanged;
// the position stays.
type Component struct {
	ID string `json:"id"`
	// Code is a short second name, such as fuel-033; it is understood wherever
	// the id is.
	Code  string `json:"code,omitempty"`
	Group string `json:"group"`
	// GroupName is set by Load.
	GroupName string `json:"group_name,omitempty"`
	Name      string `json:"name"`
	// Points is what it counts, in points of 1000 for the whole of the house's
	// anatomy. 0 for consumables and for what is evidence and not substance.
	Points  float64 `json:"points"`
	Indices Weights `json:"indices"`
	// Assembly is what it stands or falls with; empty when it scores nothing.
	Assembly string `json:"assembly,omitempty"`
	// Prior is the class from which its priors come.
	Prior           string `json:"prior"`
	IdentityBearing bool   `json:"identity_bearing"`
	// Marking is what the works put on it: none, number, date, part or cast.
	Marking string `json:"marking"`
	// Consumable is no, wear or consumable.
	Consumable     string `json:"consumable"`
	SafetyCritical bool   `json:"safety_critical"`
	// SurfaceOnly marks a skin that is scored by itself, such as tank finish.
	SurfaceOnly bool `json:"surface_only"`
	// Sides says from where it is seen: left, right, front, rear, above, below,
	// inside.
	Sides []string `json:"sides"`
	// Walk is its place in the order of a person walking round the machine,
	// from 1.
	Walk int `json:"walk"`
	// Station is where it is met on the way round, one of Stations; Load takes it
	// from the first side where the data name none.
	Station    string   `json:"station"`
	FirstCheck string   `json:"first_check"` // the least invasive one
	Hazards    []string `json:"hazards"`
	Fasteners  string   `json:"fasteners"`
	Cautions   []string `json:"cautions"`
	Basis
}

// Weights are what a component counts in each index, in points.
type Weights struct {
	Substance   float64 `json:"substance"`
	Surface     float64 `json:"surface"`
	Correctness float64 `json:"correctness"`
}

// The indices. There are three and never one.
const (
	IndexSubstance   = "substance"   // is it the same metal that left the works?
	IndexSurface     = "surface"     // is it the same skin?
	IndexCorrectness = "correctness" // is it as the catalogue says?
)

// Indices lists them in the order in which they are shown.
func Indices() []string { return []string{IndexSubstance, IndexSurface, IndexCorrectness} }

// PropositionOf is the question whose answers an index credits; "" for an
// unknown index.
func PropositionOf(index string) registry.Proposition {
	switch index {
	case IndexSubstance:
		return registry.PropositionOrigin
	case IndexSurface:
		return registry.PropositionFinish
	case IndexCorrectness:
		return registry.PropositionSpecification
	}
	return ""
}

// Of is the weight in one index, in points; 0 for an unknown index.
func (w Weights) Of(index string) float64 {
	switch index {
	case IndexSubstance:
		return w.Substance
	case IndexSurface:
		return w.Surface
	case IndexCorrectness:
		return w.Correctness
	}
	return 0
}

// Assembly is a set of components that would come or go together.
type Assembly struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// Intact is the prior probability that it came with the machine as a whole.
	Intact float64 `json:"intact"`
	// IfSwapped is how the states of its parts stand when it did not, for each
	// of origin, finish and specification.
	IfSwapped map[registry.Proposition]map[string]float64 `json:"if_swapped"`
	Basis
}

func (g Group) key() string     { return g.ID }
func (g Group) clone() Group    { return g }
func (c Component) key() string { return c.ID }
func (a Assembly) key() string  { return a.ID }

func (c Component) clone() Component {
	c.Sides = slices.Clone(c.Sides)
	c.Hazards = slices.Clone(c.Hazards)
	c.Cautions = slices.Clone(c.Cautions)
	return c
}

func (a Assembly) clone() Assembly {
	a.IfSwapped = cloneNested(a.IfSwapped)
	return a
}

func cloneNested[K, L comparable, V any](m map[K]map[L]V) map[K]map[L]V {
	if m == nil {
		return nil
	}
	out := make(map[K]map[L]V, len(m))
	for k, v := range m {
		out[k] = maps.Clone(v)
	}
	return out
}

// Component finds a component by its id or its code.
func (c *Catalog) Component(name string) (Component, bool) {
	if id, ok := c.aliases[name]; ok {
		name = id
	}
	return c.components.get(name)
}

// Components lists all components in the order of the anatomy.
func (c *Catalog) Components() []Component { return c.components.all() }

// ComponentsInWalk lists all components in the order of a person walking round
// the machine: papers first, what only an opening shows last.
func (c *Catalog) ComponentsInWalk() []Component {
	list := c.components.all()
	slices.SortStableFunc(list, func(a, b Component) int { return a.Walk - b.Walk })
	return list
}

// Groups lists the divisions of the anatomy.
func (c *Catalog) Groups() []Group { return c.groups.all() }

// Group finds a division of the anatomy.
func (c *Catalog) Group(id string) (Group, bool) { return c.groups.get(id) }

// Assembly finds an assembly.
func (c *Catalog) Assembly(id string) (Assembly, bool) { return c.assemblies.get(id) }

// Assemblies lists all assemblies.
func (c *Catalog) Assemblies() []Assembly { return c.assemblies.all() }
