package server

import (
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// WorkPage lists what was done, taken off, checked and passed.
type WorkPage struct {
	Base
	Report *workshop.Report
	Names  names
	// Approved are the options that the owner's word covers.
	Approved []workshop.OptionReport
	Options  map[string]string // titles by id
	// NextGate is the first gate that does not stand, nil when all do.
	NextGate *workshop.GateReport
	// ToSign waits for who looks at the page, and More is what follows it.
	ToSign []SignView
	More   int
}

func pageWork(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	page := s.workPage(report)
	page.Notice = noticeOf(r)
	page.ToSign, page.More = s.toSign(r, report)
	return htmlAnswer{name: "work", page: page}, nil
}

func (s *Server) workPage(report *workshop.Report) WorkPage {
	page := WorkPage{Base: s.basis(report, "work", "Work, parts and checks"), Report: report, Names: namesOf(report), Options: map[string]string{}}
	for _, f := range report.Faults {
		for _, o := range f.Options {
			page.Options[o.ID] = o.Title
			if o.Standing == "approved" {
				page.Approved = append(page.Approved, o)
			}
		}
	}
	for i := range report.Gates {
		if !report.Gates[i].Passed {
			page.NextGate = &report.Gates[i]
			break
		}
	}
	return page
}

// findOption finds an option of the record.
func findOption(report *workshop.Report, id string) *workshop.OptionReport {
	for i := range report.Faults {
		for j := range report.Faults[i].Options {
			if o := &report.Faults[i].Options[j]; o.ID == id {
				return o
			}
		}
	}
	return nil
}

var validField = Field{Name: "valid", Label: "When", Kind: "short", Hint: "A day such as 2026-03-14, or only as much as is known. Empty means today.", Pointers: []string{"/valid"}}

// workForm asks what was done. With an option it offers that option's changes.
func workForm(report *workshop.Report, option *workshop.OptionReport) Form {
	form := Form{Action: "/machines/" + report.Machine.ID + "/work/entry", Button: "Record this work", Keep: "work", Key: newKey()}
	what := FormPart{Title: "What was done"}
	if option != nil {
		form.Hidden = append(form.Hidden, Hidden{"option", option.ID})
		form.Thing, form.Page = option.ID, form.Action+"?option="+option.ID
		form.Cautions = option.Cautions
		form.Intro = "For the option “" + option.Title + "”. "
		if option.Standing == "approved" {
			form.Intro += "The owner has approved it."
		} else {
			form.Intro += "It is not approved: " + option.Standing + "."
		}
		changes := Field{Name: "changes", Label: "What of it came about", Kind: "checks", Pointers: []string{"/changes"}}
		n := namesOf(report)
		for i, c := range option.Changes {
			hint := "the part stays"
			if c.Removes {
				hint = "the part came off: record it as a removed part next, with its tag and place"
			}
			changes.Choices = append(changes.Choices, Choice{itoa(i), n.Of(c.Component) + ": " + string(c.Proposition), hint})
			changes.Values = append(changes.Values, itoa(i))
		}
		if len(changes.Choices) > 0 {
			what.Fields = append(what.Fields, changes)
		}
	} else {
		form.Intro = "For care and for making safe. Choose an option on the work page first if the owner was asked about it."
		what.Fields = append(what.Fields,
			Field{Name: "treatment", Label: "Treatment", Kind: "short", Value: "clean", Hint: "A rung of the ladder, such as clean, adjust, lubricate.", Pointers: []string{"/treatment"}},
			careField(report))
	}
	what.Fields = append(what.Fields,
		Field{Name: "did", Label: "In a sentence", Kind: "area", Pointers: []string{"/did"}},
		validField,
		Field{Name: "hours", Label: "Hours", Kind: "short", Unit: "h", Pointers: []string{"/hours"}},
		Field{Name: "spent", Label: "Spent", Kind: "money", Pointers: []string{"/spent"}},
		Field{Name: "openings", Label: "Openings that it needed", Kind: "checks", Choices: openingChoices(report), Pointers: []string{"/openings"}},
	)
	form.Parts = []FormPart{what,
		{Title: "Who, and how it can be seen", Fields: []Field{byField(report, "Who did it"), secondField(report),
			{Name: "photos", Label: "Pictures", Kind: "checks", Choices: photoChoices(report), Pointers: []string{"/photos"}}}},
		{Title: "If it happened without, or beyond, an approval", Hint: "The record takes it, marked unapproved for ever.", Fields: []Field{
			{Name: "already_done", Label: "Already done", Kind: "checks", Choices: []Choice{{"yes", "It has happened already; record it as unapproved where nothing covers it", ""}}}}}}
	return form
}

// careField offers what may be done without asking.
func careField(report *workshop.Report) Field {
	f := Field{Name: "care", Label: "On whose word", Kind: "radios", Pointers: []string{"/care"}}
	if report.Agreement != nil {
		for _, c := range report.Agreement.Care {
			f.Choices = append(f.Choices, Choice{c, upperFirst(c), "on the care list"})
		}
	}
	f.Choices = append(f.Choices, Choice{"make safe: ", "To make safe", "stop a leak, take a battery off; reported the same day"}, Choice{"", "Nobody's", "tick “Already done” below"})
	return f
}

func pageWorkForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	option, err := optionAsked(report, r.URL.Query().Get("option"))
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "work", "Record work", workForm(report, option), 0), nil
}

