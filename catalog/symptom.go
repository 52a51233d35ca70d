package catalog

import "slices"

// MaxComplaintCauses is how many causes a single complaint may have, so that
// all their combinations can be gone through. Several complaints together may
// have more.
const MaxComplaintCauses = 20

// SymptomModel is the part of the symptom library that bears on some
// complaints.
type SymptomModel struct {
	Complaints []Complaint
	// Causes are those that any of the complaints is linked with.
	Causes []Cause
	// Observations are those that any of these causes bears on. Their links lead
	// to these causes alone; what others would do stands in the leak.
	Observations []Observation
	// Tests answer one of the observations or try to cure one of the causes.
	Tests []FaultTest
	// Outside lists the causes that stand in the leaks, sorted.
	Outside []string
}

// SymptomModel picks what bears on complaints. absent lists components that
// this type of machine never had: a cause that sits only in such is left out
// altogether. It answers false when no complaint is named or one is not known.
//
// A cause that explains none of the complaints, but bears on an observation
// that one of their causes bears on too, is folded into the leak of that
// observation: 1 − (1 − leak)·∏(1 − prior·link) over such causes. That is exact
// for one observation; two that share such a cause then count as independent.
func (c *Catalog) SymptomModel(complaints []string, absent ...string) (SymptomModel, bool) {
	var m SymptomModel
	inside := map[string]bool{}
	for _, id := range complaints {
		x, ok := c.complaints.get(id)
		if !ok {
			return SymptomModel{}, false
		}
		m.Complaints = append(m.Complaints, x)
		o, _ := c.observations.get(x.Observation)
		for cause, link := range o.Links {
			inside[cause] = inside[cause] || link > 0
		}
	}
	gone := func(x Cause) bool {
		return !slices.ContainsFunc(x.Components, func(id string) bool { return !slices.Contains(absent, id) })
	}
	priors := map[string]float64{}
	for _, x := range c.causes.rows {
		switch {
		case gone(x):
			delete(inside, x.ID)
		case inside[x.ID]:
			m.Causes = append(m.Causes, x.clone())
			priors[x.ID] = x.Prior
		default:
			priors[x.ID] = x.Prior
		}
	}
	seen := map[string]bool{}
	for _, x := range c.observations.rows {
		links, rest := map[string]float64{}, 1-x.Leak
		var others []string
		for _, id := range sortedKeys(x.Links) {
			prior, there := priors[id]
			switch link := x.Links[id]; {
			case !there || link == 0:
			case inside[id]:
				links[id] = link
			default:
				rest = float64(rest * (1 - float64(prior*link)))
				others = append(others, id)
			}
		}
		if len(links) == 0 {
			continue
		}
		x = x.clone()
		x.Links = links
		if len(others) > 0 {
			x.Leak = 1 - rest
		}
		m.Observations = append(m.Observations, x)
		m.Outside = append(m.Outside, others...)
		seen[x.ID] = true
	}
	slices.Sort(m.Outside)
	m.Outside = slices.Compact(m.Outside)
	for _, x := range c.tests.rows {
		if seen[x.Observation] || x.Repairs != nil && inside[x.Repairs.Cause] {
			m.Tests = append(m.Tests, x.clone())
		}
	}
	return m, len(complaints) > 0
}
