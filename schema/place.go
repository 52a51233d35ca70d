package schema

import (
	"fmt"
	"net/url"
	"path"
	"strconv"
	"strings"
)

// place is where in the schemas a fault arose: the schema that was broken, and
// what was passed on the way there.
type place struct {
	node    map[string]any // the schema that was broken
	file    string         // where it stands
	keyword string         // what of it was broken, with what follows
	// What was passed: the title and unit of the value that was judged, the
	// shared definition that it follows, the sentence of the condition, and all
	// schemas that judged the value, whether or not it broke them.
	title      string
	unit       string
	definition string
	reason     string
	judges     []found
	isItem     bool // an element of a list
	isEntry    bool // an entry of a table
	isName     bool // a name in a table
	private    bool // a withheld value, or inside one
}

// found is a schema and the file in which it stands.
type found struct {
	file string
	node map[string]any
}

// locate walks a keyword location of the validator from the root of a schema
// through every reference.
func (s *Set) locate(e *entry, location string) (place, error) {
	root, err := e.document()
	if err != nil {
		return place{}, err
	}
	p := place{file: e.name}
	p.into(root)
	tokens := strings.Split(strings.TrimPrefix(location, "/"), "/")
	for i := 0; i < len(tokens); i++ {
		token, key := unescape(tokens[i]), ""
		next := func() any {
			if i+1 >= len(tokens) {
				return nil
			}
			i++
			key = unescape(tokens[i])
			switch list := p.node[token].(type) {
			case map[string]any:
				return list[key]
			case []any:
				if n, err := strconv.Atoi(key); err == nil && n < len(list) {
					return list[n]
				}
			}
			return nil
		}
		var to any
		switch token {
		case "$ref":
			if err := s.follow(&p); err != nil {
				return place{}, err
			}
			continue
		case "properties":
			if to = next(); to != nil {
				s.fresh(&p, "properties", key)
			}
		case "items", "additionalProperties":
			if child, ok := p.node[token].(map[string]any); ok {
				s.fresh(&p, token, "")
				p.isItem, p.isEntry = token == "items", token != "items"
				to = child
			}
		case "propertyNames":
			to = p.node[token]
			s.fresh(&p, token, "")
			p.isName = true
		case "if", "then", "else":
			if i < len(tokens)-1 {
				to = p.node[token]
			}
		case "allOf", "anyOf", "oneOf":
			if i < len(tokens)-1 {
				to = next()
			}
		}
		child, ok := to.(map[string]any)
		if !ok {
			p.keyword = strings.Join(tokens[i:], "/")
			return p, nil
		}
		p.into(child)
		if token == "then" || token == "else" {
			p.reason = strings.TrimSuffix(textOf(child, "description"), ".")
		}
	}
	return p, nil
}

// fresh forgets what belonged to the value around when the walk goes on to a
// value inside it. What the other schemas say of the value inside stays.
func (s *Set) fresh(p *place, keyword, name string) {
	p.judges = s.inside(p.judges, keyword, name)
	if keyword == "properties" {
		p.title = strings.ReplaceAll(name, "_", " ")
		for _, judge := range p.judges {
			if title := textOf(judge.node, "title"); title != "" {
				p.title = title
				break
			}
		}
	}
	p.unit, p.definition = "", ""
	p.isItem, p.isEntry, p.isName = false, false, false
}

// inside gives what several schemas of one value say of a value inside it.
func (s *Set) inside(judges []found, keyword, name string) []found {
	var out []found
	for _, judge := range judges {
		if reference := textOf(judge.node, "$ref"); reference != "" {
			if file, node, _, err := s.resolve(judge.file, reference); err == nil {
				judge = found{file, node}
			}
		}
		child, ok := judge.node[keyword].(map[string]any)
		if ok && name != "" {
			child, ok = child[name].(map[string]any)
		}
		if ok {
			out = append(out, found{judge.file, child})
		}
	}
	return out
}

// into steps into a schema that judges the value at hand.
func (p *place) into(node map[string]any) {
	p.node = node
	if p.unit == "" {
		p.unit = textOf(node, "x-unit")
	}
	p.judges = append(p.judges, found{p.file, node})
}

// follow steps through the reference of the schema at hand.
func (s *Set) follow(p *place) error {
	file, node, definition, err := s.resolve(p.file, textOf(p.node, "$ref"))
	if err != nil {
		return err
	}
	p.file = file
	if definition != "" && p.definition == "" {
		p.definition = definition
	}
	p.private = p.private || definition == "private"
	p.into(node)
	return nil
}

// resolve finds what a reference in a file points at, and the name of the
// definition, if it is one.
func (s *Set) resolve(file, reference string) (string, map[string]any, string, error) {
	name, fragment, _ := strings.Cut(reference, "#")
	if name != "" {
		file = path.Base(name)
	}
	e, ok := s.entries[file]
	if !ok {
		return "", nil, "", fmt.Errorf("%s refers to %q, which is not there", file, reference)
	}
	node, err := e.document()
	if err != nil {
		return "", nil, "", err
	}
	definition := ""
	if fragment != "" {
		definition = strings.TrimPrefix(fragment, "/$defs/")
		defs, _ := node["$defs"].(map[string]any)
		if node, ok = defs[definition].(map[string]any); !ok {
			return "", nil, "", fmt.Errorf("%s refers to %q, which is not there", file, reference)
		}
	}
	return file, node, definition, nil
}

// allowed says in words what a schema takes.
func (s *Set) allowed(file string, node map[string]any, unit, definition string) string {
	if w, ok := wordings[definition]; ok {
		return w.allowed
	}
	if unit == "" {
		unit = textOf(node, "x-unit")
	}
	if enum, ok := node["enum"].([]any); ok {
		return strings.Join(texts(enum), ", ")
	}
	if value, ok := node["const"]; ok {
		return shown(value)
	}
	types := typesOf(node)
	if reference := textOf(node, "$ref"); reference != "" && len(types) == 0 {
		file, target, definition, err := s.resolve(file, reference)
		if err != nil {
			return ""
		}
		return s.allowed(file, target, unit, definition)
	}
	if len(types) != 1 {
		return typesInWords(node)
	}
	switch types[0] {
	case "number":
		return rangeInWords(node, unit)
	case "integer":
		return "a whole number, " + rangeInWords(node, unit)
	case "array":
		words := "a list"
		if textOf(node, "minItems") == "1" {
			words = "a list of at least one"
		}
		items, _ := node["items"].(map[string]any)
		if inner := s.allowed(file, items, "", ""); inner != "" && len(inner) < 120 {
			words += "; each: " + inner
		}
		return words
	case "object":
		if properties, ok := node["properties"].(map[string]any); ok {
			return "an object with " + strings.Join(sortedKeys(properties), ", ")
		}
	}
	return typesInWords(node)
}

// unescape reads a token of the validator, which escapes it as a JSON Pointer
// and then as a URL.
func unescape(token string) string {
	if plain, err := url.PathUnescape(token); err == nil {
		token = plain
	}
	return unescapePointer(token)
}

var (
	pointerEscapes   = strings.NewReplacer("~", "~0", "/", "~1")
	pointerUnescapes = strings.NewReplacer("~1", "/", "~0", "~")
)

func escapePointer(name string) string    { return pointerEscapes.Replace(name) }
func unescapePointer(token string) string { return pointerUnescapes.Replace(token) }
