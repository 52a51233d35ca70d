package scoring

import (
	"time"
)

// maxWaitYears is the longest horizon of a purchase.
const maxWaitYears = 100

// WaitInput asks whether to wait for a part that seldom turns up.
type WaitInput struct {
	// Search is the dated log of looking for it. Without one there is no
	// answer: "never seen one" says nothing unless it is known over how long.
	Search *WaitSearch `json:"search,omitempty"`
	Ahead  float64     `json:"ahead"` // years looked ahead, above 0
	Buy    *WaitBuy    `json:"buy,omitempty"`
}

// WaitSearch is a log of looking, with dates as 2006-01-02.
type WaitSearch struct {
	Since     string   `json:"since"`
	Until     string   `json:"until"`
	Sightings []string `json:"sightings"` // the date of each
}

// WaitBuy asks up to what price to buy in each year.
type WaitBuy struct {
	// Rate is offers per year; if nil, the mean that follows from the log.
	Rate *float64 `json:"rate,omitempty"`
	// Offers are what is asked when one turns up, and how often; sum 1.
	Offers []WaitOffer `json:"offers"`
	// Waiting is what a year without the part costs; Discount the yearly rate
	// by which later money counts less; Substitute what is paid in the end
	// (with the originality that it loses, if that has been given a price).
	Waiting    float64 `json:"waiting"`
	Discount   float64 `json:"discount"`
	Substitute float64 `json:"substitute"`
	Years      int     `json:"years"` // after so many the substitute is taken
}

// WaitOffer is one price and its chance.
type WaitOffer struct {
	Price  float64 `json:"price"`
	Chance float64 `json:"chance"`
}

// WaitResult is what the log says, and up to what price to buy.
type WaitResult struct {
	Years     float64 `json:"years"`     // of looking
	Sightings int     `json:"sightings"` // in that time
	// Rate is the mean number of sightings per year, (k + ½)/t; Seen the chance
	// of at least one in the years ahead.
	Rate float64     `json:"rate"`
	Seen float64     `json:"seen"`
	Buy  *WaitPrices `json:"buy,omitempty"`
}

// WaitPrices is the rule for buying.
type WaitPrices struct {
	Rate float64 `json:"rate"` // offers per year that were reckoned with
	// Reservation is, for each year, the price up to which to buy.
	Reservation []float64 `json:"reservation"`
	Expected    float64   `json:"expected"` // mean spending under that rule, discounted to now
	Substitute  float64   `json:"substitute"`
	// Worth is what the right to wait is worth: the substitute now less the
	// expected spending, and 0 when waiting is no use.
	Worth float64 `json:"worth"`
}

// Wait says how likely a part is to turn up, from the log of looking for it,
// and up to what price to take an offer in each year.
//
// Sightings are a Poisson process with Jeffreys' prior for its rate: after k in
// t years the chance of at least one in the next y is 1 − (t/(t+y))^(k+½)
// (Gamma–Poisson; Bernardo and Smith, Bayesian Theory, 1994). With none seen it
// is not 0.
//
// Prices follow by backward induction (optimal stopping with recall of nothing):
// waiting in a year costs w + V/(1+d), V being the expected spending from the
// next year on; at the end V is the substitute; an offer is taken when it asks
// no more than waiting costs. The rate is taken as known and constant.
//
// It refuses (CodeInsufficient) without a dated search log, and (CodeInvalid)
// dates that are none or lie outside the log, and figures out of range.
func Wait(in WaitInput) (WaitResult, error) {
	if in.Search == nil || in.Search.Since == "" || in.Search.Until == "" {
		return WaitResult{}, insufficient("/search", "There is no dated log of looking: never seen in how many years?",
			"Give since and until, and the date of each sighting.")
	}
	var fs faults
	since, until := fs.date("/search/since", in.Search.Since), fs.date("/search/until", in.Search.Until)
	if len(fs) == 0 && !since.Before(until) {
		fs.add("/search/until", in.Search.Until, "after "+in.Search.Since, "The log ends before it begins", "Mend the dates.")
	}
	for i, s := range in.Search.Sightings {
		here := at("/search/sightings", i)
		if d := fs.date(here, s); len(fs) == 0 && (d.Before(since) || d.After(until)) {
			fs.add(here, s, in.Search.Since+" to "+in.Search.Until, "This sighting lies outside the log", "Mend its date, or the dates of the log.")
		}
	}
	if !(in.Ahead > 0 && in.Ahead <= 1000) {
		fs.add("/ahead", number(in.Ahead), "above 0, to 1000 years", "The time looked ahead is out of range", "Give it in years.")
	}
	if in.Buy != nil {
		fs.buy(*in.Buy)
	}
	if err := fs.err("The wait"); err != nil {
		return WaitResult{}, err
	}
	years, seen := until.Sub(since).Hours()/24/365.25, len(in.Search.Sightings)
	shape := float64(seen) + 0.5
	out := WaitResult{Years: years, Sightings: seen, Rate: shape / years,
		Seen: 1 - exponential(float64(shape*logarithm(years/(years+in.Ahead))))}
	if in.Buy != nil {
		b := in.Buy.reservation(out.Rate)
		out.Buy = &b
	}
	return out, nil
}

