package workshop

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// PartReport is one thing that must be in hand.
type PartReport struct {
	What     string         `json:"what"`
	Count    float64        `json:"count,omitempty"`
	Unit     string         `json:"unit,omitempty"`
	Money    registry.Money `json:"money,omitzero"`
	LeadDays float64        `json:"lead_days,omitempty"`
	Source   string         `json:"source,omitempty"`
	// For names the option or opening that needs it, by record and in words.
	For   string `json:"for"`
	Title string `json:"title"`
	// InHand says that it has arrived; Stock names the part in stock that it is.
	InHand bool   `json:"in_hand"`
	Stock  string `json:"stock,omitempty"`
	// Approved says that an option which needs it is approved: it is reserved.
	Approved bool `json:"approved,omitempty"`
	// Search is what the log of looking for it says; nil when it is in hand.
	Search *SearchReport `json:"search,omitempty"`
}

// SearchReport is what the log of looking for a part says.
type SearchReport struct {
	Looks     int    `json:"looks"` // entries of the log
	Sightings int    `json:"sightings"`
	Since     string `json:"since,omitempty"`
	Until     string `json:"until,omitempty"`
	// Input is what `calc wait` takes; nil when the log says too little, and
	// Why says what would help.
	Input  *scoring.WaitInput  `json:"input,omitempty"`
	Result *scoring.WaitResult `json:"result,omitempty"`
	Why    string              `json:"why,omitempty"`
	Words  string              `json:"words"`
	// Asked are the prices of those that were seen.
	Asked []registry.Money `json:"asked,omitempty"`
}

// lookAhead is for how many years a search is thought ahead where nobody says.
const lookAhead = 2.0

// parts lists what an option and its openings need.
func (b *builder) parts(o *registry.Option) []PartReport {
	var out []PartReport
	add := func(needs []registry.Need, owner, title string) {
		for _, n := range needs {
			p := PartReport{What: b.text(n.What), Count: n.Count, Unit: n.Unit, Money: n.Money, LeadDays: n.LeadDays, Source: b.text(n.Source), For: owner, Title: b.text(title), InHand: n.InHand}
			if live, ok := registry.Get[*registry.Option](b.d, owner); ok { // what has arrived since an offer
				p.InHand = p.InHand || slices.ContainsFunc(live.Record.Needs, func(x registry.Need) bool { return x.InHand && x.What == n.What })
			}
			for _, s := range b.d.Stock() {
				if registry.SameNeed(s.Record.What, n.What) {
					p.InHand, p.Stock = true, s.RecordID()
				}
			}
			if !p.InHand {
				// What can be ordered needs no log.
				if s := searchReport(b.d, n.What, lookAhead); s.Looks > 0 || n.LeadDays == 0 && n.Source == "" {
					p.Search = s
				}
			}
			out = append(out, p)
		}
	}
	add(o.Needs, o.ID, o.Title)
	for _, id := range b.d.OpeningsNeeded(o.Openings) {
		if opening, ok := registry.Get[*registry.Opening](b.d, id); ok && !b.d.IsOpened(id) {
			add(opening.Record.Needs, id, opening.Record.Title)
		}
	}
	return out
}

