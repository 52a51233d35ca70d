package catalog

import (
	"maps"
	"slices"

	"example.org/asfound/registry"
)

// Rules gives what registry.Decide must know of machines in general, as a copy
// of the caller's own.
func (c *Catalog) Rules() *registry.Rules {
	r := &registry.Rules{
		Components: make(map[string]registry.ComponentRule, len(c.components.rows)),
		Aliases:    maps.Clone(c.aliases),
		Assemblies: make(map[string]bool, len(c.assemblies.rows)),
		Treatments: make(map[string]registry.TreatmentRule, len(c.treatments.rows)),
		Signs:      make(map[string]registry.Proposition, len(c.signs.rows)),
		Cautions:   make(map[string]bool, len(c.cautions.rows)),
	}
	for _, x := range c.components.rows {
		r.Components[x.ID] = registry.ComponentRule{Name: x.Name, IdentityBearing: x.IdentityBearing, Consumable: x.Consumable == "consumable"}
	}
	for _, x := range c.assemblies.rows {
		r.Assemblies[x.ID] = true
	}
	for _, x := range c.treatments.rows {
		r.Treatments[x.ID] = registry.TreatmentRule{Title: x.Title, Reversible: x.Reversible == "yes", OwnApproval: x.NeedsOwnApproval}
	}
	for _, x := range c.cautions.rows {
		r.Cautions[x.ID] = true
	}
	c.library(r)
	for _, x := range c.signs.rows {
		r.Signs[x.ID] = x.Proposition
	}
	for _, x := range c.Gates() {
		rule := registry.GateRule{ID: x.ID, Title: x.Title, Seal: x.NeedsSeal, Picture: x.Picture,
			SecondName: x.SecondName, Checks: x.LeastChecks, Sound: x.Sound, Instead: x.Instead}
		for _, check := range x.Checks {
			rule.Kinds = append(rule.Kinds, check.ID)
		}
		r.Gates = append(r.Gates, rule)
	}
	return r
}

// library adds what Decide must know of the symptom library.
func (c *Catalog) library(r *registry.Rules) {
	r.Observations = make(map[string]registry.ObservationRule, len(c.observations.rows))
	r.Causes = make(map[string][]string, len(c.causes.rows))
	r.Tests = make(map[string][]string, len(c.tests.rows))
	r.Reveals = make(map[string]string, len(c.tests.rows))
	for _, x := range c.observations.rows {
		rule := registry.ObservationRule{}
		if x.Reading != nil {
			rule = registry.ObservationRule{Unit: x.Reading.Unit, Low: x.Reading.Low, High: x.Reading.High}
		}
		r.Observations[x.ID] = rule
	}
	for _, x := range c.causes.rows {
		r.Causes[x.ID] = slices.Clone(x.Components)
	}
	for _, x := range c.tests.rows {
		r.Tests[x.ID] = c.partsOfTest(x)
		if x.Observation != "" {
			r.Reveals[x.ID] = x.Observation
		}
	}
}

// partsOfTest lists the components that a test bears on: those of the causes
// that its observation links to, or of the cause that it tries to cure.
func (c *Catalog) partsOfTest(t FaultTest) []string {
	var out []string
	add := func(cause string) {
		if x, ok := c.causes.get(cause); ok {
			for _, id := range x.Components {
				if !slices.Contains(out, id) {
					out = append(out, id)
				}
			}
		}
	}
	if t.Repairs != nil {
		add(t.Repairs.Cause)
	}
	if o, ok := c.observations.get(t.Observation); ok {
		for _, cause := range slices.Sorted(maps.Keys(o.Links)) {
			add(cause)
		}
	}
	return out
}
