package dossier

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// decisions shows each offer as the owner saw it, with the answer. A refusal
// stands here as long as the record does.
func (p *pdf) decisions() {
	if len(p.r.Offers) == 0 {
		return
	}
	p.room(125) // the heading stays with the first offer
	p.section("What the owner was asked and answered")
	for _, o := range p.r.Offers {
		kind := "Proposal: %s"
		if o.Kind == "change-request" {
			kind = "Change request: %s"
		}
		p.room(85) // the heading stays with its first option
		p.part(p.filled(kind, o.ID))
		standing := answerWords(o.Standing)
		switch {
		case o.Superseded:
			standing = "replaced by a later offer"
		case standing == "":
			standing = "not answered"
		}
		p.facts([2]string{"Asked", p.joined(", ", date(o.Recorded), p.with("by %s", o.By), p.with("of %s", o.To))},
			[2]string{"Found", o.Found},
			[2]string{"Digest of the offer", o.Digest},
			[2]string{"Ceiling", o.Offer.Ceiling.String()},
			[2]string{"Forecast of the cost", costWords(o.Cost, o.Offer.Ceiling.Currency)},
			[2]string{"What it does to the value", p.valueWords(o.Value, o.Offer.Ceiling.Currency)},
			[2]string{"Stood until", date(o.Offer.Expires)},
			[2]string{"If nothing is done", o.Offer.DoNothing},
			[2]string{"Cannot be undone", p.all(o.Offer.Irreversible, p.option)},
			[2]string{"Stands as", standing})
		p.costFigure(o.Cost, o.Offer.Ceiling)
		p.valueFigure(o.Value, o.Offer.Ceiling.Currency)
		p.gap(1.5)
		p.optionTable(o.Options, o.Recommended)
		p.outlook(o)
		if len(o.Answers) == 0 {
			p.write(strong("There is no answer yet."))
			continue
		}
		var rows [][]cell
		var keys []string // what the signatures among the answers prove
		for _, a := range o.Answers {
			answer := cell{strong(answerWords(a.Answer))}
			if a.TakenBack {
				answer = append(answer, strong("taken back later"))
			}
			saw := "the offer above"
			if a.Digest != o.Digest {
				saw = p.filled("ANOTHER OFFER: %s", a.Digest)
			}
			about := cell{body(p.all(a.Options, p.option)), body(p.with("Reason: %s", a.Reason))}
			for _, c := range a.Conditions {
				about = append(about, body(p.filled("Condition: %s", c)))
			}
			about = append(about, small(p.with("Counts until: %s", untilWords(a.Until))))
			who := cell{body(a.Person), small(date(a.Recorded)), small(words(a.Channel))}
			if a.Means.Signed {
				who = append(who, strong("signed with a passkey"))
				keys = append(keys, a.Means.Proves...)
			}
			rows = append(rows, []cell{answer, about, who, {small(saw)}})
		}
		p.table([]column{{"Answer", 1.4}, {"Options, conditions, reason", 3.4}, {"Who, when, how", 1.6}, {"What was seen", 1.5}}, rows)
		for i, proof := range keys {
			if slices.Index(keys, proof) == i {
				p.write(small(proof))
			}
		}
	}
}

// costWords says a forecast in one line; nothing for an offer without one.
func costWords(c *scoring.CostResult, currency string) string {
	if c == nil {
		return ""
	}
	middle, enough := math.Round(c.P50), math.Ceil(c.P80)
	if c.P50 < 10 {
		middle, enough = c.P50, c.P80 // pence count there
	}
	said := fmt.Sprintf("likely about %v %s, with a chance of 80 %% at most %v %s", middle, currency, enough, currency)
	if len(c.Points) == 1 {
		said = "all prices are fixed"
	}
	if c.OverCeiling == nil {
		return said
	}
	over := "none by these figures"
	if *c.OverCeiling > 0 {
		over = scoring.Percent(*c.OverCeiling)
	}
	return said + "; chance to pass the ceiling: " + over
}