// searchReport reads the log of looking for something, ahead for some years.
func searchReport(d *registry.Dossier, what string, ahead float64) *SearchReport {
	out := &SearchReport{}
	search := scoring.WaitSearch{Sightings: []string{}}
	var since, until time.Time
	for _, s := range registry.Live[*registry.Search](d) {
		if !registry.SameNeed(s.Record.What, what) {
			continue
		}
		span, at, err := middle(s.Valid())
		if err != nil {
			out.Why = "An entry of the search log has an open date. Correct " + s.RecordID() + "."
			continue
		}
		out.Looks++
		if since.IsZero() || span.First.Before(since) {
			since = span.First
		}
		if span.Last.After(until) {
			until = span.Last
		}
		if s.Record.Found {
			out.Sightings++
			search.Sightings = append(search.Sightings, at.Format(time.DateOnly))
			if !s.Record.Asked.IsZero() {
				out.Asked = append(out.Asked, s.Record.Asked)
			}
		}
	}
	if out.Looks == 0 {
		out.Why = "Nobody has written down how long it was looked for. Log each look, found or not."
		out.Words = "Nothing is known of how often it turns up."
		return out
	}
	out.Since, out.Until = since.Format(time.DateOnly), until.Format(time.DateOnly)
	search.Since, search.Until = out.Since, out.Until
	slices.Sort(search.Sightings)
	in := scoring.WaitInput{Search: &search, Ahead: ahead}
	r, err := scoring.Wait(in)
	if err != nil {
		out.Why, out.Words = err.Error(), "Nothing can be said yet of how often it turns up."
		return out
	}
	out.Input, out.Result = &in, &r
	seen := "never seen"
	if r.Sightings > 0 {
		seen = "seen " + times(r.Sightings)
	}
	out.Words = fmt.Sprintf("%s in %.1f years of looking: at least one turns up within the next %g years with a chance of %s.", upperFirst(seen), r.Years, ahead, scoring.Percent(r.Seen))
	return out
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// PartsReport is everything that is needed, for what is proposed, and what lies
// in stock.
type PartsReport struct {
	Ahead float64      `json:"ahead_years"`
	Parts []PartReport `json:"parts"`
	// Stock are parts in hand that are not fitted.
	Stock []StockReport `json:"stock"`
	// Log is the search log, oldest first.
	Log []SearchEntry `json:"log"`
	// Numbers are the part numbers on record, with what took their place.
	Numbers []PartNumberReport `json:"numbers"`
}

// StockReport is a part in stock.
type StockReport struct {
	ID       string         `json:"id"`
	What     string         `json:"what"`
	Number   string         `json:"number,omitempty"`
	Origin   string         `json:"origin"`
	Source   string         `json:"source"`
	Paid     registry.Money `json:"paid,omitzero"`
	Evidence []string       `json:"evidence"`
	// Reserved names the approved option that needs it.
	Reserved string `json:"reserved,omitempty"`
}

// SearchEntry is one entry of the search log.
type SearchEntry struct {
	ID    string         `json:"id"`
	What  string         `json:"what"`
	Where string         `json:"where"`
	Valid registry.Date  `json:"valid"`
	Found bool           `json:"found"`
	Asked registry.Money `json:"asked,omitzero"`
	By    string         `json:"by"`
}

// PartNumberReport is a part number with the numbers that took its place.
type PartNumberReport struct {
	Number string   `json:"number"`
	What   string   `json:"what"`
	Later  []string `json:"later"` // in order
	Fits   []string `json:"fits"`
	Source string   `json:"source"`
}

// Parts lists what the options need that are approved, or, while nothing is
// approved, all that are on record and not refused by work done already. Each
// thing stands once for each option or opening that needs it.
func (w *Workshop) Parts(ctx context.Context, machine string, ahead float64) (*PartsReport, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	if ahead == 0 {
		ahead = lookAhead
	}
	if !(ahead > 0 && ahead <= 100) {
		return nil, registry.Refuse(registry.CodeInvalid, "Look ahead for up to 100 years.", "%g is no number of years to look ahead", ahead)
	}
	b := builder{seen: &seen{w: w, d: d}, reader: NewReader(d, false), r: &Report{}}
	out := &PartsReport{Ahead: ahead, Parts: []PartReport{}, Stock: []StockReport{}, Log: []SearchEntry{}, Numbers: []PartNumberReport{}}
	reserved := map[string]string{} // stock → option
	seen := map[string]bool{}
	for _, approvedOnly := range []bool{true, false} {
		for _, o := range registry.Live[*registry.Option](d) {
			_, _, approved := d.Approval(o.RecordID(), w.Now())
			if approved != approvedOnly || worked(d, o.RecordID()) {
				continue
			}
			for _, p := range b.parts(o.Record) {
				key := p.For + "\x00" + p.What
				if seen[key] {
					continue
				}
				seen[key] = true
				p.Approved = approved
				if approved && p.Stock != "" && reserved[p.Stock] == "" {
					reserved[p.Stock] = o.RecordID()
				}
				if p.Search != nil {
					p.Search = searchReport(d, p.What, ahead)
				}
				out.Parts = append(out.Parts, p)
			}
		}
	}
	for _, s := range d.Stock() {
		out.Stock = append(out.Stock, StockReport{ID: s.RecordID(), What: b.text(s.Record.What), Number: s.Record.Number, Origin: s.Record.Origin,
			Source: b.text(s.Record.Source), Paid: s.Record.Paid, Evidence: append([]string{}, s.Record.Evidence...), Reserved: reserved[s.RecordID()]})
	}
	for _, s := range registry.Live[*registry.Search](d) {
		out.Log = append(out.Log, SearchEntry{ID: s.RecordID(), What: b.text(s.Record.What), Where: b.text(s.Record.Where), Valid: s.Valid(),
			Found: s.Record.Found, Asked: s.Record.Asked, By: b.person(s.Record.By)})
	}
	for _, n := range registry.Live[*registry.PartNumber](d) {
		out.Numbers = append(out.Numbers, PartNumberReport{Number: n.Record.Number, What: b.text(n.Record.What), Later: d.LaterNumbers(n.Record.Number),
			Fits: append([]string{}, n.Record.Fits...), Source: b.text(n.Record.Source)})
	}
	return out, nil
}

// worked says whether an option has been carried out.
func worked(d *registry.Dossier, option string) bool {
	return slices.ContainsFunc(registry.Live[*registry.Work](d), func(w registry.Found[*registry.Work]) bool { return w.Record.Option == option })
}

// BuyQuestion asks up to what price to take a part that seldom turns up.
type BuyQuestion struct {
	What string
	// Substitute is what is paid in the end if none is bought: with the
	// originality that it loses, if that has been given a price.
	Substitute float64
	Waiting    float64 // what a year without the part costs
	Discount   float64 // yearly rate by which later money counts less
	Years      int     // after so many the substitute is taken
}

// Buy answers up to what price to take one in each year. Offers are thought to
// come as often as the search log says, at the prices that it holds, each as
// likely as another. CodeInsufficient without a log or without a price in it.
func (w *Workshop) Buy(ctx context.Context, machine string, q BuyQuestion) (*SearchReport, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	out := searchReport(d, q.What, max(1, float64(q.Years)))
	if out.Input == nil {
		return nil, registry.Refuse(registry.CodeInsufficient, "Log each look for it, found or not, with the price asked.", "Up to what price to buy cannot be said. %s", out.Why)
	}
	if len(out.Asked) == 0 {
		return nil, registry.Refuse(registry.CodeInsufficient, "Log what was asked for those that were seen.", "No price of %q stands in the search log", q.What)
	}
	buy := scoring.WaitBuy{Waiting: q.Waiting, Discount: q.Discount, Substitute: q.Substitute, Years: q.Years}
	for _, m := range out.Asked {
		if m.Currency != out.Asked[0].Currency {
			return nil, registry.Refuse(registry.CodeInvalid, "Correct the entries to one currency.", "The prices in the search log are in %s and %s", out.Asked[0].Currency, m.Currency)
		}
		v, _ := m.Amount.Float64()
		buy.Offers = append(buy.Offers, scoring.WaitOffer{Price: v, Chance: 1 / float64(len(out.Asked))})
	}
	out.Input.Buy = &buy
	r, err := scoring.Wait(*out.Input)
	if err != nil {
		return nil, err
	}
	out.Result = &r
	return out, nil
}
