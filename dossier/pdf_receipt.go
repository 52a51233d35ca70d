package dossier

import (
	"fmt"
	"io"
	"strings"
	"time"

	"rsc.io/qr"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ReceiptInput is what a printed receipt is made of.
type ReceiptInput struct {
	// Language is what the document is said in.
	Language Language
	Receipt  *workshop.OwnerReceipt
	Program  string
}

// WriteReceipt writes the receipt of an owner's answer on A5. Its code holds the
// digest of what was shown and opens nothing. The same input gives the same
// bytes. Codes: CodeInvalid without a receipt.
func WriteReceipt(w io.Writer, in ReceiptInput) error {
	r := in.Receipt
	if r == nil {
		return registry.Refuse(registry.CodeInvalid, "Give a receipt.", "There is nothing to print")
	}
	p := &cardPDF{&pdf{sheet: newSheet(paperA5, in.Language), r: &workshop.Report{Machine: r.Machine}}, nil}
	p.f.SetTitle(oneLine(p.filled("Receipt: %s", r.Says)), true)
	p.f.SetSubject(oneLine(r.Machine.Name), true)
	p.f.SetCreator(oneLine(in.Program), true)
	p.f.SetProducer("asfound", true)
	p.f.SetCreationDate(r.Answer.Recorded.UTC())
	p.f.SetModificationDate(r.Answer.Recorded.UTC())
	p.page()
	p.write(ownSmall(oneLine(r.Machine.Name)))
	p.write(piece{text: "Receipt for your answer", look: look{faceBold, 13, 0}})
	p.gap(2)
	p.write(piece{text: r.Says, look: lookLead})
	p.gap(2)
	p.facts([2]string{"Answered", r.Answer.Recorded.UTC().Format("2 January 2006, 15:04 UTC")}, [2]string{"By", r.Who}, [2]string{"Means", r.Means},
		[2]string{"Asked by", r.By}, [2]string{"At most", r.Ceiling}, [2]string{"Counts until", untilWords(r.Answer.Until)}, [2]string{"Reference", r.Answer.ID}, [2]string{"Place in the record", fmt.Sprintf("version %d, event %s", r.Version, r.Event)})
	if len(r.Chosen) > 0 {
		p.part("What you approved")
		var chosen []string
		for _, o := range r.Chosen {
			if !o.Reversible {
				o.Title = p.filled("%s (cannot be undone)", o.Title)
			}
			chosen = append(chosen, o.Title)
		}
		p.list(chosen)
	}
	if len(r.Answer.Conditions) > 0 {
		p.part("Your conditions")
		p.list(r.Answer.Conditions)
	}
	if r.Answer.Reason != "" {
		p.part("Your words")
		p.write(own(r.Answer.Reason))
	}
	p.part("What that proves")
	p.list(r.Proves)
	p.part("What happens next")
	p.list(r.Next)
	p.part("What you were shown")
	p.write(body("This digest stands for the whole question as it stood on your page, to the last figure. A copy of the machine’s bundle can be checked against it."))
	if err := p.digest(r.Digest); err != nil {
		return err
	}
	p.write(small("The answer’s own place in the record has the hash " + r.Hash + "."))
	p.receiptFoot(r)
	if err := p.f.Error(); err != nil {
		return fmt.Errorf("make the receipt: %w", err)
	}
	return p.f.Output(w)
}

// untilWords says when an approval ends, "" when it has no end.
func untilWords(t *time.Time) string {
	if t == nil {
		return ""
	}
	return t.UTC().Format("2 January 2006, 15:04 UTC")
}

// digest prints a digest in groups of eight figures beside its code.
func (p *cardPDF) digest(digest string) error {
	code, err := qr.Encode(digest, qr.M)
	if err != nil {
		return err
	}
	side := leastModule * float64(code.Size+2*quietZone)
	p.gap(2)
	p.room(side + 2)
	top := p.y
	(&labels{sheet: p.sheet}).code(code, p.paper.side, top, leastModule)
	p.fresh()
	hex := hexOf(digest)
	at := p.paper.side + side + 4
	mono := look{faceMono, 8.4, 0}
	p.line(at, top+3, lookSmall, "sha256:")
	for i := 0; i < len(hex); i += 32 {
		p.line(at, top+8+float64(i/32)*5, mono, hex[i:min(i+32, len(hex))])
	}
	p.y = top + side + 2
	return nil
}

func (p *cardPDF) receiptFoot(r *workshop.OwnerReceipt) {
	foot := look{faceText, 7, 60}
	pages := p.f.PageCount()
	for page := 1; page <= pages; page++ {
		p.f.SetPage(page)
		p.fresh()
		left := strings.Join([]string{r.Machine.ID, r.Offer, p.say(fmt.Sprintf("page %d of %d", page, pages))}, " · ")
		p.line(p.paper.side, p.paper.height-9, foot, p.clean(foot, oneLine(left)))
		if r.Machine.Invented {
			p.banner()
		}
	}
	p.f.SetPage(pages)
}
