package server

import (
	"math"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// FaultsPage lists the faults of a machine, and takes another one.
type FaultsPage struct {
	Base
	Report   *workshop.Report
	Searches []*workshop.FaultSearch
	Form     Form
}

// FaultPage is the search for the cause of one fault.
type FaultPage struct {
	Base
	Report *workshop.Report
	Search *workshop.FaultSearch
	// Likely are the causes that are listed at once, Others those that are not.
	Likely, Others []workshop.CauseReport
	// Test records the outcome of the next test, Other anything else, Undo takes
	// a finding back.
	Test, Other Form
	Rivals      []workshop.RankReport
	Summary     []FormError
	Key         string
	By          Field // who takes back
	Drafts      []DraftView
}

// DraftView is the drafts for one cause with the form that records them.
type DraftView struct {
	*workshop.OptionDrafts
	Form Form
}

const (
	likelyCauses = 5
	rivalTests   = 6
)

func faultAddForm(w *workshop.Workshop, report *workshop.Report) Form {
	complaint := Field{Name: "complaint", Label: "What is it?", Hint: "What a rider would say. Choose the one that comes nearest.", Kind: "select", Pointers: []string{"/complaint"}}
	for _, c := range w.ComplaintList() {
		complaint.Choices = append(complaint.Choices, Choice{c.ID, c.Title, ""})
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/faults", Button: "Record this fault", Key: newKey(), Version: itoa(report.Version), Parts: []FormPart{{Fields: []Field{
		complaint,
		{Name: "words", Label: "In your own words", Kind: "text", Hint: "May stay empty.", Pointers: []string{"/words"}},
		{Name: "components", Label: "Where it shows", Kind: "area", Hint: "One component a line: code, name or id. Empty takes the part of the likeliest cause.", Pointers: []string{"/components"}},
		{Name: "grave", Label: "Danger", Kind: "checks", Choices: []Choice{{"yes", "It could hurt someone", ""}}},
		byField(report, "Who noticed it"),
	}}}}
}

func pageFaults(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.faultsAnswer(r, report, faultAddForm(s.Workshop, report), 0)
}

func (s *Server) faultsAnswer(r *http.Request, report *workshop.Report, form Form, status int) (answer, error) {
	list, err := s.Workshop.FaultSearches(r.Context(), report.Machine.ID)
	if err != nil {
		return nil, err
	}
	page := FaultsPage{Base: s.basis(report, "faults", "What is wrong, and why"), Report: report, Searches: list, Form: form}
	page.Wrong = len(form.Summary()) > 0
	return htmlAnswer{status: status, name: "faults", page: page}, nil
}

func pageFaultAdd(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	form := faultAddForm(s.Workshop, report)
	form.fill(t.Values)
	components := t.components("components", "/components", report)
	id := ""
	if err = t.err(); err == nil {
		var complaints []string
		if c := t.text("complaint"); c != "" {
			complaints = []string{c}
		}
		id, _, err = s.Workshop.AddFault(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")},
			workshop.NewFault{Complaints: complaints, Words: t.text("words"), Components: components, Grave: t.text("grave") == "yes", By: t.text("by")})
	}
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		form.refuse(err)
		return s.faultsAnswer(r, report, form, rowOf(codeOf(err)).status)
	}
	return seeOther("/machines/" + report.Machine.ID + "/faults/" + id + "?recorded=" + id), nil
}

func pageFault(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	page, err := s.faultPage(r, report)
	if err != nil {
		return nil, err
	}
	page.Notice = noticeOf(r)
	return htmlAnswer{name: "fault", page: page}, nil
}

func (s *Server) faultPage(r *http.Request, report *workshop.Report) (*FaultPage, error) {
	search, err := s.Workshop.FaultSearch(r.Context(), report.Machine.ID, chi.URLParam(r, "fault"), workshop.FaultQuestion{})
	if err != nil {
		return nil, err
	}
	page := &FaultPage{Base: s.basis(report, "faults", upperFirst(search.Words)), Report: report, Search: search, Key: newKey()}
	n := min(len(search.Causes), likelyCauses)
	page.Likely, page.Others = search.Causes[:n], search.Causes[n:]
	for _, x := range search.Ranking {
		if search.Next == nil || x.ID != search.Next.ID {
			page.Rivals = append(page.Rivals, x)
		}
	}
	page.Rivals = page.Rivals[:min(len(page.Rivals), rivalTests)]
	page.By = byField(report, "Who corrects it")
	page.By.Of = "undo"
	page.Test, page.Other = testForm(report, search), otherForm(s.Workshop, report, search)
	for _, c := range search.Causes {
		if !search.Confirmed(c.ID) {
			continue
		}
		drafts, err := s.Workshop.DraftOptions(r.Context(), report.Machine.ID, search.Fault, c.ID, page.By.Value)
		if err != nil {
			return nil, err
		}
		page.Drafts = append(page.Drafts, DraftView{drafts, draftForm(report, drafts)})
	}
	return page, nil
}

