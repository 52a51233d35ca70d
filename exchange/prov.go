package exchange

import (
	"bytes"
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// ProvDocument is a document of PROV-DM (W3C, 2013) as PROV-JSON writes it
// (W3C Member Submission, 24 April 2013).
type ProvDocument struct {
	// Prefixes are the namespaces by their prefix; "default" is that of names
	// without one. prov, xsd and xml need not be among them.
	Prefixes map[string]string
	Records  []ProvRecord
	Bundles  []ProvBundle
}

// ProvBundle is a named document within a document.
type ProvBundle struct {
	ID string
	ProvDocument
}

// ProvRecord is an entity, an activity, an agent, or a relation between them.
type ProvRecord struct {
	Kind       string // such as "entity" or "wasGeneratedBy"
	ID         string // a qualified name; "_:…" where the relation has no name
	Attributes map[string][]ProvValue
}

// ProvValue is one value. A text without type and language is a plain string,
// or a qualified name in an attribute that takes one.
type ProvValue struct{ Text, Type, Lang string }

// provKinds are the kinds of record with the attributes that name other records.
var provKinds = map[string][]string{
	"entity":            {},
	"activity":          {},
	"agent":             {},
	"wasGeneratedBy":    {"prov:entity", "prov:activity"},
	"used":              {"prov:activity", "prov:entity"},
	"wasInformedBy":     {"prov:informed", "prov:informant"},
	"wasStartedBy":      {"prov:activity", "prov:trigger", "prov:starter"},
	"wasEndedBy":        {"prov:activity", "prov:trigger", "prov:ender"},
	"wasInvalidatedBy":  {"prov:entity", "prov:activity"},
	"wasDerivedFrom":    {"prov:generatedEntity", "prov:usedEntity", "prov:activity", "prov:generation", "prov:usage"},
	"wasAttributedTo":   {"prov:entity", "prov:agent"},
	"wasAssociatedWith": {"prov:activity", "prov:agent", "prov:plan"},
	"actedOnBehalfOf":   {"prov:delegate", "prov:responsible", "prov:activity"},
	"wasInfluencedBy":   {"prov:influencee", "prov:influencer"},
	"specializationOf":  {"prov:specificEntity", "prov:generalEntity"},
	"alternateOf":       {"prov:alternate1", "prov:alternate2"},
	"mentionOf":         {"prov:specificEntity", "prov:generalEntity", "prov:bundle"},
	"hadMember":         {"prov:collection", "prov:entity"},
}

// provTimes are the attributes that hold a moment, in every kind of record.
var provTimes = []string{"prov:time", "prov:startTime", "prov:endTime"}

const (
	qualified = "prov:QUALIFIED_NAME"
	// maxProv is the largest document that is read, in bytes.
	maxProv = 16 << 20
	// maxProvFaults is how many faults are told of at once.
	maxProvFaults = 20
)

// ReadProv reads a PROV-JSON document. CodeTooLarge above 16 MiB, CodeInvalid,
// with a pointer to each place, for what is no PROV-JSON: a kind of record that
// PROV does not know, a name whose prefix is nowhere declared, a moment that is
// none.
func ReadProv(data []byte) (*ProvDocument, error) {
	if len(data) > maxProv {
		return nil, registry.Refuse(registry.CodeTooLarge, "Split the document.", "The document holds %d bytes; at most %d are read", len(data), maxProv)
	}
	r := provReader{}
	doc := r.document(data, "", nil, true)
	if len(r.faults) > 0 {
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: "This is not a PROV-JSON document that can be read", Fix: "Compare it with the PROV-JSON submission of the W3C.", Fields: r.faults}
	}
	return doc, nil
}

type provReader struct{ faults []registry.Field }

func (r *provReader) fault(pointer, found, allowed, message string) {
	if len(r.faults) < maxProvFaults {
		r.faults = append(r.faults, registry.Field{Pointer: pointer, Found: found, Allowed: allowed, Message: message})
	}
}

// object reads an object; its keys come back in order.
func (r *provReader) object(data []byte, pointer string) (map[string]json.RawMessage, []string) {
	var out map[string]json.RawMessage
	if err := json.Unmarshal(data, &out); err != nil || out == nil {
		r.fault(pointer, "", "an object", "There is no JSON object here")
	}
	return out, slices.Sorted(maps.Keys(out))
}

func (r *provReader) document(data []byte, pointer string, outer map[string]string, top bool) *ProvDocument {
	doc := &ProvDocument{}
	parts, keys := r.object(data, pointer)
	known := maps.Clone(outer)
	if raw, ok := parts["prefix"]; ok {
		if json.Unmarshal(raw, &doc.Prefixes) != nil {
			r.fault(pointer+"/prefix", "", "prefixes with their namespaces", "The prefixes cannot be read")
		}
		if known == nil {
			known = map[string]string{}
		}
		maps.Copy(known, doc.Prefixes)
	}
	for _, kind := range keys {
		at := pointer + "/" + escape(kind)
		switch {
		case kind == "prefix":
		case kind == "bundle" && top:
			bundles, ids := r.object(parts[kind], at)
			for _, id := range ids {
				r.name(id, at+"/"+escape(id), known)
				doc.Bundles = append(doc.Bundles, ProvBundle{id, *r.document(bundles[id], at+"/"+escape(id), known, false)})
			}
		case provKinds[kind] == nil:
			r.fault(at, kind, strings.Join(slices.Sorted(maps.Keys(provKinds)), ", "), "PROV has no such kind of record")
		default:
			records, ids := r.object(parts[kind], at)
			for _, id := range ids {
				doc.Records = append(doc.Records, r.records(kind, id, records[id], at+"/"+escape(id), known)...)
			}
		}
	}
	return doc
}

