package main

import (
	"bytes"
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/language"
	"example.org/asfound/registry"
)

const catalogueFile = "language/catalogue.json"

// spoken are the packages, or files of them, whose sentences reach a page or a
// printed document.
var spoken = []string{"server", "workshop", "registry", "scoring", "schema", "importers", "catalog", "figure", "access", "access/shared", "dossier/pdf*.go", "store/*/words.go"}

// printing are the calls whose text is shown even when it is one word.
var printing = []string{"figure", "section", "part", "put", "word", "body", "strong", "small"}

// TestCatalogueIsWhole holds the catalogue of texts against the program: every
// text of a template, of the packages behind the pages and of the house's data
// stands in it, translated, with the same places to fill; and nothing else.
// UPDATE_GOLDEN=1 adds what is missing, to be translated, and drops the rest.
func TestCatalogueIsWhole(t *testing.T) {
	wanted := map[string]bool{}
	templateTexts(t, wanted)
	for _, pkg := range spoken {
		goTexts(t, pkg, wanted)
	}
	dataTexts(t, wanted)
	for _, terms := range [][]registry.Term{registry.Origins(), registry.Finishes(), registry.Specifications(), registry.AssemblyStates(),
		registry.Functions(), registry.Custodies(), registry.Witnesses(), registry.EvidenceKinds(), registry.Answers(), registry.Hands(), registry.Felts(),
		registry.Roles(), registry.Purposes(), registry.Channels(), registry.Shown(), registry.Outcomes(), registry.PriceKinds()} {
		for _, term := range terms {
			wanted[strings.ReplaceAll(term.ID, "-", " ")] = true
		}
	}
	for _, word := range aloneWords {
		wanted[word] = true
	}
	have := map[string]language.Entry{}
	entries, err := language.Catalogue()
	require.NoError(t, err)
	for _, e := range entries {
		have[e.English] = e
	}
	if os.Getenv("UPDATE_GOLDEN") != "" {
		writeCatalogue(t, wanted, have)
		return
	}
	for _, text := range slices.Sorted(maps.Keys(wanted)) {
		e, ok := have[text]
		if !ok {
			t.Errorf("not in %s: %q; UPDATE_GOLDEN=1 go test -run Catalogue . adds it", catalogueFile, text)
			continue
		}
		if e.German == "" {
			t.Errorf("without German: %q", text)
			continue
		}
		assert.Equal(t, places(e.English), places(e.German), "%q and %q do not fill in the same", e.English, e.German)
	}
	for text := range have {
		if !wanted[text] {
			t.Errorf("no longer in the program: %q; UPDATE_GOLDEN=1 go test -run Catalogue . drops it", text)
		}
	}
}

func writeCatalogue(t *testing.T, wanted map[string]bool, have map[string]language.Entry) {
	var b bytes.Buffer
	b.WriteString("[\n")
	for i, text := range slices.Sorted(maps.Keys(wanted)) {
		if i > 0 {
			b.WriteString(",\n")
		}
		e := have[text]
		e.English = text
		line := &bytes.Buffer{}
		enc := json.NewEncoder(line)
		enc.SetEscapeHTML(false)
		require.NoError(t, enc.Encode(e))
		b.Write(bytes.TrimSpace(line.Bytes()))
	}
	b.WriteString("\n]\n")
	require.NoError(t, os.WriteFile(catalogueFile, b.Bytes(), 0o644))
}

// aloneWords are single words that the packages give alone: how far a job is,
// from where a part is seen, a level of a legend.
var aloneWords = []string{"surveying", "surveyed", "asking", "working", "approved", "all", "above", "below", "left", "right", "front", "rear"}

var placed = regexp.MustCompile(`\{\d+\}|</?\d+>`)

// places are what a text is filled with, in one order for all languages.
func places(s string) []string {
	found := placed.FindAllString(s, -1)
	slices.Sort(found)
	return slices.Compact(found)
}

func isProse(s string) bool { return strings.ContainsFunc(s, unicode.IsLetter) }