func faultAddress(report *workshop.Report, fault string) string {
	return "/machines/" + report.Machine.ID + "/faults/" + fault
}

// readingFields ask for a figure; unit is that of the library.
func readingFields(of string, reading *registry.Reading, unit string) []Field {
	f := []Field{
		{Name: "value", Of: of, Label: "Reading", Kind: "short", Hint: "When something was measured.", Pointers: []string{"/reading/value"}},
		{Name: "unit", Of: of, Label: "Its unit", Kind: "short", Value: unit, Pointers: []string{"/reading/unit", "/reading/quantity"}},
		{Name: "instrument", Of: of, Label: "Instrument", Kind: "short", Pointers: []string{"/reading/instrument"}},
	}
	if reading != nil { // it was sent, and refused
		f = append(f, Field{Name: "sure", Of: of, Label: "Far from the usual?", Kind: "checks", Choices: []Choice{{"yes", "I looked at figure and unit again, and they are right", ""}}})
	}
	return f
}

// testForm records what the next test showed; its buttons are the answers.
func testForm(report *workshop.Report, search *workshop.FaultSearch) Form {
	if search.Next == nil {
		return Form{}
	}
	t := search.Next
	form := Form{Action: faultAddress(report, search.Fault) + "/findings", Key: newKey(), Version: itoa(report.Version), Cautions: t.Cautions, Hidden: []Hidden{{"form", "test"}, {"test", t.ID}}}
	by := byField(report, "Who made it")
	by.Of = "test"
	part := FormPart{}
	if o := t.Observation; o != nil {
		form.Hidden = append(form.Hidden, Hidden{"what", "observation/" + o.ID})
		if o.Reading != nil {
			part.Fields = readingFields("test", nil, o.Reading.Unit)
			part.Hint = upperFirst(o.Reading.Quantity) + ", usually " + workshop.Reading(o.Reading.Low, 0, o.Reading.Unit) + " to " + workshop.Reading(o.Reading.High, 0, o.Reading.Unit) + " on a machine in order."
		}
	}
	part.Fields = append(part.Fields, Field{Name: "how", Of: "test", Label: "How it showed", Kind: "text", Hint: "May stay empty.", Pointers: []string{"/how"}}, by)
	form.Parts = []FormPart{part}
	return form
}

// otherForm records any other observation, or a cause that was seen itself.
func otherForm(w *workshop.Workshop, report *workshop.Report, search *workshop.FaultSearch) Form {
	what := Field{Name: "what", Of: "other", Label: "What was looked at", Kind: "select", Pointers: []string{"/observation", "/cause"}}
	for _, c := range search.Causes {
		what.Choices = append(what.Choices, Choice{"cause/" + c.ID, "The cause itself: " + c.Title, ""})
	}
	for _, o := range search.Observations {
		what.Choices = append(what.Choices, Choice{"observation/" + o.ID, upperFirst(o.Title), ""})
	}
	if len(search.Complaints) == 0 {
		what.Label = "Which complaint it is"
		for _, c := range w.ComplaintList() {
			what.Choices = append(what.Choices, Choice{"observation/" + c.Observation, c.Title, ""})
		}
	}
	by := byField(report, "Who looked")
	by.Of = "other"
	fields := []Field{what, {Name: "seen", Of: "other", Label: "Was it so?", Kind: "radios", Choices: []Choice{{"yes", "Yes", ""}, {"no", "No", ""}}, Pointers: []string{"/seen"}}}
	if len(search.Complaints) > 0 {
		fields = append(fields, readingFields("other", nil, "")...)
	}
	return Form{Action: faultAddress(report, search.Fault) + "/findings", Button: "Record this finding", Key: newKey(), Version: itoa(report.Version), Hidden: []Hidden{{"form", "other"}},
		Parts: []FormPart{{Fields: append(fields, Field{Name: "how", Of: "other", Label: "How it showed", Kind: "text", Hint: "May stay empty.", Pointers: []string{"/how"}}, by)}}}
}

