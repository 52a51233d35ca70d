package server

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Word is a word of the trade with its meaning.
type Word struct{ ID, Word, Meaning string }

// Run is a piece of text, with the word that it is where it is one to explain.
type Run struct {
	Text string
	Word *Word
}

// Glossary finds words of the trade in the texts of one page, in the order in
// which the page shows them: each is marked where a section first uses it.
type Glossary struct {
	byLetter map[byte][]*Word
	seen     map[string]bool // section and word
	used     map[*Word]bool
}

// everyday are words of the catalog that say of themselves what they mean, at
// least to somebody who reads a sentence with them.
var everyday = []string{"machine", "component", "part", "assembly", "anatomy", "origin", "finish", "condition", "function", "test", "cause", "check", "fault",
	"option", "decision", "intervention", "sign", "claim", "conflict", "catalog", "evidence", "pack", "gate", "credit", "seal", "cluster"}

func newGlossary(words map[string]string) *Glossary {
	g := &Glossary{byLetter: map[byte][]*Word{}, seen: map[string]bool{}, used: map[*Word]bool{}}
	for word, meaning := range words {
		if slices.Contains(everyday, word) || word == "" {
			continue
		}
		first := word[0] | 0x20
		g.byLetter[first] = append(g.byLetter[first], &Word{"word-" + strings.ReplaceAll(word, " ", "-"), word, meaning})
	}
	for _, list := range g.byLetter {
		slices.SortFunc(list, func(a, b *Word) int { return len(b.Word) - len(a.Word) })
	}
	return g
}

// In splits a text of a section at the words that are to be explained there.
func (g *Glossary) In(section, text string) []Run {
	var out []Run
	from := 0
	for i := 0; i < len(text); i++ {
		if before, _ := utf8.DecodeLastRuneInString(text[:i]); partOfWord(before) {
			continue
		}
		w, end := g.at(text, i)
		if w == nil || g.seen[section+"\n"+w.ID] {
			continue
		}
		g.seen[section+"\n"+w.ID], g.used[w] = true, true
		if i > from {
			out = append(out, Run{Text: text[from:i]})
		}
		out = append(out, Run{text[i:end], w})
		from, i = end, end-1
	}
	if from < len(text) {
		out = append(out, Run{Text: text[from:]})
	}
	return out
}

// at finds the longest word that stands at a place, by itself or with a common
// ending, and where it ends.
func (g *Glossary) at(text string, i int) (*Word, int) {
	for _, w := range g.byLetter[text[i]|0x20] {
		end := i + len(w.Word)
		if end > len(text) || !strings.EqualFold(text[i:end], w.Word) {
			continue
		}
		for _, ending := range []string{"", "s", "es", "d", "ed"} {
			rest, fits := strings.CutPrefix(text[end:], ending)
			if after, _ := utf8.DecodeRuneInString(rest); fits && !partOfWord(after) {
				return w, len(text) - len(rest)
			}
		}
	}
	return nil, 0
}

func partOfWord(r rune) bool {
	return r == '-' || unicode.IsLetter(r) || unicode.IsDigit(r)
}

// Used are the words that were marked so far, in order.
func (g *Glossary) Used() []Word {
	var out []Word
	for w := range g.used {
		out = append(out, *w)
	}
	slices.SortFunc(out, func(a, b Word) int { return strings.Compare(strings.ToLower(a.Word), strings.ToLower(b.Word)) })
	return out
}
