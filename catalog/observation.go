package catalog

import (
	"maps"

	"example.org/asfound/registry"
)

// Observation is something that is so or not so, seen by looking, feeling or
// measuring. Yes is always the side of the fault: whatever causes it makes yes
// likelier.
type Observation struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	Yes   string `json:"yes"` // what yes looks like
	No    string `json:"no"`  // what no looks like
	// Leak is the probability of yes when none of the linked causes holds.
	Leak float64 `json:"leak"`
	// Links are the probabilities with which each cause alone, by id, brings yes
	// about; 0 says that it does not.
	Links map[string]float64 `json:"links"`
	// Reading is what is read off, where it is a measurement.
	Reading *Reading `json:"reading,omitempty"`
	Basis
}

// Reading is a measured quantity and its usual range on a machine in order. It
// is there to ask about slips of the pen; it is no limit of any handbook.
type Reading struct {
	Quantity string  `json:"quantity"`
	Unit     string  `json:"unit"` // of Units
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
}

// Units are the units of readings.
func Units() []registry.Term {
	return []registry.Term{
		{ID: "mm", Meaning: "millimetre"},
		{ID: "ml", Meaning: "millilitre"},
		{ID: "min", Meaning: "minute"},
		{ID: "bar", Meaning: "bar, 100 kilopascal"},
		{ID: "V", Meaning: "volt"},
		{ID: "ohm", Meaning: "ohm"},
		{ID: "kilohm", Meaning: "kilohm, 1000 ohm"},
		{ID: "megohm", Meaning: "megohm, 1,000,000 ohm"},
		{ID: "uF", Meaning: "microfarad, 1000 nanofarad"},
		{ID: "deg", Meaning: "degree of angle"},
	}
}

// Slip says whether a reading looks like one written in a unit a thousand times
// too small or too large, and what it would then be. It is a reason to ask, and
// none to refuse.
func (r Reading) Slip(value float64) (meant float64, doubtful bool) {
	within := func(v float64) bool { return r.Low <= v && v <= r.High }
	if within(value) {
		return value, false
	}
	for _, v := range []float64{value / 1000, value * 1000} {
		if within(v) {
			return v, true
		}
	}
	return value, false
}

func (x Observation) key() string { return x.ID }

func (x Observation) clone() Observation {
	x.Links = maps.Clone(x.Links)
	if x.Reading != nil {
		r := *x.Reading
		x.Reading = &r
	}
	return x
}

// Observation finds an observation.
func (c *Catalog) Observation(id string) (Observation, bool) { return c.observations.get(id) }

// Observations lists all observations.
func (c *Catalog) Observations() []Observation { return c.observations.all() }
