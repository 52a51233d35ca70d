package lookup

import (
	"strings"

	"example.org/asfound/registry"
)

// Query is what a person asks for: every clause must be met.
type Query struct{ Clauses []Clause }

// Clause is one word, the beginning of one, or several words that must stand
// side by side.
type Clause struct {
	Words []string
	// Joined is another way of writing the whole clause, "" when there is none.
	Joined string
	// Prefix says that Words[0], the only one, is the beginning of a word.
	Prefix bool
}

// Limits of a query.
const (
	MaxQuery   = 400 // bytes
	MaxClauses = 12
	MinPrefix  = 2 // letters of the beginning of a word
)

// Parse reads a query. Words are all wanted, in any order; words "within
// quotation marks" stand side by side; a star after two letters or more stands
// for the rest of a word. AND between words may be written and changes nothing.
// CodeInvalid says what is wrong; a query of spaces is no fault and asks nothing.
func Parse(text string) (Query, error) {
	if len(text) > MaxQuery {
		return Query{}, wrong(text[:40]+"…", "at most 400 letters", "What is asked for is too long", "Keep the words that tell most.")
	}
	var q Query
	for rest := text; rest != ""; {
		var c Clause
		var err error
		if c, rest, err = next(rest); err != nil {
			return Query{}, err
		}
		if len(c.Words) > 0 {
			q.Clauses = append(q.Clauses, c)
		}
	}
	if len(q.Clauses) == 0 && strings.TrimSpace(text) != "" {
		return Query{}, wrong(text, "words or numbers", "There is no word in what is asked for", "Write a word, a number or a part of one.")
	}
	if len(q.Clauses) > MaxClauses {
		return Query{}, wrong("", "at most 12 words or phrases", "More is asked for than can be looked up at once", "Keep the words that tell most.")
	}
	return q, nil
}

// quotes are the marks that begin a phrase, each with those that end it.
var quotes = map[rune]string{'"': `"`, '“': "”\"", '„': "“”\"", '«': "»"}

func next(rest string) (Clause, string, error) {
	rest = strings.TrimSpace(rest)
	for open, closing := range quotes {
		inner, ok := strings.CutPrefix(rest, string(open))
		if !ok {
			continue
		}
		end := strings.IndexAny(inner, closing)
		if end < 0 {
			return Clause{}, "", wrong(rest, "", "A quotation mark is opened and not closed", "Close it after the last word of the phrase.")
		}
		phrase := inner[:end]
		if strings.Contains(phrase, "*") {
			return Clause{}, "", wrong(phrase, "", "A star cannot stand within quotation marks", "Write the words whole, or without quotation marks.")
		}
		_, size := firstRune(inner[end:])
		return clause(phrase), inner[end+size:], nil
	}
	end := strings.IndexFunc(rest, func(r rune) bool { _, mark := quotes[r]; return mark || isSpace(r) })
	if end < 0 {
		end = len(rest)
	}
	word := rest[:end]
	rest = rest[end:]
	if word == "AND" {
		return Clause{}, rest, nil
	}
	begin, isPrefix := strings.CutSuffix(word, "*")
	if strings.Contains(begin, "*") {
		return Clause{}, "", wrong(word, "", "A star stands at the end of a word, and once", "Write the beginning of the word, then the star.")
	}
	c := clause(begin)
	if isPrefix {
		switch {
		case c.Joined != "":
			c = Clause{Words: []string{c.Joined}}
		case len(c.Words) > 1:
			return Clause{}, "", wrong(word, "", "The star stands after several words", "Put a space between them.")
		}
		if len(c.Words) == 0 || len([]rune(c.Words[0])) < MinPrefix {
			return Clause{}, "", wrong(word, "two letters or more before the star", "Too little stands before the star", "Write more of the word.")
		}
		c.Prefix = true
	}
	return c, rest, nil
}

func clause(text string) Clause {
	var c Clause
	words := Words(text)
	for _, w := range words {
		if !w.Joined {
			c.Words = append(c.Words, w.Text)
		}
	}
	if last := len(words) - 1; last >= 0 && words[last].Joined && words[last].From == words[0].From {
		c.Joined = words[last].Text
	}
	return c
}

func wrong(found, allowed, message, fix string) error {
	return &registry.Error{Code: registry.CodeInvalid, Message: message, Fix: fix,
		Fields: []registry.Field{{Pointer: "/q", Found: found, Allowed: allowed, Message: message, Fix: fix}}}
}

// Marks says where the clauses of a query stand in a text, as pairs of bytes
// from and to in order, and which clauses those are.
func (q Query) Marks(text string) (marks [][2]int, met []bool) {
	words := Words(text)
	met = make([]bool, len(q.Clauses))
	for i, c := range q.Clauses {
		for _, m := range c.in(words) {
			met[i] = true
			marks = append(marks, m)
		}
	}
	return merged(marks), met
}

// Meets says whether a text holds the whole clause.
func (c Clause) Meets(text string) bool { return len(c.in(Words(text))) > 0 }

func (c Clause) in(words []Word) [][2]int {
	var out [][2]int
	var plain []Word
	for _, w := range words {
		switch {
		case !w.Joined:
			plain = append(plain, w)
			if c.Prefix && strings.HasPrefix(w.Text, c.Words[0]) || c.Joined != "" && w.Text == c.Joined {
				out = append(out, [2]int{w.From, w.To})
			}
		case w.Text == c.Joined, c.Prefix && strings.HasPrefix(w.Text, c.Words[0]), len(c.Words) == 1 && w.Text == c.Words[0]:
			out = append(out, [2]int{w.From, w.To})
		}
	}
	if c.Prefix {
		return out
	}
	for i := 0; i+len(c.Words) <= len(plain); i++ {
		if all(plain[i:], c.Words) {
			out = append(out, [2]int{plain[i].From, plain[i+len(c.Words)-1].To})
		}
	}
	return out
}

func all(words []Word, want []string) bool {
	for i, w := range want {
		if words[i].Text != w {
			return false
		}
	}
	return true
}
