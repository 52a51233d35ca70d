package dossier

import (
	"fmt"
	"strconv"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// found lists every component, group by group.
func (p *pdf) found() {
	p.section("What was found")
	p.write(body(sentence(p.surveyWords()) + "."))
	for _, g := range p.r.Survey.Gaps {
		p.write(body(fmt.Sprintf("Not surveyed: %s: %s", p.componentName(g.Component), g.Why)))
	}
	for _, g := range p.r.Groups {
		p.part(fmt.Sprintf("%s (%s points of 1000)", g.Name, number(g.Points)))
		var rows [][]cell
		var never, unseen []string
		for i := range g.Components {
			c := &g.Components[i]
			switch {
			case c.NotFitted:
				never = append(never, c.Name)
			case !c.Surveyed && c.Origin.Basis != "evidence" && c.Origin.Basis != "work" && c.Finish.Basis != "evidence" && c.Finish.Basis != "work":
				unseen = append(unseen, c.Name)
			default:
				rows = append(rows, p.componentRow(c))
			}
		}
		p.table([]column{{"Component", 2.6}, {"Condition and function", 2.3}, {"Origin", 2.3}, {"Finish", 2.2}, {"Specification", 2}}, rows)
		if len(unseen) > 0 {
			p.write(small(p.filled("Not surveyed, only the prior speaks: %s.", p.joined(", ", unseen...))))
		}
		if len(never) > 0 {
			p.write(small(p.filled("This type never had: %s.", p.joined(", ", never...))))
		}
	}
}

func (p *pdf) componentRow(c *workshop.ComponentReport) []cell {
	name := cell{strong(c.Name), small(p.joined(" · ", c.Code, number(c.Points)+" points"))}
	var traits []string
	if c.IdentityBearing {
		traits = append(traits, "bears identity")
	}
	if c.SafetyCritical {
		traits = append(traits, "riding depends on it")
	}
	if c.Consumable {
		traits = append(traits, "consumable")
	}
	name = append(name, small(p.joined(", ", traits...)))
	condition := cell{}
	if c.Condition != nil {
		condition = append(condition, body(strconv.Itoa(*c.Condition)+" of 5"))
	}
	switch c.Function {
	case "":
	case "fails", "unsafe":
		condition = append(condition, strong(words(c.Function)))
	default:
		condition = append(condition, small(words(c.Function)))
	}
	if c.Custody != "" && c.Custody != "fitted" {
		condition = append(condition, strong(words(c.Custody)))
	}
	condition = append(condition, ownSmall(c.Note))
	return []cell{name, condition, p.claimCell(&c.Origin), p.claimCell(&c.Finish), p.claimCell(&c.Specification)}
}

// basisWords say on what an answer rests.
var basisWords = map[string]string{"evidence": "by evidence", "prior": "prior only", "work": "changed here", "seen": word("seen")}

// claimCell is one answer: the leading state with its probability, and on what
// it rests.
func (p *pdf) claimCell(c *workshop.ClaimReport) cell {
	var out cell
	switch {
	case c.Leading == "" && c.Undetermined:
		out = append(out, body("looked at; cannot be told"))
	case c.Leading == "":
		out = append(out, body("nothing stands out"))
	default:
		out = append(out, body(p.joined(", ", words(c.Leading), shownProbability(c))))
	}
	basis := basisWords[c.Basis]
	if c.Undetermined && c.Leading != "" {
		basis = p.joined(", ", basis, "the surveyor could not tell")
	}
	if c.Band != nil && c.Leading != "" {
		if b, ok := c.Band.Get(c.Leading); ok && scoring.Percent(b[0]) != scoring.Percent(b[1]) {
			basis = p.say(basis) + p.filled(" (%s to %s)", scoring.Percent(b[0]), scoring.Percent(b[1]))
		}
	}
	out = append(out, small(basis))
	if c.Conflict {
		out = append(out, strong("evidence conflicts"))
	}
	return append(out, small(c.Caution), small(c.Statement))
}

func shownProbability(c *workshop.ClaimReport) string {
	if c.Shown != "" {
		return c.Shown
	}
	return scoring.Percent(c.Probability)
}

func (p *pdf) componentName(id string) string { return p.all([]string{id}, p.component) }

func (p *pdf) uncertain() {
	if len(p.r.Uncertain) == 0 {
		return
	}
	p.section("What is uncertain, and what would settle it")
	p.write(body("Ordered by how much hangs on the answer. An uncertainty of 1 bit is that of a tossed coin."))
	p.gap(2)
	var rows [][]cell
	for _, u := range p.r.Uncertain {
		rows = append(rows, []cell{{strong(u.Name), small(string(u.Proposition))}, {body(number(u.Points) + " points"), small(fmt.Sprintf("%.1f bits", u.EntropyBits))}, {body(u.Why)}, {body(u.Settle)}})
	}
	p.table([]column{{"Question", 2}, {"At stake", 1}, {"Why it is open", 2.6}, {"What would settle it, least invasive first", 2.8}}, rows)
}

func (p *pdf) evidence() {
	if len(p.r.Evidence) == 0 {
		return
	}
	p.section("Evidence")
	p.write(body("Evidence of one kind may repeat itself, so what comes from one source is weighed together."))
	p.gap(2)
	var rows [][]cell
	for _, e := range p.r.Evidence {
		what := cell{strong(sentence(words(e.Kind))), small(e.ID), small(p.with("made %s", whenWords(e.Made))), small(p.with("by %s", e.MadeBy))}
		if e.Recollected {
			what = append(what, small("remembered later"))
		}
		if !e.Live {
			what = append(what, strong("no longer in force"))
		}
		weight := cell{small(p.with("source: %s", words(e.Cluster)))}
		if e.Reliability != nil {
			weight = append(weight, small("is what it seems: "+scoring.Percent(*e.Reliability)))
		}
		weight = append(weight, small(p.filled("judged by %s", e.By)), small(p.filled("recorded %s", date(e.Recorded))), small(p.with("photos: %s", p.joined(", ", e.Photos...))))
		var on cell
		for _, b := range e.Bears {
			on = append(on, small(p.filled("%s: %s", p.componentName(b.Component), string(b.Proposition))))
		}
		rows = append(rows, []cell{what, {body(e.Says)}, {body(e.Limits)}, on, weight})
	}
	p.table([]column{{"What", 1.7}, {"What it says", 2.6}, {"What it cannot show", 1.9}, {"Bears on", 1.8}, {"Weight", 1.8}}, rows)
}

func (p *pdf) joints() {
	if len(p.r.Joints) == 0 {
		return
	}
	p.section("Joints and their witness")
	var rows [][]cell
	for _, j := range p.r.Joints {
		rows = append(rows, []cell{{strong(words(j.Joint))}, {body(words(j.Witness))}, {body(j.Sign)}, {body(p.all(j.Components, p.component))}, {small(p.joined(", ", j.Photos...))}})
	}
	p.table([]column{{"Joint", 1.5}, {"Witness", 1.2}, {"By what sign", 2}, {"Where", 2}, {"Photos", 1}}, rows)
}

func (p *pdf) measurements() {
	if len(p.r.Readings) == 0 {
		return
	}
	p.section("Measurements")
	var rows [][]cell
	for _, m := range p.r.Readings {
		rows = append(rows, []cell{{strong(p.componentName(m.Component)), small(m.Place)}, {body(m.Quantity)}, {body(reading(m.Value, m.Uncertainty, m.Unit))}, {body(m.Instrument)}, {small(whenWords(m.Valid))}})
	}
	p.table([]column{{"Component", 2}, {"Quantity", 1.6}, {"Reading", 1.4}, {"Instrument", 1.8}, {"Date", 1}}, rows)
}

func (p *pdf) fittings() {
	if len(p.r.Fittings) == 0 {
		return
	}
	p.section("What was fitted when")
	p.write(body("Each line has two dates: over which time the part sat there, and when that was learned."))
	p.gap(2)
	var rows [][]cell
	for _, f := range p.r.Fittings {
		rows = append(rows, []cell{{strong(f.Name)}, {body(f.Part), small(p.with("stamped %s", f.Stamp)), small(words(f.Origin))}, {body(whenWords(f.Valid))}, {body(date(f.Recorded))}, {small(p.joined(", ", f.Evidence...))}})
	}
	p.table([]column{{"Position", 1.8}, {"Part", 2.4}, {"It was so", 1.6}, {"Learned on", 1.1}, {"Evidence", 1.3}}, rows)
}

// optionTable sets options side by side, so that they can be compared.
func (p *pdf) optionTable(options []workshop.OptionReport, recommended []string) {
	var rows [][]cell
	for _, o := range options {
		name := cell{strong(o.Title)}
		for _, id := range recommended {
			if id == o.ID {
				name = append(name, strong("recommended"))
			}
		}
		reversible := "cannot be undone"
		if o.Reversible {
			reversible = "can be undone"
		}
		name = append(name, small(p.filled("%s (rung %s of the ladder), %s", o.TreatmentTitle, strconv.Itoa(o.Rung), reversible)), small(o.Why), small(p.with("undoing it: %s", o.Undo)))
		if o.Standing == "approved" {
			name = append(name, strong("approved"))
		} else {
			name = append(name, small(p.with("stands as: %s", o.Standing)))
		}
		var now, good cell
		if o.Effects == nil {
			now = cell{body("not weighed")}
		} else {
			now = effectCell(o.Effects, func(r *scoring.EffectResult) scoring.Summary { return r.Now })
			good = effectCell(o.Effects, func(r *scoring.EffectResult) scoring.Summary { return r.ForGood })
		}
		cost := cell{body(amount(o.Money)), body(hours(o.Hours))}
		if o.LeadDays > 0 {
			cost = append(cost, body(p.filled("lead %s days", number(o.LeadDays))))
		}
		if o.Works != nil {
			cost = append(cost, body("cures it: "+scoring.Percent(*o.Works)))
		}
		var first cell
		for _, x := range o.First {
			first = append(first, small(p.filled("in hand first: %s", x)))
		}
		for _, x := range o.OpeningTitles {
			first = append(first, small(p.filled("opens: %s", x)))
		}
		for _, c := range o.Cautions {
			first = append(first, small(p.filled("caution: %s", c.ID)))
		}
		rows = append(rows, []cell{name, now, good, cost, first})
	}
	p.table([]column{{"Option", 3.1}, {"Points lost now", 1.65}, {"Points lost for good", 1.65}, {"Cost", 1.3}, {"Before it is begun", 1.9}}, rows)
}

// effectCell is what an option takes from each index; one word when it takes
// nothing from any.
func effectCell(e *workshop.Effects, of func(*scoring.EffectResult) scoring.Summary) cell {
	var out cell
	nothing := true
	e.Each(func(index string, r *scoring.EffectResult) {
		words := lossWords(of(r))
		nothing = nothing && words == "none"
		out = append(out, small(indexWords[index]), body(words))
	})
	if nothing {
		return cell{body("none")}
	}
	return out
}

func (p *pdf) faults() {
	if len(p.r.Faults) == 0 {
		return
	}
	p.room(115) // the heading stays with the first fault
	p.section("Faults and options")
	p.write(body("Points are thousandths of each index: the mean, and in brackets the 80 % interval."))
	for _, f := range p.r.Faults {
		p.room(70) // the heading stays with its first option
		p.part(f.Complaint)
		if f.Grave {
			p.write(strong("It could hurt someone."))
		}
		p.facts([2]string{"Shows at", p.all(f.Components, p.component)}, [2]string{"Cause", f.Cause})
		p.gap(1.5)
		p.optionTable(f.Options, nil)
	}
}

func (p *pdf) openings() {
	if len(p.r.Openings) == 0 {
		return
	}
	p.section("Openings")
	p.write(body("Taking something off is paid for once, and what its joints could tell is lost for good."))
	p.gap(2)
	var rows [][]cell
	for _, o := range p.r.Openings {
		done := cell{body("not opened")}
		if o.Opened != "" {
			done = cell{body(p.filled("opened %s", o.Opened)), strong(standingWords(o.Standing))}
			for _, why := range o.Standing.Why {
				done = append(done, small(why))
			}
		}
		rows = append(rows, []cell{{strong(o.Title), small(p.with("behind it: %s", p.all(o.Behind, p.component)))}, {body(number(o.WitnessPoints) + " points")}, {body(hours(o.Hours)), small(amount(o.Money))}, {small(p.joined(", ", o.Joints...))}, done})
	}
	p.table([]column{{"Opening", 2.6}, {"Witness lost", 1.1}, {"Cost", 1.2}, {"Joints", 1.4}, {"State", 2}}, rows)
}

// changeWords says what work changed.
func (p *pdf) changeWords(changes []registry.Change) cell {
	var out cell
	for _, c := range changes {
		removed, keeps := "", ""
		if c.Removes {
			removed = "part removed"
		}
		if c.Keeps != nil {
			keeps = p.filled("keeps %s", scoring.Percent(*c.Keeps))
		}
		what := p.joined(", ", string(c.Proposition), removed, keeps)
		out = append(out, small(p.filled("%s: %s", p.componentName(c.Component), what)))
	}
	return out
}