// readFinding reads a posted finding. The trial of a cure says of each complaint
// whether it is still there.
func readFinding(t *typed, s *Server, search *workshop.FaultSearch) []registry.Body {
	f := registry.Finding{Fault: search.Fault, Seen: t.text("seen") == "yes", Test: t.text("test"), How: t.text("how"), Sure: t.text("sure") == "yes", By: t.text("by")}
	if seen := t.text("seen"); seen != "yes" && seen != "no" {
		t.fault("/seen", seen, "It is not said whether it was so", "Choose yes or no.")
	}
	kind, id, _ := strings.Cut(t.text("what"), "/")
	switch kind {
	case "observation":
		f.Observation = id
	case "cause":
		f.Cause = id
	}
	if given := t.text("value"); given != "" {
		r := &registry.Reading{Quantity: id, Value: t.number("value", "/reading/value", "the unit beside it"), Unit: t.text("unit"), Instrument: t.text("instrument")}
		if o, ok := s.Workshop.Catalog.Observation(id); ok {
			r.Quantity = o.Title
			if o.Reading != nil {
				r.Quantity = o.Reading.Quantity
			}
		}
		f.Reading = r
	}
	trial, ok := s.Workshop.Catalog.FaultTest(f.Test)
	if f.Observation+f.Cause != "" || !ok || trial.Repairs == nil {
		return []registry.Body{&f}
	}
	var out []registry.Body
	for _, c := range search.Complaints {
		still := f
		still.Observation = c.Observation
		out = append(out, &still)
	}
	return out
}

func pageFinding(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	page, err := s.faultPage(r, report)
	if err != nil {
		return nil, err
	}
	bodies := readFinding(t, s, page.Search)
	if err = t.err(); err == nil {
		err = movedOn(report, t.seen())
	}
	if err == nil {
		_, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")}, bodies...)
	}
	if err == nil {
		return seeOther(faultAddress(report, page.Search.Fault) + "#h-next"), nil
	}
	form := &page.Other
	if t.text("form") == "test" && page.Search.Next != nil && page.Search.Next.ID == t.text("test") {
		form = &page.Test
	}
	if reading := findingReading(bodies); reading != nil && codeOf(err) == registry.CodeRefused {
		of := form.Parts[0].Fields[0].Of
		form.Parts[0].Fields = append(form.Parts[0].Fields, readingFields(of, reading, "")[3])
	}
	return page.again(form, t, err)
}

func findingReading(bodies []registry.Body) *registry.Reading {
	if len(bodies) == 0 {
		return nil
	}
	f, _ := bodies[0].(*registry.Finding)
	return f.Reading
}

// again shows the page with what was typed into one of its forms, and what was
// wrong with it.
func (p *FaultPage) again(form *Form, t *typed, err error) (answer, error) {
	if !mendable(err) {
		return nil, err
	}
	if form != nil {
		form.fill(t.Values)
		form.refuse(err)
		p.Summary = form.Summary()
	} else {
		message, fix := messageOf(err)
		p.Summary = []FormError{{"", sentence(message, fix)}}
	}
	p.Wrong = true
	return htmlAnswer{status: rowOf(codeOf(err)).status, name: "fault", page: p}, nil
}

// pageFindingUndo takes a finding back, or turns it round.
func pageFindingUndo(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	page, err := s.faultPage(r, report)
	if err != nil {
		return nil, err
	}
	var body registry.Body
	for _, f := range page.Search.Findings {
		if f.ID != t.text("finding") {
			continue
		}
		if t.text("do") == "turn" {
			other := f.Finding // what was read stays; what it means is turned
			other.Common = registry.Common{Supersedes: f.ID, Valid: f.Valid}
			other.Seen, other.By = !f.Seen, t.text("by")
			body = &other
		} else {
			body = &registry.Withdrawal{Record: f.ID, Why: "recorded by mistake", By: t.text("by")}
		}
	}
	if body == nil {
		return nil, registry.Refuse(registry.CodeNotFound, "Look at the page again; it may have been taken back already.", "There is no such finding on this fault")
	}
	if _, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Key: t.text("key")}, body); err != nil {
		return page.again(nil, t, err)
	}
	return seeOther(faultAddress(report, page.Search.Fault) + "#h-seen"), nil
}

