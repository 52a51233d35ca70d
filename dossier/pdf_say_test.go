package dossier

import (
	"bytes"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/workshop"
)

// someGerman says a few texts and leaves the rest, as a language does with what
// is in no catalogue.
var someGerman = Language{Tag: "de", Say: func(english string) string {
	said, ok := map[string]string{"Contents": "Inhalt", "How to check this document": "Wie man dieses Dokument prüft", "Component": "Bauteil", "page 1 of 14": "Seite 1 von 14",
		"by {1}": "von {1}", "recorded {1}": "eingetragen {1}", "Condition report": "Zustandsbericht", "0.920 (80 %: 0.860 to 0.960)": "0,920 (80 %: 0,860 bis 0,960)",
		"Opening: timing cover off": "Öffnung: Steuerdeckel ab", "TAKE CARE": "VORSICHT", "stop": "halt", "with {1}": "mit {1}", "spring balance": "Federwaage",
		"left: before it was touched": "MUST NOT BE SAID"}[english]
	if !ok {
		return english
	}
	return said
}}

func TestADossierInALanguage(t *testing.T) {
	r := canned(3)
	r.Machine.Story = "Contents" // somebody's own word
	var out bytes.Buffer
	require.NoError(t, WritePDF(&out, PDFInput{Language: someGerman, Report: r, Program: "test"}))
	require.Contains(t, out.String(), "/Lang (de)") // ISO 32000-1, 14.9.2: a tag by BCP 47
	text := pdfText(t, out.Bytes())
	for _, s := range []string{"Inhalt", "Wie man dieses Dokument prüft", "Bauteil", "0,920 (80 %: 0,860 bis 0,960)", "eingetragen 2026-06-14", "How it was found Contents", "mit Federwaage"} {
		require.Contains(t, text, s)
	}
	for _, s := range []string{"How to check this document", "with spring balance", "recorded 2026"} {
		require.NotContains(t, text, s)
	}

	var condition, card, english bytes.Buffer
	require.NoError(t, WriteCondition(&condition, PDFInput{Language: someGerman, Report: r}))
	require.Contains(t, pdfText(t, condition.Bytes()), "Zustandsbericht")
	require.NoError(t, WriteCard(&card, CardInput{Language: someGerman, Card: cannedCard()}))
	text = pdfText(t, card.Bytes())
	require.Contains(t, text, "Öffnung: Steuerdeckel ab")
	require.Contains(t, text, "HALT. May hold asbestos.")
	require.Regexp(t, `42\smm .*\(1\.65\sin\)`, text) // 42 / 25.4 is 1.6535
	require.NoError(t, WriteCard(&english, CardInput{Card: cannedCard()}))
	require.Contains(t, english.String(), "/Lang (en-GB)")
}

// TestEverythingPrintedIsSaid lets a language answer in other letters: what is
// still printed in the old ones was set past it.
func TestEverythingPrintedIsSaid(t *testing.T) {
	dotted := Language{Tag: "x-test", Say: func(s string) string { return strings.NewReplacer("a", "ä", "o", "ö", "u", "ü").Replace(s) }}
	text := map[string]func(io.Writer) error{
		"card": func(w io.Writer) error { return WriteCard(w, CardInput{Language: dotted, Card: cannedCard()}) },
		"labels": func(w io.Writer) error {
			return WriteLabels(w, LabelInput{Language: dotted, Machine: canned(1).Machine, Parts: []workshop.RemovedReport{{ID: "t-1", Tag: "T-1", What: "tap", Custody: "lost", Reason: "worn out"}}})
		},
	}
	for name, write := range text {
		var out bytes.Buffer
		require.NoError(t, write(&out))
		for _, word := range strings.Fields(pdfText(t, out.Bytes())) {
			if strings.ContainsAny(word, "/-") || slices.Contains(strings.Fields(canned(1).Machine.Name), word) {
				continue // an address, an id, or a name
			}
			require.False(t, strings.ContainsAny(word, "aou"), "%s: %q is set past the language", name, word)
		}
	}
}
