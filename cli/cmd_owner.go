package cli

import (
	"context"
	"fmt"
	"io"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

type linkCommand struct {
	Target target `embed:""`
	To     string `help:"person id of who decides with it; the owner of the custody agreement when left out"`
	Days   int    `help:"days until it runs out" default:"14"`
	End    string `help:"take this link back instead of making one"`
	Why    string `help:"why it is taken back" default:"no longer needed"`
}

// Run makes a link for a person and prints it, once, or takes one back.
func (x *linkCommand) Run(c *call) error {
	if x.End != "" {
		return c.record(x.Target, "The link opens nothing any more", &registry.Withdrawal{Record: x.End, Why: x.Why, By: c.line.As})
	}
	if x.Days < 1 {
		return badFlag("--days", fmt.Sprint(x.Days), "14")
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	out, err := w.GiveLink(c.ctx, x.Target.request(c), workshop.LinkInput{To: x.To, Expires: c.Now().AddDate(0, 0, x.Days)})
	if err != nil {
		return err
	}
	return c.print(out, func(w io.Writer) {
		fmt.Fprintf(w, "The page of %s, shown only now: /o/%s (link %s, until %s).\n", out.To, out.Token, out.ID, out.Expires.Format("2 January 2006"))
		for _, id := range out.Ended {
			fmt.Fprintf(w, "It takes the place of the link %s, which opens nothing any more.\n", id)
		}
	})
}

type replyCommand struct {
	Target   target `embed:""`
	Question string `arg:"" help:"the owner's question, by the name of the answer \"ask\""`
	Says     string `arg:"" help:"the reply, in a sentence or more"`
	By       string `help:"person id of who replies; --as when left out"`
}

// Run records a reply to a question of the owner.
func (x *replyCommand) Run(c *call) error {
	return c.record(x.Target, "The reply is recorded, and appears at the owner's link", &registry.Reply{Question: x.Question, Says: x.Says, By: orElse(x.By, c.line.As)})
}

type receiptCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
	Offer   string `arg:"" help:"the proposal or change request that was answered"`
	Output  string `short:"o" type:"path" help:"write it here as a PDF to print on A5"`
	spoken  `embed:""`
}

// Run shows the receipt of an answer, or prints it.
func (x *receiptCommand) Run(c *call) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	r, err := o.Receipt(c.ctx, x.Machine, x.Offer)
	if err != nil {
		return err
	}
	if x.Output != "" {
		ctx, err := x.speak(c.ctx)
		if err != nil {
			return err
		}
		if err := writeFile(x.Output, func(w io.Writer) error { return writeReceipt(ctx, w, r) }); err != nil {
			return err
		}
		return c.print(map[string]string{"pdf": x.Output}, printer("Written: "+x.Output))
	}
	return c.print(r, func(w io.Writer) {
		fmt.Fprintf(w, "%s\n%s. %s answered %s on %s (%s).\n", r.Machine.Name, r.Says, r.Who, r.Offer, r.Answer.Recorded.Format("2 January 2006, 15:04 UTC"), r.Means)
		for _, o := range r.Chosen {
			wrap(w, "- "+o.Title, "  ")
		}
		if r.Ceiling != "" {
			fmt.Fprintf(w, "At most %s.\n", r.Ceiling)
		}
		for _, s := range r.Answer.Conditions {
			wrap(w, "On condition: "+s, "  ")
		}
		if r.Answer.Reason != "" {
			wrap(w, "In the owner's words: "+r.Answer.Reason, "  ")
		}
		fmt.Fprintf(w, "What was shown: %s\nThe answer: %s, version %d, event %s, hash %s\n", r.Digest, r.Answer.ID, r.Version, r.Event, r.Hash)
		for _, s := range r.Next {
			wrap(w, s, "")
		}
	})
}

// writeReceipt prints a receipt, for the command and for the server.
func writeReceipt(ctx context.Context, w io.Writer, r *workshop.OwnerReceipt) error {
	return dossier.WriteReceipt(w, dossier.ReceiptInput{Language: saidIn(ctx), Receipt: r, Program: "asfound " + Version})
}