var quotedArgument = regexp.MustCompile(`"([^"]*)"`)

func templateTexts(t *testing.T, into map[string]bool) {
	files, err := filepath.Glob("server/templates/*.html")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		source, err := os.ReadFile(f)
		require.NoError(t, err)
		for _, text := range language.TemplateTexts(string(source)) {
			into[text] = true
		}
		for _, action := range regexp.MustCompile(`\{\{-?\s*(?:plural|template "[^"]*")[^}]*\}\}`).FindAllString(string(source), -1) {
			_, action, _ = strings.Cut(strings.TrimPrefix(action, "{{template "), " ")
			for _, m := range quotedArgument.FindAllStringSubmatch(action, -1) {
				if isProse(m[1]) {
					into[strings.ReplaceAll(m[1], "-", " ")] = true
				}
			}
		}
	}
}

// labels are the fields whose text is shown even when it is one word.
var labels = []string{"Label", "Title", "Button", "Intro", "Hint", "Name", "Unit", "Meaning", "Text", "Notice", "Question"}

// silent are the calls whose text nobody sees on a page.
var silent = []string{"Errorf", "New", "panic", "Error", "Info", "Warn", "Debug", "Log", "Fprintln", "Fprintf", "MustCompile", "Get", "Set", "HasPrefix", "HasSuffix",
	"TrimPrefix", "TrimSuffix", "Cut", "Replace", "NewReplacer", "Contains", "Index", "Split", "Join", "Trim", "ReplaceAll", "Parse", "Format", "WriteString", "ContainsAny"}

var verb = regexp.MustCompile(`%[-+#0]*\d*(?:\.\d+)?(?:\[\d+\])?[a-zA-Z]`)

func goTexts(t *testing.T, dir string, into map[string]bool) {
	if !strings.Contains(dir, "*") {
		dir += "/*.go"
	}
	files, err := filepath.Glob(dir)
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		var visit func(n ast.Node, shown bool)
		visit = func(n ast.Node, shown bool) {
			ast.Inspect(n, func(m ast.Node) bool {
				switch m := m.(type) {
				case *ast.ImportSpec:
					return false
				case *ast.IndexExpr:
					visit(m.X, shown) // what is looked up may be texts; the key is none
					return false
				case *ast.CaseClause:
					for _, s := range m.Body {
						visit(s, false)
					}
					return false
				case *ast.Field:
					return m.Tag == nil
				case *ast.CallExpr:
					if slices.Contains(silent, callee(m)) {
						return false
					}
					if slices.Contains(printing, callee(m)) {
						for _, a := range m.Args {
							_, literal := a.(*ast.BasicLit)
							visit(a, literal)
						}
						return false
					}
				case *ast.KeyValueExpr:
					id, ok := m.Key.(*ast.Ident)
					visit(m.Value, ok && slices.Contains(labels, id.Name))
					return false
				case *ast.CompositeLit:
					if id, ok := m.Type.(*ast.Ident); ok && (id.Name == "Choice" || id.Name == "Crumb") {
						for _, e := range m.Elts {
							visit(e, true)
						}
						return false
					}
					if n := heads(m); n > 0 {
						for i, e := range m.Elts {
							visit(e, i < n)
						}
						return false
					}
				case *ast.BinaryExpr:
					if m.Op != token.ADD {
						for _, side := range []ast.Expr{m.X, m.Y} {
							if _, lit := side.(*ast.BasicLit); !lit {
								visit(side, false)
							}
						}
						return false
					}
					n := 0
					if text := folded(m, &n); text != "" {
						addText(into, text, shown)
						for _, inner := range calls(m) {
							visit(inner, false)
						}
						return false
					}
				case *ast.BasicLit:
					if m.Kind == token.STRING {
						s, err := strconv.Unquote(m.Value)
						require.NoError(t, err)
						n := 0
						addText(into, unverbed(s, &n), shown)
					}
				}
				return true
			})
		}
		visit(file, false)
	}
}

