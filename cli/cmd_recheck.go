package cli

import (
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

type recheckCommand struct {
	Target     target   `embed:""`
	What       string   `arg:"" help:"what to look at again"`
	ID         string   `help:"name of the recheck in the record"`
	After      string   `help:"after how far from now, such as 5mi or 8km"`
	HeatCycles int      `help:"after how many heat cycles from now"`
	On         string   `help:"on which day, such as 2027-03"`
	Component  []string `help:"a component to look at; may be repeated"`
	By         string   `help:"person id; --as when left out"`
}

// Run plans a recheck. A check that names it and passed does it.
func (x *recheckCommand) Run(c *call) error {
	b := &registry.RecheckDue{Common: registry.Common{ID: x.ID}, What: x.What, Components: x.Component, AfterHeatCycles: x.HeatCycles, On: registry.Date(x.On), By: orElse(x.By, c.line.As)}
	if x.After != "" {
		var err error
		if b.AfterDistance, b.DistanceUnit, err = parseDistance("--after", x.After); err != nil {
			return err
		}
	}
	return c.record(x.Target, "The recheck is planned", b)
}

type usageCommand struct {
	Target     target `embed:""`
	Distance   string `arg:"" help:"how far it has gone since it was taken in, such as 6.5mi or 10km"`
	HeatCycles *int   `help:"how often it has been hot and cold again since it was taken in; as last recorded when left out"`
	Date       string `help:"when, today when left out"`
	By         string `help:"person id; --as when left out"`
}

// Run records what the machine has done.
func (x *usageCommand) Run(c *call) error {
	b := &registry.Usage{Common: registry.Common{Valid: registry.Date(x.Date)}, By: orElse(x.By, c.line.As)}
	_, d, err := c.loaded(x.Target.Machine)
	if err != nil {
		return err
	}
	for _, before := range registry.Live[*registry.Usage](d) {
		b.HeatCycles = max(b.HeatCycles, before.Record.HeatCycles)
	}
	if x.HeatCycles != nil {
		b.HeatCycles = *x.HeatCycles
	}
	if b.Distance, b.DistanceUnit, err = parseDistance("DISTANCE", x.Distance); err != nil {
		return err
	}
	return c.record(x.Target, "What it has done is recorded", b)
}

// parseDistance reads a number with its unit behind it.
func parseDistance(flag, s string) (float64, string, error) {
	for _, unit := range []string{"mi", "km"} {
		if number, ok := strings.CutSuffix(strings.TrimSpace(s), unit); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
			if err == nil && finite(v) {
				return v, unit, nil
			}
		}
	}
	return 0, "", badFlag(flag, s, "5mi or 8km")
}
