package exchange

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// theirs are the PROV-JSON documents of Debian's python3-prov, the library's own
// test data.
const theirs = "/usr/lib/python3/dist-packages/prov/tests/json/*.json"

// TestReadsTheDocumentsOfAnotherProgram reads every document of another
// implementation and writes it again. A list of one value is the same as that
// value in PROV-JSON (section 2.2 of the submission).
func TestReadsTheDocumentsOfAnotherProgram(t *testing.T) {
	files, err := filepath.Glob(theirs)
	require.NoError(t, err)
	if len(files) == 0 {
		t.Skip("python3-prov is not installed")
	}
	require.Greater(t, len(files), 300)
	for _, name := range files {
		raw, err := os.ReadFile(name)
		require.NoError(t, err)
		doc, err := ReadProv(raw)
		if !assert.NoError(t, err, name) {
			continue
		}
		again, err := doc.Write()
		require.NoError(t, err)
		assert.Equal(t, plain(t, raw), plain(t, again), name)
	}
}

// plain is a document with each list of one value as that value.
func plain(t *testing.T, raw []byte) any {
	var v any
	require.NoError(t, json.Unmarshal(raw, &v))
	return alone(v)
}

func alone(v any) any {
	switch v := v.(type) {
	case []any:
		for i := range v {
			v[i] = alone(v[i])
		}
		if len(v) == 1 {
			return v[0]
		}
	case map[string]any:
		for k := range v {
			v[k] = alone(v[k])
		}
	}
	return v
}

func TestRefusesWhatIsNoProv(t *testing.T) {
	for name, row := range map[string]struct{ text, pointer string }{
		"no JSON":             {`{`, ""},
		"a list":              {`[]`, ""},
		"an unknown kind":     {`{"wasBorrowedBy": {}}`, "/wasBorrowedBy"},
		"an unknown prefix":   {`{"entity": {"ex:e": {}}}`, "/entity/ex:e"},
		"an unknown pointer":  {`{"prefix": {"ex": "http://e/"}, "used": {"_:u": {"prov:entity": "x:e"}}}`, "/used/_:u/prov:entity"},
		"no moment":           {`{"prefix": {"ex": "http://e/"}, "activity": {"ex:a": {"prov:startTime": "yesterday"}}}`, "/activity/ex:a/prov:startTime"},
		"a value within":      {`{"prefix": {"ex": "http://e/"}, "entity": {"ex:a": {"ex:b": {"$": {"$": "x"}}}}}`, "/entity/ex:a/ex:b"},
		"a bundle in another": {`{"prefix": {"ex": "http://e/"}, "bundle": {"ex:b": {"bundle": {}}}}`, "/bundle/ex:b/bundle"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadProv([]byte(row.text))
			var e *registry.Error
			require.ErrorAs(t, err, &e)
			require.Equal(t, registry.CodeInvalid, e.Code)
			require.Equal(t, row.pointer, e.Fields[0].Pointer)
		})
	}
	_, err := ReadProv(make([]byte, maxProv+1))
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
}

// TestNumbersGetTheirTypes: JSON numbers and truth values are short for typed
// ones (section 2.2 of the submission).
func TestNumbersGetTheirTypes(t *testing.T) {
	doc, err := ReadProv([]byte(`{"prefix": {"default": "http://e/"}, "entity": {"e": {"n": [1, 1.5, true, {"$": 7, "type": "xsd:long"}]}}}`))
	require.NoError(t, err)
	require.Equal(t, []ProvValue{{"1", "xsd:int", ""}, {"1.5", "xsd:double", ""}, {"true", "xsd:boolean", ""}, {"7", "xsd:long", ""}}, doc.Records[0].Attributes["n"])
}

func TestTellsTheActsOfADocument(t *testing.T) {
	doc, err := ReadProv([]byte(`{"prefix": {"ex": "http://e/"},
"entity": {"ex:tank": {"prov:label": "the tank"}, "ex:bare": {}},
"agent": {"ex:w": {"prov:label": "the workshop"}},
"activity": {"ex:c": {}, "ex:strip": {"prov:label": "stripping", "prov:startTime": "1971-05-02T00:00:00Z"}, "ex:b": {"prov:endTime": "1960-01-01T00:00:00"}},
"used": {"_:1": {"prov:activity": "ex:strip", "prov:entity": "ex:tank"}},
"wasGeneratedBy": {"_:2": {"prov:activity": "ex:strip", "prov:entity": "ex:bare"}},
"wasAssociatedWith": {"_:3": {"prov:activity": "ex:strip", "prov:agent": "ex:w"}}}`))
	require.NoError(t, err)
	acts := doc.Acts()
	require.Equal(t, []string{"ex:b", "ex:strip", "ex:c"}, []string{acts[0].ID, acts[1].ID, acts[2].ID})
	require.Equal(t, ProvAct{ID: "ex:strip", Label: "stripping", When: "1971-05-02T00:00:00Z", By: []string{"the workshop"}, Used: []string{"the tank"}, Generated: []string{"ex:bare"}}, acts[1])
	require.Equal(t, map[string]int{"entity": 2, "agent": 1, "activity": 3, "used": 1, "wasGeneratedBy": 1, "wasAssociatedWith": 1}, doc.Count())
}
