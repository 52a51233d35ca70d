package schema_test

import (
	"encoding/json"
	"path"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"example.org/asfound/scoring"
	"github.com/stretchr/testify/require"
)

var documents sync.Map // parsed schema files by name

// document reads a schema file.
func document(t testing.TB, name string) map[string]any {
	t.Helper()
	if d, ok := documents.Load(name); ok {
		return d.(map[string]any)
	}
	data, err := schema.Raw(name)
	require.NoError(t, err)
	value, ok := decoded(t, data).(map[string]any)
	require.True(t, ok, name)
	documents.Store(name, value)
	return value
}

// node is a schema and the file in which it stands.
type node struct {
	file string
	m    map[string]any
}

// resolve goes through a reference until there is none.
func resolve(t testing.TB, n node) node {
	t.Helper()
	for {
		reference, ok := n.m["$ref"].(string)
		if !ok {
			return n
		}
		name, fragment, _ := strings.Cut(reference, "#")
		file := n.file
		if name != "" {
			file = path.Base(name)
		}
		m := document(t, file)
		if definition, ok := strings.CutPrefix(fragment, "/$defs/"); ok {
			m, ok = m["$defs"].(map[string]any)[definition].(map[string]any)
			require.True(t, ok, "%s: %s", n.file, reference)
		}
		n = node{file, m}
	}
}

// field is a field of a struct as it is written in JSON.
type field struct {
	name     string
	typ      reflect.Type
	optional bool
}