// records reads what stands under one name: a record, or a list of them.
func (r *provReader) records(kind, id string, data []byte, pointer string, known map[string]string) (out []ProvRecord) {
	r.name(id, pointer, known)
	list := []json.RawMessage{data}
	if json.Unmarshal(data, &list) != nil {
		list = []json.RawMessage{data}
	}
	for _, raw := range list {
		attributes, names := r.object(raw, pointer)
		record := ProvRecord{Kind: kind, ID: id, Attributes: map[string][]ProvValue{}}
		for _, name := range names {
			at := pointer + "/" + escape(name)
			r.name(name, at, known)
			values := r.values(attributes[name], at, known)
			for _, v := range values {
				if slices.Contains(provKinds[kind], name) {
					r.name(v.Text, at, known)
				}
				if slices.Contains(provTimes, name) && !isMoment(v.Text) {
					r.fault(at, v.Text, "a moment such as 2012-03-31T09:21:00Z", "This is not a moment")
				}
			}
			record.Attributes[name] = values
		}
		out = append(out, record)
	}
	return out
}

func (r *provReader) values(data []byte, pointer string, known map[string]string) (out []ProvValue) {
	var list []json.RawMessage
	if json.Unmarshal(data, &list) != nil {
		list = []json.RawMessage{data}
	}
	for _, raw := range list {
		v, ok := provValue(raw)
		if !ok {
			r.fault(pointer, "", "a text, or an object with \"$\" and \"type\" or \"lang\"", "The value cannot be read")
			continue
		}
		if v.Type != "" {
			r.name(v.Type, pointer, known)
		}
		if v.Type == qualified {
			r.name(v.Text, pointer, known)
		}
		out = append(out, v)
	}
	return out
}

// provValue reads one value. Numbers and truth values get the type that
// PROV-JSON gives them.
func provValue(raw json.RawMessage) (ProvValue, bool) {
	var typed struct {
		Value json.RawMessage `json:"$"`
		Type  string          `json:"type"`
		Lang  string          `json:"lang"`
	}
	if raw = bytes.TrimSpace(raw); len(raw) > 0 && raw[0] == '{' {
		if json.Unmarshal(raw, &typed) != nil || typed.Value == nil {
			return ProvValue{}, false
		}
		v, ok := provValue(typed.Value)
		if typed.Type != "" || typed.Lang != "" {
			v.Type, v.Lang = typed.Type, typed.Lang
		}
		return v, ok && len(typed.Value) > 0 && typed.Value[0] != '{'
	}
	var value any
	if json.Unmarshal(raw, &value) != nil {
		return ProvValue{}, false
	}
	switch v := value.(type) {
	case string:
		return ProvValue{Text: v}, true
	case bool:
		return ProvValue{Text: string(raw), Type: "xsd:boolean"}, true
	case float64:
		if strings.ContainsAny(string(raw), ".eE") {
			return ProvValue{Text: string(raw), Type: "xsd:double"}, true
		}
		return ProvValue{Text: string(raw), Type: "xsd:int"}, true
	}
	return ProvValue{}, false
}

// name faults a qualified name whose prefix is not declared.
func (r *provReader) name(name, pointer string, known map[string]string) {
	prefix, _, has := strings.Cut(name, ":")
	if !has {
		prefix = "default"
	}
	if name != "" && (slices.Contains([]string{"prov", "xsd", "xml", "_"}, prefix) || known[prefix] != "") {
		return
	}
	if name == "" {
		r.fault(pointer, "", "a qualified name", "The name is missing")
		return
	}
	r.fault(pointer, name, "a name whose prefix stands under \"prefix\"", "The prefix of this name is nowhere declared")
}

// isMoment says whether a text is an xsd:dateTime, with or without a zone.
func isMoment(s string) bool {
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05"} {
		if _, err := time.Parse(layout, s); err == nil {
			return true
		}
	}
	return false
}

// escape is a key within a JSON Pointer (RFC 6901).
func escape(s string) string { return strings.NewReplacer("~", "~0", "/", "~1").Replace(s) }

// Write writes the document as PROV-JSON, the same bytes for the same records.
func (d *ProvDocument) Write() ([]byte, error) { return indented(d.tree()) }

func (d *ProvDocument) tree() map[string]any {
	out := map[string]any{}
	if len(d.Prefixes) > 0 {
		out["prefix"] = d.Prefixes
	}
	for _, r := range d.Records {
		kind, _ := out[r.Kind].(map[string]any)
		if kind == nil {
			kind = map[string]any{}
			out[r.Kind] = kind
		}
		switch there := kind[r.ID].(type) {
		case nil:
			kind[r.ID] = r.tree()
		case []any:
			kind[r.ID] = append(there, r.tree())
		default:
			kind[r.ID] = []any{there, r.tree()}
		}
	}
	if len(d.Bundles) > 0 {
		bundles := map[string]any{}
		for _, b := range d.Bundles {
			bundles[b.ID] = b.tree()
		}
		out["bundle"] = bundles
	}
	return out
}

func (r ProvRecord) tree() map[string]any {
	out := map[string]any{}
	for name, values := range r.Attributes {
		list := make([]any, len(values))
		for i, v := range values {
			list[i] = v.tree()
		}
		out[name] = list
		if len(list) == 1 {
			out[name] = list[0]
		}
	}
	return out
}

func (v ProvValue) tree() any {
	if v.Type == "" && v.Lang == "" {
		return v.Text
	}
	out := map[string]string{"$": v.Text}
	if v.Type != "" {
		out["type"] = v.Type
	}
	if v.Lang != "" {
		out["lang"] = v.Lang
	}
	return out
}
