package workshop

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// Every kind of record has a sentence of its own in the timeline; a new kind
// without one fails here.
func TestEveryKindHasASentence(t *testing.T) {
	b := newBench(t)
	told := map[string]registry.Kind{}
	for _, kind := range registry.Kinds() {
		body := registry.NewBody(kind)
		teller := &builder{seen: &seen{w: b.Workshop, d: registry.NewDossier(drover)}}
		text := teller.tell(&registry.Entry{Meta: registry.Meta{Kind: kind}, Body: body})
		require.NotEqual(t, string(kind), text, "records of kind %q have no sentence", kind)
		require.NotEmpty(t, strings.TrimSpace(text), "%s", kind)
		require.NotContains(t, text, "%!", "%s", kind)
		if other, twice := told[text]; twice {
			t.Errorf("%s and %s are told alike: %s", kind, other, text)
		}
		told[text] = kind
	}
}

func TestTheTimelineTellsTheStory(t *testing.T) {
	b := drafted(t)
	p := b.propose("proposal-1", "100", "condenser-outside")
	b.do(&registry.Decision{Common: registry.Common{ID: "d-1"}, On: p.ID, Digest: p.Digest, Answer: "refuse", Reason: "Imogen Aske says no", Person: "owner", Channel: "letter"})
	b.file("work-polished.json")
	b.do(&registry.Withdrawal{Common: registry.Common{ID: "slip"}, Record: "silencer-leave", Why: "entered twice", By: "mechanic"})

	for _, public := range []bool{false, true} {
		owner, mechanic := "Imogen Aske", "Tamsin Orde"
		if public {
			owner, mechanic = "the executor", "the mechanic"
		}
		r := b.report(ReportOptions{Public: public})
		require.EqualValues(t, r.Version, len(r.Timeline))
		marks := map[string]string{}
		for i, h := range r.Timeline {
			require.EqualValues(t, i+1, h.Version)
			require.NotContains(t, h.Text, "[[")
			require.Equal(t, mechanic, h.By)
			marks[h.Record] = h.Mark
		}
		require.Equal(t, "refused", marks["d-1"])
		require.Equal(t, "unapproved", marks["work-polished"])
		require.Equal(t, "withdrawn", marks["silencer-leave"])
		require.Empty(t, marks["proposal-1"])
		text := asJSON(t, r.Timeline)
		for _, sentence := range []string{
			"the Drover taken in",
			owner + " entered as executor",
			"custody agreed; 5 things came with the machine",
			"as-found survey sealed, with 0 named gaps",
			"proposed to " + owner + ": condenser-outside, ceiling 100 GBP",
			owner + " answered proposal-1: refuse, because " + owner + " says no",
			"record silencer-leave withdrawn: entered twice",
		} {
			says(t, text, sentence)
		}
	}
}
