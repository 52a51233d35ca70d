package exchange

import (
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// context maps the words of the document to terms of CIDOC CRM (7.1), of the
// Linked Art profile and of schema.org. It stands in every document, so that
// nobody has to fetch it.
var context = object{
	"crm": "http://www.cidoc-crm.org/cidoc-crm/", "aat": "http://vocab.getty.edu/aat/", "schema": "https://schema.org/",
	"xsd": "http://www.w3.org/2001/XMLSchema#", "rdfs": "http://www.w3.org/2000/01/rdf-schema#", "as": "https://example.org/asfound/ns#",
	"id": "@id", "type": "@type", "_label": "rdfs:label",

	"HumanMadeObject": "crm:E22_Human-Made_Object", "Type": "crm:E55_Type", "Name": "crm:E33_E41_Linguistic_Appellation", "Identifier": "crm:E42_Identifier",
	"Production": "crm:E12_Production", "TimeSpan": "crm:E52_Time-Span", "Group": "crm:E74_Group", "LinguisticObject": "crm:E33_Linguistic_Object",
	"Modification": "crm:E11_Modification", "AttributeAssignment": "crm:E13_Attribute_Assignment",
	"Activity": "crm:E7_Activity", "Actor": "crm:E39_Actor", "Dimension": "crm:E54_Dimension", "MeasurementUnit": "crm:E58_Measurement_Unit",
	"Motorcycle": "schema:Motorcycle",

	"identified_by": term("crm:P1_is_identified_by"), "classified_as": term("crm:P2_has_type"), "content": "crm:P190_has_symbolic_content",
	"referred_to_by": term("crm:P67i_is_referred_to_by"), "produced_by": term("crm:P108i_was_produced_by"), "carried_out_by": term("crm:P14_carried_out_by"),
	"timespan": term("crm:P4_has_time-span"), "begin_of_the_begin": moment("crm:P82a_begin_of_the_begin"), "end_of_the_end": moment("crm:P82b_end_of_the_end"),
	"part": term("crm:P46_is_composed_of"), "modified_by": term("crm:P31i_was_modified_by"),
	"attributed_by": term("crm:P140i_was_attributed_by"), "assigned": term("crm:P141_assigned"), "used_specific_object": term("crm:P16_used_specific_object"),
	"dimension": term("crm:P43_has_dimension"), "value": number("crm:P90_has_value"), "unit": term("crm:P91_has_unit"),
	"motivated_by": term("crm:P17_was_motivated_by"),

	"manufacturer": "schema:manufacturer", "model": "schema:model", "productionDate": "schema:productionDate", "name": "schema:name",
	"probability": number("as:probability"), "basis": "as:basis", "standing": "as:standing", "custody": "as:custody",
}

type object map[string]any

func term(id string) object   { return object{"@id": id, "@type": "@id"} }
func moment(id string) object { return object{"@id": id, "@type": "xsd:dateTime"} }

// number is a term for a JSON number. As RDF such a number is written with an
// exponent (JSON-LD 1.1 API, 8.6), which a decimal may not have.
func number(id string) object { return object{"@id": id, "@type": "xsd:double"} }

// Terms of the Art & Architecture Thesaurus that Linked Art asks for.
var (
	primaryName = object{"id": "aat:300404670", "type": "Type", "_label": "primary name"}
	statement   = object{"id": "aat:300418049", "type": "Type", "_label": "statement"}
)

// WriteLinkedData writes a machine as JSON-LD: the object and its parts, who
// made it and when, what was attributed to each part on what evidence, and what
// work changed.
func WriteLinkedData(in Input) ([]byte, error) {
	l := linked{in: in, base: in.base(), evidence: map[string]bool{}}
	return indented(l.machine())
}

type linked struct {
	in       Input
	base     string
	evidence map[string]bool
}

func (l linked) machine() object {
	m := l.in.Report.Machine
	for _, e := range l.in.Report.Evidence {
		l.evidence[e.ID] = true
	}
	out := object{"@context": context, "id": l.base + "machine", "type": []string{"HumanMadeObject", "Motorcycle"}, "_label": m.Name, "name": m.Name,
		"manufacturer": m.Make, "model": m.Model, "productionDate": string(m.Year),
		"classified_as": []object{{"id": "as:motorcycle", "type": "Type", "_label": "motorcycle"}},
		"identified_by": l.names(m)}
	production := object{"type": "Production", "carried_out_by": []object{{"type": "Group", "_label": m.Make}}}
	if span, ok := timespan(m.Year); ok {
		production["timespan"] = span
	}
	out["produced_by"] = production
	texts := []object{}
	if m.Story != "" {
		texts = append(texts, words(m.Story))
	}
	if m.Invented {
		texts = append(texts, words(invented))
	}
	for _, e := range l.in.Report.Evidence {
		if e.Live {
			texts = append(texts, object{"id": l.base + "records/" + e.ID, "type": "LinguisticObject", "classified_as": []object{statement, kind("evidence-"+e.Kind, e.Kind)}, "content": e.Says})
		}
	}
	if len(texts) > 0 {
		out["referred_to_by"] = texts
	}
	var parts []object
	for _, g := range l.in.Report.Groups {
		for _, c := range g.Components {
			if !c.NotFitted && c.Origin.Leading != "missing" {
				parts = append(parts, l.component(c))
			}
		}
	}
	out["part"] = parts
	return out
}

func (l linked) names(m workshop.MachineReport) []object {
	out := []object{{"type": "Name", "classified_as": []object{primaryName}, "content": m.Name},
		{"type": "Identifier", "classified_as": []object{kind("registry-name", "name in the registry")}, "content": m.ID}}
	for _, n := range m.Numbers {
		if n.Shown != "" {
			out = append(out, object{"type": "Identifier", "classified_as": []object{kind("number", "stamped number")}, "_label": n.Where + " number", "content": n.Shown})
		}
	}
	return out
}

func (l linked) component(c workshop.ComponentReport) object {
	out := object{"id": l.base + "components/" + c.ID, "type": "HumanMadeObject", "_label": c.Name, "custody": c.Custody}
	var attributed []object
	for _, claim := range c.Claims() {
		if a, ok := l.attribution(c.ID, claim); ok {
			attributed = append(attributed, a)
		}
	}
	if len(attributed) > 0 {
		out["attributed_by"] = attributed
	}
	var dims []object
	for _, r := range l.in.Report.Readings {
		if r.Component == c.ID {
			dims = append(dims, object{"id": l.base + "records/" + r.ID, "type": "Dimension", "_label": r.Quantity, "value": r.Value,
				"unit": object{"type": "MeasurementUnit", "_label": r.Unit}})
		}
	}
	if len(dims) > 0 {
		out["dimension"] = dims
	}
	if work := l.work(c.ID); len(work) > 0 {
		out["modified_by"] = work
	}
	return out
}

// attribution is the most probable answer to one question. A house prior alone
// is nobody's attribution, and is left out.
func (l linked) attribution(component string, claim *workshop.ClaimReport) (object, bool) {
	if claim.Leading == "" || claim.Basis == "prior" {
		return nil, false
	}
	a := object{"type": "AttributeAssignment", "_label": string(claim.Proposition), "basis": claim.Basis,
		"assigned": []object{kind(string(claim.Proposition)+"-"+claim.Leading, strings.ReplaceAll(claim.Leading, "-", " "))}}
	if claim.Probability > 0 && claim.Probability < 1 {
		a["probability"] = claim.Probability
	}
	var used []object
	for _, id := range claim.Evidence {
		if l.evidence[id] {
			used = append(used, object{"id": l.base + "records/" + id})
		}
	}
	if len(used) > 0 {
		a["used_specific_object"] = used
	}
	return a, true
}

// work is what changed a component, with how it stands to the owner's word.
func (l linked) work(component string) (out []object) {
	for _, w := range l.in.Report.Work {
		touched := false
		for _, c := range w.Changes {
			touched = touched || c.Component == component
		}
		for _, f := range w.Fitted {
			touched = touched || f.Component == component
		}
		if !touched {
			continue
		}
		m := object{"id": l.base + "records/" + w.ID, "type": "Modification", "_label": w.Did, "standing": w.Standing.Mark,
			"classified_as": []object{kind("treatment-"+w.Treatment, w.TreatmentTitle)}, "carried_out_by": []object{{"type": "Actor", "_label": w.By}}}
		if span, ok := timespan(w.Valid); ok {
			m["timespan"] = span
		}
		if w.Standing.Decision != "" {
			m["motivated_by"] = []object{{"id": l.base + "records/" + w.Standing.Decision, "type": "Activity", "_label": "the owner's decision"}}
		}
		out = append(out, m)
	}
	return out
}

func kind(id, label string) object {
	return object{"id": "as:" + id, "type": "Type", "_label": label}
}

func words(s string) object {
	return object{"type": "LinguisticObject", "classified_as": []object{statement}, "content": s}
}

// timespan is the widest span that a date can mean.
func timespan(d registry.Date) (object, bool) {
	span, err := d.Span()
	if d == "" || err != nil {
		return nil, false
	}
	out := object{"type": "TimeSpan", "_label": string(d)}
	if !span.First.IsZero() {
		out["begin_of_the_begin"] = span.First.Format(time.DateOnly) + "T00:00:00Z"
	}
	if !span.Last.IsZero() {
		out["end_of_the_end"] = span.Last.Format(time.DateOnly) + "T23:59:59Z"
	}
	return out, true
}
