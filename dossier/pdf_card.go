package dossier

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// CardInput is what a printed work card is made of.
type CardInput struct {
	// Language is what the document is said in.
	Language Language
	Card     *workshop.CardReport
	// Preview opens a photo's preview by digest; see PDFInput.
	Preview func(digest string) (io.ReadCloser, error)
	Program string
}

// cardPDF is a work card under way.
type cardPDF struct {
	*pdf
	card *workshop.CardReport
}

// WriteCard writes a work card to be printed on A5 and taken to the bench. The
// same input gives the same bytes. Codes as WritePDF.
func WriteCard(w io.Writer, in CardInput) error {
	if in.Card == nil {
		return registry.Refuse(registry.CodeInvalid, "Give a card.", "There is nothing to print")
	}
	p := &cardPDF{&pdf{sheet: newSheet(paperA5, in.Language), in: PDFInput{Preview: in.Preview}, r: &workshop.Report{Machine: in.Card.Machine}}, in.Card}
	p.f.SetTitle(oneLine(p.say("Work card: "+in.Card.Option.Title)), true)
	p.f.SetSubject(oneLine(in.Card.Machine.Name), true)
	p.f.SetCreator(oneLine(in.Program), true)
	p.f.SetProducer("asfound", true)
	p.f.SetCreationDate(in.Card.Changed.UTC())
	p.f.SetModificationDate(in.Card.Changed.UTC())
	p.page()
	p.top()
	p.beforeOpening()
	if err := p.openings(); err != nil {
		return err
	}
	p.steps()
	p.after()
	p.foot()
	if err := p.f.Error(); err != nil {
		return fmt.Errorf("make the card: %w", err)
	}
	return p.f.Output(w)
}

// part begins a part of the card. So short a document needs no bookmarks.
func (p *cardPDF) part(title string) {
	p.gap(4)
	p.room(18)
	for _, text := range p.broken(piece{text: title, look: lookPart}, p.bodyWidth()) {
		p.line(p.paper.side, p.y, lookPart, text)
		p.y += lookPart.height()
	}
	p.y++
}

// tick is an empty box before a line, to be ticked with a pencil.
func (p *cardPDF) tick(done bool, text string) {
	const side = 3.2
	lines := p.broken(body(text), p.bodyWidth()-6)
	p.room(lookBody.height() * float64(min(len(lines), 3)))
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.25)
	p.f.Rect(p.paper.side, p.y+0.3, side, side, "D")
	if done {
		p.f.Line(p.paper.side+0.6, p.y+1.9, p.paper.side+1.4, p.y+2.9)
		p.f.Line(p.paper.side+1.4, p.y+2.9, p.paper.side+2.8, p.y+0.8)
	}
	p.writeIn(body(text), 6)
	p.y += 0.6
}

func (p *cardPDF) top() {
	c := p.card
	p.write(ownSmall(oneLine(c.Machine.Name)))
	p.write(piece{text: "Work card: " + c.Option.Title, look: look{faceBold, 13, 0}})
	p.write(small(p.joined(" · ", c.Option.TreatmentTitle, c.Complaint)))
	p.gap(2)
	if a := c.Approval; a != nil {
		p.part("Approved, and no more than this")
		money := ""
		if a.Ceiling != "" {
			money = a.Ceiling + ", spent so far " + cmp.Or(a.Spent, word("nothing"))
		}
		p.facts([2]string{"By", p.joined(", ", a.By, a.On.UTC().Format("2 January 2006"))}, [2]string{"Decision", p.filled("%s, on %s", a.Decision, a.Offer)},
			[2]string{"Until", a.Until}, [2]string{"Ceiling", money}, [2]string{"Conditions", strings.Join(a.Conditions, "; ")})
		p.list(a.Covers)
	} else {
		p.part("NOT APPROVED: do not begin")
		p.write(strong(sentence(c.Uncovered.Why) + ". " + c.Uncovered.Fix))
	}
	p.part("Where the card ends")
	p.list(c.Beyond)
}

