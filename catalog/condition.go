package catalog

import "strconv"

// Condition is one step of the worded scale of decay.
type Condition struct {
	Step     int    `json:"step"` // 0 to 5
	Title    string `json:"title"`
	Sentence string `json:"sentence"`
	Basis
}

func (c Condition) key() string      { return strconv.Itoa(c.Step) }
func (c Condition) clone() Condition { return c }

// Conditions lists the scale from 0 to 5.
func (c *Catalog) Conditions() []Condition { return c.conditions.all() }

// Condition gives one step of the scale.
func (c *Catalog) Condition(step int) (Condition, bool) { return c.conditions.get(strconv.Itoa(step)) }
