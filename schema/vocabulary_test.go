package schema_test

import (
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// enumOf reads the words of a shared definition.
func enumOf(t *testing.T, definition map[string]any) []string {
	t.Helper()
	var out []string
	for _, v := range definition["enum"].([]any) {
		out = append(out, v.(string))
	}
	return out
}

// Ensure that the words of the schemas are the vocabulary's, in its order, and
// that each is explained as there; and that no other list of words is shared.
func TestEnumsAreTheVocabulary(t *testing.T) {
	removed := []registry.Term{}
	for _, term := range registry.Custodies() {
		if term.ID != "fitted" {
			removed = append(removed, term)
		}
	}
	vocabulary := map[string][]registry.Term{
		"origin": registry.Origins(), "finish": registry.Finishes(), "specification": registry.Specifications(),
		"function": registry.Functions(), "custody": registry.Custodies(), "removedCustody": removed, "witness": registry.Witnesses(),
		"evidenceKind": registry.EvidenceKinds(), "role": registry.Roles(), "purpose": registry.Purposes(), "shown": registry.Shown(),
		"answer": registry.Answers(), "channel": registry.Channels(), "outcome": registry.Outcomes(), "priceKind": registry.PriceKinds(),
		"hand": registry.Hands(), "felt": registry.Felts(),
	}
	states := map[string][]string{"proposition": {"origin", "finish", "specification", "assembly"}}
	for _, p := range []registry.Proposition{registry.PropositionOrigin, registry.PropositionFinish, registry.PropositionSpecification, registry.PropositionAssembly} {
		states[string(p)+"State"] = registry.States(p)
		states[string(p)+"StateOrOther"] = append(registry.States(p), registry.StateOther)
	}
	for name, raw := range document(t, "common.v1.schema.json")["$defs"].(map[string]any) {
		definition := raw.(map[string]any)
		if definition["enum"] == nil {
			require.NotContains(t, vocabulary, name)
			require.NotContains(t, states, name)
			continue
		}
		terms, isVocabulary := vocabulary[name]
		want, isStates := states[name]
		require.True(t, isVocabulary || isStates, "%s is a list of words that the registry does not have", name)
		for _, term := range terms {
			want = append(want, term.ID)
			require.Contains(t, definition["description"], term.ID+": "+term.Meaning, name)
		}
		require.Equal(t, want, enumOf(t, definition), name)
		delete(vocabulary, name)
		delete(states, name)
	}
	require.Empty(t, vocabulary)
	require.Empty(t, states)
}

// Ensure that the kinds of an event are the registry's.
func TestKindsOfEvents(t *testing.T) {
	properties := document(t, "event.v1.schema.json")["properties"].(map[string]any)
	var want []string
	for _, kind := range registry.Kinds() {
		want = append(want, string(kind))
	}
	require.Equal(t, want, enumOf(t, properties["kind"].(map[string]any)))
}

// Ensure that each schema bears the title by which the registry calls its kind.
func TestTitles(t *testing.T) {
	for _, name := range schemaNames(t) {
		kind, _ := kindAndVersion(t, name)
		title, _ := document(t, name)["title"].(string)
		if want := registry.Title(kind); want != "" {
			require.Equal(t, want, title)
		}
		require.True(t, strings.HasPrefix(title, "The "), title)
	}
}
