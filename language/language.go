// Package language says in the reader's language what the program says: texts
// by one catalogue, numbers and dates by the habits of the place.
//
// The program is written in English, and an English sentence is the key of its
// translation. The packages below the edges make sentences and know nothing of
// languages; the edge that shows a sentence finds it in the catalogue again,
// with what was filled into it. What people typed is in no catalogue and stays
// as it is.
package language

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"strings"
	"sync"

	"golang.org/x/text/language"
)

//go:embed catalogue.json
var catalogueFile []byte

// Entry is one text of the program. Places that are filled in stand as {1},
// {2}, and marked words as <1>…</1>.
type Entry struct {
	English string `json:"en"`
	German  string `json:"de"`
}

// Catalogue reads the one catalogue of all texts, in order of the English.
func Catalogue() ([]Entry, error) {
	var out []Entry
	if err := json.Unmarshal(catalogueFile, &out); err != nil {
		return nil, fmt.Errorf("read the catalogue of texts: %w", err)
	}
	return out, nil
}

// Language is one of the languages that the pages speak.
type Language struct {
	// Tag is its name by BCP 47, such as "de".
	Tag string
	// Name is its name in itself.
	Name string

	texts func() *texts // nil for English
}

// English is the language that the program is written in.
var English = &Language{Tag: "en-GB", Name: "English"}

// German is the second language, complete.
var German = &Language{Tag: "de", Name: "Deutsch", texts: sync.OnceValue(func() *texts {
	return newTexts(func(e Entry) string { return e.German }, german)
})}

// All are the languages, English first.
func All() []*Language { return []*Language{English, German} }

// Named finds a language by its tag, or gives nil.
func Named(tag string) *Language {
	for _, l := range All() {
		if l.Tag == tag {
			return l
		}
	}
	return nil
}

var matcher = language.NewMatcher([]language.Tag{language.BritishEnglish, language.German})

// Match chooses the language that suits an Accept-Language header best;
// English when none does.
func Match(accept string) *Language {
	tags, _, err := language.ParseAcceptLanguage(accept)
	if err != nil || len(tags) == 0 {
		return English
	}
	_, i, confidence := matcher.Match(tags...)
	if confidence == language.No {
		return English
	}
	return All()[i]
}

// Text says an English text of the program in this language. What is in no
// catalogue comes back as it is.
func (l *Language) Text(english string) string {
	if l.texts == nil || english == "" {
		return english
	}
	return l.texts().say(english)
}

// Known says whether the whole of an English text is in the catalogue.
func (l *Language) Known(english string) bool {
	if l.texts == nil || strings.TrimSpace(english) == "" {
		return true
	}
	_, ok := l.texts().whole(english, 0)
	return ok
}

// List says each text of a list and writes them with commas.
func (l *Language) List(english []string) string {
	said := make([]string, len(english))
	for i, e := range english {
		said[i] = l.Text(e)
	}
	return strings.Join(said, ", ")
}