// draftForm offers each draft with the figures that are to be looked at.
func draftForm(report *workshop.Report, d *workshop.OptionDrafts) Form {
	form := Form{Action: faultAddress(report, d.Fault) + "/options", Button: "Record these drafts", Key: newKey(), Version: itoa(report.Version), Hidden: []Hidden{{"cause", d.Cause.ID}}}
	for _, o := range d.Options {
		hint := "Go there when: " + o.When
		if len(o.OpeningTitles) > 0 {
			hint += " Needs opened: " + strings.Join(o.OpeningTitles, ", ") + "."
		}
		if !o.Reversible {
			hint += " It cannot be undone."
		}
		if o.OwnApproval {
			hint += " The owner must approve it by name."
		}
		name := func(what string) string { return what + "-" + o.Treatment }
		part := FormPart{Title: upperFirst(o.TreatmentTitle), Hint: hint, Fields: []Field{
			{Name: name("take"), Of: d.Cause.ID, Label: "Draft", Kind: "checks", Choices: []Choice{{"yes", "Record this one", ""}}, Values: []string{"yes"}},
			{Name: name("title"), Of: d.Cause.ID, Label: "In words", Kind: "text", Value: o.Title, Pointers: []string{"/title"}}}}
		if o.Treatment != "leave" {
			chance := ""
			if o.Works != nil {
				chance = numberWords(*o.Works * 100)
			}
			money := Field{Name: name("money"), Of: d.Cause.ID, Label: "Money", Kind: "money", Pointers: []string{"/money"}}
			if !o.Money.IsZero() {
				money.Value, money.Unit = o.Money.Amount.String(), o.Money.Currency
			}
			hours := "" // not known
			if o.Hours > 0 {
				hours = numberWords(o.Hours)
			}
			part.Fields = append(part.Fields, Field{Name: name("hours"), Of: d.Cause.ID, Label: "Work", Kind: "short", Unit: "hours", Value: hours, Pointers: []string{"/hours"}},
				money, Field{Name: name("works"), Of: d.Cause.ID, Label: "Chance that it cures it", Kind: "short", Unit: "%", Value: chance, Pointers: []string{"/works"}})
		}
		form.Parts = append(form.Parts, part)
	}
	by := byField(report, "Who drafts them")
	by.Of = d.Cause.ID
	form.Parts = append(form.Parts, FormPart{Fields: []Field{by}})
	return form
}

func pageDrafts(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	page, err := s.faultPage(r, report)
	if err != nil {
		return nil, err
	}
	drafts, err := s.Workshop.DraftOptions(r.Context(), report.Machine.ID, page.Search.Fault, t.text("cause"), t.text("by"))
	if err != nil {
		return nil, err
	}
	bodies := drafts.Bodies(func(o *registry.Option) bool { return mendDraft(t, o) })
	err = t.err()
	if err == nil && len(bodies) == 0 {
		err = registry.Refuse(registry.CodeInvalid, "Tick at least one.", "No draft is chosen")
	}
	if err == nil {
		err = movedOn(report, t.seen())
	}
	if err == nil {
		if _, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")}, bodies...); err == nil {
			return seeOther("/machines/" + report.Machine.ID + "/options?fault=" + page.Search.Fault), nil
		}
	}
	for i := range page.Drafts {
		if page.Drafts[i].Cause.ID == drafts.Cause.ID {
			return page.again(&page.Drafts[i].Form, t, err)
		}
	}
	return page.again(nil, t, err)
}

// mendDraft puts what was typed into a draft; false when it is not to be
// recorded.
func mendDraft(t *typed, o *registry.Option) bool {
	name := func(what string) string { return what + "-" + o.Treatment }
	if t.text(name("take")) != "yes" {
		return false
	}
	o.Title, o.By = t.text(name("title")), t.text("by")
	if o.Treatment == "leave" {
		return true
	}
	o.Hours, o.Money, o.Works = t.number(name("hours"), "/hours", "hours"), t.money(name("money"), "/money"), nil
	if t.text(name("works")) != "" {
		works := math.Round(t.number(name("works"), "/works", "per cent")*1e4) / 1e6
		o.Works = &works
	}
	return true
}
