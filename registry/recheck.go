package registry

import (
	"fmt"
	"slices"
)

// RecheckDue is something to look at again: after a distance, after a number of
// heat cycles, or on a date, whichever comes first.
type RecheckDue struct {
	Common
	What       string   `json:"what"`
	Components []string `json:"components,omitempty"`
	// AfterDistance and AfterHeatCycles count from what the machine had done
	// when the recheck was recorded.
	AfterDistance   float64 `json:"after_distance,omitempty"`
	DistanceUnit    string  `json:"distance_unit,omitempty"` // mi, km
	AfterHeatCycles int     `json:"after_heat_cycles,omitempty"`
	On              Date    `json:"on,omitempty"`
	By              string  `json:"by"`
}

func (*RecheckDue) Kind() Kind { return "recheck" }

func (r *RecheckDue) check(fs *faults) {
	fs.need("/what", r.What, "It is not said what to look at", "")
	fs.ids("/components", r.Components)
	fs.notNegative("/after_distance", r.AfterDistance, r.DistanceUnit)
	if r.AfterDistance > 0 && !slices.Contains(distanceUnits, r.DistanceUnit) {
		fs.add("/distance_unit", r.DistanceUnit, "mi or km", "The distance has no unit", "Write mi or km.")
	}
	fs.notNegative("/after_heat_cycles", float64(r.AfterHeatCycles), "heat cycles")
	fs.date("/on", r.On)
	if r.AfterDistance == 0 && r.AfterHeatCycles == 0 && r.On == "" {
		fs.add("", "", "a distance, a number of heat cycles, or a date", "It is not said when to look again", "")
	}
	fs.id("/by", r.By, false)
}

var distanceUnits = []string{"mi", "km"}

// Usage is what the machine has done since it was taken in: readings that only
// grow.
type Usage struct {
	Common
	Distance     float64 `json:"distance"`
	DistanceUnit string  `json:"distance_unit"` // mi, km
	HeatCycles   int     `json:"heat_cycles"`
	By           string  `json:"by"`
}

func (*Usage) Kind() Kind { return "usage" }

func (u *Usage) check(fs *faults) {
	fs.notNegative("/distance", u.Distance, u.DistanceUnit)
	if !slices.Contains(distanceUnits, u.DistanceUnit) {
		fs.add("/distance_unit", u.DistanceUnit, "mi or km", "The distance has no unit", "Write mi or km.")
	}
	fs.notNegative("/heat_cycles", float64(u.HeatCycles), "heat cycles")
	fs.id("/by", u.By, false)
}

// Miles is the distance in miles (1 mi is 1.609344 km).
func Miles(distance float64, unit string) float64 {
	if unit == "km" {
		return distance / 1.609344
	}
	return distance
}

func decideUsage(d *Dossier, u *Usage) error {
	for _, before := range Live[*Usage](d) {
		if before.RecordID() == u.Supersedes {
			continue
		}
		if b := before.Record; Miles(b.Distance, b.DistanceUnit) > Miles(u.Distance, u.DistanceUnit)+1e-9 || b.HeatCycles > u.HeatCycles {
			return invalid(u, "/distance", fmt.Sprintf("%g %s, %d heat cycles", u.Distance, u.DistanceUnit, u.HeatCycles),
				fmt.Sprintf("at least %g %s and %d heat cycles", b.Distance, b.DistanceUnit, b.HeatCycles),
				"The machine cannot have done less than before", "Count from the day it was taken in, or correct the earlier record.")
		}
	}
	return nil
}

// Due is a recheck that has not been done, and how it stands.
type Due struct {
	Recheck Found[*RecheckDue]
	// Now says that its time has come.
	Now bool
	// MilesLeft and HeatCyclesLeft count down; below 0 it is overdue. They mean
	// something only where the recheck has such a limit.
	MilesLeft      float64
	HeatCyclesLeft int
}

// Due lists the rechecks that are still to be done, as of a day. A recheck is
// done by a check that names it and passed.
func (d *Dossier) Due(today Date) []Due {
	var out []Due
	for _, r := range Live[*RecheckDue](d) {
		if slices.ContainsFunc(Live[*Check](d), func(c Found[*Check]) bool {
			return c.Record.Recheck != "" && d.current(c.Record.Recheck) == r.RecordID() && c.Record.Outcome == "passed"
		}) {
			continue
		}
		then, now := d.usageAt(r.Version), d.usageAt(d.version+1)
		due := Due{Recheck: r}
		if limit := r.Record.AfterDistance; limit > 0 {
			due.MilesLeft = then.miles + Miles(limit, r.Record.DistanceUnit) - now.miles
			due.Now = due.Now || due.MilesLeft <= 0
		}
		if limit := r.Record.AfterHeatCycles; limit > 0 {
			due.HeatCyclesLeft = then.cycles + limit - now.cycles
			due.Now = due.Now || due.HeatCyclesLeft <= 0
		}
		if r.Record.On != "" {
			due.Now = due.Now || CompareDates(r.Record.On, today) <= 0
		}
		out = append(out, due)
	}
	return out
}

type usage struct {
	miles  float64
	cycles int
}

// usageAt is what the machine had done before a version of its record.
func (d *Dossier) usageAt(version uint64) (out usage) {
	for _, u := range Live[*Usage](d) {
		if u.Version < version {
			out = usage{max(out.miles, Miles(u.Record.Distance, u.Record.DistanceUnit)), max(out.cycles, u.Record.HeatCycles)}
		}
	}
	return out
}
