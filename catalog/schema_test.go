package catalog

import (
	"encoding/json"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// The house's files are held against the schema that packs are held against,
// so that whoever writes a pack can take them as a pattern.
func TestHouseFilesFitThePackSchema(t *testing.T) {
	for _, name := range houseFiles {
		raw, err := house.ReadFile("data/" + name + ".json")
		require.NoError(t, err)
		doc, err := decodeAny(raw)
		require.NoError(t, err, name)
		fields, err := validate("content", doc)
		require.NoError(t, err)
		assert.Empty(t, fields, name)
	}
}

// The schema repeats words of the vocabulary; they must not drift apart.
func TestSchemaSpeaksTheVocabulary(t *testing.T) {
	var schema struct {
		Defs map[string]struct {
			Enum       []string                   `json:"enum"`
			Properties map[string]json.RawMessage `json:"properties"`
		} `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(packSchema, &schema))
	assert.Equal(t, registry.TermIDs(Acts()), schema.Defs["act"].Enum)
	assert.Equal(t, registry.TermIDs(Materials()), schema.Defs["material"].Enum)
	var group, reading, unit struct {
		Enum       []string
		Properties map[string]json.RawMessage
	}
	require.NoError(t, json.Unmarshal(schema.Defs["complaint"].Properties["group"], &group))
	assert.Equal(t, registry.TermIDs(ComplaintGroups()), group.Enum)
	require.NoError(t, json.Unmarshal(schema.Defs["observation"].Properties["reading"], &reading))
	require.NoError(t, json.Unmarshal(reading.Properties["unit"], &unit))
	assert.Equal(t, registry.TermIDs(Units()), unit.Enum)
	for def, p := range map[string]registry.Proposition{"origin-shares": registry.PropositionOrigin, "finish-shares": registry.PropositionFinish, "specification-shares": registry.PropositionSpecification} {
		states := registry.States(p)
		slices.Sort(states)
		assert.Equal(t, states, sortedKeys(schema.Defs[def].Properties), def)
	}
	var evidence, custody struct {
		Enum []string `json:"enum"`
	}
	require.NoError(t, json.Unmarshal(schema.Defs["sign"].Properties["evidence"], &evidence))
	assert.Equal(t, registry.TermIDs(registry.EvidenceKinds()), evidence.Enum)
	var keep struct {
		Properties map[string]json.RawMessage `json:"properties"`
	}
	require.NoError(t, json.Unmarshal(schema.Defs["treatment"].Properties["keep"], &keep))
	require.NoError(t, json.Unmarshal(keep.Properties["custody"], &custody))
	assert.Equal(t, registry.TermIDs(registry.Custodies()), custody.Enum)
}

// Every object of the schema refuses what it does not know, and nothing in it
// leads outside.
func TestSchemaIsClosed(t *testing.T) {
	doc, err := decodeAny(packSchema)
	require.NoError(t, err)
	var walk func(v any, at string)
	walk = func(v any, at string) {
		switch v := v.(type) {
		case map[string]any:
			if v["type"] == "object" {
				assert.Equal(t, false, v["additionalProperties"], at)
			}
			assert.NotContains(t, v, "format", at)
			if ref, ok := v["$ref"].(string); ok {
				assert.Regexp(t, `^#/\$defs/`, ref, at)
			}
			for k, x := range v {
				walk(x, at+"/"+k)
			}
		case []any:
			for _, x := range v {
				walk(x, at)
			}
		}
	}
	walk(doc, "")
}

// Load trusts the house's data; this is why it may.
func TestTheHouseIsWithoutFault(t *testing.T) {
	b := &builder{places: map[string]place{}}
	require.NoError(t, b.house())
	b.finish()
	b.check()
	assert.Empty(t, b.faults)
}

// A reference that is not in the data is a fault of the house too.
func TestCheckFindsFaultsOfTheHouse(t *testing.T) {
	b := &builder{places: map[string]place{}}
	require.NoError(t, b.house())
	b.c.components.rows[0].Prior = "nonsense"
	b.c.components.rows[1].Walk = b.c.components.rows[0].Walk
	b.c.signs.rows[0].Likelihood["original"] = 1.5
	b.c.cautions.rows[0].Triggers[0].Acts = []string{"dance"}
	b.finish()
	b.check()
	require.Len(t, b.faults, 4)
	assert.Equal(t, "/components/frame.main/prior", b.faults[0].Pointer)
	assert.Error(t, b.faults.err())
}
