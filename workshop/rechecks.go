package workshop

import (
	"fmt"
	"math"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// DueReport is something to look at again.
type DueReport struct {
	ID         string   `json:"id"`
	What       string   `json:"what"`
	Components []string `json:"components,omitempty"`
	// Now says that its time has come.
	Now bool `json:"now"`
	// When says in words what is left.
	When string `json:"when"`
}

// UsageReport is what the machine has done since it was taken in.
type UsageReport struct {
	Distance     float64       `json:"distance"`
	DistanceUnit string        `json:"distance_unit"`
	HeatCycles   int           `json:"heat_cycles"`
	Valid        registry.Date `json:"valid"`
}

// rechecks lists what is still to be looked at again, and what the machine has
// done.
func (b *builder) rechecks() {
	b.r.Due = []DueReport{}
	for _, u := range registry.Live[*registry.Usage](b.d) {
		b.r.Usage = &UsageReport{Distance: u.Record.Distance, DistanceUnit: u.Record.DistanceUnit, HeatCycles: u.Record.HeatCycles, Valid: u.Valid()}
	}
	for _, d := range b.d.Due(registry.Date(b.now().UTC().Format(time.DateOnly))) {
		r := d.Recheck.Record
		var when []string
		if r.AfterDistance > 0 {
			left := d.MilesLeft
			if r.DistanceUnit == "km" {
				left *= KilometresPerMile
			}
			when = append(when, ahead(Reading(math.Round(max(left, -left)*10)/10, 0, r.DistanceUnit), left > 0))
		}
		if r.AfterHeatCycles > 0 {
			left := d.HeatCyclesLeft
			cycles := "heat cycles"
			if max(left, -left) == 1 {
				cycles = "heat cycle"
			}
			when = append(when, ahead(fmt.Sprintf("%d %s", max(left, -left), cycles), left > 0))
		}
		if r.On != "" {
			when = append(when, "on "+string(r.On))
		}
		b.r.Due = append(b.r.Due, DueReport{ID: d.Recheck.RecordID(), What: b.text(r.What), Components: r.Components, Now: d.Now, When: strings.Join(when, ", or ")})
	}
}

func ahead(howFar string, still bool) string {
	if still {
		return "in " + howFar
	}
	return howFar + " past"
}

// stopWords says how hard a stop was that a check measured: its readings hold a
// speed and a distance.
func stopWords(readings []registry.Reading) string {
	var in scoring.StoppingInput
	for _, r := range readings {
		quantity := strings.ToLower(r.Quantity)
		switch {
		case strings.Contains(quantity, "speed") && r.Unit == "mph":
			v := r.Value
			in.MPH, in.SpeedError = &v, r.Uncertainty
		case strings.Contains(quantity, "speed") && r.Unit == "km/h":
			v := r.Value
			in.KMH, in.SpeedError = &v, r.Uncertainty
		case strings.Contains(quantity, "distance") && r.Unit == "m":
			in.Distance, in.DistanceError = r.Value, r.Uncertainty
		}
	}
	s, err := scoring.Stopping(in)
	if err != nil {
		return "" // it is no stop, or says too little of one
	}
	return fmt.Sprintf("Mean deceleration %.3f g, between %.3f and %.3f g with the uncertainties given. %s", s.G, s.Low, s.High, s.Note)
}
