package catalog

import (
	"slices"

	"example.org/asfound/registry"
)

// Levels of a test, by what it disturbs.
const (
	TestLook    = 0 // look, smell, listen, read
	TestMeasure = 1 // measure, no joint disturbed
	TestQuick   = 2 // quick-release; no gasket, no line of paint
	TestOpen    = 3 // a cover off, a gasket, witness loss
	TestAlter   = 4 // alters or destroys substance
)

// FaultTest is a way to find out: it answers an observation, or it tries a cure
// and looks whether the complaint has gone.
type FaultTest struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	Level int    `json:"level"`
	How   string `json:"how"`
	// Minutes, Money and Points are what the test itself takes, without its
	// openings, which are paid once for all tests behind them. Points are lost
	// for good, in points of 1000.
	Minutes  float64        `json:"minutes"`
	Money    registry.Money `json:"money,omitzero"`
	Points   float64        `json:"points"`
	Openings []string       `json:"openings"`
	// NoOpening says why a test of level 3 or 4 needs none of the catalog's
	// openings.
	NoOpening   string   `json:"no_opening,omitempty"`
	Consumables []string `json:"consumables"`
	Tools       []string `json:"tools"`
	Cautions    []string `json:"cautions"`
	// SlavePart is the known good part that is borrowed, so that nothing of the
	// machine's own is touched; empty when none is.
	SlavePart string `json:"slave_part,omitempty"`
	// Observation is what it answers; empty for a trial of a cure.
	Observation string `json:"observation,omitempty"`
	// Given is an observation that must have been seen to be so before the test
	// makes sense: a borrowed coil says nothing while the spark is there.
	Given string `json:"given,omitempty"`
	// Repairs is the cure that is tried; nil for a test that only looks.
	Repairs *Repair `json:"repairs,omitempty"`
	IfYes   string  `json:"if_yes"` // what yes, or a cure that worked, would mean
	IfNo    string  `json:"if_no"`
	Basis
}

// Repair is a cure that is tried. Its chance is that of the cause; see
// Cause.Cure.
type Repair struct {
	Cause     string `json:"cause"`
	Treatment string `json:"treatment"`
}

func (x FaultTest) key() string { return x.ID }

func (x FaultTest) clone() FaultTest {
	x.Openings = slices.Clone(x.Openings)
	x.Consumables = slices.Clone(x.Consumables)
	x.Tools = slices.Clone(x.Tools)
	x.Cautions = slices.Clone(x.Cautions)
	if x.Repairs != nil {
		r := *x.Repairs
		x.Repairs = &r
	}
	return x
}

// FaultTest finds a test.
func (c *Catalog) FaultTest(id string) (FaultTest, bool) { return c.tests.get(id) }

// FaultTests lists all tests.
func (c *Catalog) FaultTests() []FaultTest { return c.tests.all() }

// CautionsForTest lists what must be shown before a test, the gravest first:
// what it names itself, what its openings bring, and what the treatment brings
// where a cure is tried.
func (c *Catalog) CautionsForTest(id string) []Caution {
	test, ok := c.tests.get(id)
	if !ok {
		return nil
	}
	var out []Caution
	add := func(list []Caution) {
		for _, x := range list {
			if !slices.ContainsFunc(out, func(o Caution) bool { return o.ID == x.ID }) {
				out = append(out, x)
			}
		}
	}
	for _, id := range test.Cautions {
		if x, ok := c.cautions.get(id); ok {
			add([]Caution{x})
		}
	}
	for _, id := range test.Openings {
		add(c.CautionsForOpening(id))
	}
	if r := test.Repairs; r != nil {
		if cause, ok := c.causes.get(r.Cause); ok {
			add(c.CautionsFor(Step{Treatment: r.Treatment, Components: cause.Components}))
		}
	}
	sortByLevel(out)
	return out
}
