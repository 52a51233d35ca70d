package workshop

import (
	"context"
	"encoding/json"
	"math"
	"slices"

	"github.com/govalues/decimal"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// CostReport is the forecast of what options will cost together, with exactly
// the input that `calc cost` takes.
type CostReport struct {
	Currency    string             `json:"currency"`
	Input       scoring.CostInput  `json:"input"`
	Result      scoring.CostResult `json:"result"`
	Assumptions []string           `json:"assumptions"`
}

// costAssumption is what every forecast assumes.
const costAssumption = "Least, likely and most are the mechanic's, joined by straight lines; finds come or do not come, each by itself."

// Cost forecasts what options cost together: their prices with the least and
// the most, what may be found, and the openings that are still to be made, each
// paid once. The zero Money sets no ceiling. CodeNotFound for an option that is
// not on record, CodeInvalid for a mix of currencies, CodeInsufficient when
// nothing costs anything.
func (w *Workshop) Cost(ctx context.Context, machine string, options []string, ceiling registry.Money) (*CostReport, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	return w.cost(d, options, ceiling)
}

func (w *Workshop) cost(d *registry.Dossier, options []string, ceiling registry.Money) (*CostReport, error) {
	out := &CostReport{Assumptions: []string{costAssumption}}
	b := planBuilder{seen: &seen{w: w, d: d}, out: &PlanReport{}}
	var openings []string
	for _, id := range options {
		o, ok := registry.Get[*registry.Option](d, id)
		if !ok {
			return nil, registry.Refuse(registry.CodeNotFound, "List the faults and their options.", "There is no option %q", id)
		}
		if err := b.costOption(out, o.Record); err != nil {
			return nil, err
		}
		for _, opening := range b.openingsOf(o.Record) {
			if !slices.Contains(openings, opening) {
				openings = append(openings, opening)
			}
		}
	}
	for _, id := range openings {
		o, ok := registry.Get[*registry.Opening](d, id)
		if !ok || o.Record.Money.IsZero() {
			continue
		}
		money, err := b.money(id, o.Record.Money)
		if err != nil {
			return nil, err
		}
		out.Input.Tasks = append(out.Input.Tasks, scoring.CostTask{ID: "opening " + id, Low: money, Likely: money, High: money})
	}
	if len(out.Input.Tasks) == 0 && len(out.Input.Finds) == 0 {
		return nil, registry.Refuse(registry.CodeInsufficient, "Price the options first.", "Nothing that was chosen has a price")
	}
	if !ceiling.IsZero() {
		limit, err := b.money("the ceiling", ceiling)
		if err != nil {
			return nil, err
		}
		out.Input.Ceiling = &limit
	}
	out.Currency = b.out.Currency
	var err error
	out.Result, err = scoring.Cost(out.Input)
	return out, err
}

// costOption adds one option's price and finds.
func (b *planBuilder) costOption(out *CostReport, o *registry.Option) error {
	var figures [3]float64
	low, likely, high := o.Span()
	for i, m := range []registry.Money{low, likely, high} {
		var err error
		if figures[i], err = b.money(o.ID, m); err != nil {
			return err
		}
	}
	if figures[2] > 0 {
		out.Input.Tasks = append(out.Input.Tasks, scoring.CostTask{ID: o.ID, Low: figures[0], Likely: figures[1], High: figures[2]})
	}
	for _, f := range o.Finds {
		money, err := b.money(o.ID, f.Money)
		if err != nil {
			return err
		}
		out.Input.Finds = append(out.Input.Finds, scoring.CostFind{ID: o.ID + ": " + f.What, Chance: f.Chance, Cost: money})
	}
	return nil
}

// p80 is the amount that is enough with a chance of 80 %, in whole units.
func (r *CostReport) p80() (registry.Money, error) {
	amount, err := decimal.NewFromFloat64(math.Ceil(r.Result.P80))
	if err != nil {
		return registry.Money{}, registry.Refuse(registry.CodeInvalid, "Name a ceiling.", "The forecast is too large for a ceiling")
	}
	return registry.Money{Amount: amount, Currency: r.Currency}, nil
}

// costOf is the estimate under which an offer keeps its forecast.
const costOf = "cost"

// offerCost reads an offer's forecast; nil when it has none.
func offerCost(offer registry.Offer) *scoring.CostResult {
	for _, e := range offer.Shown {
		var r scoring.CostResult
		if e.Of == costOf && json.Unmarshal(e.Result, &r) == nil {
			return &r
		}
	}
	return nil
}
