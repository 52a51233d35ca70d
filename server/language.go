package server

import (
	"context"
	"fmt"
	"html"
	"html/template"
	"net/http"
	"reflect"
	"regexp"
	"sync"
	"time"

	"example.org/asfound/language"
	"example.org/asfound/registry"
)

// languageCookie keeps the language that a reader chose. Nothing else is in it.
const languageCookie = "language"

// languageOf is the language of the answer: the one chosen, else the one that
// the browser asks for.
func languageOf(r *http.Request) *language.Language {
	if c, err := r.Cookie(languageCookie); err == nil {
		if l := language.Named(c.Value); l != nil {
			return l
		}
	}
	return language.Match(r.Header.Get("Accept-Language"))
}

// printedFor is the context in which a document is made for whoever asks: in
// the language that the pages speak to them.
func printedFor(r *http.Request) context.Context {
	return language.With(r.Context(), languageOf(r))
}

// inLanguage tells caches that a document is another one for other readers.
var inLanguage = map[string]string{"Vary": "Accept-Language, Cookie"}

// chooseLanguage keeps the language that a page was asked for with
// ?language=de, and shows the same page in it.
func (s *Server) chooseLanguage(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		if r.Method != http.MethodGet || isAPI(r.URL.Path) || !q.Has("language") {
			next.ServeHTTP(w, r)
			return
		}
		l := language.Named(q.Get("language"))
		if l == nil {
			s.fail(w, r, registry.Refuse(registry.CodeInvalid, "Choose one at the foot of a page.", "There is no language %s here", quoted(q.Get("language"))))
			return
		}
		http.SetCookie(w, &http.Cookie{Name: languageCookie, Value: l.Tag, Path: "/", MaxAge: int((365 * 24 * time.Hour).Seconds()), HttpOnly: true, SameSite: http.SameSiteLaxMode})
		q.Del("language")
		to := *r.URL
		to.RawQuery = q.Encode()
		w.Header().Set("Location", (&to).RequestURI())
		w.WriteHeader(http.StatusSeeOther)
	})
}

// pagesIn are the parsed templates of each language, made when a reader first
// asks for it.
type pagesIn map[*language.Language]func() (pageSet, error)

func newPagesIn() pagesIn {
	out := pagesIn{}
	for _, l := range language.All() {
		out[l] = sync.OnceValues(func() (pageSet, error) { return parsePages(l) })
	}
	return out
}

func (p pagesIn) render(l *language.Language, name string, page any) ([]byte, error) {
	set, err := p[l]()
	if err != nil {
		return nil, err
	}
	return set.render(name, page)
}

// funcsIn are the templates' functions in a language.
func funcsIn(l *language.Language) template.FuncMap {
	out := template.FuncMap{
		"lang":      func() string { return l.Tag },
		"languages": language.All,
		"wordsjs":   func() (string, error) { return assetAddress(wordsName(l)) },
		"say":       func(v any) any { return sayIn(l, v) },
		"typed":     func(v any) any { return v },
		"figured":   func(v string) string { return v },
		"explained": func(lines [][]PlanPiece) [][]PlanPiece { return explainedIn(l, lines) },
	}
	for name, f := range templateFuncs {
		out[name] = f
	}
	if l == language.English {
		return out
	}
	out["figured"] = commaFilledIn
	out["plural"] = func(n int, one, many string) string { return l.Text(plural(n, one, many)) }
	out["upper"] = func(s string) string { return upperFirst(l.Text(s)) }
	out["join"] = func(list []string) string { return l.List(list) }
	return out
}

// drawn is what is read out or written in a drawing.
var drawn = regexp.MustCompile(`(<(?:title|desc|text|tspan)[^>]*>|\saria-label=")([^<"]+)`)

// sayDrawing says the texts of a drawing that was made as markup.
func sayDrawing(l *language.Language, v template.HTML) template.HTML {
	if l == language.English {
		return v
	}
	return template.HTML(drawn.ReplaceAllStringFunc(string(v), func(found string) string {
		m := drawn.FindStringSubmatch(found)
		return m[1] + html.EscapeString(l.Text(html.UnescapeString(m[2])))
	}))
}

// sayIn says what a template shows: texts by the catalogue, figures as they are
// written there. Markup stays as it is.
func sayIn(l *language.Language, v any) any {
	switch v := v.(type) {
	case string:
		return l.Text(v)
	case nil:
		return v
	case template.HTML:
		return sayDrawing(l, v)
	case fmt.Stringer:
		return l.Text(v.String())
	}
	r := reflect.ValueOf(v)
	for r.Kind() == reflect.Pointer && !r.IsNil() {
		r = r.Elem() // as templates show what a pointer points at
	}
	switch r.Kind() {
	case reflect.Pointer:
		return ""
	case reflect.String:
		return l.Text(r.String())
	case reflect.Float32, reflect.Float64:
		return l.Text(fmt.Sprint(r.Interface()))
	}
	return v
}
