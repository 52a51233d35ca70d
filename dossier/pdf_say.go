package dossier

import (
	"strconv"
	"strings"
)

// Language is what a document is said in. The zero value is English, in which
// the documents are written.
type Language struct {
	// Tag names it by BCP 47, such as "de".
	Tag string
	// Say gives what the program says in it; what it does not know, such as
	// what people typed, comes back as it is.
	Say func(english string) string
}

func (l Language) tag() string {
	if l.Tag == "" {
		return "en-GB"
	}
	return l.Tag
}

// say says a text of the program.
func (l Language) say(english string) string {
	if l.Say == nil || english == "" {
		return english
	}
	return l.Say(english)
}

// filled says a form such as "by %s" and each of the texts that it is filled
// with. A short form is not found again once a name stands in it, so that it is
// said by itself.
func (l Language) filled(form string, texts ...string) string {
	var fill []string
	for i, text := range texts {
		place := "{" + strconv.Itoa(i+1) + "}"
		form = strings.Replace(form, "%s", place, 1)
		fill = append(fill, place, l.say(text))
	}
	return strings.NewReplacer(fill...).Replace(l.say(form))
}

// with is filled with one text, and nothing when there is none.
func (l Language) with(form, text string) string {
	if text == "" {
		return ""
	}
	return l.filled(form, text)
}

// joined says each of the parts that are not empty and sets a separator between.
func (l Language) joined(separator string, parts ...string) string {
	said := make([]string, len(parts))
	for i, p := range parts {
		said[i] = l.say(p)
	}
	return joined(separator, said...)
}

// word marks a single word as one that is shown.
func word(english string) string { return english }
