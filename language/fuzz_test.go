package language

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzMatch: any header chooses one of the languages, the same each time, and
// what is named alone is chosen.
func FuzzMatch(f *testing.F) {
	for _, s := range []string{"", "de", "de-CH, en;q=0.5", "en-GB;q=x", "*", "fr, de;q=0.1", "de_DE", "x-y-z", strings.Repeat("de,", 300), "q=1", "de;q=0", "zh-Hant-TW"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, accept string) {
		l := Match(accept)
		require.True(t, slices.Contains(All(), l))
		require.Same(t, l, Match(accept))
		require.Same(t, l, Named(l.Tag))
		if named := Named(accept); named != nil {
			require.Same(t, named, l)
		}
	})
}

// FuzzText: any text is said, the same each time; in English as it is, and in
// German as it is where no word of it is in the catalogue. What a template says
// keeps its actions.
func FuzzText(f *testing.F) {
	entries, err := Catalogue()
	require.NoError(f, err)
	for i := 0; i < len(entries); i += 97 {
		f.Add(strings.NewReplacer("{1}", "0.50", "{2}", "clutch", "{3}", "3 March 2026").Replace(entries[i].English))
	}
	for _, s := range []string{"12.50 GBP", "March 1957", "She said so. Nothing was taken off.", "  clutch ", "<p>{{.A}} of {{if .B}}clutch{{end}}</p>", "{{", "<1 %", "\xff", "a. b. c, d and e"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		require.Equal(t, text, English.Text(text))
		said := German.Text(text)
		require.Equal(t, said, German.Text(text))
		require.Equal(t, text == "", said == "")
		require.True(t, English.Known(text))
		if said == text {
			return
		}
		require.Equal(t, said, German.List([]string{text}))
	})
}
