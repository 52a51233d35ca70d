package server

import (
	"net/http"
	"net/url"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// BenchIndexPage lists what the bench can tell.
type BenchIndexPage struct {
	Base
	Groups []BenchGroup
	// Suffix carries the component that is in hand from page to page.
	Suffix string
}

// BenchGroup is pages of one kind.
type BenchGroup struct {
	Name  string
	Links []BenchLink
}

// BenchLink leads to one page of the bench.
type BenchLink struct{ To, Title, Lead string }

// BenchPage asks one question at the bench and answers it.
type BenchPage struct {
	Base
	Lead   string
	Method string // of the form, get or post
	Form   Form
	// Answered says that there is a result.
	Answered bool
	Refused  string
	Words    workshop.BenchWords
	Input    string // as it was computed, short of the catalog's tables
	Name     string // of the method, with its version
	// Compare leads on to comparing two colours that were read from a picture.
	Compare string
	Attach  *Form // nil where the result is of no single component
	// Datalist are the components.
	Datalist []Choice
	Threads  []Choice
}

func pageBenchIndex(s *Server, r *http.Request) (answer, error) {
	page := BenchIndexPage{Base: Base{Title: "The bench", Version: s.Version}, Suffix: inHand(r.URL.Query())}
	add := func(group string, l BenchLink) {
		if n := len(page.Groups); n == 0 || page.Groups[n-1].Name != group {
			page.Groups = append(page.Groups, BenchGroup{Name: group})
		}
		g := &page.Groups[len(page.Groups)-1]
		g.Links = append(g.Links, l)
	}
	for i, k := range benchKinds {
		add(k.group, BenchLink{"/bench/" + k.id, k.title, k.lead})
		if k.group == "On the bench" && benchKinds[i+1].group != k.group {
			add(k.group, BenchLink{"/bench/table", "Table of threads", "One page to print and hang up."})
		}
		if k.id == "colour" && s.ReadLight != nil {
			add(k.group, BenchLink{"/bench/card", "Which colour is it, by a photograph?", "With a reference card in the same picture; without one a picture says nothing of colour."})
		}
	}
	return htmlAnswer{name: "bench-index", page: page}, nil
}

// inHand is the query that names the component in hand.
func inHand(q url.Values) string {
	out := url.Values{}
	for _, key := range []string{"machine", "component"} {
		if v := q.Get(key); v != "" {
			out.Set(key, v)
		}
	}
	if len(out) == 0 {
		return ""
	}
	return "?" + out.Encode()
}

// benchPage is the page of one question as it stands before it is asked.
func (s *Server) benchPage(k benchKind, t *typed) BenchPage {
	page := BenchPage{Base: Base{Title: k.title, Version: s.Version, Crumbs: []Crumb{{"The bench", "/bench" + inHand(t.Values)}}}, Lead: k.lead, Method: "get",
		Form: Form{Action: "/bench/" + k.id, Button: "Work it out", Parts: k.fields(s, t)}}
	if k.private {
		page.Method = "post"
	}
	for _, key := range []string{"machine", "component"} {
		if v := t.text(key); v != "" {
			page.Form.Hidden = append(page.Form.Hidden, Hidden{key, v})
		}
	}
	return page
}

func pageBench(s *Server, r *http.Request) (answer, error) {
	k, err := benchKindOf(chi.URLParam(r, "kind"))
	if err != nil {
		return nil, err
	}
	t := &typed{Values: r.URL.Query(), comma: decimalComma(r)}
	if k.private { // a number never stands in an address
		t = &typed{Values: url.Values{"machine": t.Values["machine"], "component": t.Values["component"]}}
	}
	return s.askBench(r, k, t)
}

func pageBenchPost(s *Server, r *http.Request) (answer, error) {
	k, err := benchKindOf(chi.URLParam(r, "kind"))
	if err != nil {
		return nil, err
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	return s.askBench(r, k, t)
}

// asked says whether anything but the component in hand was typed.
func (t *typed) asked() bool {
	for name := range t.Values {
		if name != "machine" && name != "component" {
			return true
		}
	}
	return false
}

func (s *Server) askBench(r *http.Request, k benchKind, t *typed) (answer, error) {
	page := s.benchPage(k, t)
	if !t.asked() {
		return htmlAnswer{name: "bench", page: page}, nil
	}
	page.Form.fill(t.Values)
	in := benchInput{}
	k.read(s, t, in)
	wrong := t.err()
	if wrong == nil {
		wrong = s.answerBench(r, &page, k.method, in.json(), t, nil)
	}
	return page.finished(wrong)
}

// answerBench computes and puts the answer on the page, with the form by which
// it becomes evidence.
func (s *Server) answerBench(r *http.Request, page *BenchPage, method, input string, t *typed, refused error) error {
	a, err := s.Workshop.Ask(method, []byte(input))
	if err != nil {
		return err
	}
	if page.Words, err = a.Words(); err != nil {
		return err
	}
	page.Answered, page.Input, page.Name = true, input, a.Method
	if page.Words.Nothing || !workshop.BearsOnComponents(a.Method) {
		return nil
	}
	machine, machines, err := s.machineField(r)
	if err != nil || len(machines) == 0 {
		return err
	}
	form := Form{Action: "/bench/attach", Button: "Attach as evidence", Key: newKey(), Hidden: []Hidden{{"method", a.Method}, {"input", input}},
		Intro: "The likelihoods, the input with the catalog’s tables, the result and the method’s version are recorded with it."}
	fields := []Field{machine, {Name: "component", Label: "Component", Kind: "text", List: "components", Hint: "Its code or its name.", Pointers: []string{"/component"}}}
	if a.Method == "thread/1" {
		fields = append(fields, Field{Name: "listed", Label: "Thread that the maker lists", Kind: "text", List: "threads", Hint: "Such as BSF 1/4. Left empty, the result is kept and moves no answer.", Pointers: []string{"/listed"}})
		page.Threads = []Choice{}
		for _, x := range s.Workshop.Catalog.Threads() {
			page.Threads = append(page.Threads, Choice{x.Series + " " + x.Designation, "", ""})
		}
	}
	by, err := s.whoMeasured(r, machine.Value, t)
	if err != nil {
		return err
	}
	fields = append(fields, by, Field{Name: "note", Label: "Note", Kind: "area", Pointers: []string{"/note"}})
	form.Parts = []FormPart{{Fields: fields}}
	form.fill(t.Values)
	if refused != nil {
		form.refuse(refused)
		page.Wrong = true
	}
	page.Attach = &form
	for _, c := range s.Workshop.Catalog.ComponentsInWalk() {
		page.Datalist = append(page.Datalist, Choice{c.ID, c.Name, ""})
	}
	return nil
}

// whoMeasured offers the people of the record by name, once it is known of which
// machine the part is.
func (s *Server) whoMeasured(r *http.Request, machine string, t *typed) (Field, error) {
	f := Field{Name: "by", Label: "Who measured", Kind: "short", Hint: "The id of a person of that record. Left empty, whoever has custody.", Pointers: []string{"/by", "/actor"}}
	if chosen := t.text("machine"); chosen != "" {
		machine = chosen
	}
	if machine == "" {
		return f, nil
	}
	d, err := s.Workshop.Load(r.Context(), machine, workshop.At{})
	if codeOf(err) == registry.CodeNotFound {
		return f, nil
	}
	if err != nil {
		return f, err
	}
	f.Kind, f.Hint = "select", "Left open, whoever has custody."
	for _, p := range registry.Live[*registry.Person](d) {
		name := workshop.PersonName(d, p.RecordID(), false)
		f.Choices = append(f.Choices, Choice{p.RecordID(), name + " (" + plainWords(p.Record.Role) + ")", ""})
	}
	return f, nil
}

// finished answers with the page, what was wrong with the question on it.
func (p *BenchPage) finished(wrong error) (answer, error) {
	switch {
	case wrong == nil:
		return htmlAnswer{name: "bench", page: *p}, nil
	case !mendable(wrong) && codeOf(wrong) != registry.CodeTooLarge:
		return nil, wrong
	case codeOf(wrong) == registry.CodeInsufficient:
		p.Refused = sentence(messageOf(wrong))
		return htmlAnswer{name: "bench", page: *p}, nil
	}
	p.Wrong = true
	p.Form.refuse(wrong)
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "bench", page: *p}, nil
}

// pageBenchAttach keeps a result as evidence on a component: what was asked is
// computed once more, so that nothing is recorded but what its input gives.
func pageBenchAttach(s *Server, r *http.Request) (answer, error) {
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	b := workshop.BenchEvidence{Component: t.text("component"), Method: t.text("method"), Input: []byte(t.text("input")), Listed: t.text("listed"), Note: t.text("note"), By: t.text("by")}
	machine := t.text("machine")
	if machine == "" {
		t.fault("/machine", "", "No machine was chosen", "Choose the one that the part is of.")
	}
	if b.Component == "" {
		t.fault("/component", "", "No component was chosen", "Write its code, name or id.")
	}
	err = t.err()
	if err == nil {
		err = checkJSON(b.Input)
	}
	if err == nil && b.By == "" {
		b.By, err = s.actorOn(r, machine, "", nil)
	}
	var out workshop.AttachedEvidence
	if err == nil {
		out, err = s.Workshop.AttachEvidence(r.Context(), workshop.Request{Machine: machine, Actor: b.By, Key: t.text("key")}, b)
	}
	if err == nil {
		return seeOther("/machines/" + url.PathEscape(machine) + "/components/" + url.PathEscape(out.Evidence.Bears[0].Component) + "?recorded=" + url.QueryEscape(out.Evidence.ID)), nil
	}
	if !mendable(err) && codeOf(err) != registry.CodeNotFound {
		return nil, err
	}
	for _, k := range benchKinds {
		if k.method != b.Method {
			continue
		}
		// The question itself is not asked again: only its answer is shown.
		page := s.benchPage(k, &typed{Values: url.Values{}})
		if wrong := s.answerBench(r, &page, b.Method, string(b.Input), t, err); wrong != nil {
			return nil, wrong
		}
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "bench", page: page}, nil
	}
	return nil, err
}
