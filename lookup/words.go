// Package lookup finds machines by words: it cuts texts into words, reads what
// a person asks for, and keeps for each word the machines that have it. It is
// the same wherever the lists are stored, and so does no I/O of its own.
package lookup

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Word is one word of a text, folded, with the bytes of the text that it
// stands for.
type Word struct {
	Text     string
	From, To int
	// Joined marks what several words come to when what stands between them is
	// left out: "d3502217" for "D350-2217". It stands beside those words.
	Joined bool
}

// MaxWord is the longest word that is told apart, in bytes; what comes after is
// cut off.
const MaxWord = 64

// Words cuts a text into words: runs of letters and figures, without accents
// and capitals. What is written together and holds a figure, such as a number
// with hyphens, is given a second time as one word.
func Words(text string) []Word {
	out := make([]Word, 0, 2+len(text)/6) // most words are longer than five letters with the space
	first, start := 0, -1                 // of the words of this chunk; of the word
	end := func(at int) {
		if start >= 0 {
			if w := Fold(text[start:at]); w != "" {
				out = append(out, Word{Text: w, From: start, To: at})
			}
		}
		start = -1
	}
	chunk := func() {
		if w, ok := joined(out[first:]); ok {
			out = append(out, w)
		}
		first = len(out)
	}
	for at, r := range text {
		switch {
		case isLetter(r):
			if start < 0 {
				start = at
			}
		case unicode.IsSpace(r):
			end(at)
			chunk()
		default:
			end(at)
		}
	}
	end(len(text))
	chunk()
	return out
}

func isLetter(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.IsMark(r) || unicode.IsNumber(r)
}

// joined makes one word of those of a chunk, if there are several and one has
// a figure.
func joined(words []Word) (Word, bool) {
	if len(words) < 2 {
		return Word{}, false
	}
	var b strings.Builder
	for _, w := range words {
		b.WriteString(w.Text)
	}
	all := b.String()
	if !strings.ContainsFunc(all, unicode.IsDigit) {
		return Word{}, false
	}
	return Word{Text: cut(all), From: words[0].From, To: words[len(words)-1].To, Joined: true}, true
}

// Plain is a number as it is looked up: letters and figures alone, folded,
// without spaces, hyphens or dots. "" when there are none.
func Plain(number string) string {
	return cut(Fold(strings.Map(func(r rune) rune {
		if isLetter(r) {
			return r
		}
		return -1
	}, number)))
}

// strokes are letters that carry their stroke in themselves, and so keep it when
// accents go, and letters that are two or have two forms.
var strokes = strings.NewReplacer("ø", "o", "ł", "l", "đ", "d", "ħ", "h", "ŧ", "t", "æ", "ae", "œ", "oe", "ı", "i", "þ", "th", "ß", "ss", "ς", "σ", "ð", "d")

// Fold takes capitals and accents off a word. Folding twice changes nothing.
func Fold(word string) string {
	plain := true
	for i := range len(word) {
		if c := word[i]; c >= utf8.RuneSelf || c >= 'A' && c <= 'Z' {
			plain = false
			break
		}
	}
	if plain {
		return cut(word)
	}
	// Capitals may fold into letters with accents, and those into others.
	for range 3 {
		next := strokes.Replace(strings.ToLower(unmarked(norm.NFKD.String(word))))
		if next == word {
			break
		}
		word = next
	}
	return cut(word)
}

func unmarked(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsMark(r) || !isLetter(r) {
			return -1
		}
		return r
	}, s)
}

// cut ends a word after MaxWord bytes, never within a letter.
func cut(word string) string {
	if len(word) <= MaxWord {
		return word
	}
	n := MaxWord
	for n > 0 && !utf8.RuneStart(word[n]) {
		n--
	}
	return word[:n]
}