// valueWords says a valuation in a line, the ratio first; nothing for an offer
// without one.
func (l Language) valueWords(v *scoring.ValueResult, currency string) string {
	if v == nil {
		return ""
	}
	var said []string
	for _, a := range v.Afters {
		parts := []string{l.filled("%s multiplies it by %s", words(a.ID), workshop.RatioSpan(a.Ratio))}
		if a.MostlyPrior {
			parts[0] = l.filled("%s multiplies it by %s, which is mostly prior", words(a.ID), workshop.RatioSpan(a.Ratio))
		}
		if a.Net != nil && a.ChanceOfLoss != nil {
			parts = append(parts, l.filled("net of its cost %s %s, chance of a loss %s", workshop.NetSpan(*a.Net), currency, a.ChanceOfLoss.Printed))
		} else {
			parts = append(parts, "no figure for what is left after its cost")
		}
		said = append(said, l.joined("; ", parts...))
	}
	return joined(". ", said...)
}

func (p *pdf) work() {
	if len(p.r.Work) == 0 {
		return
	}
	p.section("Work")
	unapproved := 0
	for _, w := range p.r.Work {
		if w.Standing.Mark == "unapproved" {
			unapproved++
		}
	}
	if unapproved > 0 {
		p.write(strong(fmt.Sprintf("Entries without the owner's approval: %d. They are marked UNAPPROVED.", unapproved)))
	} else {
		p.write(body("Every entry is covered by the owner's word."))
	}
	p.gap(2)
	var rows [][]cell
	for _, w := range p.r.Work {
		standing := cell{strong(standingWords(w.Standing)), small(p.with("decision %s", w.Standing.Decision))}
		for _, why := range w.Standing.Why {
			standing = append(standing, small(why))
		}
		if w.Undone {
			standing = append(standing, strong("undone: the part went back"))
		}
		did := cell{body(w.Did), small(p.joined(", ", w.TreatmentTitle, p.all(nonEmpty(w.Option), p.option)))}
		for _, f := range w.Fitted {
			line := p.filled("fitted to %s: %s (%s)", p.componentName(f.Component), f.Part, words(f.Origin))
			did = append(did, small(p.joined(", ", line, p.with("marked %s", f.Mark))))
		}
		did = append(did, p.changeWords(w.Changes)...)
		did = append(did, small(p.with("opened: %s", p.all(w.Openings, p.opening))), small(p.with("photos: %s", p.joined(", ", w.Photos...))))
		who := cell{body(w.By)}
		who = append(who, p.second(w.Second, w.SecondSigned)...)
		cost := cell{body(hours(w.Hours)), body(w.Spent)}
		rows = append(rows, []cell{{body(whenWords(w.Valid)), small(w.ID)}, did, standing, cost, who})
	}
	p.table([]column{{"Date", 1.1}, {"What was done", 3.6}, {"The owner's word", 1.8}, {"Cost", 1}, {"By", 1.2}}, rows)
}

// second names the second person, and says who put the name there.
func (p *pdf) second(name string, signed time.Time) cell {
	switch {
	case name == "":
		return nil
	case signed.IsZero():
		return cell{small(p.filled("second: %s", name)), small("the name was typed by whoever recorded this")}
	}
	return cell{small(p.filled("second: %s", name)), strong(p.filled("signed by their own account on %s", date(signed)))}
}

func nonEmpty(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}

func (p *pdf) removed() {
	if len(p.r.Removed) == 0 {
		return
	}
	p.section("Removed parts")
	var rows [][]cell
	for _, r := range p.r.Removed {
		rows = append(rows, []cell{{strong(r.Tag), small(r.ID)}, {body(r.What), small(p.componentName(r.Component)), small(p.with("fasteners: %s", r.Fasteners))},
			{strong(words(r.Custody)), small(r.Place)}, {body(r.Reason), small(p.with("condition: %s", r.Condition))}, {small(whenWords(r.Valid)), small(p.with("photos: %s", p.joined(", ", r.Photos...)))}})
	}
	p.table([]column{{"Tag", 1}, {"Part", 2.2}, {"Where it is now", 1.6}, {"Why it came off", 2.2}, {"When", 1.2}}, rows)
}

