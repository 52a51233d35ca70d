package language

import (
	"cmp"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// texts is the catalogue of one language, made ready to look things up.
type texts struct {
	exact map[string]string
	// patterns are the texts with places to fill, by the first word that is
	// fixed; those that begin with a place stand under "".
	patterns map[string][]pattern
	format   format
	kept     sync.Map // english → said, for a sentence is asked for on every page
	count    keptCount
}

// keptCount bounds what is kept.
type keptCount struct {
	sync.Mutex
	n int
}

const mostKept = 20_000

// pattern is a text with places to fill.
type pattern struct {
	expr  string
	match func() *regexp.Regexp // made when a text first comes near it: most never do
	fixed string                // the longest part that does not change
	said  string
	// weak says that so little is fixed that the text could be anybody's: then
	// all that is filled in must be known too.
	weak bool
}

// enough is how many letters must be fixed for a text to be known by them.
const enough = 7

var place = regexp.MustCompile(`\{\d+\}`)

func newTexts(said func(Entry) string, f format) *texts {
	entries, err := Catalogue()
	if err != nil {
		panic(err) // the file is part of the program, and a test reads it
	}
	t := &texts{exact: make(map[string]string, len(entries)), patterns: map[string][]pattern{}, format: f}
	for _, e := range entries {
		t.add(e.English, said(e))
	}
	for _, list := range t.patterns {
		// The text with the most that is fixed is the likeliest.
		slices.SortStableFunc(list, func(a, b pattern) int { return cmp.Compare(len(b.expr), len(a.expr)) })
	}
	return t
}

func (t *texts) add(english, said string) {
	if said == "" {
		return
	}
	t.exact[english] = said
	if !place.MatchString(english) || strings.Contains(english, "<1>") {
		return // texts with marked words are found by their template
	}
	var expr strings.Builder
	expr.WriteString("(?s)^")
	fixed, from, known := "", 0, 0
	for _, at := range place.FindAllStringIndex(english, -1) {
		part := english[from:at[0]]
		known += countLetters(part)
		if len(part) > len(fixed) {
			fixed = part
		}
		if part == "" && from > 0 {
			expr.WriteString("()") // two places side by side: the first takes all
		} else {
			expr.WriteString(regexp.QuoteMeta(part) + "(.+?)")
		}
		from = at[1]
	}
	if part := english[from:]; len(part) > len(fixed) {
		fixed = part
	}
	if !strings.ContainsFunc(fixed, unicode.IsLetter) {
		return // "{1}: {2}" would match everything
	}
	known += countLetters(english[from:])
	expr.WriteString(regexp.QuoteMeta(english[from:]) + "$")
	key := firstWord(english)
	text := expr.String()
	t.patterns[key] = append(t.patterns[key], pattern{expr: text, fixed: fixed, said: said, weak: known < enough,
		match: sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })})
}

func countLetters(s string) (n int) {
	for _, r := range s {
		if unicode.IsLetter(r) {
			n++
		}
	}
	return n
}

// firstWord is the fixed word that a text begins with, "" when it begins with
// a place or the word runs into one.
func firstWord(s string) string {
	word, _, _ := strings.Cut(s, " ")
	if strings.ContainsAny(word, "{}") {
		return ""
	}
	return word
}

// saying is one text that is being said: what was looked up on the way is not
// looked up again, and a text that is nobody's is given up soon.
type saying struct {
	*texts
	known  map[string]answer
	budget int
}

type answer struct {
	said string
	ok   bool
}

// mostLooks is how many look-ups a text is worth.
const mostLooks = 200

func (t *texts) whole(english string, depth int) (string, bool) {
	return (&saying{t, map[string]answer{}, mostLooks}).whole(english, depth)
}

// say finds a text as a whole, else sentence by sentence.
func (t *texts) say(english string) string {
	if got, ok := t.kept.Load(english); ok {
		return got.(string)
	}
	said := (&saying{t, map[string]answer{}, mostLooks}).find(english)
	t.count.Lock()
	defer t.count.Unlock()
	if t.count.n++; t.count.n > mostKept {
		t.kept.Clear()
		t.count.n = 0
	}
	t.kept.Store(english, said)
	return said
}

