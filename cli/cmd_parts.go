package cli

import (
	"fmt"
	"io"
	"strings"

	"example.org/asfound/workshop"
)

type partsCommand struct {
	Machine string  `arg:"" help:"the machine's name in the registry"`
	Ahead   float64 `help:"for how many years to look ahead" default:"2"`
	// Wait or buy.
	Buy        string   `help:"ask up to what price to buy this, in the words of the list"`
	Substitute *float64 `help:"with --buy: what is paid in the end if none is bought, with the originality that it loses"`
	Waiting    float64  `help:"with --buy: what a year without the part costs"`
	Discount   float64  `help:"with --buy: the yearly rate by which later money counts less" default:"0.03"`
	Years      int      `help:"with --buy: after so many years the substitute is taken" default:"5"`
}

// Run lists what must be in hand, and what the search log says of the rest.
func (x *partsCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	if x.Buy != "" {
		if x.Substitute == nil {
			return badFlag("--substitute", "", "520, what is paid in the end if none is bought")
		}
		r, err := w.Buy(c.ctx, x.Machine, workshop.BuyQuestion{What: x.Buy, Substitute: *x.Substitute, Waiting: x.Waiting, Discount: x.Discount, Years: x.Years})
		if err != nil {
			return err
		}
		return c.print(r, func(w io.Writer) { writeBuy(w, r) })
	}
	r, err := w.Parts(c.ctx, x.Machine, x.Ahead)
	if err != nil {
		return err
	}
	return c.print(r, func(w io.Writer) { writeParts(w, r) })
}

func writeParts(w io.Writer, r *workshop.PartsReport) {
	if len(r.Parts) == 0 {
		fmt.Fprintln(w, "Nothing is needed: no option on record that is still to be carried out names a part.")
	}
	for _, p := range r.Parts {
		state := "to be had"
		if p.InHand {
			state = "in hand"
		}
		fmt.Fprintf(w, "%-9s  %s", state, p.What)
		if p.Count > 0 {
			fmt.Fprintf(w, ", %s", strings.TrimSuffix(fmt.Sprintf("%g %s", p.Count, p.Unit), " 1"))
		}
		if !p.Money.IsZero() {
			fmt.Fprintf(w, ", %s", p.Money)
		}
		if p.LeadDays > 0 {
			fmt.Fprintf(w, ", %g days to arrive", p.LeadDays)
		}
		fmt.Fprintf(w, "; for %s", p.For)
		if p.Approved {
			fmt.Fprint(w, " (approved)")
		}
		fmt.Fprintln(w)
		if p.Search != nil {
			wrap(w, p.Search.Words, "           ")
			if p.Search.Why != "" {
				wrap(w, p.Search.Why, "           ")
			}
		}
	}
	for _, s := range r.Stock {
		fmt.Fprintf(w, "in stock   %s, %s, from %s", s.What, s.Origin, s.Source)
		if s.Reserved != "" {
			fmt.Fprintf(w, "; reserved for %s", s.Reserved)
		}
		fmt.Fprintln(w)
	}
	for _, n := range r.Numbers {
		fmt.Fprintf(w, "number     %s: %s", n.Number, n.What)
		for _, later := range n.Later {
			fmt.Fprintf(w, ", then %s", later)
		}
		fmt.Fprintf(w, " (%s)\n", n.Source)
	}
}

func writeBuy(w io.Writer, r *workshop.SearchReport) {
	wrap(w, r.Words, "")
	currency := r.Asked[0].Currency
	for i, p := range r.Result.Buy.Reservation {
		fmt.Fprintf(w, "in year %d buy at up to %.0f %s\n", i+1, p, currency)
	}
	wrap(w, fmt.Sprintf("Under that rule %.0f %s is spent on average, against %.0f for the substitute now: the right to wait is worth %.0f. "+
		"Offers are thought to come %.2f times a year, as the log says, at the prices that it holds, each as likely as another.",
		r.Result.Buy.Expected, currency, r.Result.Buy.Substitute, r.Result.Buy.Worth, r.Result.Buy.Rate), "")
}
