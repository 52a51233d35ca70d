package catalog

import (
	"slices"

	"example.org/asfound/registry"
)

// Opening is a usual way to take something off: starting values for the record
// of one's own.
type Opening struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Money is what gaskets and seals cost; the same as the sum under Needs.
	Money    registry.Money `json:"money,omitzero"`
	Hours    float64        `json:"hours"`
	LeadDays float64        `json:"lead_days"` // until gaskets and seals arrive
	// WitnessPoints is what the joints could tell and never can again, in
	// points of 1000.
	WitnessPoints float64 `json:"witness_points"`
	// Joints are names for the witness register.
	Joints []string `json:"joints"`
	// SeenAt are the components on which the joints are looked at, from outside
	// and before anything is loosened.
	SeenAt   []string        `json:"seen_at"`
	Requires []string        `json:"requires"` // openings that come first
	Behind   []string        `json:"behind"`   // components that it lays open
	Needs    []registry.Need `json:"needs"`    // in hand before it is opened
	Cautions []string        `json:"cautions"`
	Basis
}

func (o Opening) key() string { return o.ID }

func (o Opening) clone() Opening {
	o.Joints = slices.Clone(o.Joints)
	o.SeenAt = slices.Clone(o.SeenAt)
	o.Requires = slices.Clone(o.Requires)
	o.Behind = slices.Clone(o.Behind)
	o.Needs = slices.Clone(o.Needs)
	o.Cautions = slices.Clone(o.Cautions)
	return o
}

// Record is the opening in the form in which a machine's ledger takes it, under
// the id of the catalog.
func (o Opening) Record() *registry.Opening {
	o = o.clone()
	r := &registry.Opening{Title: o.Title, Joints: o.Joints, Money: o.Money, Hours: o.Hours, LeadDays: o.LeadDays,
		WitnessPoints: o.WitnessPoints, Requires: o.Requires, Behind: o.Behind, Needs: o.Needs}
	r.ID = o.ID
	return r
}

// Opening finds an opening.
func (c *Catalog) Opening(id string) (Opening, bool) { return c.openings.get(id) }

// Openings lists all openings.
func (c *Catalog) Openings() []Opening { return c.openings.all() }
