package importers

import (
	"strings"
	"unicode"
)

// foldHeading makes spellings of a heading alike: letters and figures only, in
// small letters.
func foldHeading(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

// beforeBracket is a heading without what stands in brackets behind it.
func beforeBracket(s string) string {
	if i := strings.IndexAny(s, "(["); i > 0 {
		return s[:i]
	}
	return s
}

// foldTerm makes spellings of a vocabulary word alike: small letters, hyphens
// for spaces and underscores.
func foldTerm(s string) string {
	if isFolded(s) {
		return s
	}
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return r == '-' || r == '_' || unicode.IsSpace(r) || r == '‐' || r == '–'
	}), "-")
}

// isFolded says whether a word is spelt as foldTerm would spell it, as most are.
func isFolded(s string) bool {
	hyphen := true
	for i := range len(s) {
		switch c := s[i]; {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '.' || c == '?':
			hyphen = false
		case c == '-' && !hyphen:
			hyphen = true
		default:
			return false
		}
	}
	return !hyphen
}

// nothing says whether a cell was left open: empty, or a dash.
func nothing(s string) bool {
	switch s {
	case "", "-", "–", "—":
		return true
	}
	return false
}

// cannotTell says whether a cell says that it could not be told.
func cannotTell(s string) bool {
	switch foldTerm(s) {
	case "?", "??", "cannot-tell", "can't-tell", "can-not-tell", "unknown", "not-known", "undetermined":
		return true
	}
	return false
}

// nearest gives the candidate that is spelt most like the word, or "" when none
// is near: at most a third of its letters, and no more than four, differ.
func nearest(word string, candidates []string) string {
	best, bestDistance := "", 5
	w := []rune(strings.ToLower(word))
	for _, c := range candidates {
		d := distance(w, []rune(strings.ToLower(c)), bestDistance)
		if d < bestDistance && d*3 <= max(len(w), 3) {
			best, bestDistance = c, d
		}
	}
	return best
}

// distance counts the letters to insert, delete, replace or swap with a
// neighbour to make a into b. It gives up at limit.
func distance(a, b []rune, limit int) int {
	if len(a)-len(b) >= limit || len(b)-len(a) >= limit || len(a) > 64 || len(b) > 64 {
		return limit
	}
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}

// didYouMean is a sentence with the nearest candidate, or the fallback.
func didYouMean(word string, candidates []string, fallback string) string {
	if n := nearest(word, candidates); n != "" {
		return "Did you mean " + n + "?"
	}
	return fallback
}

// quoted is a text in quotation marks, cut to 60 characters.
func quoted(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return `"` + strings.ToValidUTF8(s, "�") + `"`
}
