package dossier

import (
	"fmt"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// cover is the first page: which machine, in which state of its record.
func (p *pdf) cover() {
	m := p.r.Machine
	p.page()
	p.y = 46
	p.write(piece{text: "The record of one motorcycle, as found and as treated", look: look{faceText, 10, 60}})
	p.y += 3
	p.head("Cover", 0)
	p.headings = p.headings[:0] // the contents begin after themselves
	p.write(piece{m.Name, lookTitle, true})
	p.y += 1
	p.write(piece{text: p.joined(", ", m.Make+" "+m.Model, whenWords(m.Year)), look: lookLead})
	p.y += 3
	p.rule(0.5, 0)
	p.y += 5
	if m.Invented {
		p.write(strong("Invented demonstration data. No such machine, make or person exists, and every figure and price in this document is made up."))
		p.y += 3
	}
	p.facts([2]string{"Edition", editionWords(p.r.Public)},
		[2]string{"State of the record", fmt.Sprintf("version %d, last entry on %s", p.r.Version, date(p.r.Changed))},
		[2]string{"Known at", p.r.KnownAt}, [2]string{"As of", p.r.AsOf},
		[2]string{"Where the job stands", sentence(p.r.Phase)},
		[2]string{"Machine", m.ID},
		[2]string{"Head", p.r.Head},
		[2]string{"As-found survey", p.surveyWords()},
		[2]string{"Seal of the survey", p.r.Survey.Digest})
	if len(m.Numbers) > 0 {
		p.part("Numbers as read")
		rows := make([][]cell, len(m.Numbers))
		for i, n := range m.Numbers {
			rows[i] = []cell{{strong(n.Where)}, {{n.Shown, look{faceMono, 10, 0}, true}}, {body(p.doubtWords(n)), ownSmall(n.Note)}}
		}
		p.table([]column{{"Where", 1}, {"Number", 2}, {"Doubtful characters and remarks", 3}}, rows)
	}
	if m.Story != "" {
		p.part("How it was found")
		p.write(own(m.Story))
	}
	p.part("At a glance")
	var rows [][]cell
	p.r.Indices.Each(func(name string, r *workshop.IndexReport) {
		figure, back := "no figure yet", ""
		if r.Now != nil {
			figure = fmt.Sprintf("%s (80 %%: %s to %s)", indexFigure(r.Now.Median), indexFigure(r.Now.Low80), indexFigure(r.Now.High80))
		}
		if r.Recoverable != nil {
			back = fmt.Sprintf("%s (%s to %s)", indexFigure(r.Recoverable.Median), indexFigure(r.Recoverable.Low80), indexFigure(r.Recoverable.High80))
		}
		rows = append(rows, []cell{{strong(sentence(name)), small(indexQuestions[name])}, {body(figure)}, {body(back)}})
	})
	p.table([]column{{"Index, 0 to 1", 2.4}, {"As it stands", 2}, {"With kept parts put back", 2}}, rows)
}

func editionWords(public bool) string {
	if public {
		return "Public: names are given as roles, numbers are masked, and withheld pictures are left out"
	}
	return "Private: with names and whole numbers. Do not publish it"
}

func (p *pdf) surveyWords() string {
	s := p.r.Survey
	surveyed, of := strconv.Itoa(s.Surveyed), strconv.Itoa(s.Of)
	switch {
	case !s.Sealed:
		return p.filled("%s of %s components, not sealed yet", surveyed, of)
	case s.SealedBy == "":
		return p.filled("%s of %s components, sealed on %s", surveyed, of, s.SealedOn)
	}
	return p.filled("%s of %s components, sealed on %s by %s", surveyed, of, s.SealedOn, s.SealedBy)
}

// doubtWords lists the characters that can be read in more than one way.
func (l Language) doubtWords(n workshop.NumberReport) string {
	var out []string
	for _, d := range n.Doubtful {
		out = append(out, l.filled("character %s: %s", strconv.Itoa(d.Place), joined(" "+l.say(word("or"))+" ", d.Readings...)))
	}
	return joined("; ", out...)
}

func (p *pdf) howToRead() {
	p.section("How to read this document")
	p.write(body("Every statement here comes from a record to which entries are only ever added. An entry that turned out wrong is followed by one that corrects it; both stay. What was found before anything was touched is sealed apart from what came later."))
	p.gap(2)
	p.facts(
		[2]string{"Probability", "how likely a state is by the evidence on record, under stated assumptions. It is never given as certain: the highest is >99 %, the lowest <1 %."},
		[2]string{"In brackets after it", "what it would be if things that come from one source repeated one another less, or wholly."},
		[2]string{"80 % interval", "the true figure is thought to lie inside with 80 %, below with 10 %, above with 10 %."},
		[2]string{"Index", "a figure from 0 to 1. There are three, and they are never added up, since a part can be the right metal in a wrong skin."},
		[2]string{"Point", "a thousandth of an index. Losses are given in points of the index; a gain is called a gain."},
		[2]string{"Now, and for good", "what an intervention takes from the machine as it then stands, and the part of that which can never come back. A part that is kept with the machine can go back; a joint that has been opened once has lost its witness for good."},
		[2]string{"Basis", "“evidence”: things seen or found speak for it. “prior”: nothing is known but what is usual for the type. “work”: it was changed here. “seen”: looked at and settled by that."},
		[2]string{"Coverage", "the share of an index's weight that rests on more than the prior. With too little there is no figure."},
		[2]string{"Two dates", "when something was so, and when it was learned."},
		[2]string{"Approved", "the owner agreed to it beforehand, on the very offer that was recorded. What was done without that is marked UNAPPROVED for ever."},
	)
	p.part("Words")
	p.facts(
		[2]string{"Origin", p.termWords(registry.Origins())},
		[2]string{"Finish", p.termWords(registry.Finishes())},
		[2]string{"Specification", p.termWords(registry.Specifications())},
		[2]string{"Condition", p.conditionWords()},
		[2]string{"Function", p.termWords(registry.Functions())},
		[2]string{"Custody", p.termWords(registry.Custodies())},
		[2]string{"Witness of a joint", p.termWords(registry.Witnesses())},
	)
}

// termWords explains the words of one list.
func (l Language) termWords(terms []registry.Term) string {
	out := make([]string, len(terms))
	for i, t := range terms {
		out[i] = l.say(words(t.ID)) + ": " + l.say(t.Meaning)
	}
	return joined("; ", out...) + "."
}

// conditionWords explains the steps of the scale that this machine has.
func (p *pdf) conditionWords() string {
	var steps [6]string
	for _, g := range p.r.Groups {
		for _, c := range g.Components {
			if c.Condition != nil && *c.Condition >= 0 && *c.Condition < len(steps) && c.ConditionWords != "" {
				steps[*c.Condition] = fmt.Sprintf("%d: %s", *c.Condition, strings.TrimSuffix(p.say(c.ConditionWords), "."))
			}
		}
	}
	return p.with("of the part as an object, on a scale from 0 to 5; a rusty part may still be original. %s", p.joined("; ", steps[:]...))
}

func (p *pdf) indices() {
	p.section("The three indices")
	p.write(body("The bar is the 80 % interval of the machine as it stands, with a stroke at the median. The diamond is the same with every kept part put back, the ring the figure at the sealing of the survey."))
	p.y += 1
	p.r.Indices.Each(p.index)
	p.gap(3)
	p.facts([2]string{"Standpoint", p.r.Standpoint}, [2]string{"Catalog", p.r.Catalog})
}

func (p *pdf) custody() {
	a := p.r.Agreement
	if a == nil && len(p.r.People) == 0 {
		return
	}
	p.section("Custody and people")
	if a != nil {
		p.facts([2]string{"Owner", a.Owner}, [2]string{"Custodian", a.Custodian}, [2]string{"Authority to decide", a.Authority},
			[2]string{"Purpose", a.Purpose}, [2]string{"May be spent unasked", a.Ceiling}, [2]string{"Agreed value", a.AgreedValue},
			[2]string{"Insurer", a.Insurer}, [2]string{"Place", a.Place}, [2]string{"Until", whenWords(a.Until)})
		if len(a.Care) > 0 {
			p.part("May be done without asking")
			p.list(a.Care)
		}
		if len(a.Stop) > 0 {
			p.part("Must never be done")
			p.list(a.Stop)
		}
		if len(a.Inventory) > 0 {
			p.part("Arrived with the machine")
			p.inventory(a.Inventory, nil)
		}
	}
	if len(p.r.People) > 0 {
		p.part("People")
		var rows [][]cell
		for _, x := range p.r.People {
			rows = append(rows, []cell{{body(words(x.Role))}, {body(x.Name)}, {body(x.Contact)}})
		}
		p.table([]column{{"Role", 1}, {"Name", 2}, {"Contact", 2}}, rows)
	}
}

func (p *pdf) inventory(items []registry.InventoryItem, accounted map[string]string) {
	var rows [][]cell
	for _, x := range items {
		rows = append(rows, []cell{{body(strconv.Itoa(x.Count))}, {body(x.What)}, {body(accounted[x.ID])}, {small(x.Photo)}})
	}
	p.table([]column{{"Count", 0.5}, {"What", 3}, {"Remark", 2.2}, {"Photo", 1}}, rows)
}