func (p *pdf) checks() {
	if len(p.r.Checks) == 0 {
		return
	}
	p.section("Checks")
	var rows [][]cell
	for _, c := range p.r.Checks {
		var readings cell
		for _, r := range c.Readings {
			readings = append(readings, body(p.filled("%s: %s", r.Quantity, reading(r.Value, r.Uncertainty, r.Unit))), small(p.with("with %s", r.Instrument)))
		}
		who := append(append(cell{body(c.By)}, p.second(c.Second, c.SecondSigned)...), small(whenWords(c.Valid)))
		rows = append(rows, []cell{{strong(c.What), small(p.all(c.Components, p.component)), small(c.Words), ownSmall(c.Note)}, {strong(outcomeWords(c.Outcome))}, readings, who})
	}
	p.table([]column{{"What", 2.8}, {"Outcome", 1}, {"Readings", 2.4}, {"By", 1.4}}, rows)
}

func outcomeWords(outcome string) string {
	switch outcome {
	case "passed":
		return word("passed")
	case "failed":
		return word("failed")
	}
	return words(outcome)
}

func (p *pdf) gates() {
	if len(p.r.Gates) == 0 {
		return
	}
	p.section("Gates towards riding")
	p.write(body("A gate says what was shown, not that riding is without danger. Whoever rides decides that each time anew."))
	p.gap(2)
	var rows [][]cell
	for _, g := range p.r.Gates {
		state := "not passed"
		if g.Passed {
			state = "✓ passed"
		}
		rows = append(rows, []cell{{strong(g.Title)}, {strong(state), small(g.On)}, append(cell{body(g.By)}, p.second(g.Second, g.SecondSigned)...), {body(g.Others)}})
	}
	p.table([]column{{"Gate", 2}, {"State", 1}, {"By", 1.3}, {"What others must still decide", 2.8}}, rows)
}

// cautions lists each caution once, with the options that call for it.
func (p *pdf) cautions() {
	var list []workshop.CautionReport
	of := map[string][]string{}
	collect := func(options []workshop.OptionReport) {
		for _, o := range options {
			for _, c := range o.Cautions {
				if _, known := of[c.ID]; !known {
					list = append(list, c)
				}
				if !slices.Contains(of[c.ID], o.Title) {
					of[c.ID] = append(of[c.ID], o.Title)
				}
			}
		}
	}
	for _, f := range p.r.Faults {
		collect(f.Options)
	}
	for _, o := range p.r.Offers {
		collect(o.Options)
	}
	if len(list) == 0 {
		return
	}
	p.section("Cautions that apply")
	var rows [][]cell
	for _, c := range list {
		rows = append(rows, []cell{{strong(p.levelWord(c.Level)), small(c.ID)}, {body(c.Text), small(p.with("Source: %s", c.Source))}, {small(p.joined(", ", of[c.ID]...))}})
	}
	p.table([]column{{"Level", 1.35}, {"Caution", 4}, {"For", 1.9}}, rows)
}

func (p *pdf) handBack() {
	h := p.r.HandBack
	if h == nil {
		return
	}
	p.section("Hand-back")
	p.facts([2]string{"On", whenWords(h.On)}, [2]string{"To", h.To}, [2]string{"By", h.By}, [2]string{"Removed parts given along", p.joined(", ", h.RemovedParts...)})
	for _, l := range []struct {
		title string
		items []string
	}{{"Known limits", h.KnownLimits}, {"Instructions", h.Instructions}, {"Fluids", h.Fluids}} {
		if len(l.items) > 0 {
			p.part(l.title)
			p.list(l.items)
		}
	}
	if len(h.Rechecks) > 0 {
		p.part("Look at again")
		var rows [][]cell
		for _, r := range h.Rechecks {
			rows = append(rows, []cell{{body(r.What)}, {body(r.Due)}})
		}
		p.table([]column{{"What", 3}, {"When", 1.5}}, rows)
	}
	if len(h.Inventory) > 0 {
		p.part("Inventory at the hand-back")
		p.inventory(h.Inventory, h.Accounted)
	}
}

