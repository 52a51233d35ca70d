package catalog

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"example.org/asfound/registry"
)

// packSchema is the JSON Schema (2020-12) that every file of a pack is held
// against: its definitions "manifest" and "content".
//
//go:embed pack-schema.json
var packSchema []byte

const schemaURL = "https://example.org/asfound/pack-schema.json"

// schemas are compiled when the first pack is loaded; the house's own data do
// not need them.
var schemas = sync.OnceValues(func() (compiled, error) {
	c := compiled{by: map[string]*jsonschema.Schema{}}
	doc, err := decodeAny(packSchema)
	if err != nil {
		return c, fmt.Errorf("catalog: pack schema: %w", err)
	}
	c.doc = doc
	compiler := jsonschema.NewCompiler()
	compiler.Draft = jsonschema.Draft2020
	compiler.AssertFormat = true
	compiler.LoadURL = func(url string) (io.ReadCloser, error) {
		return nil, fmt.Errorf("catalog: %s is not part of the pack schema", url)
	}
	if err := compiler.AddResource(schemaURL, bytes.NewReader(packSchema)); err != nil {
		return c, fmt.Errorf("catalog: pack schema: %w", err)
	}
	for _, definition := range []string{"manifest", "content"} {
		if c.by[definition], err = compiler.Compile(schemaURL + "#/$defs/" + definition); err != nil {
			return c, fmt.Errorf("catalog: pack schema: %w", err)
		}
	}
	return c, nil
})

type compiled struct {
	doc any
	by  map[string]*jsonschema.Schema
}

// validate holds a decoded document against a definition of the pack schema.
func validate(definition string, doc any) ([]registry.Field, error) {
	c, err := schemas()
	if err != nil {
		return nil, err
	}
	err = c.by[definition].Validate(doc)
	if err == nil {
		return nil, nil
	}
	var invalid *jsonschema.ValidationError
	if !errors.As(err, &invalid) {
		return nil, fmt.Errorf("catalog: %w", err)
	}
	var out []registry.Field
	c.leaves(doc, invalid, &out)
	slices.SortStableFunc(out, func(a, b registry.Field) int { return strings.Compare(a.Pointer, b.Pointer) })
	return slices.CompactFunc(out, func(a, b registry.Field) bool { return a == b }), nil
}

// leaves walks to the innermost causes.
func (c compiled) leaves(doc any, e *jsonschema.ValidationError, out *[]registry.Field) {
	keyword := e.AbsoluteKeywordLocation[strings.LastIndex(e.AbsoluteKeywordLocation, "/")+1:]
	if len(e.Causes) > 0 && keyword != "anyOf" {
		for _, cause := range e.Causes {
			c.leaves(doc, cause, out)
		}
		return
	}
	_, location, _ := strings.Cut(e.AbsoluteKeywordLocation, "#")
	limit, _ := lookUp(c.doc, location)
	parent, _ := lookUp(c.doc, strings.TrimSuffix(location, "/"+keyword))
	schema, _ := parent.(map[string]any)
	found, _ := lookUp(doc, e.InstanceLocation)
	f := registry.Field{Pointer: e.InstanceLocation, Found: show(found)}
	switch keyword {
	case "additionalProperties":
		properties, _ := schema["properties"].(map[string]any)
		patterns, _ := schema["patternProperties"].(map[string]any)
		object, _ := found.(map[string]any)
		for _, k := range sortedKeys(object) {
			if _, ok := properties[k]; !ok && !fitsAny(k, patterns) {
				*out = append(*out, registry.Field{Pointer: e.InstanceLocation + "/" + escape(k), Found: strconv.Quote(k),
					Allowed: strings.Join(sortedKeys(properties), ", "), Message: "This key is not known here", Fix: "Correct its spelling, or take it out."})
			}
		}
		return
	case "required":
		object, _ := found.(map[string]any)
		for _, k := range list(limit) {
			if _, ok := object[k]; !ok {
				*out = append(*out, registry.Field{Pointer: e.InstanceLocation + "/" + escape(k), Found: "nothing", Message: "This field is missing", Fix: "Write it."})
			}
		}
		return
	case "enum":
		f.Message, f.Allowed = "This word is not one of the list", strings.Join(list(limit), ", ")
	case "const":
		f.Message, f.Allowed = "Only one value is possible here", show(limit)
	case "type":
		f.Message, f.Allowed = "This is of the wrong kind", strings.Join(list(limit), " or ")
	case "pattern":
		f.Message, f.Allowed = "The text does not have the form", text(schema["description"], show(limit))
	case "minimum", "exclusiveMinimum":
		f.Message, f.Allowed = "The number is too small", "at least "+show(limit)
	case "maximum", "exclusiveMaximum":
		f.Message, f.Allowed = "The number is too large", "at most "+show(limit)
	case "minLength":
		f.Message, f.Allowed = "The text is too short", "at least "+show(limit)+" characters"
	case "maxLength":
		f.Message, f.Allowed = "The text is too long", "at most "+show(limit)+" characters"
	case "minItems":
		f.Message, f.Allowed = "The list is too short", "at least "+show(limit)
	case "maxItems":
		f.Message, f.Allowed = "The list is too long", "at most "+show(limit)
	case "uniqueItems":
		f.Message, f.Allowed = "Something stands twice in the list", "each once"
	case "anyOf":
		f.Message, f.Allowed, f.Found = "It is not said on what the numbers rest", "source, assumption", ""
		f.Fix = "Name the published source, or write the assumption as a sentence."
	default:
		f.Message = e.Message
	}
	*out = append(*out, f)
}

// fitsAny says whether a key has the form of one of the patterns.
func fitsAny(key string, patterns map[string]any) bool {
	for _, p := range sortedKeys(patterns) {
		if ok, err := regexp.MatchString(p, key); err == nil && ok {
			return true
		}
	}
	return false
}

// lookUp follows a JSON Pointer.
func lookUp(doc any, pointer string) (any, bool) {
	for _, step := range strings.Split(pointer, "/")[1:] {
		step = strings.ReplaceAll(strings.ReplaceAll(step, "~1", "/"), "~0", "~")
		switch v := doc.(type) {
		case map[string]any:
			next, ok := v[step]
			if !ok {
				return nil, false
			}
			doc = next
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i < 0 || i >= len(v) {
				return nil, false
			}
			doc = v[i]
		default:
			return nil, false
		}
	}
	return doc, true
}

// show writes a value as JSON, cut short.
func show(v any) string {
	raw, err := json.Marshal(v)
	if err != nil {
		return ""
	}
	if r := []rune(string(raw)); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return string(raw)
}

func text(v any, otherwise string) string {
	if s, ok := v.(string); ok {
		return s
	}
	return otherwise
}

// list reads a list of texts, or one text.
func list(v any) []string {
	if s, ok := v.(string); ok {
		return []string{s}
	}
	values, _ := v.([]any)
	out := make([]string, len(values))
	for i, x := range values {
		out[i] = fmt.Sprint(x)
	}
	return out
}

func escape(key string) string {
	return strings.ReplaceAll(strings.ReplaceAll(key, "~", "~0"), "/", "~1")
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