func (p *cardPDF) beforeOpening() {
	c := p.card
	p.part("Before you open")
	for _, n := range c.Needs {
		need := "%s (not in hand: order it), for %s"
		if n.InHand {
			need = "%s (in hand), for %s"
		}
		p.tick(n.InHand, p.filled(need, n.What, n.For))
	}
	for _, x := range c.First {
		p.tick(false, x)
	}
	if len(c.Tools) > 0 {
		p.part("Tools and tips")
		p.write(body(strings.Join(c.Tools, "; ") + "."))
		p.list(c.Tips)
		p.write(small(c.TipsBasis))
	}
	if len(c.Cautions) > 0 {
		p.part("Cautions")
	}
	for _, x := range c.Cautions {
		read := "Read: ____________"
		if len(x.Read) > 0 {
			read = p.filled("Read by %s, %s", x.Read[len(x.Read)-1].By, x.Read[len(x.Read)-1].On.UTC().Format("2 January 2006"))
		}
		if x.Level == "note" {
			read = ""
		}
		p.tick(len(x.Read) > 0, p.joined(" ", p.levelWord(x.Level)+".", x.Text, read))
	}
}

// levelWord is the word that a caution of a level begins with, as on the page.
func (l Language) levelWord(level string) string {
	if level == "acknowledge" {
		return l.say("TAKE CARE")
	}
	return strings.ToUpper(l.say(level))
}

func (p *cardPDF) openings() error {
	for _, o := range p.card.Openings {
		p.part("Opening: " + o.Title)
		switch {
		case o.Opened != "":
			p.write(body("Opened on " + o.Opened + ", " + o.Mark + "."))
		case len(o.Lacks) > 0:
			for _, l := range o.Lacks {
				p.write(strong(p.filled("Stop: %s. %s", l.Why, l.Fix)))
			}
		default:
			p.tick(false, "Nothing stands against opening it. Opened on ____________ at ______")
		}
		for _, j := range o.Joints {
			p.write(small(p.joined(", ", p.filled("Joint %s", words(j.Joint)), cmp.Or(j.Witness, "not in the witness register"), j.Sign)))
		}
		for _, picture := range o.Pictures {
			if err := p.asFound(picture); err != nil {
				return err
			}
		}
		for _, m := range o.Maps {
			if err := p.fasteners(m); err != nil {
				return err
			}
		}
		for _, x := range o.Closed {
			p.write(body("Closed on " + string(x.On) + " by " + x.By + "."))
			for _, d := range x.Differs {
				p.write(strong("Does not balance: " + d))
			}
		}
	}
	if len(p.card.Closing) > 1 {
		p.gap(2)
		p.write(body("Close in this order: " + p.joined("; ", p.card.Closing...) + "."))
	}
	return nil
}

// asFound shows an as-found picture, or says why it is not there.
func (p *cardPDF) asFound(photo workshop.PhotoReport) error {
	caption := cmp.Or(photo.Caption, photo.ID)
	name, w, h, reason, err := p.place(photo.Preview)
	if err != nil {
		return err
	}
	if reason != "" {
		p.write(small("As found: " + caption + " (" + reason + ")"))
		return nil
	}
	width := min(p.bodyWidth(), 62*w/h)
	height := width * h / w
	p.room(height + 6)
	p.f.ImageOptions(name, p.paper.side, p.y, width, height, false, imageJPEG, 0, "")
	p.y += height + 1
	p.write(small("As found: " + p.joined("; ", caption, photo.Scale)))
	return nil
}

// place puts a preview into the document, like picture, and takes none too.
func (p *cardPDF) place(preview string) (name string, w, h float64, reason string, err error) {
	if preview == "" {
		return "", 0, 0, "no preview", nil
	}
	return p.picture(preview)
}