func (p *pdf) questions() {
	if len(p.r.Questions) == 0 {
		return
	}
	p.section("Open questions")
	p.list(p.r.Questions)
}

// bulkKinds are the records that come in great numbers and stand elsewhere in
// this document; the timeline counts them.
var bulkKinds = map[registry.Kind][2]string{
	"survey": {"1 survey entry", "%d survey entries"}, "photo": {"1 photo", "%d photos"}, "evidence": {"1 piece of evidence", "%d pieces of evidence"},
	"joint": {"1 joint", "%d joints"}, "measurement": {"1 measurement", "%d measurements"}, "claim": {"1 claim", "%d claims"}, "person": {"1 person", "%d people"},
	"option": {"1 option", "%d options"}, "opening": {"1 opening described", "%d openings described"}, "weighing": {"1 weighing", "%d weighings"},
	"fitting": {"1 fitting", "%d fittings"}, "fault": {"1 fault", "%d faults"}, "comparable-sale": {"1 sale", "%d sales"},
}

// timeline tells the job in the order of recording.
func (p *pdf) timeline() {
	if len(p.r.Timeline) == 0 {
		return
	}
	p.section("What was recorded, in order")
	var rows [][]cell
	for i := 0; i < len(p.r.Timeline); {
		run, counted := p.bulk(i)
		h := p.r.Timeline[i]
		if run > 1 {
			last := p.r.Timeline[i+run-1]
			days := date(h.Recorded)
			if d := date(last.Recorded); d != days {
				days = p.filled("%s to %s", days, d)
			}
			rows = append(rows, []cell{{small(fmt.Sprintf("%d to %d", h.Version, last.Version))}, {small(days)}, {small(counted)}, {}})
			i += run
			continue
		}
		text := cell{body(h.Text)}
		if h.Mark != "" {
			text = append(text, strong(strings.ToUpper(p.say(h.Mark))))
		}
		was := whenWords(h.Valid)
		if was == date(h.Recorded) {
			was = ""
		}
		rows = append(rows, []cell{{body(fmt.Sprint(h.Version))}, {body(date(h.Recorded)), small(p.with("was so: %s", was))}, text, {small(h.By)}})
		i++
	}
	p.table([]column{{"Event", 0.9}, {"Recorded", 1.5}, {"What", 4.2}, {"By", 1.2}}, rows)
}

// bulk counts the run of records of great numbers that begins at a line. A
// marked one never disappears in a count.
func (p *pdf) bulk(from int) (run int, counted string) {
	count := map[registry.Kind]int{}
	var order []registry.Kind
	for _, h := range p.r.Timeline[from:] {
		if _, ok := bulkKinds[h.Kind]; !ok || h.Mark != "" {
			break
		}
		if count[h.Kind]++; count[h.Kind] == 1 {
			order = append(order, h.Kind)
		}
		run++
	}
	var parts []string
	for _, k := range order {
		if count[k] == 1 {
			parts = append(parts, bulkKinds[k][0])
		} else {
			parts = append(parts, fmt.Sprintf(bulkKinds[k][1], count[k]))
		}
	}
	return run, p.joined(", ", parts...)
}

// photos sets two pictures a row.
func (p *pdf) photos() error {
	if len(p.r.Photos) == 0 {
		return nil
	}
	p.room(115) // the heading stays with the first row
	p.section("Photos")
	p.write(body("These are previews, turned upright. The originals are kept unchanged under their digests."))
	p.gap(3)
	const gutter, high = 6.0, 62.0
	wide := (bodyWidth - gutter) / 2
	for i := 0; i < len(p.r.Photos); i += 2 {
		pair := p.r.Photos[i:min(i+2, len(p.r.Photos))]
		captions := make([]laid, len(pair))
		for j, x := range pair {
			captions[j] = p.lay(p.captionCell(x), wide+2*cellPad)
			if h := bodyEnd - marginTop - high - 3; captions[j].height() > h {
				now, _ := split([]laid{captions[j]}, h)
				captions[j] = now[0]
			}
		}
		p.room(high + 2 + tallest(captions))
		for j, x := range pair {
			left := marginSide + float64(j)*(wide+gutter)
			if err := p.frame(x, left, wide, high); err != nil {
				return err
			}
			y := p.y + high + 1.5
			for _, l := range captions[j] {
				p.line(left, y, l.look, l.text)
				y += l.look.height()
			}
		}
		p.y += high + 1.5 + tallest(captions)
		p.gap(5)
	}
	return nil
}

