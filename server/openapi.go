package server

import (
	"encoding/json"
	"fmt"
	"math/big"
	"net/http"
	"reflect"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"time"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// The examples of the document. A test sends them.
const (
	exampleTakeIn = `{"machine":"drover-1957","by":"custodian","records":[
{"record":"machine","id":"machine","make":"Skerrow Engineering","model":"Drover 350","year":"1957","numbers":[{"where":"frame","as_read":"D350-2217"}],"invented":true},
{"record":"person","id":"owner","role":"executor","name":"Imogen Aske"},
{"record":"person","id":"custodian","role":"mechanic","name":"Tamsin Orde"},
{"record":"custody-agreement","id":"agreement","owner":"owner","custodian":"custodian","authority":"grant of probate","purpose":"occasional","care":["dust off"],"ceiling":{"amount":"50","currency":"GBP"},"inventory":[{"id":"keys","what":"keys","count":2}]}]}`
	exampleRecords = `[{"record":"fault","id":"no-spark","complaint":"It starts cold and dies when warm.","components":["ignition.condenser"],"by":"custodian"},
{"record":"option","id":"leave-it","fault":"no-spark","treatment":"leave","title":"Leave it as it is","hours":0,"by":"custodian"}]`
	exampleProposal        = `{"to":"owner","by":"custodian","options":["leave-it"],"recommended":["leave-it"],"ceiling":{"amount":"0","currency":"GBP"},"expires":"2027-01-31T00:00:00Z","do_nothing":"It stays as it is."}`
	exampleTransferReceipt = `{"receipt":{"format":"asfound transfer receipt 1","machine":"drover","event":"…","key":"…","checkpoint":"…"},"trust":"12ab 34cd 56ef 7890"}`
	exampleCost            = `{"options":["external-condenser"],"ceiling":{"amount":"50","currency":"GBP"}}`
	exampleValue           = `{"options":["external-condenser"],"distance":21000,"documented":true,"running":false,"running_after":true}`
	exampleOrigin          = `{"states":["original","reproduction"],"prior":[0.6,0.4],"evidence":[{"id":"stamp","cluster":"stamps","reliability":0.9,"likelihood":[0.7,0.05]}]}`
)

// recordsSchema describes one record or a list of them.
func recordsSchema() map[string]any {
	var kinds []string
	for _, k := range registry.Kinds() {
		kinds = append(kinds, string(k))
	}
	one := map[string]any{"type": "object", "required": []string{"record"}, "properties": map[string]any{
		"record": map[string]any{"type": "string", "enum": kinds, "description": "The kind. The other keys are those of its schema under /api/v1/schemas."}}}
	return map[string]any{"oneOf": []any{one, map[string]any{"type": "array", "items": one, "minItems": 1, "maxItems": maxRecords}}}
}

// openAPI makes the OpenAPI 3.1 document of the table.
func openAPI(version string) ([]byte, error) {
	types := typeSchemas{}
	types.of(typeOf[Problem]())
	types.of(typeOf[PhotoRequest]())
	paths := map[string]map[string]any{}
	for _, rt := range routes() {
		if rt.api == nil {
			continue
		}
		if paths[rt.pattern] == nil {
			paths[rt.pattern] = map[string]any{}
		}
		op, err := describe(rt, types)
		if err != nil {
			return nil, err
		}
		paths[rt.pattern][strings.ToLower(rt.method)] = op
	}
	return json.MarshalIndent(map[string]any{
		"openapi": "3.1.0",
		"info": map[string]any{"title": "asfound", "version": orDev(version),
			"description": "The registry for programs. Errors are problem documents (RFC 9457). See docs/api.md."},
		"servers":           []any{map[string]any{"url": "/"}},
		"jsonSchemaDialect": "https://json-schema.org/draft/2020-12/schema",
		"paths":             paths,
		"components":        map[string]any{"schemas": types.defs(), "securitySchemes": map[string]any{"token": map[string]any{"type": "http", "scheme": "bearer"}}},
		"security":          []any{map[string]any{}, map[string]any{"token": []string{}}}, // a token where there are accounts
	}, "", " ")
}

func orDev(version string) string {
	if version == "" {
		return "dev"
	}
	return version
}

var pathParameter = regexp.MustCompile(`\{(\w+)\}`)

func describe(rt route, types typeSchemas) (map[string]any, error) {
	api := rt.api
	op := map[string]any{"operationId": api.id, "summary": api.summary, "tags": []string{api.tag}}
	params := []any{}
	for _, m := range pathParameter.FindAllStringSubmatch(rt.pattern, -1) {
		params = append(params, map[string]any{"name": m[1], "in": "path", "required": true, "schema": map[string]any{"type": "string"}})
	}
	for _, p := range api.query {
		params = append(params, map[string]any{"name": p.name, "in": "query", "description": p.about, "schema": map[string]any{"type": p.kind}})
	}
	if api.needsVersion {
		params = append(params, map[string]any{"name": "If-Match", "in": "header", "required": true, "description": "The ETag of the machine that was seen.", "schema": map[string]any{"type": "string"}})
	}
	if api.takesKey {
		params = append(params, map[string]any{"name": keyHeader, "in": "header", "description": "Makes a repeated request harmless.", "schema": map[string]any{"type": "string", "maxLength": 200}})
	}
	if len(params) > 0 {
		op["parameters"] = params
	}
	if rt.takes != "" {
		s := any(api.bodySchema)
		if api.body != nil {
			s = types.of(api.body)
		}
		media := map[string]any{"schema": s}
		if api.example != "" {
			var example any
			if err := json.Unmarshal([]byte(api.example), &example); err != nil {
				return nil, fmt.Errorf("the example of %s: %w", api.id, err)
			}
			media["example"] = example
		}
		op["requestBody"] = map[string]any{"required": true, "content": map[string]any{rt.takes: media}}
	}
	status := api.status
	if status == 0 {
		status = http.StatusOK
	}
	media := map[string]any{}
	if api.answers != nil {
		media["schema"] = types.of(api.answers)
	}
	answerType := api.answerType
	if answerType == "" {
		answerType = jsonType
	}
	success := map[string]any{"description": http.StatusText(status), "content": map[string]any{answerType: media}}
	if api.tagged {
		success["headers"] = map[string]any{"ETag": map[string]any{"description": "The version of the machine's record.", "schema": map[string]any{"type": "string"}}}
	}
	answers := map[string]any{strconv.Itoa(status): success}
	byStatus := map[int][]string{}
	for _, code := range append([]registry.Code{registry.CodeInternal, codeCrowded}, api.problems...) {
		row := rowOf(code)
		byStatus[row.status] = append(byStatus[row.status], string(code))
	}
	if rt.takes != "" {
		for _, code := range []registry.Code{registry.CodeTooLarge, registry.CodeUnsupported, registry.CodeBusy} {
			if row := rowOf(code); !contains(byStatus[row.status], string(code)) {
				byStatus[row.status] = append(byStatus[row.status], string(code))
			}
		}
	}
	if rt.takes != "" || isCostly(rt) {
		byStatus[http.StatusTooManyRequests] = append(byStatus[http.StatusTooManyRequests], string(codeTooOften))
	}
	for status, codes := range byStatus {
		sort.Strings(codes)
		answers[strconv.Itoa(status)] = map[string]any{"description": "Problem: " + strings.Join(codes, ", "),
			"content": map[string]any{"application/problem+json": map[string]any{"schema": map[string]any{"$ref": "#/components/schemas/Problem"}}}}
	}
	if rt.method == http.MethodGet && api.tagged {
		answers["304"] = map[string]any{"description": "Not modified since the ETag in If-None-Match."}
	}
	op["responses"] = answers
	return op, nil
}

// typeSchemas are JSON Schemas of Go types, by name.
type typeSchemas map[string]map[string]any

func (t typeSchemas) defs() map[string]any {
	out := map[string]any{}
	for k, v := range t {
		out[k] = v
	}
	return out
}

// of gives a schema of a type, as encoding/json writes it.
func (t typeSchemas) of(x reflect.Type) map[string]any {
	switch x {
	case typeOf[time.Time]():
		return map[string]any{"type": "string", "format": "date-time"}
	case typeOf[json.RawMessage]():
		return map[string]any{}
	case typeOf[registry.Money]():
		return map[string]any{"type": "object", "required": []string{"amount", "currency"}, "properties": map[string]any{
			"amount": map[string]any{"anyOf": []any{map[string]any{"type": "string"}, map[string]any{"type": "number"}}, "description": "A decimal number."}, "currency": map[string]any{"type": "string", "description": "ISO 4217 letters."}}}
	case typeOf[*big.Int]():
		return map[string]any{"type": "integer"}
	}
	switch x.Kind() {
	case reflect.Pointer:
		return map[string]any{"anyOf": []any{t.of(x.Elem()), map[string]any{"type": "null"}}}
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Int, reflect.Int64, reflect.Uint64:
		return map[string]any{"type": "integer"}
	case reflect.Slice:
		if e := x.Elem(); e.PkgPath() == typeOf[scoring.Entry[string]]().PkgPath() && strings.HasPrefix(e.Name(), "Entry[") {
			value, _ := e.FieldByName("Value") // scoring.Ordered writes an object
			return map[string]any{"type": "object", "additionalProperties": t.of(value.Type)}
		}
		return map[string]any{"type": []string{"array", "null"}, "items": t.of(x.Elem())}
	case reflect.Array:
		return map[string]any{"type": "array", "items": t.of(x.Elem()), "minItems": x.Len(), "maxItems": x.Len()}
	case reflect.Map:
		return map[string]any{"type": []string{"object", "null"}, "additionalProperties": t.of(x.Elem())}
	case reflect.Struct:
		name := x.Name()
		if pkg := x.PkgPath(); strings.HasSuffix(pkg, "/registry") || strings.HasSuffix(pkg, "/scoring") {
			name = upperFirst(pkg[strings.LastIndex(pkg, "/")+1:]) + name
		}
		if _, done := t[name]; !done {
			t[name] = map[string]any{} // for a type that holds itself
			t[name] = t.object(x)
		}
		return map[string]any{"$ref": "#/components/schemas/" + name}
	}
	return map[string]any{}
}

func (t typeSchemas) object(x reflect.Type) map[string]any {
	properties, required := map[string]any{}, []string{}
	t.fields(x, properties, &required)
	sort.Strings(required)
	out := map[string]any{"type": "object", "properties": properties}
	if len(required) > 0 {
		out["required"] = required
	}
	return out
}

func (t typeSchemas) fields(x reflect.Type, properties map[string]any, required *[]string) {
	for i := range x.NumField() {
		f := x.Field(i)
		name, rest, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "":
			t.fields(f.Type, properties, required)
			continue
		case !f.IsExported() || name == "-":
			continue
		case name == "":
			name = f.Name
		}
		properties[name] = t.of(f.Type)
		if !strings.Contains(rest, "omit") {
			*required = append(*required, name)
		}
	}
}
