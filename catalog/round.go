package catalog

import (
	"slices"

	"example.org/asfound/registry"
)

// Stations are where a person stands, or looks, on the way round a machine that
// is surveyed, in order. The meaning is what stands over that part of the way.
func Stations() []registry.Term {
	return []registry.Term{
		{ID: "papers", Meaning: "Papers, tools and what lies on it"},
		{ID: "front", Meaning: "At the front"},
		{ID: "bars", Meaning: "Handlebar and instruments"},
		{ID: "right", Meaning: "Along the right side"},
		{ID: "rear", Meaning: "At the rear"},
		{ID: "left", Meaning: "Along the left side"},
		{ID: "top", Meaning: "Tank, seat and finishes, from above"},
		{ID: "below", Meaning: "From below"},
		{ID: StationInside, Meaning: "What only an opening shows"},
	}
}

// StationInside is the station of what cannot be seen before something is
// opened. The as-found survey opens nothing.
const StationInside = "inside"

// stationOfSide is where a component is met that names no station of its own.
var stationOfSide = map[string]string{"front": "front", "right": "right", "rear": "rear", "left": "left", "above": "top", "below": "below", "inside": StationInside}

// stationRank is the place of a station on the way, from 0.
func stationRank(station string) int {
	return slices.IndexFunc(Stations(), func(t registry.Term) bool { return t.ID == station })
}

// ComponentsRound lists all components in the order of the stations, and at
// each in the order of the walk: nobody has to go back to the other side for
// one of them.
func (c *Catalog) ComponentsRound() []Component {
	list := c.ComponentsInWalk()
	slices.SortStableFunc(list, func(a, b Component) int { return stationRank(a.Station) - stationRank(b.Station) })
	return list
}

// JointsAt lists the joints whose witness is to be looked at on a component,
// by the names that the witness register uses.
func (c *Catalog) JointsAt(component string) []string {
	var out []string
	for _, o := range c.openings.rows {
		if !slices.Contains(o.SeenAt, component) {
			continue
		}
		for _, j := range o.Joints {
			if !slices.Contains(out, j) {
				out = append(out, j)
			}
		}
	}
	return out
}

// MeetAt lists the components on which a joint is looked at, in the order of
// the openings; nil for a joint that no opening names.
func (c *Catalog) MeetAt(joint string) []string {
	var out []string
	for _, o := range c.openings.rows {
		if !slices.Contains(o.Joints, joint) {
			continue
		}
		for _, id := range o.SeenAt {
			if slices.Contains(c.JointsAt(id), joint) && !slices.Contains(out, id) {
				out = append(out, id)
			}
		}
	}
	return out
}

// CautionsForLooking lists what must be shown to somebody who looks at a
// component as it was found: what taking it in brings, and what cleaning would
// bring, for that is the slip to which looking tempts. Only what the component
// itself names is listed.
func (c *Catalog) CautionsForLooking(component string) []Caution {
	x, ok := c.Component(component)
	if !ok {
		return nil
	}
	var out []Caution
	for _, act := range []string{"intake", "clean"} {
		for _, caution := range c.CautionsFor(Step{Act: act, Components: []string{x.ID}}) {
			listed := func(have Caution) bool { return have.ID == caution.ID }
			if slices.Contains(x.Cautions, caution.ID) && !slices.ContainsFunc(out, listed) {
				out = append(out, caution)
			}
		}
	}
	sortByLevel(out)
	return out
}
