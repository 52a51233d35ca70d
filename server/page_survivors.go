package server

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"example.org/asfound/workshop"
)

// SurvivorsPage asks how many machines of a model survive, by the numbers on
// record here. Numbers come in by POST alone, and none goes out.
type SurvivorsPage struct {
	Base
	Form   Form
	Report *workshop.SurvivorsReport
}

// modelKey is make and model in one value of the form's choice.
func modelKey(maker, model string) string {
	return url.Values{"make": {maker}, "model": {model}}.Encode()
}

func (s *Server) survivorsForm(r *http.Request) (Form, error) {
	list, err := s.Workshop.ModelsOnRecord(r.Context())
	if err != nil {
		return Form{}, err
	}
	var models []Choice
	for _, g := range list {
		models = append(models, Choice{modelKey(g.Make, g.Model), g.Name + ", " + plural(g.Machines, "machine", "machines"), ""})
	}
	slices.SortFunc(models, func(a, b Choice) int { return strings.Compare(a.Label, b.Label) })
	lines := func(name, label, hint string, pointers ...string) Field {
		return Field{Name: name, Label: label, Kind: "area", Hint: hint, Pointers: pointers}
	}
	return Form{Action: "/survivors", Button: "Work it out", Key: newKey(), Parts: []FormPart{
		{Fields: []Field{{Name: "model", Label: "Make and model", Kind: "select", Choices: models, Pointers: []string{"/model", "/make"}},
			{Name: "where", Label: "By the number of the", Kind: "radios", Value: "frame", Choices: []Choice{{"frame", "frame", ""}, {"engine", "engine", ""}}, Pointers: []string{"/where"}}}},
		{Title: "How many were built", Hint: "May stay empty.", Fields: []Field{brief("first", "Number of the first machine built", "", "Figures alone.", "/first"),
			yes("gaps", "Numbers were left out, by type or for export", "")}},
		{Title: "How many survive", Hint: "By another list of numbers that does not feed on this register, nor this register on it. May stay empty.", Fields: []Field{
			lines("known_by", "By which sources the machines here became known", "One a line. Lists that share a source feed each other.", "/known_by", "/lists/first/sources"),
			{Name: "list_name", Label: "Name of the other list", Kind: "text", Hint: "Such as sale records.", Pointers: []string{"/list/name"}},
			lines("list_from", "Where the other list has its entries from", "One a line.", "/list/sources", "/lists/second/sources"),
			lines("list", "Its numbers", "One a line. They are compared here, and kept nowhere.", "/list/numbers")}},
	}}, nil
}

func survivorsPage(s *Server, form Form, report *workshop.SurvivorsReport) SurvivorsPage {
	return SurvivorsPage{Base: Base{Title: "How many survive, by this register", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}, Form: form, Report: report}
}

func pageSurvivors(s *Server, r *http.Request) (answer, error) {
	form, err := s.survivorsForm(r)
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "survivors", page: survivorsPage(s, form, nil)}, nil
}

func pageSurvivorsPost(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	form, err := s.survivorsForm(r)
	if err != nil {
		return nil, err
	}
	form.fill(t.Values)
	q := workshop.SurvivorsQuestion{Where: t.text("where"), Gaps: t.text("gaps") == "yes", KnownBy: t.lines("known_by")}
	if key, err := url.ParseQuery(t.text("model")); err == nil {
		q.Make, q.Model = key.Get("make"), key.Get("model")
	}
	if v, ok := t.amount("first", "/first"); ok {
		q.First = &v
	}
	if list := t.lines("list"); len(list) > 0 {
		q.List = &workshop.NumberList{Name: t.text("list_name"), Sources: t.lines("list_from"), Numbers: list}
	}
	err = t.err()
	var report *workshop.SurvivorsReport
	if err == nil {
		report, err = s.Workshop.RegisterSurvivors(r.Context(), q)
	}
	page := survivorsPage(s, form, report)
	if err == nil {
		return htmlAnswer{name: "survivors", page: page}, nil
	}
	if !mendable(err) {
		return nil, err
	}
	page.Form.refuse(err)
	page.Wrong = true
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "survivors", page: page}, nil
}

const exampleSurvivors = `{"make":"Skerrow Engineering","model":"Drover 350","first":6001,"known_by":["owners who came to the workshop"],"list":{"name":"sale records","sources":["printed catalogues"],"numbers":["6049","6138"]}}`

func apiSurvivors(s *Server, r *http.Request) (answer, error) {
	var q workshop.SurvivorsQuestion
	if err := readJSON(r, &q); err != nil {
		return nil, err
	}
	out, err := s.Workshop.RegisterSurvivors(r.Context(), q)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: out}, nil
}
