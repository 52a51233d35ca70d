package catalog

import (
	"slices"

	"example.org/asfound/registry"
)

// Complaint is what a rider would say is wrong: the way in to the search for
// its causes.
type Complaint struct {
	ID       string `json:"id"`
	Title    string `json:"title"` // in the rider's words
	Group    string `json:"group"` // of ComplaintGroups
	Sentence string `json:"sentence"`
	// Observation is the observation that the complaint is, when it is so.
	Observation string `json:"observation"`
	// Not holds what is easily taken for it, and is another thing.
	Not []string `json:"not"`
	// First holds what to do, and what to leave alone, before any test.
	First    []string `json:"first"`
	Cautions []string `json:"cautions"`
	Basis
}

// ComplaintGroups are the groups under which complaints are listed.
func ComplaintGroups() []registry.Term {
	return []registry.Term{
		{ID: "engine", Meaning: "the engine and its oil"},
		{ID: "ignition", Meaning: "the spark"},
		{ID: "fuel", Meaning: "petrol and mixture"},
		{ID: "drive", Meaning: "clutch and gearbox"},
		{ID: "brakes", Meaning: "brakes"},
		{ID: "steering", Meaning: "steering"},
		{ID: "electrics", Meaning: "charging and lights"},
	}
}

func (x Complaint) key() string { return x.ID }

func (x Complaint) clone() Complaint {
	x.Not = slices.Clone(x.Not)
	x.First = slices.Clone(x.First)
	x.Cautions = slices.Clone(x.Cautions)
	return x
}

// Complaint finds a complaint.
func (c *Catalog) Complaint(id string) (Complaint, bool) { return c.complaints.get(id) }

// Complaints lists all complaints.
func (c *Catalog) Complaints() []Complaint { return c.complaints.all() }
