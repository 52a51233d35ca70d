package server

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
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
	}
	for name, f := range templateFuncs {
		out[name] = f
	}
	if l == language.English {
		return out
	}
	out["plural"] = func(n int, one, many string) string { return l.Text(plural(n, one, many)) }
	out["upper"] = func(s string) string { return upperFirst(l.Text(s)) }
	out["join"] = func(list []string) string { return l.List(list) }
	return out
}

// sayIn says what a template shows: texts by the catalogue, figures as they are
// written there. Markup stays as it is.
func sayIn(l *language.Language, v any) any {
	switch v := v.(type) {
	case string:
		return l.Text(v)
	case template.HTML, nil:
		return v
	case fmt.Stringer:
		return l.Text(v.String())
	case *string:
		if v != nil {
			return l.Text(*v)
		}
	}
	switch fmt.Sprintf("%T", v) {
	case "int", "int64", "uint64", "bool":
		return v
	}
	return l.Text(fmt.Sprint(v))
}