func (t *saying) find(english string) string {
	if said, ok := t.sentences(english); ok {
		return said
	}
	if said, ok := t.whole(english, 0); ok {
		return said
	}
	if said, ok := t.list(english, 0); ok {
		return said
	}
	for _, mark := range []string{". ", "; ", ": "} {
		parts := strings.SplitAfter(english, mark)
		if len(parts) < 2 {
			continue
		}
		found := false
		for i, p := range parts {
			core, end := strings.TrimSuffix(p, mark), ""
			if core != p {
				end = mark
			}
			said, ok := t.whole(core, 0)
			if !ok && mark == ". " {
				if said, ok = t.whole(core+".", 0); ok {
					said = strings.TrimSuffix(said, ".")
				}
			}
			if ok {
				parts[i], found = said+end, true
			} else if next := t.find(core); len(core) < len(english) && next != core {
				parts[i], found = next+end, true
			}
		}
		if found {
			return strings.Join(parts, "")
		}
	}
	return english
}

// sentences says a text of several sentences, if each is known.
func (t *saying) sentences(english string) (string, bool) {
	parts := strings.Split(english, ". ")
	if _, ok := t.exact[english]; ok || len(parts) < 2 {
		return "", false
	}
	for i, p := range parts {
		if i < len(parts)-1 {
			p += "."
		}
		said, ok := t.whole(p, 0)
		if !ok {
			return "", false
		}
		parts[i] = said
	}
	return strings.Join(parts, " "), true
}

// deepest is how often what was filled in is looked up in turn.
const deepest = 4

// whole finds a text as a whole: as it stands, as a number or a date, with
// another first letter, or as a text with places filled in.
func (t *saying) whole(english string, depth int) (string, bool) {
	if a, ok := t.known[english]; ok {
		return a.said, a.ok
	}
	if t.budget--; t.budget < 0 {
		return english, false
	}
	said, ok := t.look(english, depth)
	t.known[english] = answer{said, ok}
	return said, ok
}

func (t *saying) look(english string, depth int) (string, bool) {
	trimmed := strings.TrimSpace(english)
	if trimmed != english {
		said, ok := t.whole(trimmed, depth)
		i := strings.Index(english, trimmed)
		return english[:i] + said + english[i+len(trimmed):], ok
	}
	if said, ok := t.exact[english]; ok {
		return said, true
	}
	if said, ok := t.format.value(english); ok {
		return said, true
	}
	if said, ok := t.otherCase(english); ok {
		return said, true
	}
	if depth == deepest {
		return english, false
	}
	for _, weak := range []bool{false, true} {
		if said, ok := t.patterned(english, depth, weak); ok {
			return said, true
		}
		if r, n := utf8.DecodeRuneInString(english); unicode.IsUpper(r) {
			if said, ok := t.patterned(string(unicode.ToLower(r))+english[n:], depth, weak); ok {
				f, m := utf8.DecodeRuneInString(said)
				return string(unicode.ToUpper(f)) + said[m:], true
			}
		}
		if said, ok := t.trimmed(english, depth); ok {
			return said, true
		}
		if said, ok := t.list(english, depth+1); ok {
			return said, true
		}
	}
	return english, false
}

// patterned finds a text with places filled in, by those of which much or
// little is fixed.
func (t *saying) patterned(english string, depth int, weak bool) (string, bool) {
	for _, key := range []string{firstWord(english), ""} {
		for _, p := range t.patterns[key] {
			if p.weak != weak || !strings.Contains(english, p.fixed) {
				continue
			}
			if m := p.match().FindStringSubmatch(english); m != nil && (!p.weak || t.allKnown(m[1:], depth)) {
				return t.fill(p.said, m[1:], depth), true
			}
		}
	}
	return english, false
}

// withNote is a text with a note in brackets behind it, withValue one with a
// figure behind it.
var (
	withNote  = regexp.MustCompile(`^(.+?) \((.+)\)$`)
	withValue = regexp.MustCompile(`^(.*[\pL)]) ([−+<>≤≥~]?\d[\d.,]*(?: ?%)?)$`)
)

// withCount is a text with a number before it.
var withCount = regexp.MustCompile(`^(\d[\d.,]*) (.+)$`)

