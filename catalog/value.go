package catalog

import (
	"strings"
)

// What valuations assume, by id. The five slopes stand in the order in which
// they explain a price.
const (
	ValueOriginality          = "originality"
	ValueCondition            = "condition"
	ValueDistance             = "distance"
	ValueTier                 = "tier"
	ValueOriginalityCondition = "originality-condition"
	ValueResidual             = "residual"
	ValueResidualShape        = "residual-shape"
	ValueMakeSpread           = "make-spread"
	ValueMakeResidual         = "make-residual"
	ValueSurfaceShare         = "surface-share"
	ValueRunningShare         = "running-share"
	ValueSeriesAfter          = "series-after-years"
	ValueOldest               = "oldest-years"
	valueLevel                = "level-" // and the currency in small letters
)

// valueRange is what an assumption may be. Those with a deviation have one.
type valueRange struct {
	low, high float64
	deviation bool
}

var valueRanges = map[string]valueRange{
	ValueOriginality:          {-10, 10, true},
	ValueCondition:            {-10, 10, true},
	ValueDistance:             {-10, 10, true},
	ValueTier:                 {-10, 10, true},
	ValueOriginalityCondition: {-10, 10, true},
	ValueResidual:             {0.001, 10, false},
	ValueResidualShape:        {1.01, 1e6, false},
	ValueMakeSpread:           {0.001, 10, false},
	ValueMakeResidual:         {0.001, 10, false},
	ValueSurfaceShare:         {0, 1, false},
	ValueRunningShare:         {0, 1, false},
	ValueSeriesAfter:          {0, 100, false},
	ValueOldest:               {0, 100, false},
}

// priceRange is that of a level of prices.
var priceRange = valueRange{0.01, 1e9, true}

// ValueAssumption is one number behind valuations.
type ValueAssumption struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Currency is set for levels of prices alone: ISO 4217 letters.
	Currency string  `json:"currency,omitempty"`
	Value    float64 `json:"value"`
	// SD is how firmly it is believed, in the unit of its logarithm for a level
	// and of the value itself for a slope; 0 for the others.
	SD   float64 `json:"sd,omitempty"`
	Unit string  `json:"unit"`
	Basis
}

func (v ValueAssumption) key() string            { return v.ID }
func (v ValueAssumption) clone() ValueAssumption { return v }

// Sentence is on what it rests, in words.
func (v ValueAssumption) Sentence() string {
	if v.Assumption != "" {
		return v.Assumption
	}
	return "By " + v.Source + ": " + v.Title + "."
}

// ValueAssumption gives one of the numbers behind valuations, by id.
func (c *Catalog) ValueAssumption(id string) (ValueAssumption, bool) { return c.value.get(id) }

// ValueAssumptions lists all of them.
func (c *Catalog) ValueAssumptions() []ValueAssumption { return c.value.all() }

// PriceLevel is what a middling machine is thought to fetch in a currency. The
// house knows of one currency; packs may know of others.
func (c *Catalog) PriceLevel(currency string) (ValueAssumption, bool) {
	return c.value.get(valueLevel + strings.ToLower(currency))
}

// PriceCurrencies lists the currencies that have a level.
func (c *Catalog) PriceCurrencies() []string {
	var out []string
	for _, v := range c.value.rows {
		if v.Currency != "" {
			out = append(out, v.Currency)
		}
	}
	return out
}

func (b *builder) checkValue() {
	for _, x := range b.c.value.rows {
		s := b.spot("value", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.text("/unit", x.Unit)
		r, known := valueRanges[x.ID]
		if strings.HasPrefix(x.ID, valueLevel) {
			r, known = priceRange, true
			if x.Currency == "" || x.ID != valueLevel+strings.ToLower(x.Currency) {
				s.add("/currency", quote(x.Currency), "the letters after "+quote(valueLevel)+" in the id", "A level of prices stands under its currency", "Write both alike.")
			}
		} else if x.Currency != "" {
			s.add("/currency", quote(x.Currency), "none", "Only a level of prices has a currency", "Leave the field out.")
		}
		if !known {
			s.add("/id", quote(x.ID), strings.Join(sortedKeys(valueRanges), ", ")+", "+valueLevel+"…", "Nothing here is valued by this number", "Use one of the listed ids, or "+valueLevel+" and a currency.")
			continue
		}
		s.between("/value", x.Value, r.low, r.high)
		if r.deviation {
			s.between("/sd", x.SD, 1e-6, 10)
		} else if x.SD != 0 {
			s.add("/sd", number(x.SD), "none", "This number has no deviation", "Leave the field out.")
		}
	}
	for _, id := range sortedKeys(valueRanges) {
		if !b.c.value.has(id) {
			b.spot("value", id).add("", "nothing", "", "An assumption behind valuations is missing", "")
		}
	}
}
