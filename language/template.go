package language

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// TemplateTexts lists the texts of an HTML template in the order in which they
// stand. An action that gives a value is a place, {1}; words inside an inline
// element stand as <1>…</1>. What an element with translate="no" holds is left
// out, as are script and style.
func TemplateTexts(source string) []string {
	var out []string
	rewrite(source, func(text string) (string, bool) {
		out = append(out, text)
		return "", false
	}, false)
	return out
}

// Template is the source of an HTML template with its texts in this language.
// What a value action gives in the middle of text is said in it too, by the
// template's function "say", unless the action begins with "typed": that is
// what people wrote themselves.
func (l *Language) Template(source string) string {
	if l.texts == nil {
		return source
	}
	exact := l.texts().exact
	return rewrite(source, func(text string) (string, bool) {
		said, ok := exact[text]
		return said, ok
	}, true)
}

// token is a piece of a template's source.
type token struct {
	kind   tokenKind
	source string
	name   string // of an element
}

type tokenKind int

const (
	plainText tokenKind = iota
	value               // an action that gives a value
	control             // an action that steers
	openTag
	closeTag
	otherTag // void, comment, doctype
)

// inline are the elements that stand inside a sentence.
var inline = map[string]bool{"a": true, "abbr": true, "b": true, "cite": true, "code": true, "data": true, "dfn": true, "em": true, "i": true, "kbd": true,
	"mark": true, "q": true, "small": true, "span": true, "strong": true, "sub": true, "sup": true, "time": true, "var": true}

// verbatim are the elements that hold what was typed or what a program reads.
var verbatim = map[string]bool{"pre": true, "textarea": true, "code": true, "kbd": true, "samp": true}

// void are the elements without an end.
var void = map[string]bool{"br": true, "hr": true, "img": true, "input": true, "link": true, "meta": true, "wbr": true}

var steering = regexp.MustCompile(`^\{\{-?\s*(if|else|end|range|with|define|block|break|continue|/\*|\$\w+\s*:?=)`)

// tokens cuts a template's source into pieces that add up to it again.
func tokens(source string) []token {
	var out []token
	add := func(kind tokenKind, s, name string) {
		if s != "" {
			out = append(out, token{kind, s, name})
		}
	}
	for i := 0; i < len(source); {
		rest := source[i:]
		switch {
		case strings.HasPrefix(rest, "{{"):
			n := actionEnd(rest)
			kind := value
			if steering.MatchString(rest) {
				kind = control
			}
			add(kind, rest[:n], "")
			i += n
		case strings.HasPrefix(rest, "<!--"):
			n := strings.Index(rest, "-->") + 3
			add(otherTag, rest[:n], "")
			i += n
		case rest[0] == '<':
			n := tagEnd(rest)
			tag := rest[:n]
			name := elementName(tag)
			kind := openTag
			switch {
			case strings.HasPrefix(tag, "</"):
				kind = closeTag
			case void[name] || strings.HasSuffix(tag, "/>") || strings.HasPrefix(tag, "<!"):
				kind = otherTag
			}
			add(kind, tag, name)
			i += n
			if kind == openTag && (name == "script" || name == "style") {
				n := strings.Index(source[i:], "</"+name)
				add(otherTag, source[i:i+n], "")
				i += n
			}
		default:
			n := len(rest)
			if at := strings.IndexAny(rest, "<{"); at >= 0 {
				n = at
				if rest[at] == '{' && !strings.HasPrefix(rest[at:], "{{") {
					n = at + 1
				}
			}
			add(plainText, rest[:n], "")
			i += n
		}
	}
	return out
}

// actionEnd finds the end of the action that s begins with, past quoted braces.
func actionEnd(s string) int {
	quote := byte(0)
	for i := 2; i < len(s); i++ {
		switch c := s[i]; {
		case quote != 0:
			if c == '\\' && quote == '"' {
				i++
			} else if c == quote {
				quote = 0
			}
		case c == '"' || c == '`':
			quote = c
		case strings.HasPrefix(s[i:], "}}"):
			return i + 2
		}
	}
	return len(s)
}

// tagEnd finds the end of the tag that s begins with, past actions and quotes.
func tagEnd(s string) int {
	quoted := false
	for i := 1; i < len(s); i++ {
		switch {
		case strings.HasPrefix(s[i:], "{{"):
			i += actionEnd(s[i:]) - 1
		case s[i] == '"':
			quoted = !quoted
		case s[i] == '>' && !quoted:
			return i + 1
		}
	}
	return len(s)
}

func elementName(tag string) string {
	name := strings.TrimLeft(tag, "</!")
	if end := strings.IndexFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }); end >= 0 {
		name = name[:end]
	}
	return strings.ToLower(name)
}

// rewrite gives the source with each text replaced by what say makes of it.
// With values, actions in the middle of text are said too.
func rewrite(source string, say func(string) (string, bool), values bool) string {
	r := rewriter{say: say, values: values}
	var run []token
	flush := func() {
		r.run(run)
		run = nil
	}
	var asis []string // open elements inside one with translate="no"
	for _, t := range tokens(source) {
		if len(asis) > 0 {
			r.out.WriteString(t.source)
			switch {
			case t.kind == openTag:
				asis = append(asis, t.name)
			case t.kind == closeTag:
				asis = asis[:len(asis)-1]
			}
			continue
		}
		switch {
		case t.kind == openTag && (strings.Contains(t.source, `translate="no"`) || verbatim[t.name] && !inline[t.name]):
			flush()
			asis = append(asis, t.name)
			r.out.WriteString(r.tag(t)) // what it is called is ours
		case t.kind == plainText, t.kind == value, (t.kind == openTag || t.kind == closeTag) && inline[t.name]:
			run = append(run, t)
		default:
			flush()
			r.out.WriteString(r.tag(t))
		}
	}
	flush()
	return r.out.String()
}

