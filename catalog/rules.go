package catalog

import (
	"maps"

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