func optionAsked(report *workshop.Report, id string) (*workshop.OptionReport, error) {
	if id == "" {
		return nil, nil
	}
	if o := findOption(report, id); o != nil {
		return o, nil
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Choose one on the work page.", "There is no option %s", quoted(id))
}

func pageWorkPost(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	option, err := optionAsked(report, t.text("option"))
	if err != nil {
		return nil, err
	}
	w := &registry.Work{Common: registry.Common{Valid: registry.Date(t.text("valid"))}, Option: t.text("option"), Treatment: t.text("treatment"), Did: t.text("did"),
		Hours: t.number("hours", "/hours", "hours"), Spent: t.money("spent", "/spent"), Openings: t.list("openings"), Photos: t.list("photos"),
		By: t.text("by"), Second: t.text("second"), AlreadyDone: t.text("already_done") == "yes"}
	if care := t.text("care"); care == "make safe:" {
		w.Care = "make safe: " + w.Did
	} else {
		w.Care = care
	}
	back := "/machines/" + report.Machine.ID + "/work"
	if option != nil {
		w.Treatment = option.Treatment
		for i, c := range option.Changes {
			if contains(t.list("changes"), itoa(i)) {
				c.Keep = nil // what becomes of the part is recorded with it
				w.Changes = append(w.Changes, c)
			}
		}
	}
	return s.recordForm(r, report, t, "work", "Record work", workForm(report, option), back, w)
}

func componentsField(label, hint string) Field {
	return Field{Name: "components", Label: label, Hint: strings.TrimSpace("One a line: code, name or id. " + hint), Kind: "area", Pointers: []string{"/components"}}
}

func checkForm(report *workshop.Report) Form {
	var work []Choice
	for _, w := range report.Work {
		work = append(work, Choice{w.ID, dayWords(w.Valid) + ": " + w.Did, ""})
	}
	var of []Choice
	for _, g := range report.Gates {
		for _, c := range g.Checks {
			of = append(of, Choice{c.ID, g.Title + ": " + c.What, ""})
		}
	}
	var rechecks []Choice
	for _, d := range report.Due {
		rechecks = append(rechecks, Choice{d.ID, d.What, ""})
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/work/check", Button: "Record this check", Key: newKey(), Parts: []FormPart{
		{Title: "What was checked", Fields: []Field{
			{Name: "what", Label: "In a sentence", Kind: "text", Pointers: []string{"/what"}},
			componentsField("Components", ""),
			{Name: "outcome", Label: "Outcome", Kind: "radios", Choices: choices(registry.Outcomes()), Pointers: []string{"/outcome"}},
			{Name: "work", Label: "After which work", Kind: "select", Choices: work, Pointers: []string{"/work"}},
			{Name: "recheck", Label: "Which recheck it does", Kind: "select", Choices: rechecks, Pointers: []string{"/recheck"}},
			{Name: "of", Label: "Which check of a gate it is", Hint: "A gate counts its own checks and no other. Leave it open for any other check.", Kind: "select", Choices: of, Pointers: []string{"/of"}},
			validField,
		}},
		{Title: "Reading", Hint: "When there is one.", Fields: []Field{
			{Name: "quantity", Label: "What was read", Kind: "short", Hint: "Such as “brake lining thickness”.", Pointers: []string{"/readings/0/quantity"}},
			{Name: "value", Label: "Value", Kind: "short", Pointers: []string{"/readings/0/value"}},
			{Name: "unit", Label: "Unit", Kind: "short", Pointers: []string{"/readings/0/unit"}},
			{Name: "uncertainty", Label: "Plus or minus", Kind: "short", Hint: "In the same unit. May stay empty.", Pointers: []string{"/readings/0/uncertainty"}},
			{Name: "instrument", Label: "Instrument", Kind: "short", Pointers: []string{"/readings/0/instrument"}},
		}},
		{Title: "Who", Fields: []Field{byField(report, "Who checked it"), secondField(report), {Name: "note", Label: "Note", Kind: "area", Pointers: []string{"/note"}}}},
	}}
}

func pageCheckForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	form := checkForm(report)
	form.fill(r.URL.Query())
	return s.formAnswer(report, "work", "Record a check", form, 0), nil
}

func pageCheckPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	c := &registry.Check{Common: registry.Common{Valid: registry.Date(t.text("valid")), Note: t.text("note")}, What: t.text("what"), Components: t.components("components", "/components", report),
		Outcome: t.text("outcome"), Work: t.text("work"), Of: t.text("of"), Recheck: t.text("recheck"), By: t.text("by"), Second: t.text("second")}
	if t.text("quantity") != "" || t.text("value") != "" {
		c.Readings = []registry.Reading{{Quantity: t.text("quantity"), Value: t.number("value", "/readings/0/value", "the unit beside it"), Unit: t.text("unit"),
			Uncertainty: t.number("uncertainty", "/readings/0/uncertainty", "the same unit"), Instrument: t.text("instrument")}}
	}
	return s.recordForm(r, report, t, "work", "Record a check", checkForm(report), "/machines/"+report.Machine.ID+"/work", c)
}

// formOf reads the machine and the form that was posted to its page.
func (s *Server) formOf(r *http.Request) (*workshop.Report, *typed, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, nil, err
	}
	t, err := readForm(r)
	return report, t, err
}

func gateForm(report *workshop.Report) Form {
	var gates, checks []Choice
	for _, g := range report.Gates {
		if !g.Passed {
			gates = append(gates, Choice{g.ID, g.Title, g.Others})
		}
	}
	for _, c := range report.Checks {
		if c.Outcome == "passed" {
			checks = append(checks, Choice{c.ID, c.What, dayWords(c.Valid)})
		}
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/work/gate", Button: "Pass this gate", Key: newKey(),
		Intro: "A gate is passed with evidence, in its order, and can be taken back.", Parts: []FormPart{{Fields: []Field{
			{Name: "gate", Label: "Gate", Kind: "radios", Choices: gates, Pointers: []string{"/gate"}},
			{Name: "checks", Label: "Checks that it rests on", Kind: "checks", Choices: checks, Pointers: []string{"/checks"}},
			{Name: "photos", Label: "Pictures", Kind: "checks", Choices: photoChoices(report), Pointers: []string{"/photos"}},
			validField, byField(report, "Who passes it"), secondField(report),
		}}}}
}

func pageGateForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "work", "Pass a gate", gateForm(report), 0), nil
}

func pageGatePost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	g := &registry.Gate{Common: registry.Common{Valid: registry.Date(t.text("valid"))}, Gate: t.text("gate"), Checks: t.list("checks"), Photos: t.list("photos"), By: t.text("by"), Second: t.text("second")}
	return s.recordForm(r, report, t, "work", "Pass a gate", gateForm(report), "/machines/"+report.Machine.ID+"/work", g)
}

func openedForm(report *workshop.Report) Form {
	var open []Choice
	for _, o := range report.Openings {
		if o.Opened == "" {
			open = append(open, Choice{o.ID, o.Title, hoursLost(o)})
		}
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/work/opening", Button: "Record this opening", Key: newKey(),
		Intro: "What the joints could say is lost when they are opened. The as-found picture comes first.", Parts: []FormPart{{Fields: []Field{
			{Name: "opening", Label: "Opening", Kind: "radios", Choices: open, Pointers: []string{"/opening"}},
			validField, byField(report, "Who opened it"),
			{Name: "already_done", Label: "Already done", Kind: "checks", Choices: []Choice{{"yes", "It has happened already; record it as unapproved where something was missing", ""}}},
		}}}}
}

func hoursLost(o workshop.OpeningReport) string {
	return numberWords(o.Hours) + " h; loses " + numberWords(o.WitnessPoints) + " points of 1000 for good"
}

func pageOpenedForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "work", "Record an opening", openedForm(report), 0), nil
}

func pageOpenedPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	o := &registry.Opened{Common: registry.Common{Valid: registry.Date(t.text("valid"))}, Opening: t.text("opening"), By: t.text("by"), AlreadyDone: t.text("already_done") == "yes"}
	return s.recordForm(r, report, t, "work", "Record an opening", openedForm(report), "/machines/"+report.Machine.ID+"/work", o)
}

