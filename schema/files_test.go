package schema_test

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"slices"
	"strings"
	"testing"

	"example.org/asfound/schema"
	"github.com/santhosh-tekuri/jsonschema/v5"
	"github.com/stretchr/testify/require"
)

// everySchema walks every schema of a document; kind says what it is of:
// "root", "definition", "property" or "part".
func everySchema(at, kind string, m map[string]any, visit func(at, kind string, m map[string]any)) {
	visit(at, kind, m)
	table := func(keyword, kind string) {
		children, _ := m[keyword].(map[string]any)
		for name, child := range children {
			if child, ok := child.(map[string]any); ok {
				everySchema(at+"/"+keyword+"/"+name, kind, child, visit)
			}
		}
	}
	table("$defs", "definition")
	if strings.Contains(at, "/then") {
		table("properties", "part") // a condition adds to a property that is told elsewhere
	} else if strings.HasSuffix(at, "/if") {
		table("properties", "test")
	} else {
		table("properties", "property")
	}
	for _, keyword := range []string{"items", "additionalProperties", "propertyNames", "if", "then", "else"} {
		if child, ok := m[keyword].(map[string]any); ok {
			everySchema(at+"/"+keyword, "part", child, visit)
		}
	}
	for _, keyword := range []string{"allOf", "oneOf", "anyOf"} {
		children, _ := m[keyword].([]any)
		for _, child := range children {
			everySchema(at+"/"+keyword, "part", child.(map[string]any), visit)
		}
	}
}

func everyFile(t *testing.T, visit func(at, kind string, m map[string]any)) {
	t.Helper()
	names, err := fs.Glob(schema.Schemas(), "*.schema.json")
	require.NoError(t, err)
	require.Greater(t, len(names), 30)
	for _, name := range names {
		everySchema(name, "root", document(t, name), visit)
	}
}

// Ensure that every file is a schema of JSON Schema 2020-12 and says so.
func TestFilesAreSchemas(t *testing.T) {
	meta, err := jsonschema.Compile("https://json-schema.org/draft/2020-12/schema")
	require.NoError(t, err)
	names, err := fs.Glob(schema.Schemas(), "*")
	require.NoError(t, err)
	for _, name := range names {
		d := document(t, name)
		require.NoError(t, meta.Validate(d), name)
		require.Equal(t, "https://json-schema.org/draft/2020-12/schema", d["$schema"], name)
		require.Equal(t, schema.Base+name, d["$id"], name)
	}
}

// Ensure that the meta-schema would notice a mistake.
func TestMetaSchemaNoticesMistakes(t *testing.T) {
	meta, err := jsonschema.Compile("https://json-schema.org/draft/2020-12/schema")
	require.NoError(t, err)
	require.Error(t, meta.Validate(map[string]any{"type": "text"}))
	require.Error(t, meta.Validate(map[string]any{"properties": map[string]any{"a": map[string]any{"minLength": json.Number("-1")}}}))
}

// Ensure that every example in a schema passes it.
func TestExamplesPass(t *testing.T) {
	s := set(t)
	for _, name := range schemaNames(t) {
		examples, _ := document(t, name)["examples"].([]any)
		require.NotEmpty(t, examples, name)
		kind, version := kindAndVersion(t, name)
		for _, example := range examples {
			require.NoError(t, s.ValidateDecoded(kind, version, example), name)
			data, err := json.Marshal(example)
			require.NoError(t, err)
			standsBeforeRegistry(t, s, kind, version, data)
		}
	}
}

// Ensure that every property is told in words, every object is closed, every
// number has a unit, and that nothing rests on a format.
func TestSchemasAreTold(t *testing.T) {
	everyFile(t, func(at, kind string, m map[string]any) {
		require.NotContains(t, m, "format", at)
		require.NotContains(t, m, "$dynamicRef", at) // the validator resolves some of them wrongly
		if kind != "part" && kind != "test" {
			for _, key := range []string{"title", "description"} {
				text, _ := m[key].(string)
				require.NotEmpty(t, text, "%s has no %s", at, key)
			}
			description := m["description"].(string)
			require.Contains(t, ".)", description[len(description)-1:], "%s: %q does not end as a sentence", at, description)
			title := m["title"].(string)
			if kind == "property" {
				require.Equal(t, strings.ToLower(title[:1]), title[:1], "%s: a title goes on behind \"The\"", at)
			}
		}
		types := m["type"]
		list, _ := types.([]any)
		isObject := types == "object" || slices.Contains(list, any("object"))
		if isObject && at != "event.v1.schema.json/properties/body" {
			require.Contains(t, m, "additionalProperties", "%s is open", at)
		}
		if types == "number" || types == "integer" || slices.Contains(list, any("number")) {
			require.NotEmpty(t, m["x-unit"], "%s has no unit", at)
		}
		if types == "integer" {
			require.Contains(t, m, "minimum", at)
			require.Contains(t, m, "maximum", at)
		}
	})
}

// Ensure that patterns stand only in the shared definitions, where each has
// its words, and that each is anchored unless it only looks for something.
func TestPatternsStandInSharedDefinitions(t *testing.T) {
	seen := 0
	everyFile(t, func(at, kind string, m map[string]any) {
		pattern, ok := m["pattern"].(string)
		if !ok {
			return
		}
		seen++
		require.True(t, strings.HasPrefix(at, "common.v1.schema.json/$defs/") && strings.Count(at, "/") == 2, "%s has a pattern of its own", at)
		if pattern != `\S` && pattern != "[1-9]" {
			require.True(t, strings.HasPrefix(pattern, "^") && strings.HasSuffix(pattern, "$"), "%s: %s", at, pattern)
		}
	})
	require.Greater(t, seen, 10)
}

// Ensure that every property says no more than there is: every reference is
// relative and finds something.
func TestReferencesFindSomething(t *testing.T) {
	seen := 0
	everyFile(t, func(at, kind string, m map[string]any) {
		reference, ok := m["$ref"].(string)
		if !ok {
			return
		}
		seen++
		require.NotContains(t, reference, ":", at)
		file, _, _ := strings.Cut(at, "/")
		resolve(t, node{file, map[string]any{"$ref": reference}})
	})
	require.Greater(t, seen, 100)
}

// Ensure that files are served under their names, and others are not found.
func TestRaw(t *testing.T) {
	data, err := schema.Raw("survey.v1.schema.json")
	require.NoError(t, err)
	served, err := fs.ReadFile(schema.Schemas(), "survey.v1.schema.json")
	require.NoError(t, err)
	require.True(t, bytes.Equal(data, served))
	for _, name := range []string{"survey.v3.schema.json", "../go.mod", "set.go", ""} {
		_, err := schema.Raw(name)
		require.Error(t, err, name)
	}
}
