package importers

import (
	"slices"
	"strings"

	"example.org/asfound/registry"
)

// questions are the propositions that evidence can speak to.
func questions() []registry.Proposition {
	return []registry.Proposition{registry.PropositionOrigin, registry.PropositionFinish, registry.PropositionSpecification, registry.PropositionAssembly}
}

// evidenceTable is the list of evidence: one row an item. A row bears on one or
// several components with one question.
func evidenceTable() Table {
	names := make([]string, 0, 4)
	for _, q := range questions() {
		names = append(names, string(q))
	}
	columns := []Column{
		machineColumn(),
		{Heading: "id", Also: []string{"evidence", "evidence id", "record id"}, Pointer: "/id", Needed: true, Takes: "a short name for the item", Example: "ev-tank-fret"},
		example(needed(termColumn("kind", "/evidence", registry.EvidenceKinds(), "kind of evidence", "type")), "physical-trait"),
		{Heading: "component", Also: []string{"components", "about", "bears on"}, Pointer: "/bears/*/component", Needed: true,
			Takes: "the components that it speaks of, with ; between them; for the question assembly, the assembly", Example: "fuel.tank"},
		{Heading: "proposition", Also: []string{"question"}, Pointer: "/bears/*/proposition", Choices: names,
			Takes: "the question it speaks to: " + strings.Join(names, ", ") + "; may be left out with a sign", Example: "origin"},
		{Heading: "sign", Also: []string{"sign of the catalog"}, Pointer: "/bears/*/sign",
			Takes: "the catalog's sign; or else numbers in the columns of likelihood", Example: "fret-marks-fit"},
		{Heading: "why", Also: []string{"reason for numbers"}, Pointer: "/bears/*/why", Takes: "the sentence behind numbers of one's own", Example: ""},
		{Heading: "cluster", Also: []string{"group of evidence"}, Pointer: "/cluster", Needed: true,
			Takes: "one word for what hangs together: items of one cluster are not independent", Example: "patina"},
		{Heading: "reliability", Also: []string{"trust"}, Pointer: "/reliability", Takes: "how likely the item is what it seems, 0 to 1 or in per cent", Example: "0.9"},
		{Heading: "made", Also: []string{"made on", "date made"}, Pointer: "/made", Takes: "when the thing itself was made, in the forms of a date", Example: "1959-08~"},
		{Heading: "made by", Also: []string{"maker"}, Pointer: "/made_by", Takes: "by whom, as a role and without names", Example: "third party"},
		{Heading: "says", Also: []string{"what it says", "statement"}, Pointer: "/says", Needed: true, Takes: "what it says, in one sentence", Example: "Fret marks under the tank fit this frame."},
		{Heading: "limits", Also: []string{"what it cannot show"}, Pointer: "/limits", Takes: "what it cannot show", Example: ""},
		{Heading: "recollected", Also: []string{"from memory"}, Pointer: "/recollected", Choices: []string{"yes", "no"}, Takes: "yes when it was remembered later rather than made at the time", Example: "no"},
		photosColumn(), byColumn("judged it"), dateColumn("when it was found or seen"), noteColumn(),
	}
	done := map[string]bool{}
	for _, q := range questions() {
		for _, state := range append(registry.States(q), registry.StateOther) {
			if !done[state] {
				done[state] = true
				columns = append(columns, Column{Heading: likelihood + state, Also: []string{"P " + state}, Pointer: "/bears/*/likelihood/" + state,
					Takes:  "how likely one would see this if the part were " + state + ", 0 to 1 or in per cent",
					Seldom: q != registry.PropositionOrigin && state != registry.StateOther})
			}
		}
	}
	return Table{Name: "evidence", Title: "List of evidence", Record: "evidence", Columns: columns,
		identify: func(l *line) []identity {
			id := l.text("id")
			if id == "" {
				return nil
			}
			return []identity{{l.recordKey(id), "id", "two rows have one id"}}
		},
		build: buildEvidence,
	}
}

const likelihood = "likelihood "

func buildEvidence(l *line) []registry.Body {
	e := &registry.Evidence{Evidence: l.term("kind", registry.EvidenceKinds(), "")}
	e.ID, e.Valid = l.text("id"), l.date("date")
	e.Cluster, e.Reliability = foldTerm(l.text("cluster")), l.share("reliability")
	e.Made, e.MadeBy = l.date("made"), l.text("made by")
	e.Says, e.Limits = l.text("says"), l.text("limits")
	if v := l.yes("recollected"); v != nil {
		e.Recollected = *v
	}
	e.Photos, e.By, e.Note = l.list("photos"), l.person("by"), l.text("note")

	b := registry.Bearing{Proposition: registry.Proposition(l.word("proposition")), Why: l.text("why"), Likelihood: l.likelihoods()}
	if text := l.text("sign"); text != "" && !cannotTell(text) {
		if b.Sign = l.sign("sign", text); b.Sign != "" {
			_, speaksTo, _ := l.o.Anatomy.sign(b.Sign)
			switch {
			case b.Proposition == "":
				b.Proposition = speaksTo
			case speaksTo != "" && speaksTo != b.Proposition:
				l.fault("proposition", string(speaksTo), "The sign "+b.Sign+" speaks to another question", "Write "+string(speaksTo)+", or leave the cell empty.")
			}
		}
	}
	if b.Proposition == "" && l.text("proposition") == "" && l.text("sign") == "" {
		l.fault("proposition", strings.Join(l.layout.table.Columns[l.at("proposition")].Choices, ", "), "It is not said which question the evidence speaks to", "Write origin, finish, specification or assembly.")
	}
	for _, c := range l.components("component", b.Proposition == registry.PropositionAssembly) {
		one := b
		one.Component = c
		e.Bears = append(e.Bears, one)
	}
	return []registry.Body{e}
}

// word reads one of a column's own choices.
func (l *line) word(heading string) string {
	text := foldTerm(l.text(heading))
	choices := l.layout.table.Columns[l.at(heading)].Choices
	if text == "" || slices.Contains(choices, text) {
		return text
	}
	l.fault(heading, strings.Join(choices, ", "), "This word is not in the vocabulary", didYouMean(text, choices, "Use one of the listed words."))
	return ""
}

// likelihoods reads the columns of P(seen | state) that are filled in.
func (l *line) likelihoods() map[string]float64 {
	var out map[string]float64
	for i, c := range l.layout.table.Columns {
		if l.layout.places[i] < 0 || !strings.HasPrefix(c.Heading, likelihood) {
			continue
		}
		if v := l.share(c.Heading); v != nil {
			if out == nil {
				out = map[string]float64{}
			}
			out[strings.TrimPrefix(c.Heading, likelihood)] = *v
		}
	}
	return out
}
