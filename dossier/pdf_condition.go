package dossier

import (
	"fmt"
	"io"
	"slices"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// WriteCondition writes a condition report to be printed and signed: every
// component by group with its condition, function, finish and pictures, what
// was found to fail first, and what work has changed since the survey. The same
// input gives the same bytes. Codes are those of WritePDF.
func WriteCondition(w io.Writer, in PDFInput) error {
	p, err := newPDF(in, "Condition report")
	if err != nil {
		return err
	}
	p.page()
	p.conditionHead()
	p.conditionExamined()
	p.conditionSummary()
	p.conditionGroups()
	p.conditionFaults()
	if err := p.photos(); err != nil {
		return err
	}
	p.conditionByHand()
	p.conditionSigned()
	p.feet()
	if err := p.f.Error(); err != nil {
		return fmt.Errorf("make the document: %w", err)
	}
	return p.f.Output(w)
}

func (p *pdf) conditionHead() {
	title := look{faceBold, 20, 0}
	p.put(p.paper.side, p.y, title, "Condition report")
	p.y += title.height()
	for _, text := range p.wrap(lookLead, p.joined(", ", p.r.Machine.Name, p.r.Machine.Make+" "+p.r.Machine.Model, whenWords(p.r.Machine.Year)), p.bodyWidth()) {
		p.line(p.paper.side, p.y, lookLead, text)
		p.y += lookLead.height()
	}
	p.y += 2
	for _, n := range p.r.Machine.Numbers {
		p.facts([2]string{sentence(n.Where) + " number", p.joined("; ", n.Shown, p.doubtWords(n), n.Note)})
	}
	p.facts([2]string{"As recorded until", date(p.r.Changed)}, [2]string{"As-found survey", p.surveyWords()}, [2]string{"Edition", p.edition()},
		[2]string{"State of the job", p.r.Phase}, [2]string{"Digest of the survey", p.r.Survey.Digest}, [2]string{"Head of the record", p.r.Head})
	p.gap(3)
	p.write(body("Condition is that of the part as it was found, as an object, on a scale from 0 to 5: a rusty part may still be the first one. Function is what it did when it was tried last, after any work; “not tested” says just that. The report tells what was seen and tried, by whom and when. It does not say that the machine may be ridden: that is for local rules and a qualified person."))
	p.facts([2]string{"Steps of condition", p.conditionWords()})
}

// fitted lists the components that this type has.
func (p *pdf) fitted() []*workshop.ComponentReport {
	var out []*workshop.ComponentReport
	for g := range p.r.Groups {
		for i := range p.r.Groups[g].Components {
			if c := &p.r.Groups[g].Components[i]; !c.NotFitted {
				out = append(out, c)
			}
		}
	}
	return out
}

func (p *pdf) conditionSummary() {
	p.section("In short")
	steps, functions := [6]int{}, map[string]int{}
	unseen := 0
	for _, c := range p.fitted() {
		if !c.Surveyed {
			unseen++
			continue
		}
		if c.Condition != nil && *c.Condition >= 0 && *c.Condition < len(steps) {
			steps[*c.Condition]++
		}
		functions[c.Function]++
	}
	var columns []column
	var row []cell
	for step := len(steps) - 1; step >= 0; step-- {
		columns = append(columns, column{fmt.Sprintf("Condition %d", step), 1})
		row = append(row, cell{body(components(steps[step]))})
	}
	p.table(columns, [][]cell{row})
	columns, row = nil, nil
	for _, t := range registry.Functions() {
		columns = append(columns, column{sentence(words(t.ID)), 1})
		row = append(row, cell{body(components(functions[t.ID]))})
	}
	p.gap(2)
	p.table(columns, [][]cell{row})
	if unseen > 0 {
		p.write(body(components(unseen) + " not surveyed."))
	}
	var poor [][]cell
	for _, c := range p.fitted() {
		if c.Function == "fails" || c.Function == "unsafe" || c.Condition != nil && *c.Condition <= 1 {
			poor = append(poor, []cell{{strong(c.Name)}, p.conditionCell(c), {body(words(c.Function))}, {own(c.Note)}})
		}
	}
	if len(poor) > 0 {
		p.part("What failed, was found unsafe, or is in the two lowest steps")
		p.table([]column{{"Component", 2.2}, {"Condition as found", 1.2}, {"Function now", 1.1}, {"Noted", 3}}, poor)
	}
}

// components counts components in words.
func components(n int) string {
	if n == 1 {
		return "1 component"
	}
	return fmt.Sprintf("%d components", n)
}

func (p *pdf) conditionCell(c *workshop.ComponentReport) cell {
	if c.Condition == nil {
		return cell{body("not judged")}
	}
	return cell{body(fmt.Sprintf("%d of 5", *c.Condition))}
}

func (p *pdf) conditionGroups() {
	since := map[string][]string{}
	for _, w := range p.r.Work {
		for _, c := range w.Changes {
			line := p.filled("since then, %s: %s", whenWords(w.Valid), w.Did)
			if w.Standing.Mark == "unapproved" {
				line = p.filled("since then, %s: %s (unapproved)", whenWords(w.Valid), w.Did)
			}
			if !slices.Contains(since[c.Component], line) {
				since[c.Component] = append(since[c.Component], line)
			}
		}
	}
	p.section("Component by component")
	for _, g := range p.r.Groups {
		var rows [][]cell
		for i := range g.Components {
			c := &g.Components[i]
			if c.NotFitted {
				continue
			}
			name := cell{strong(c.Name), small(c.Code)}
			if c.Custody != "" && c.Custody != "fitted" {
				name = append(name, strong(words(c.Custody)))
			}
			if !c.Surveyed {
				rows = append(rows, []cell{name, {body("not surveyed")}, {}, {}, {}})
				continue
			}
			noted := cell{ownSmall(c.Note)}
			for _, line := range since[c.ID] {
				noted = append(noted, small(line))
			}
			if len(c.Photos) > 0 {
				noted = append(noted, small(p.filled("pictures: %s", p.joined(", ", c.Photos...))))
			}
			function := body(words(c.Function))
			if c.Function == "fails" || c.Function == "unsafe" {
				function = strong(words(c.Function))
			}
			rows = append(rows, []cell{name, p.conditionCell(c), {function}, finishCell(&c.Finish), noted})
		}
		if len(rows) > 0 {
			p.part(g.Name)
			p.table([]column{{"Component", 2.3}, {"Condition as found", 1}, {"Function now", 1.1}, {"Finish", 1.4}, {"Noted, and done since", 3}}, rows)
		}
	}
}

// finishCell is the finish in one line.
func finishCell(c *workshop.ClaimReport) cell {
	switch {
	case c.Undetermined:
		return cell{body("cannot be told")}
	case c.Leading == "" && c.Basis == "evidence" && len(c.Posterior) > 0:
		return cell{body("open")}
	case c.Leading == "":
		return cell{body("–")}
	}
	return cell{body(words(c.Leading)), small(shownProbability(c))}
}

// conditionSigned leaves room for those who agree to the report.
func (p *pdf) conditionSigned() {
	p.room(60)
	p.section("Agreed")
	p.write(body("We looked at the machine together, and this is how it is. What we see otherwise is written beside it."))
	p.y += 14
	third := (p.bodyWidth() - 12) / 3
	p.f.SetDrawColor(60, 60, 60)
	p.f.SetLineWidth(0.2)
	for i, who := range []string{"Owner or authorised person", "Custodian", "Place and date"} {
		left := p.paper.side + float64(i)*(third+6)
		p.f.Line(left, p.y, left+third, p.y)
		p.put(left, p.y+1, lookSmall, who)
	}
	p.y += 8
}