func removedForm(report *workshop.Report) Form {
	var work []Choice
	n := namesOf(report)
	for _, w := range report.Work {
		for _, c := range w.Changes {
			if c.Removes {
				work = append(work, Choice{w.ID, dayWords(w.Valid) + ": " + w.Did + " (" + n.Of(c.Component) + ")", ""})
				break
			}
		}
	}
	var custody []registry.Term
	for _, c := range registry.Custodies() {
		if c.ID != "fitted" {
			custody = append(custody, c)
		}
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/work/removed", Button: "Record this part", Key: newKey(), Parts: []FormPart{{Fields: []Field{
		{Name: "component", Label: "Where it came off", Kind: "short", List: "components", Hint: "Code, name or id.", Pointers: []string{"/component"}},
		{Name: "work", Label: "Which work took it off", Hint: "Empty for a part that arrived loose.", Kind: "select", Choices: work, Pointers: []string{"/work"}},
		{Name: "tag", Label: "Tag that hangs on it", Kind: "short", Pointers: []string{"/tag"}},
		{Name: "what", Label: "What it is", Kind: "text", Pointers: []string{"/what"}},
		{Name: "custody", Label: "Where it is now", Kind: "radios", Choices: choices(custody), Pointers: []string{"/custody"}},
		{Name: "place", Label: "Place", Kind: "text", Hint: "Kept out of public copies.", Pointers: []string{"/place"}},
		{Name: "condition", Label: "Condition", Kind: "text", Pointers: []string{"/condition"}},
		{Name: "reason", Label: "Why it came off", Kind: "text", Pointers: []string{"/reason"}},
		{Name: "fasteners", Label: "Fasteners in the same bag", Kind: "text", Pointers: []string{"/fasteners"}},
		validField, byField(report, "Who took it off"),
	}}}}
}

func pageRemovedForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "work", "Record a removed part", removedForm(report), 0), nil
}

func pageRemovedPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	component := t.text("component")
	if c, err := componentOf(report, component); err == nil {
		component = c.ID
	}
	p := &registry.RemovedPart{Common: registry.Common{Valid: registry.Date(t.text("valid"))}, Component: component, Work: t.text("work"), Tag: t.text("tag"), What: t.text("what"),
		Custody: t.text("custody"), Place: registry.Private{Value: t.text("place")}, Condition: t.text("condition"), Reason: t.text("reason"), Fasteners: t.text("fasteners"), By: t.text("by")}
	return s.recordForm(r, report, t, "work", "Record a removed part", removedForm(report), "/machines/"+report.Machine.ID+"/work", p)
}

func moveForm(report *workshop.Report, part workshop.RemovedReport) Form {
	custody := Field{Name: "custody", Label: "Where it is now", Kind: "radios", Pointers: []string{"/custody", "/part"}}
	for _, c := range registry.Custodies() {
		choice := Choice{c.ID, upperFirst(plainWords(c.ID)), c.Meaning}
		if c.ID == "fitted" {
			choice.Label, choice.Hint = "Back on the machine", "the work that took it off is undone"
		}
		custody.Choices = append(custody.Choices, choice)
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/work/move/" + part.ID, Button: "Record this move", Key: newKey(),
		Intro: "Tag " + part.Tag + ": " + part.What + ". Now: " + plainWords(part.Custody) + ".", Parts: []FormPart{{Fields: []Field{
			custody,
			{Name: "place", Label: "Place", Kind: "text", Hint: "Kept out of public copies.", Pointers: []string{"/place"}},
			{Name: "why", Label: "Why", Kind: "text", Pointers: []string{"/why"}},
			validField, byField(report, "Who moved it"),
		}}}}
}

func movedPart(report *workshop.Report, r *http.Request) (workshop.RemovedReport, error) {
	id := chi.URLParam(r, "part")
	for _, p := range report.Removed {
		if p.ID == id {
			return p, nil
		}
	}
	return workshop.RemovedReport{}, registry.Refuse(registry.CodeNotFound, "The work page lists them.", "There is no removed part %s", quoted(id))
}

func moveTitle(p workshop.RemovedReport) string { return "Move a removed part: " + p.What }

func pageMoveForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	part, err := movedPart(report, r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "work", moveTitle(part), moveForm(report, part), 0), nil
}

func pageMovePost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	part, err := movedPart(report, r)
	if err != nil {
		return nil, err
	}
	m := &registry.PartMove{Common: registry.Common{Valid: registry.Date(t.text("valid"))}, Part: part.ID, Custody: t.text("custody"), Place: registry.Private{Value: t.text("place")}, Why: t.text("why"), By: t.text("by")}
	return s.recordForm(r, report, t, "work", moveTitle(part), moveForm(report, part), "/machines/"+report.Machine.ID+"/work", m)
}
