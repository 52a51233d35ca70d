package registry

// Fault is a complaint: what is wrong, as it shows itself.
type Fault struct {
	Common
	Complaint  string   `json:"complaint"`
	Components []string `json:"components"`
	// Cause is what is found to be wrong, once that is known.
	Cause string `json:"cause,omitempty"`
	By    string `json:"by"`
	// Grave marks a fault that could hurt someone.
	Grave bool `json:"grave,omitempty"`
}

func (*Fault) Kind() Kind { return "fault" }

func (f *Fault) check(fs *faults) {
	fs.need("/complaint", f.Complaint, "It is not said what is wrong", "One sentence.")
	if len(f.Components) == 0 {
		fs.add("/components", "", "", "The fault belongs to no component", "Name where it shows.")
	}
	fs.ids("/components", f.Components)
	fs.id("/by", f.By, false)
}

// Opening is taking something off to reach what is behind. It is paid once for
// all jobs behind it, and what its joints could say is lost for good.
type Opening struct {
	Common
	Title  string   `json:"title"`
	Joints []string `json:"joints,omitempty"`
	Money  Money    `json:"money,omitzero"`
	Hours  float64  `json:"hours"`
	// LeadDays is how long its gaskets and seals take to arrive.
	LeadDays float64 `json:"lead_days,omitempty"`
	// WitnessPoints is what is lost for good, in points of 1000.
	WitnessPoints float64  `json:"witness_points"`
	Requires      []string `json:"requires,omitempty"` // openings that come first
	Behind        []string `json:"behind,omitempty"`   // components that it lays open
	Needs         []Need   `json:"needs,omitempty"`    // gaskets and seals, in hand before it is opened
}

// Need is something that must be in hand.
type Need struct {
	What     string  `json:"what"`
	Count    float64 `json:"count,omitempty"`
	Unit     string  `json:"unit,omitempty"`
	Money    Money   `json:"money,omitzero"`
	LeadDays float64 `json:"lead_days,omitempty"`
	InHand   bool    `json:"in_hand,omitempty"`
	Source   string  `json:"source,omitempty"`
}

func (*Opening) Kind() Kind { return "opening" }

func (o *Opening) check(fs *faults) {
	fs.need("/title", o.Title, "The opening has no title", "Write what comes off.")
	fs.ids("/joints", o.Joints)
	fs.money("/money", o.Money)
	fs.notNegative("/hours", o.Hours, "hours")
	fs.notNegative("/lead_days", o.LeadDays, "days")
	fs.notNegative("/witness_points", o.WitnessPoints, "points")
	fs.ids("/requires", o.Requires)
	fs.ids("/behind", o.Behind)
	for i, r := range o.Requires {
		if r == o.ID {
			fs.add(at("/requires", i), r, "", "The opening requires itself", "")
		}
	}
	checkNeeds(fs, "/needs", o.Needs)
}

func checkNeeds(fs *faults, pointer string, needs []Need) {
	for i, n := range needs {
		fs.need(at(pointer, i)+"/what", n.What, "It is not said what is needed", "")
		fs.notNegative(at(pointer, i)+"/count", n.Count, "pieces or units")
		fs.notNegative(at(pointer, i)+"/lead_days", n.LeadDays, "days")
		fs.money(at(pointer, i)+"/money", n.Money)
	}
}

// Option is one candidate intervention for a fault.
type Option struct {
	Common
	Fault     string `json:"fault"`
	Treatment string `json:"treatment"` // a rung of the catalog's ladder
	Title     string `json:"title"`
	// Why says what it does and why it is worth weighing.
	Why      string   `json:"why,omitempty"`
	Changes  []Change `json:"changes,omitempty"`
	Openings []string `json:"openings,omitempty"`
	Needs    []Need   `json:"needs,omitempty"`
	// Money is what it will most likely cost; MoneyLow and MoneyHigh are the
	// least and the most, without the finds. Left out, they are Money itself.
	Money     Money    `json:"money,omitzero"`
	MoneyLow  Money    `json:"money_low,omitzero"`
	MoneyHigh Money    `json:"money_high,omitzero"`
	Finds     []Find   `json:"finds,omitempty"`
	Hours     float64  `json:"hours"`
	LeadDays  float64  `json:"lead_days,omitempty"`
	Works     *float64 `json:"works,omitempty"` // chance that it cures the fault, an assumption
	Requires  []string `json:"requires,omitempty"`
	Excludes  []string `json:"excludes,omitempty"`
	Undo      string   `json:"undo,omitempty"`
	By        string   `json:"by"`
}

// Find is something that may be found once work is begun.
type Find struct {
	What   string  `json:"what"`
	Chance float64 `json:"chance"` // 0 to 1, an assumption
	Money  Money   `json:"money"`
}

