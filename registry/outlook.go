package registry

import (
	"fmt"
	"math"
)

// Leaving is what is expected if a fault is left as it is.
type Leaving struct {
	Common
	Fault string `json:"fault"`
	// Pit is rust that eats through a wall, Hazard anything that may happen at
	// a steady rate. At least one is given.
	Pit    *Pit    `json:"pit,omitempty"`
	Hazard *Hazard `json:"hazard,omitempty"`
	// Then says what it would lead to, and Money what that would cost, if it
	// can be priced.
	Then   string `json:"then"`
	Money  Money  `json:"money,omitzero"`
	Source string `json:"source"` // whose judgement or measurement the figures are
	By     string `json:"by"`
}

// Pit is a rust pit as it was measured.
type Pit struct {
	Depth float64 `json:"depth"` // mm
	Error float64 `json:"error"` // of the reading, ± mm
	Wall  float64 `json:"wall"`  // thickness where it is sound, mm
	Age   float64 `json:"age"`   // years in which it grew
	// Exponent is n in d = k·tⁿ, the law by which the pit grows.
	Exponent Likely `json:"exponent"`
}

// Hazard is how often a thing happens, per year, over some years to come.
type Hazard struct {
	PerYear Likely  `json:"per_year"`
	Years   float64 `json:"years"`
}

// Likely is a lowest, a most likely and a highest value.
type Likely struct {
	Low    float64 `json:"low"`
	Likely float64 `json:"likely"`
	High   float64 `json:"high"`
}

func (*Leaving) Kind() Kind { return "leaving" }

func (l *Leaving) check(fs *faults) {
	fs.id("/fault", l.Fault, false)
	fs.id("/by", l.By, false)
	fs.need("/then", l.Then, "It is not said what leaving it would lead to", "One sentence.")
	fs.need("/source", l.Source, "The figures have no source", "Say who measured or judged it.")
	fs.money("/money", l.Money)
	if l.Pit == nil && l.Hazard == nil {
		fs.add("", "", "a pit or a hazard", "There is no figure for what time does", "Measure the pit, or give how often it happens in a year.")
	}
	if p := l.Pit; p != nil {
		fs.positive("/pit/depth", p.Depth, "mm")
		fs.notNegative("/pit/error", p.Error, "mm")
		fs.positive("/pit/wall", p.Wall, "mm")
		fs.positive("/pit/age", p.Age, "years")
		if p.Depth >= p.Wall {
			fs.add("/pit/depth", "", "less than the wall", "The pit is through the wall already", "Record a hole as the fault instead.")
		}
		p.Exponent.check(fs, "/pit/exponent")
	}
	if h := l.Hazard; h != nil {
		h.PerYear.check(fs, "/hazard/per_year")
		fs.positive("/hazard/years", h.Years, "years")
	}
}

func (l Likely) check(fs *faults, pointer string) {
	fs.notNegative(pointer+"/low", l.Low, "")
	if !(l.Low <= l.Likely && l.Likely <= l.High && l.High < 1e12) {
		fs.add(pointer, "", "low ≤ likely ≤ high", "The three values are not in order", "Put the smallest first.")
	}
}

// Risk is how an act that cannot be undone may end.
type Risk struct {
	Common
	Option   string        `json:"option"`
	Outcomes []RiskOutcome `json:"outcomes"`
	// Source says whose experience the chances are. Without it the outcomes
	// are listed without chances.
	Source string `json:"source,omitempty"`
	By     string `json:"by"`
}

// RiskOutcome is one way in which it may end, with either of two losses.
type RiskOutcome struct {
	What string `json:"what"`
	// Chance is 0 to 1; those of all outcomes sum to 1, or none is given.
	Chance *float64 `json:"chance,omitempty"`
	// IndexLoss is what the index that buyers look at loses, −1 to 1; Money
	// what it costs.
	IndexLoss *float64 `json:"index_loss,omitempty"`
	Money     *Money   `json:"money,omitempty"`
}

func (*Risk) Kind() Kind { return "risk" }

// Weighed says whether the outcomes have chances.
func (r *Risk) Weighed() bool { return r.Source != "" }

func (r *Risk) check(fs *faults) {
	fs.id("/option", r.Option, false)
	fs.id("/by", r.By, false)
	if len(r.Outcomes) == 0 {
		fs.add("/outcomes", "", "", "It is not said how the act may end", "List every outcome, the harmless one too.")
	}
	sum := 0.0
	seen := map[string]bool{}
	for i, o := range r.Outcomes {
		p := at("/outcomes", i)
		fs.need(p+"/what", o.What, "The outcome has no name", "")
		if seen[o.What] {
			fs.add(p+"/what", o.What, "", "Two outcomes have the same name", "Name each once.")
		}
		seen[o.What] = true
		switch {
		case o.Chance == nil && r.Weighed():
			fs.add(p+"/chance", "", "0 to 1", "The outcome has no chance", "Give all of them, or leave out the source and all chances.")
		case o.Chance != nil && !r.Weighed():
			fs.add("/source", "", "", "The chances have no source", "Say whose experience they are, or list the outcomes without chances.")
		case o.Chance != nil:
			fs.probability(p+"/chance", *o.Chance)
			sum += *o.Chance
		}
		switch {
		case o.IndexLoss != nil && o.Money != nil:
			fs.add(p, "", "index_loss or money", "The outcome states two losses", "Keep one of them.")
		case o.IndexLoss != nil && !(*o.IndexLoss >= -1 && *o.IndexLoss <= 1):
			fs.add(p+"/index_loss", "", "-1 to 1", "An index lies between 0 and 1", "")
		case o.Money != nil:
			fs.money(p+"/money", *o.Money)
		case o.IndexLoss == nil && r.Weighed():
			fs.add(p, "", "index_loss or money", "The outcome states no loss", "Write 0 where nothing is lost.")
		}
	}
	if r.Weighed() && len(r.Outcomes) > 0 && math.Abs(sum-1) > 1e-9 {
		fs.add("/outcomes", fmt.Sprintf("a sum of %g", sum), "1", "The chances do not sum to 1", "Add the outcome that is missing.")
	}
}