// fasteners draws a map over its picture, or over a blank outline, with its
// table.
func (p *cardPDF) fasteners(m workshop.CardMap) error {
	name, w, h, reason, err := p.place(m.Preview)
	if err != nil {
		return err
	}
	if reason != "" {
		name, w, h = "", 3, 2
	}
	width := min(p.bodyWidth(), 80*w/h)
	height := width * h / w
	x := p.paper.side + (p.bodyWidth()-width)/2
	p.gap(2)
	p.room(height + 12)
	p.write(piece{text: "Fasteners, map " + m.ID, look: lookHead})
	if name != "" {
		p.f.ImageOptions(name, x, p.y, width, height, false, imageJPEG, 0, "")
	}
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.3)
	p.f.Rect(x, p.y, width, height, "D")
	for _, f := range m.Fasteners {
		p.hole(x+f.X*width, p.y+f.Y*height, f)
	}
	p.y += height + 1.5
	var rows [][]cell
	for _, f := range m.Fasteners {
		length := "?"
		if f.Length > 0 {
			length = reading(f.Length, 0, "mm")
		}
		rows = append(rows, []cell{{strong(f.Hole)}, {body(length)}, {body(p.joined(", ", f.Head, f.Washer, f.Thread))}, {body(f.Hand)}, {body(f.Felt)},
			{small(p.joined("; ", append(m.Flags(f.Hole), f.Note)...))}})
	}
	p.table([]column{{"hole", 1}, {"length", 1.5}, {"head, washer, thread", 3.2}, {"hand", 1.5}, {"felt", 1.5}, {"", 2.6}}, rows)
	for _, x := range m.Warnings {
		p.write(strong("▲ " + x))
	}
	return nil
}

// hole draws one fastener: a ring with its number, a second ring for a
// left-hand thread, a stroke through a stripped one.
func (p *cardPDF) hole(x, y float64, f registry.Fastener) {
	const r = 2.6
	l := look{faceBold, 7, 0}
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.35)
	p.f.SetFillColor(255, 255, 255)
	if f.Hand == "left" {
		p.f.Circle(x, y, r+1, "FD")
	}
	p.f.Circle(x, y, r, "FD")
	if f.Felt == "stripped" {
		p.f.Line(x-r-0.6, y+r+0.6, x-0.7*r, y+0.7*r)
		p.f.Line(x+0.7*r, y-0.7*r, x+r+0.6, y-r-0.6)
	}
	p.neutral()
	p.fresh()
	p.line(x-p.measure(l, f.Hole)/2, y-l.size*millimetresPerPoint*0.62, l, p.clean(l, f.Hole))
}

// stepTime is how the time of a step is written, in UTC.
const stepTime = "2006-01-02 15:04"

func (p *cardPDF) steps() {
	p.part("Steps")
	for _, s := range p.card.Steps {
		if s.Undone {
			p.write(small(p.filled("%s undone: %s", s.At.UTC().Format(stepTime), s.Did)))
			continue
		}
		p.tick(true, p.filled("%s %s (%s)", s.At.UTC().Format(stepTime), s.Did, s.By))
	}
	for range 6 {
		p.tick(false, "______:______  ______________________________________________")
	}
	if len(p.card.Removed) > 0 {
		p.part("Removed parts")
		for _, x := range p.card.Removed {
			p.write(body(p.filled("Tag %s: %s; %s", x.Tag, x.What, words(x.Custody))))
		}
	}
}

func (p *cardPDF) after() {
	if len(p.card.Measure) > 0 {
		p.part("What to measure while it can be reached")
		for _, x := range p.card.Measure {
			p.tick(false, p.filled("%s: ____________", x.Title))
		}
	}
	p.part("What to check after")
	for _, x := range p.card.After {
		text := p.filled("%s (%s)", x.What, x.Gate)
		if x.Passed != "" {
			text = p.filled("%s (%s, passed on %s)", x.What, x.Gate, x.Passed)
		}
		p.tick(x.Passed != "", text)
	}
	p.tick(false, "Every fastener is in its hole; none is left over, none is missing.")
	p.write(small(p.card.Torque))
}

func (p *cardPDF) foot() {
	foot := look{faceText, 7, 60}
	pages := p.f.PageCount()
	left := p.clean(foot, oneLine(p.joined(" · ", p.card.Machine.ID, p.card.Option.ID, fmt.Sprintf("version %d", p.card.Version))))
	for page := 1; page <= pages; page++ {
		p.f.SetPage(page)
		p.fresh()
		y := p.paper.height - 9
		right := p.say(fmt.Sprintf("page %d of %d", page, pages))
		p.line(p.paper.side, y, foot, p.wrap(foot, left, p.bodyWidth()-p.measure(foot, right)-6)[0])
		p.line(p.paper.width-p.paper.side-p.measure(foot, right), y, foot, right)
		if p.card.Machine.Invented {
			p.banner()
		}
	}
	p.f.SetPage(pages)
}