// fieldsOf lists the fields of a struct, embedded ones among them.
func fieldsOf(typ reflect.Type) []field {
	var out []field
	for i := range typ.NumField() {
		f := typ.Field(i)
		tag, hasTag := f.Tag.Lookup("json")
		if f.Anonymous && !hasTag {
			out = append(out, fieldsOf(f.Type)...)
			continue
		}
		name, options, _ := strings.Cut(tag, ",")
		if !f.IsExported() || name == "-" {
			continue
		}
		out = append(out, field{name, f.Type, strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")})
	}
	return out
}

// wanted are the places where a schema asks for more than the struct's tags
// say, because registry.CheckBody or the computation does.
var wanted = map[string]string{
	"/fitting/valid":                    "a fitting without a time says nothing",
	"/comparable-sale/valid":            "a sale has a date",
	"/proposal/offer/options/id":        "a frozen option is named",
	"/proposal/offer/openings/id":       "a frozen opening is named",
	"/change-request/offer/options/id":  "a frozen option is named",
	"/change-request/offer/openings/id": "a frozen opening is named",
}

// spared are the places where the struct always writes a field that need not
// be given.
var spared = map[string]string{
	"id":                          "the workshop names a record that has no name yet",
	"/calc-origin-input/evidence": "without evidence nothing moves",
}

// compare checks a struct against a schema, down to the last field.
func compare(t *testing.T, at string, typ reflect.Type, n node) {
	t.Helper()
	properties, _ := n.m["properties"].(map[string]any)
	list, _ := n.m["required"].([]any)
	required := map[string]bool{}
	for _, name := range list {
		required[name.(string)] = true
	}
	names := map[string]bool{}
	for _, f := range fieldsOf(typ) {
		names[f.name] = true
		here := at + "/" + f.name
		property, ok := properties[f.name].(map[string]any)
		if !ok {
			t.Errorf("%s: the struct has it, the schema does not", here)
			continue
		}
		must := !f.optional
		if _, ok := wanted[here]; ok {
			must = true
		}
		if _, ok := spared[here]; ok || f.name == "id" && strings.Count(at, "/") == 1 && registry.NewBody(registry.Kind(at[1:])) != nil {
			must = false
		}
		if must != required[f.name] {
			t.Errorf("%s: required is %v in the schema, and should be %v", here, required[f.name], must)
		}
		compareType(t, here, f.typ, node{n.file, property})
	}
	for name := range properties {
		if !names[name] {
			t.Errorf("%s/%s: the schema has it, the struct does not", at, name)
		}
	}
}

func compareType(t *testing.T, at string, typ reflect.Type, n node) {
	t.Helper()
	extra, _ := n.m["required"].([]any) // beside a reference
	n = resolve(t, n)
	if len(extra) > 0 {
		n.m = withRequired(n.m, extra)
	}
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	want := func(types ...string) {
		t.Helper()
		var have []string
		switch v := n.m["type"].(type) {
		case string:
			have = []string{v}
		case []any:
			for _, s := range v {
				have = append(have, s.(string))
			}
		}
		if n.m["const"] == nil && !slices.Equal(types, have) {
			t.Errorf("%s: a %s in Go is %v in the schema", at, typ, have)
		}
	}
	isDefinition := func(name string) {
		t.Helper()
		defs := document(t, "common.v1.schema.json")["$defs"].(map[string]any)
		if !reflect.DeepEqual(defs[name], n.m) {
			t.Errorf("%s: a %s in Go is not %q in the schema", at, typ, name)
		}
	}
	switch typ {
	case reflect.TypeFor[registry.Date]():
		isDefinition("date")
		return
	case reflect.TypeFor[registry.Private]():
		isDefinition("private")
		return
	case reflect.TypeFor[time.Time]():
		if !strings.HasSuffix(at, "/recorded") {
			isDefinition("timestamp")
		}
		return
	case reflect.TypeFor[json.RawMessage]():
		if n.m["type"] != nil && at != "/event/body" {
			t.Errorf("%s: any JSON in Go is %v in the schema", at, n.m["type"])
		}
		return
	case reflect.TypeFor[scoring.Distribution]():
		want("object")
		compareType(t, at+"/*", reflect.TypeFor[float64](), node{n.file, n.m["additionalProperties"].(map[string]any)})
		return
	}
	if typ.PkgPath() == "github.com/govalues/decimal" {
		want("string", "number")
		return
	}
	switch typ.Kind() {
	case reflect.String:
		want("string")
	case reflect.Bool:
		want("boolean")
	case reflect.Int, reflect.Int64, reflect.Uint64:
		want("integer")
	case reflect.Float64:
		want("number")
	case reflect.Slice:
		want("array")
		items, ok := n.m["items"].(map[string]any)
		require.True(t, ok, at)
		compareType(t, at, typ.Elem(), node{n.file, items})
	case reflect.Map:
		want("object")
		entries, ok := n.m["additionalProperties"].(map[string]any)
		require.True(t, ok, at)
		compareType(t, at+"/*", typ.Elem(), node{n.file, entries})
	case reflect.Struct:
		want("object")
		compare(t, at, typ, n)
	default:
		t.Errorf("%s: a %s has no counterpart", at, typ)
	}
}

func withRequired(m map[string]any, extra []any) map[string]any {
	out := map[string]any{}
	for k, v := range m {
		out[k] = v
	}
	list, _ := m["required"].([]any)
	out["required"] = append(slices.Clone(list), extra...)
	return out
}

// Ensure that the schemas and the structs say the same: every name, every
// type, what must be given, at every depth.
func TestSchemasMatchStructs(t *testing.T) {
	for _, kind := range registry.Kinds() {
		name := schema.FileName(kind, registry.SchemaVersion(kind))
		compare(t, "/"+string(kind), reflect.TypeOf(registry.NewBody(kind)).Elem(), node{name, document(t, name)})
	}
	for kind, typ := range map[registry.Kind]reflect.Type{
		"event":             reflect.TypeFor[registry.Envelope](),
		"calc-origin-input": reflect.TypeFor[scoring.OriginInput](),
		"calc-index-input":  reflect.TypeFor[scoring.IndexInput](),
		"calc-effect-input": reflect.TypeFor[scoring.EffectInput](),
	} {
		name := schema.FileName(kind, 1)
		compare(t, "/"+string(kind), typ, node{name, document(t, name)})
	}
}

// Ensure that there is a schema for every kind at every version, and none for
// a kind that is not there.
func TestEveryKindHasItsSchemas(t *testing.T) {
	want := []string{"event.v1.schema.json", "calc-origin-input.v1.schema.json", "calc-index-input.v1.schema.json", "calc-effect-input.v1.schema.json", "import-mapping.v1.schema.json"}
	for _, kind := range registry.Kinds() {
		for version := 1; version <= registry.SchemaVersion(kind); version++ {
			want = append(want, schema.FileName(kind, version))
		}
	}
	require.ElementsMatch(t, want, slices.DeleteFunc(schemaNames(t), func(name string) bool { return name == "show.v1.schema.json" }))
}

// Ensure that the good inputs of the computations are computed, and the bad
// ones refused, by the computations themselves.
func TestComputationsAgree(t *testing.T) {
	for kind, method := range map[string]string{"calc-origin-input": scoring.MethodOrigin, "calc-index-input": scoring.MethodIndex, "calc-effect-input": scoring.MethodEffect} {
		for _, name := range records(t, "") {
			if !strings.Contains(name, kind) {
				continue
			}
			_, err := scoring.Run(method, readFile(t, name))
			good := strings.HasPrefix(path.Base(name), "good-")
			if kind == "calc-index-input" && path.Base(name) == "good-minimal.json" {
				require.Equal(t, registry.CodeInsufficient, registry.CodeOf(err), name) // nothing weighs anything
				continue
			}
			require.Equal(t, good, err == nil, "%s: %v", name, err)
		}
	}
}
