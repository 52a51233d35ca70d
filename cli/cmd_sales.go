package cli

import (
	"fmt"
	"io"

	"example.org/asfound/registry"
)

type salesCommand struct {
	List   salesListCommand   `cmd:"" default:"withargs" help:"list the sales that other machines of the registry offer to one"`
	Permit salesPermitCommand `cmd:"" help:"record the owner's permission to use the sales on a machine's record for others"`
	Stop   salesStopCommand   `cmd:"" help:"take that permission back"`
}

type salesListCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
}

// Run lists what others offer.
func (x *salesListCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	list, err := w.SharedSales(c.ctx, x.Machine)
	if err != nil {
		return err
	}
	return c.print(list, func(w io.Writer) {
		if len(list) == 0 {
			fmt.Fprintln(w, "No other machine of this registry offers a sale.")
		}
		for _, s := range list {
			price := "price withheld"
			if s.Price != nil {
				price = s.Price.String() + ", " + s.PriceKind
			}
			fmt.Fprintf(w, "%-28s %s %s, sold %s: %s (%s)\n", s.ID, s.Make, s.Model, s.Date, price, s.Source)
		}
	})
}

type salesPermitCommand struct {
	Target  target `embed:""`
	GivenBy string `default:"owner" help:"person id of the owner or executor who gave it"`
	How     string `required:"" help:"how it was given, and where that can be looked up"`
	Prices  bool   `help:"prices may be seen and used too; without them a sale is named, and no figure made of it"`
}

// Run records the permission.
func (x *salesPermitCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.ShareSales(c.ctx, x.Target.request(c), x.GivenBy, x.How, x.Prices)
	if err != nil {
		return err
	}
	return c.printReceipt(r, "The permission is recorded, and the sales can be used for other machines")
}

type salesStopCommand struct {
	Target target `embed:""`
	Why    string `required:"" help:"at whose wish"`
}

// Run takes the permission back.
func (x *salesStopCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	r, err := w.StopSharing(c.ctx, x.Target.request(c), registry.ForSharingSales, x.Why)
	if err != nil {
		return err
	}
	return c.printReceipt(r, "Taken back: nothing new is made of these sales; what was shown before stays")
}