// Span gives the least, the likely and the most that the option could cost.
func (o *Option) Span() (low, likely, high Money) {
	low, likely, high = o.MoneyLow, o.Money, o.MoneyHigh
	if low.IsZero() {
		low = likely
	}
	if high.IsZero() {
		high = likely
	}
	return low, likely, high
}

// Change is what an option, or work done, does to one question about one
// component.
type Change struct {
	Component   string      `json:"component"`
	Proposition Proposition `json:"proposition"`
	// After is how the states stand afterwards, when they are replaced.
	After map[string]float64 `json:"after,omitempty"`
	// Keeps is the share of the credit that stays, 0 to 1, when the part stays
	// but loses something. Exactly one of After and Keeps is given.
	Keeps *float64 `json:"keeps,omitempty"`
	// Removes says that the part itself comes off. Keep says what becomes of
	// it; without Keep there is no discount on what is lost for good.
	Removes bool         `json:"removes,omitempty"`
	Keep    *KeepPromise `json:"keep,omitempty"`
}

// KeepPromise is how a removed part will be kept, and how likely it is that it
// can go back.
type KeepPromise struct {
	Custody     string  `json:"custody"`
	LossPerYear float64 `json:"loss_per_year"` // chance per year that it goes astray, 0 to 1
	Years       float64 `json:"years"`         // over how many years that is asked
	RefitChance float64 `json:"refit_chance"`  // chance that it can go back as it was, 0 to 1
}

func (*Option) Kind() Kind { return "option" }

func (o *Option) check(fs *faults) {
	fs.id("/fault", o.Fault, false)
	fs.id("/treatment", o.Treatment, false)
	fs.need("/title", o.Title, "The option has no title", "")
	fs.id("/by", o.By, false)
	checkChanges(fs, "/changes", o.Changes)
	fs.ids("/openings", o.Openings)
	checkNeeds(fs, "/needs", o.Needs)
	o.checkMoney(fs)
	fs.notNegative("/hours", o.Hours, "hours")
	fs.notNegative("/lead_days", o.LeadDays, "days")
	if o.Works != nil {
		fs.probability("/works", *o.Works)
	}
	fs.ids("/requires", o.Requires)
	fs.ids("/excludes", o.Excludes)
}

// checkMoney checks the span of an option's price and what may be found: one
// currency, and the likely price between the least and the most.
func (o *Option) checkMoney(fs *faults) {
	fs.money("/money", o.Money)
	fs.money("/money_low", o.MoneyLow)
	fs.money("/money_high", o.MoneyHigh)
	low, likely, high := o.Span()
	if low.Exceeds(likely) || likely.Exceeds(high) {
		fs.add("/money", likely.String(), "from "+low.String()+" to "+high.String(), "The likely price does not lie between the least and the most", "Give all three in one currency.")
	}
	for i, f := range o.Finds {
		p := at("/finds", i)
		fs.need(p+"/what", f.What, "It is not said what may be found", "")
		fs.probability(p+"/chance", f.Chance)
		fs.money(p+"/money", f.Money)
		if !likely.IsZero() && f.Money.Currency != likely.Currency {
			fs.add(p+"/money/currency", f.Money.Currency, likely.Currency, "What may be found is priced in another currency than the option", "")
		}
	}
}

func checkChanges(fs *faults, pointer string, changes []Change) {
	seen := map[string]bool{}
	for i, c := range changes {
		p := at(pointer, i)
		fs.id(p+"/component", c.Component, false)
		if !checkProposition(fs, p+"/proposition", c.Proposition) {
			continue
		}
		key := c.Component + " " + string(c.Proposition)
		if seen[key] {
			fs.add(p, key, "", "Two changes touch the same question of the same component", "Two parts cannot take one position: keep one change.")
		}
		seen[key] = true
		switch {
		case (c.After == nil) == (c.Keeps == nil):
			fs.add(p, "", "", "A change gives either the states after it or the share that it keeps", "")
		case c.After != nil:
			fs.distribution(p+"/after", c.Proposition, c.After)
		default:
			fs.probability(p+"/keeps", *c.Keeps)
		}
		if k := c.Keep; k != nil {
			checkTerm(fs, p+"/keep/custody", k.Custody, Custodies())
			fs.probability(p+"/keep/loss_per_year", k.LossPerYear)
			fs.notNegative(p+"/keep/years", k.Years, "years")
			fs.probability(p+"/keep/refit_chance", k.RefitChance)
		}
	}
}

// Weighing records the effects of options as they were computed.
type Weighing struct {
	Common
	Options []string        `json:"options"`
	Effects []NamedEstimate `json:"effects"` // of "option/index"
	By      string          `json:"by"`
}

func (*Weighing) Kind() Kind { return "weighing" }

func (w *Weighing) check(fs *faults) {
	fs.ids("/options", w.Options)
	checkEstimates(fs, "/effects", w.Effects)
	fs.id("/by", w.By, false)
}