type rewriter struct {
	say    func(string) (string, bool)
	values bool
	out    strings.Builder
}

// run rewrites a stretch of text with its values and inline elements.
func (r *rewriter) run(run []token) {
	if len(run) == 0 {
		return
	}
	// Space and lone tags at the ends are no part of the sentence.
	if !balanced(run) || !wordsOutside(run) {
		for len(run) > 0 {
			n := 1
			if run[0].kind == plainText || run[0].kind == value {
				for n < len(run) && (run[n].kind == plainText || run[n].kind == value) {
					n++
				}
				r.sentence(run[:n])
			} else {
				r.out.WriteString(r.tag(run[0]))
			}
			run = run[n:]
		}
		return
	}
	r.sentence(run)
}

// balanced says whether every inline element is opened and closed in the run.
func balanced(run []token) bool {
	var open []string
	for _, t := range run {
		switch t.kind {
		case openTag:
			open = append(open, t.name)
		case closeTag:
			if len(open) == 0 || open[len(open)-1] != t.name {
				return false
			}
			open = open[:len(open)-1]
		}
	}
	return len(open) == 0
}

// wordsOutside says whether words stand outside the run's inline elements:
// then the whole is a sentence.
func wordsOutside(run []token) bool {
	depth := 0
	for _, t := range run {
		switch {
		case t.kind == openTag:
			depth++
		case t.kind == closeTag:
			depth--
		case depth == 0 && t.kind == plainText && hasWord(t.source):
			return true
		}
	}
	return false
}

func hasWord(s string) bool { return strings.ContainsFunc(unescape.Replace(s), unicode.IsLetter) }

// unescape hides character references, which are no words.
var unescape = strings.NewReplacer("&nbsp;", " ", "&amp;", "&", "&lt;", "<", "&gt;", ">", "&times;", "×", "&quot;", `"`)

var spaces = regexp.MustCompile(`\s+`)

// sentence rewrites text that may hold values and whole inline elements.
func (r *rewriter) sentence(run []token) {
	var key strings.Builder
	parts := map[string]string{}
	n, tags, words, verbatimIn := 0, 0, false, 0
	var open []int
	for _, t := range run {
		switch t.kind {
		case plainText:
			key.WriteString(t.source)
			words = words || hasWord(t.source)
		case value:
			n++
			name := "{" + strconv.Itoa(n) + "}"
			key.WriteString(name)
			parts[name] = t.source
			if verbatimIn == 0 {
				parts[name] = r.action(t.source)
			}
		case openTag:
			tags++
			if verbatim[t.name] {
				verbatimIn++
			}
			open = append(open, tags)
			name := "<" + strconv.Itoa(tags) + ">"
			key.WriteString(name)
			parts[name] = r.tag(t)
		case closeTag:
			name := "</" + strconv.Itoa(open[len(open)-1]) + ">"
			open = open[:len(open)-1]
			if verbatim[t.name] {
				verbatimIn--
			}
			key.WriteString(name)
			parts[name] = t.source
		}
	}
	whole := key.String()
	core := strings.TrimSpace(whole)
	before := whole[:strings.Index(whole, core)]
	after := whole[len(before)+len(core):]
	text := spaces.ReplaceAllString(core, " ")
	said := core
	if words {
		if s, ok := r.say(text); ok {
			said = s
		}
	}
	r.out.WriteString(before + placed.ReplaceAllStringFunc(said, func(at string) string {
		if p, ok := parts[at]; ok {
			return p
		}
		return at
	}) + after)
}

var placed = regexp.MustCompile(`\{\d+\}|</?\d+>`)

// formatters give what is already in the language.
var formatters = []string{"typed", "template", "say"}

// action lets the language say what an action gives.
func (r *rewriter) action(source string) string {
	if !r.values {
		return source
	}
	inner := strings.TrimSuffix(strings.TrimPrefix(source, "{{"), "}}")
	first, _, _ := strings.Cut(strings.TrimLeft(inner, "- "), " ")
	if slices.Contains(formatters, first) {
		return source
	}
	left, right := "", ""
	if strings.HasPrefix(inner, "- ") {
		left, inner = "- ", inner[2:]
	}
	if strings.HasSuffix(inner, " -") {
		right, inner = " -", inner[:len(inner)-2]
	}
	return "{{" + left + inner + " | say" + right + "}}"
}

// shown are the attributes whose text people see or hear.
var shown = regexp.MustCompile(` (aria-label|alt|title|placeholder|data-label|data-say[a-z-]*)="([^"{]*(?:\{\{[^}]*\}\}[^"{]*)*)"`)

// tag rewrites the attributes of a tag that people see or hear.
func (r *rewriter) tag(t token) string {
	if t.kind == control || t.kind == closeTag {
		return t.source
	}
	return shown.ReplaceAllStringFunc(t.source, func(attribute string) string {
		m := shown.FindStringSubmatch(attribute)
		inner := rewriter{say: r.say, values: r.values}
		var run []token
		for _, p := range tokens(m[2]) {
			if p.kind == plainText || p.kind == value {
				run = append(run, p)
				continue
			}
			if len(run) > 0 {
				inner.sentence(run)
				run = nil
			}
			inner.out.WriteString(p.source)
		}
		if len(run) > 0 {
			inner.sentence(run)
		}
		return " " + m[1] + `="` + inner.out.String() + `"`
	})
}
