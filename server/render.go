package server

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"path"
	"reflect"
	"strings"
	"sync"

	"example.org/asfound/language"
)

//go:embed templates/*.html
var templateFiles embed.FS

// pageSet holds one template for each page. It is parsed when the page is first
// asked for: all of them at once would be most of what the start takes, and
// most of what an idle server holds in memory.
type pageSet map[string]func() (*template.Template, error)

// sharedTemplates are parsed into every page.
var sharedTemplates = []string{"templates/layout.html", "templates/courier.html", "templates/form.html", "templates/parts.html", "templates/survey-parts.html", "templates/side.html", "templates/owner-parts.html", "templates/sum.html"}

// parsePages makes ready every page of the program with its texts in a language.
func parsePages(l *language.Language) (pageSet, error) {
	base := template.New("layout").Funcs(funcsIn(l))
	for _, name := range sharedTemplates {
		if err := parseIn(l, base, name); err != nil {
			return nil, err
		}
	}
	pages := pageSet{}
	entries, err := templateFiles.ReadDir("templates")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if name := path.Join("templates", e.Name()); !contains(sharedTemplates, name) {
			pages[strings.TrimSuffix(e.Name(), ".html")] = sync.OnceValues(func() (*template.Template, error) {
				page, err := base.Clone()
				if err == nil {
					err = parseIn(l, page, name)
				}
				return page, err
			})
		}
	}
	return pages, nil
}

// parseIn adds the templates of a file, in a language.
func parseIn(l *language.Language, to *template.Template, name string) error {
	source, err := templateFiles.ReadFile(name)
	if err != nil {
		return err
	}
	if _, err := to.Parse(l.Template(string(source))); err != nil {
		return fmt.Errorf("parse %s in %s: %w", name, l.Name, err)
	}
	return nil
}

// render makes a whole page in memory, so that a fault in it is still answered
// as one.
func (p pageSet) render(name string, page any) ([]byte, error) {
	parsed, ok := p[name]
	if !ok {
		return nil, fmt.Errorf("there is no page %q", name)
	}
	t, err := parsed()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "layout", page); err != nil {
		return nil, fmt.Errorf("render the page %q: %w", name, err)
	}
	return b.Bytes(), nil
}

// Base is what every page has.
type Base struct {
	Arrival
	Title   string
	Crumbs  []Crumb
	Version string
	// Machine heads the pages of one machine; nil elsewhere.
	Machine *MachineHead
	// Wrong says that the page shows what is wrong with a form.
	Wrong bool
	// Owner marks the owner's page, which has no way into the registry.
	Owner bool
	// ByAccount says that whoever decides on it signed in, and holds no link.
	ByAccount bool
	// Notice is a line that says what was just recorded.
	Notice string
}

// May says whether the visitor may go to a route, "POST /machines/{id}/options",
// or to a page, "/find". A page offers no other.
func (b Base) May(pattern string) bool {
	if strings.HasPrefix(pattern, "/") {
		pattern = "GET " + pattern
	}
	machine := ""
	if b.Machine != nil {
		machine = b.Machine.ID
	}
	return !b.Accounts || permissions[pattern].judge(b.who, machine) == letIn
}

// onto puts how a request came onto its page, a struct with a Base or a pointer
// to one. Pages are
// made without knowing the request, so this is the one place.
func (a Arrival) onto(page any) any {
	given := reflect.Indirect(reflect.ValueOf(page))
	v := reflect.New(given.Type()).Elem()
	v.Set(given)
	if b := v.FieldByName("Base"); b.IsValid() {
		b.FieldByName("Arrival").Set(reflect.ValueOf(a))
	}
	return v.Addr().Interface()
}

// Crumb is one step of the way back.
type Crumb struct{ Name, To string }

// MachineHead is what stands at the head of a machine's pages.
type MachineHead struct {
	ID, Name, Phase  string
	Line             string // make, model and year, "" when the name says them
	Invented, Public bool
	Tab              string // the page that is shown, among the tabs
}

// ErrorPage says what happened and what to do.
type ErrorPage struct {
	Base
	Problem Problem
	Request string
}

func (s *Server) writeErrorPage(w http.ResponseWriter, r *http.Request, err error, instance string) {
	p := problemOf(err, instance)
	page := ErrorPage{Base: Base{Title: p.Title, Version: s.Version, Owner: strings.HasPrefix(r.URL.Path, "/o/")}, Problem: p, Request: instance}
	body, renderErr := s.pages.render(languageOf(r), "error", s.arrivalOf(r).onto(page))
	if over := s.overPage(r, err, instance); over != nil {
		body, renderErr = s.pages.render(languageOf(r), "owner-over", s.arrivalOf(r).onto(over))
	}
	if renderErr != nil {
		s.Logger.Error("the error page cannot be shown", "error", renderErr.Error())
		body = []byte("<!doctype html><title>Something went wrong</title><h1>Something went wrong</h1>")
	}
	h := w.Header()
	h.Set("Content-Type", htmlType)
	h.Set("Content-Security-Policy", pageCSP)
	h.Set("Cache-Control", "no-store")
	h.Del("ETag")
	h.Del("Content-Disposition")
	setRetryAfter(h, err)
	w.WriteHeader(p.Status)
	w.Write(body)
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