// reservation is the backward induction.
func (b *WaitBuy) reservation(rate float64) WaitPrices {
	if b.Rate != nil {
		rate = *b.Rate
	}
	out := WaitPrices{Rate: rate, Reservation: make([]float64, b.Years), Substitute: b.Substitute}
	chance := 1 - exponential(-rate)
	ahead := b.Substitute
	for year := b.Years - 1; year >= 0; year-- {
		waiting := b.Waiting + ahead/(1+b.Discount)
		offered := 0.0
		for _, o := range b.Offers {
			offered += float64(o.Chance * min(o.Price, waiting))
		}
		out.Reservation[year] = waiting
		ahead = float64(chance*offered) + float64((1-chance)*waiting)
	}
	out.Expected = ahead
	out.Worth = max(0, b.Substitute-ahead)
	return out
}

func (fs *faults) buy(b WaitBuy) {
	if b.Rate != nil {
		fs.span("/buy/rate", *b.Rate, 0, 1000, "A rate", "offers per year")
	}
	fs.span("/buy/waiting", b.Waiting, 0, 1e9, "The cost of waiting", "units of money per year")
	fs.span("/buy/discount", b.Discount, 0, 1, "The discount", "per year")
	fs.span("/buy/substitute", b.Substitute, 0, 1e9, "The substitute", "units of money")
	fs.span("/buy/years", float64(b.Years), 1, maxWaitYears, "The horizon", "years")
	fs.count("/buy/offers", len(b.Offers), MaxStates, "prices")
	sum := 0.0
	for i, o := range b.Offers {
		fs.span(at("/buy/offers", i)+"/price", o.Price, 0, 1e9, "A price", "units of money")
		fs.probability(at("/buy/offers", i)+"/chance", o.Chance, "The chance of a price")
		sum += o.Chance
	}
	if !(sum >= 1-sumTolerance && sum <= 1+sumTolerance) {
		fs.add("/buy/offers", "a sum of "+number(sum), "a sum of 1 within 1e-9", "The chances of the prices must sum to 1", "Add what is missing, or scale them.")
	}
}

// date reads a day; the zero time and a fault when it is none.
func (fs *faults) date(pointer, s string) time.Time {
	t, err := time.Parse("2006-01-02", s)
	if err != nil {
		fs.add(pointer, quote(s), "a day as 1957-06-30", "This is no date", "Write year, month and day.")
	}
	return t
}

func readWaitInput(r *reader, n *node) (in WaitInput) {
	r.object(n, "",
		member{"search", false, func(n *node, pointer string) {
			in.Search = &WaitSearch{}
			r.object(n, pointer,
				member{"since", false, r.text(&in.Search.Since)},
				member{"until", false, r.text(&in.Search.Until)},
				member{"sightings", true, r.texts(&in.Search.Sightings)},
			)
		}},
		member{"ahead", true, r.number(&in.Ahead)},
		member{"buy", false, func(n *node, pointer string) {
			in.Buy = &WaitBuy{}
			r.object(n, pointer,
				member{"rate", false, r.optional(&in.Buy.Rate)},
				member{"offers", true, r.array(func(n *node, pointer string) {
					var o WaitOffer
					r.object(n, pointer,
						member{"price", true, r.number(&o.Price)},
						member{"chance", true, r.number(&o.Chance)},
					)
					in.Buy.Offers = append(in.Buy.Offers, o)
				})},
				member{"waiting", true, r.number(&in.Buy.Waiting)},
				member{"discount", true, r.number(&in.Buy.Discount)},
				member{"substitute", true, r.number(&in.Buy.Substitute)},
				member{"years", true, func(n *node, pointer string) {
					var years float64
					r.number(&years)(n, pointer)
					if in.Buy.Years = int(min(years, 1e6)); float64(in.Buy.Years) != years {
						r.add(pointer, number(years), "a whole number, 1 to 100", "The horizon is whole years", "Round it.")
					}
				}},
			)
		}},
	)
	return in
}