// heads is how many of a literal's elements are shown even when they are one
// word: the name of a fact, the titles of columns, the words of a table.
func heads(c *ast.CompositeLit) int {
	list, ok := c.Type.(*ast.ArrayType)
	if !ok {
		return 0
	}
	switch of, _ := list.Elt.(*ast.Ident); {
	case of == nil:
		return 0
	case of.Name == "column":
		return len(c.Elts)
	case of.Name == "string" && list.Len != nil:
		return 1
	}
	return 0
}

func callee(c *ast.CallExpr) string {
	switch f := c.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		return f.Sel.Name
	}
	return ""
}

// folded is a sum of strings as one text, "" when nothing in it is prose.
func folded(e ast.Expr, n *int) string {
	switch e := e.(type) {
	case *ast.BinaryExpr:
		if e.Op == token.ADD {
			left := folded(e.X, n)
			return left + folded(e.Y, n)
		}
	case *ast.BasicLit:
		if s, err := strconv.Unquote(e.Value); err == nil && e.Kind == token.STRING {
			return unverbed(s, n)
		}
	}
	*n++
	return "{" + strconv.Itoa(*n) + "}"
}

// calls are the calls within a sum, whose own texts count too.
func calls(e ast.Expr) []ast.Node {
	var out []ast.Node
	ast.Inspect(e, func(n ast.Node) bool {
		if c, ok := n.(*ast.CallExpr); ok {
			out = append(out, c)
			return false
		}
		return true
	})
	return out
}

// unverbed writes the verbs of a format as places.
func unverbed(s string, n *int) string {
	const percent = "\x00"
	s = strings.ReplaceAll(s, "%%", percent)
	s = verb.ReplaceAllStringFunc(s, func(v string) string {
		*n++
		place := "{" + strconv.Itoa(*n) + "}"
		if strings.HasSuffix(v, "q") {
			return `"` + place + `"`
		}
		return place
	})
	return strings.ReplaceAll(s, percent, "%")
}

// notProse is what looks like code, a path or a pattern.
var notProse = regexp.MustCompile("^[/#.<{(^?]|[\\\\`]|[a-z]=|::|\\.v1|^[A-Z][A-Za-z-]+: ?[a-z]+/|sha256|SELECT|^M\\d|https?:|^application/|\"[a-z_]+\":|^[a-z]+(-[a-z]+)+$|_[a-z]+")

var nameToken = regexp.MustCompile(`\[\[(\{\d+\})\]\]`)

func addText(into map[string]bool, s string, shown bool) {
	// A token that stands for a name is filled in before anybody reads it.
	s = strings.TrimLeft(s, ";,: ") // a sentence is said piece by piece
	core := nameToken.ReplaceAllString(strings.TrimSpace(s), "$1")
	bare := placed.ReplaceAllString(core, "")
	if !isProse(bare) || notProse.MatchString(core) && !strings.HasPrefix(core, "{1}") {
		return
	}
	if len(strings.Fields(core)) > 1 && len(strings.Trim(bare, " .,:;()")) > 1 || shown {
		into[core] = true
	}
}

// names are the fields of the house's data that hold an id, a file or a code.
var names = []string{"id", "ids", "code", "component", "components", "method", "kind", "version", "cluster", "unit", "image", "pattern", "regexp", "opening", "openings"}

func dataTexts(t *testing.T, into map[string]bool) {
	files, err := filepath.Glob("catalog/data/*.json")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	var walk func(v any, key string)
	walk = func(v any, key string) {
		switch v := v.(type) {
		case string:
			core := strings.TrimSpace(v)
			if !slices.Contains(names, key) && isProse(core) && (strings.Contains(core, " ") || key == "name" || key == "title" || key == "group") {
				into[core] = true
			}
		case map[string]any:
			for k, inner := range v {
				walk(inner, k)
			}
		case []any:
			for _, inner := range v {
				walk(inner, key)
			}
		}
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(t, err)
		var v any
		require.NoError(t, json.Unmarshal(text, &v))
		walk(v, "")
	}
}
