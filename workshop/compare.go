package workshop

import (
	"math"
	"slices"
)

// Comparison sets two machines side by side. Every list holds what is on one
// machine or on both, in the order of the anatomy or of the record.
type Comparison struct {
	A, B *Report
	// Groups are the groups of the anatomy with what differs in them.
	Groups []GroupPair
	// Same counts the components that do not differ, and are left out unless
	// all were asked for.
	Same, Different int
	Gates           []GatePair
}

// GroupPair is one group of both machines.
type GroupPair struct {
	Name string
	// Points are the weight of the group on either, Surveyed how many of its
	// components are.
	Points   [2]float64
	Surveyed [2]int
	Rows     []ComponentPair
}

// ComponentPair is one component of both machines; nil where its type never
// had it.
type ComponentPair struct {
	ID, Name  string
	A, B      *ComponentReport
	Different bool
	// Asked are the questions whose answers differ: origin, finish,
	// specification, condition, custody.
	Asked []string
}

// GatePair is one gate of both machines.
type GatePair struct {
	Title string
	A, B  *GateReport
}

// notable is by how much the probability of one answer must differ to count as
// a difference of its own, and notableSteps the condition: two surveyors may
// well be a step apart.
const (
	notable      = 0.2
	notableSteps = 2
)

func abs(n int) int { return max(n, -n) }

// Compare sets two reports side by side: components that differ, or, with all,
// every one.
func Compare(a, b *Report, all bool) *Comparison {
	c := &Comparison{A: a, B: b}
	other := map[string]*ComponentReport{}
	for g := range b.Groups {
		for i := range b.Groups[g].Components {
			other[b.Groups[g].Components[i].ID] = &b.Groups[g].Components[i]
		}
	}
	// Both come from one catalog, so their groups are the same.
	for g := range a.Groups {
		pair := GroupPair{Name: a.Groups[g].Name, Points: [2]float64{a.Groups[g].Points, b.Groups[g].Points}}
		for i := range a.Groups[g].Components {
			x := &a.Groups[g].Components[i]
			row := ComponentPair{ID: x.ID, Name: x.Name, A: fittedOrNil(x), B: fittedOrNil(other[x.ID])}
			if row.A == nil && row.B == nil {
				continue
			}
			for k, side := range []*ComponentReport{row.A, row.B} {
				if side != nil && side.Surveyed {
					pair.Surveyed[k]++
				}
			}
			row.Asked = differences(row.A, row.B)
			row.Different = len(row.Asked) > 0
			if row.Different {
				c.Different++
			} else {
				c.Same++
			}
			if all || row.Different {
				pair.Rows = append(pair.Rows, row)
			}
		}
		c.Groups = append(c.Groups, pair)
	}
	for i := range a.Gates {
		c.Gates = append(c.Gates, GatePair{Title: a.Gates[i].Title, A: &a.Gates[i], B: gateOf(b, a.Gates[i].ID)})
	}
	return c
}

func fittedOrNil(c *ComponentReport) *ComponentReport {
	if c == nil || c.NotFitted {
		return nil
	}
	return c
}

func gateOf(r *Report, id string) *GateReport {
	i := slices.IndexFunc(r.Gates, func(g GateReport) bool { return g.ID == id })
	if i < 0 {
		return nil
	}
	return &r.Gates[i]
}

// differences names the questions on which two components differ: another
// answer, the same with a chance that is notably lower, or another condition.
func differences(a, b *ComponentReport) []string {
	if a == nil || b == nil {
		return []string{"fitted"}
	}
	var out []string
	for i, x := range a.Claims() {
		y := b.Claims()[i]
		if x.Leading != y.Leading || x.Leading != "" && math.Abs(x.Probability-y.Probability) >= notable || x.Undetermined != y.Undetermined {
			out = append(out, string(x.Proposition))
		}
	}
	if a.Condition != nil && b.Condition != nil && abs(*a.Condition-*b.Condition) >= notableSteps {
		out = append(out, "condition")
	}
	if a.Custody != b.Custody {
		out = append(out, "custody")
	}
	return out
}