// frame draws one picture into its place, or says why it is not there.
func (p *pdf) frame(x workshop.PhotoReport, left, wide, high float64) error {
	f := p.f
	f.SetDrawColor(150, 150, 150)
	f.SetLineWidth(0.15)
	reason := "withheld from the public edition"
	if !x.Withheld || !p.r.Public {
		reason = "there is no preview of this kind of file"
		if x.Preview != "" {
			name, w, h, why, err := p.picture(x.Preview)
			if err != nil {
				return fmt.Errorf("photo %s: %w", x.ID, err)
			}
			if reason = why; why == "" {
				scale := min(wide/w, high/h)
				f.ImageOptions(name, left+(wide-w*scale)/2, p.y+(high-h*scale)/2, w*scale, h*scale, false, imageJPEG, 0, "")
				return f.Error()
			}
		}
	}
	f.Rect(left, p.y, wide, high, "D")
	text := p.filled("The picture is not shown: %s.", reason)
	for i, line := range p.broken(small(text), wide-8) {
		p.line(left+4, p.y+high/2-lookSmall.height()+float64(i)*lookSmall.height(), lookSmall, line)
	}
	return nil
}

func (p *pdf) captionCell(x workshop.PhotoReport) cell {
	size := ""
	if x.Width > 0 && x.Height > 0 {
		size = fmt.Sprintf("original %d × %d pixels", x.Width, x.Height)
	}
	withheld := ""
	if x.Withheld && !p.r.Public {
		withheld = "withheld from public editions"
	}
	title := joined(": ", x.ID, x.Caption)
	return cell{{title, lookStrong, true}, small(p.joined(" · ", shownWords(x.Shows), p.all(x.Components, p.component), p.with("opening: %s", p.all(x.Openings, p.opening)))),
		small(p.joined(" · ", p.with("scale: %s", x.Scale), p.with("taken %s", whenWords(x.Valid)), p.with("by %s", x.By))), small(p.joined(" · ", size, withheld)), {hexOf(x.Digest), look{faceMono, 6, 40}, true}}
}

func shownWords(id string) string {
	for _, t := range registry.Shown() {
		if t.ID == id {
			return t.Meaning
		}
	}
	return words(id)
}

func (p *pdf) verifying() {
	p.section("How to check this document")
	p.write(body("This document is a view of the record. What proves the record is its bundle, an archive with every entry, each picture's digest and the registry's signature. The public and the private bundle have the same root, so each proves the other."))
	p.gap(2)
	p.facts([2]string{"Events", fmt.Sprint(p.r.Version)}, [2]string{"Head", p.r.Head}, [2]string{"Root", p.in.Root}, [2]string{"Origin", p.in.Origin},
		[2]string{"Registry's key", p.in.Key}, [2]string{"Fingerprint of the key", fingerprintOf(p.in.Key)},
		[2]string{"Program", p.in.Program}, [2]string{"Catalog", p.r.Catalog}, [2]string{"Standpoint", p.r.Standpoint})
	p.gap(2)
	p.list([]string{
		"Ask the registry for the bundle of this machine and, over another way, for its public key.",
		"Run: asfound verify FILE.zip --key \"<the public key>\". Every entry, picture and figure is compared, and each deviation is named.",
		"The head and the root that it prints must be those above, or those of a later state: then ask that the later bundle be verified against an older one.",
		"The bundle's README.txt says how to check it without the program.",
	})
}

func fingerprintOf(key string) string {
	if key == "" {
		return ""
	}
	return Fingerprint(key)
}