// trimmed finds a text without what stands at its end: a note, a figure, a full
// stop that was left off.
func (t *saying) trimmed(english string, depth int) (string, bool) {
	if m := withNote.FindStringSubmatch(english); m != nil {
		if said, ok := t.whole(m[1], depth+1); ok {
			note, ok := t.whole(m[2], depth+1)
			if !ok {
				note, _ = t.list(m[2], depth+1)
			}
			return said + " (" + note + ")", true
		}
	}
	if m := withCount.FindStringSubmatch(english); m != nil {
		if said, ok := t.whole(m[2], depth+1); ok {
			count, _ := t.format.value(m[1])
			return count + " " + said, true
		}
	}
	if m := withValue.FindStringSubmatch(english); m != nil {
		if said, ok := t.whole(m[1], depth+1); ok {
			value, _ := t.format.value(m[2])
			if value == "" {
				value = m[2]
			}
			return said + " " + value, true
		}
	}
	if inner, ok := strings.CutPrefix(english, "“"); ok && strings.HasSuffix(inner, "”") && strings.Count(english, "“") == 1 {
		if said, ok := t.whole(strings.TrimSuffix(inner, "”"), depth+1); ok {
			return "„" + said + "“", true
		}
	}
	if said, ok := t.exact[english+"."]; ok {
		return strings.TrimSuffix(said, "."), true
	}
	return english, false
}

// code is a word that is typed so in every language, such as "with-premium".
var code = regexp.MustCompile(`^[a-z]+(-[a-z]+)+$`)

func (t *saying) allKnown(found []string, depth int) bool {
	for _, v := range found {
		if _, ok := t.whole(v, depth+1); !ok && !code.MatchString(v) {
			if _, ok := t.list(v, depth); !ok {
				return false
			}
		}
	}
	return true
}

// fill puts what was found back into the places.
func (t *saying) fill(said string, found []string, depth int) string {
	return place.ReplaceAllStringFunc(said, func(at string) string {
		n, err := strconv.Atoi(at[1 : len(at)-1])
		if err != nil || n < 1 || n > len(found) {
			return at
		}
		v := found[n-1]
		if inner, ok := t.whole(v, depth+1); ok {
			return inner
		}
		said, _ := t.list(v, depth)
		return said
	})
}

// list says what stands between commas one by one, if all of it is known.
func (t *saying) list(v string, depth int) (string, bool) {
	if depth > deepest {
		return v, false
	}
	for _, mark := range []string{"; ", ", ", " and ", " or "} {
		pieces := strings.Split(v, mark)
		if len(pieces) < 2 {
			continue
		}
		parts, known := t.parts(pieces, mark, depth)
		if !known {
			return v, false
		}
		between := mark
		if said, ok := t.exact[strings.TrimSpace(mark)]; ok {
			between = " " + said + " "
		}
		return strings.Join(parts, between), true
	}
	return v, false
}

// parts says each part of a list. What is known as a whole may hold the mark
// itself, so the longest run of parts that is known counts as one.
func (t *saying) parts(pieces []string, mark string, depth int) (out []string, known bool) {
	for from := 0; from < len(pieces); {
		to, said, ok := len(pieces), "", false
		for ; to > from && !ok; to-- {
			if joined := strings.Join(pieces[from:to], mark); from > 0 || to < len(pieces) {
				if said, ok = t.whole(joined, depth+1); ok {
					break
				}
			}
		}
		if !ok {
			to = from + 1
			if said, ok = t.list(pieces[from], depth+1); !ok && !code.MatchString(said) {
				return pieces, false
			}
		}
		out = append(out, said)
		from = to
	}
	return out, true
}

// otherCase finds a text whose first letter is written small or large here.
func (t *saying) otherCase(english string) (string, bool) {
	r, n := utf8.DecodeRuneInString(english)
	if unicode.IsUpper(r) {
		if said, ok := t.exact[string(unicode.ToLower(r))+english[n:]]; ok {
			f, m := utf8.DecodeRuneInString(said)
			return string(unicode.ToUpper(f)) + said[m:], true
		}
	} else if unicode.IsLower(r) {
		if said, ok := t.exact[string(unicode.ToUpper(r))+english[n:]]; ok {
			return said, true
		}
	}
	return "", false
}
