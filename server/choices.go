package server

import (
	"errors"
	"net/http"
	"slices"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// choices offers the words of the vocabulary.
func choices(terms []registry.Term) []Choice {
	var out []Choice
	for _, t := range terms {
		out = append(out, Choice{t.ID, upperFirst(plainWords(t.ID)), t.Meaning})
	}
	return out
}

// personChoices offers the people of the record.
func personChoices(report *workshop.Report, roles ...string) []Choice {
	var out []Choice
	for _, p := range report.People {
		if len(roles) == 0 || contains(roles, p.Role) {
			out = append(out, Choice{p.ID, p.Name + " (" + plainWords(p.Role) + ")", ""})
		}
	}
	return out
}

// byField asks who did it. The only mechanic is filled in.
func byField(report *workshop.Report, label string) Field {
	f := Field{Name: "by", Label: label, Kind: "select", Choices: actingChoices(report), Pointers: []string{"/by", "/actor"}}
	if len(report.Acting) > 0 && len(f.Choices) == 1 {
		f.Value = f.Choices[0].Value
	} else if mechanics := actingChoices(report, "mechanic"); len(mechanics) == 1 {
		f.Value = mechanics[0].Value
	}
	return f
}

// actingChoices are the persons under whom the reader may record.
func actingChoices(report *workshop.Report, roles ...string) []Choice {
	out := personChoices(report, roles...)
	if len(report.Acting) == 0 {
		return out
	}
	return slices.DeleteFunc(out, func(c Choice) bool { return !contains(report.Acting, c.Value) })
}

// personOr is who recorded something, where a form needs a person: the one who
// is filled in when it was an account that stands for nobody.
func personOr(report *workshop.Report, actor string) string {
	for _, p := range report.People {
		if p.ID == actor {
			return actor
		}
	}
	return byField(report, "").Value
}

func secondField(report *workshop.Report) Field {
	return Field{Name: "second", Label: "Second signature", Hint: "Needed where a part bears identity, and for some gates. May stay empty. Where there are accounts, that person then signs on the work page.", Kind: "select",
		Choices: personChoices(report), Pointers: []string{"/second"}}
}

func openingChoices(report *workshop.Report) []Choice {
	var out []Choice
	for _, o := range report.Openings {
		out = append(out, Choice{o.ID, o.Title, ""})
	}
	return out
}

func photoChoices(report *workshop.Report) []Choice {
	var out []Choice
	for _, p := range report.Photos {
		label := p.Caption
		if label == "" {
			label = plainWords(p.Shows) + " picture"
		}
		out = append(out, Choice{p.ID, label, p.ID})
	}
	return out
}

func componentChoices(report *workshop.Report) []Choice {
	var out []Choice
	for _, g := range report.Groups {
		for _, c := range g.Components {
			if !c.NotFitted {
				out = append(out, Choice{c.ID, c.Name, ""})
			}
		}
	}
	return out
}

// components reads a list of components, one a line, by code, name or id.
func (t *typed) components(name, pointer string, report *workshop.Report) []string {
	var out []string
	for i, line := range t.lines(name) {
		// A datalist fills in "code name".
		c, err := componentOf(report, line)
		if err != nil {
			code, _, _ := strings.Cut(line, " ")
			c, err = componentOf(report, code)
		}
		if err != nil {
			t.fault(pointer+"/"+itoa(i), line, "There is no such component", "Write its code, name or id as the machine's page shows it.")
			continue
		}
		out = append(out, c.ID)
	}
	return out
}

// FormPage is a page with one form.
type FormPage struct {
	Base
	Form Form
	// Datalist are the components, to be offered while typing.
	Datalist []Choice
}

// formAnswer shows a form on a page of the machine.
func (s *Server) formAnswer(report *workshop.Report, tab, title string, form Form, status int) answer {
	page := FormPage{Base: s.basis(report, tab, title), Form: form}
	if form.Version == "" {
		page.Form.Version = itoa(report.Version)
	}
	page.Wrong = len(form.Summary()) > 0
	for _, part := range form.Parts {
		for _, f := range part.Fields {
			if f.List == "components" && page.Datalist == nil {
				page.Datalist = componentChoices(report)
			}
		}
	}
	return htmlAnswer{status: status, name: "form-page", page: page}
}

// formAgain shows the form with what was wrong and everything that was typed.
// What cannot be mended there is given back as an error.
func (s *Server) formAgain(report *workshop.Report, tab, title string, form Form, err error) (answer, error) {
	if !mendable(err) {
		return nil, err
	}
	form.refuse(err)
	form.Version = itoa(report.Version)
	return s.formAnswer(report, tab, title, form, rowOf(codeOf(err)).status), nil
}

// movedOn says that the record is not at the version that the person saw.
func movedOn(report *workshop.Report, seen *uint64) error {
	if seen == nil || *seen == report.Version {
		return nil
	}
	return registry.Refuse(registry.CodeConflict, "What you typed is kept. Look at what was recorded since, and send it again if it still holds.",
		"The record has moved on since you opened this form: it was at version %d and is at %d now", *seen, report.Version)
}

// recordForm records what a posted form says and sends the browser on.
func (s *Server) recordForm(r *http.Request, report *workshop.Report, t *typed, tab, title string, form Form, back string, bodies ...registry.Body) (answer, error) {
	form.fill(t.Values)
	err := t.err()
	if err == nil {
		err = movedOn(report, t.seen())
	}
	var receipt workshop.Receipt
	if err == nil {
		receipt, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")}, bodies...)
	}
	if err != nil {
		return s.formAgain(report, tab, title, form, err)
	}
	if id := firstID(receipt); id != "" {
		back += "?recorded=" + id
	}
	return seeOther(back), nil
}

// messageOf splits an error into what happened and what to do.
func messageOf(err error) (message, fix string) {
	var e *registry.Error
	if errors.As(err, &e) {
		return e.Message, e.Fix
	}
	row := rowOf(codeOf(err))
	return row.title, row.fix
}
