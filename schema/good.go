package schema

import (
	"bytes"
	"encoding/json"
	"hash/maphash"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"unicode/utf8"
)

// Nearly every record is good, and the validator takes its time over each. So a
// schema is also made into functions that know a good text when they see one,
// straight from its bytes. They never refuse: what they are not sure of goes to
// the validator, which alone says what is wrong. A keyword that they do not know
// makes them unsure of everything.

// verdict is what one of these functions says.
type verdict int8

const (
	unsure verdict = iota
	good
	bad // beyond doubt, which a condition needs to know
)

func goodIf(ok bool) verdict {
	if ok {
		return good
	}
	return bad
}

// rule judges one value of a text.
type rule func(t *scanned, at int) verdict

// knownGood says whether a text follows the schema beyond doubt.
func (e *entry) knownGood(data []byte) bool {
	r, err := e.rule()
	if err != nil {
		return false // the validator will say so
	}
	t := scans.Get().(*scanned)
	defer scans.Put(t)
	return t.scan(data) && r(t, 0) == good
}

// ruleOf makes the rule of a schema file.
func (s *Set) ruleOf(e *entry) (rule, error) {
	root, err := e.document()
	if err != nil {
		return nil, err
	}
	return (&ruleMaker{set: s, made: map[string]*rule{}}).rule(e.name, root)
}

// ruleMaker makes the rules of schemas. References to one definition share it.
type ruleMaker struct {
	set  *Set
	made map[string]*rule // by file and reference
}

// silent keywords say nothing of whether a value is good, or are read with
// another one.
var silent = map[string]bool{"$schema": true, "$id": true, "$defs": true, "title": true, "description": true, "examples": true, "x-unit": true,
	"then": true, "else": true}

func (m *ruleMaker) rule(file string, schema map[string]any) (rule, error) {
	var rules []rule
	for _, keyword := range sortedKeys(schema) {
		if silent[keyword] {
			continue
		}
		r, err := m.keyword(file, schema, keyword)
		if err != nil {
			return nil, err
		}
		rules = append(rules, r)
	}
	if len(rules) == 1 {
		return rules[0], nil
	}
	return func(t *scanned, at int) verdict { return all(t, at, rules) }, nil
}

func all(t *scanned, at int, rules []rule) verdict {
	out := good
	for _, r := range rules {
		switch r(t, at) {
		case bad:
			return bad
		case unsure:
			out = unsure
		}
	}
	return out
}

func doubt(*scanned, int) verdict { return unsure }

// keyword makes the rule of one keyword (JSON Schema 2020-12, as far as the
// schemas here use it).
func (m *ruleMaker) keyword(file string, schema map[string]any, keyword string) (rule, error) {
	value := schema[keyword]
	switch keyword {
	case "$ref":
		return m.reference(file, textOf(schema, keyword))
	case "type":
		return ofType(typesOf(schema)), nil
	case "const":
		return oneOfTexts([]any{value}), nil
	case "enum":
		list, _ := value.([]any)
		return oneOfTexts(list), nil
	case "pattern":
		return pattern(textOf(schema, keyword))
	case "minLength", "maxLength", "minItems", "maxItems", "minProperties", "maxProperties", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum":
		return limit(keyword, value), nil
	case "multipleOf":
		return decimals(value), nil
	case "uniqueItems":
		return unique(value), nil
	case "required":
		return required(value), nil
	case "dependentRequired":
		return dependentRequired(value), nil
	case "properties", "additionalProperties":
		if _, both := schema["properties"]; both && keyword == "additionalProperties" {
			return func(*scanned, int) verdict { return good }, nil // told with the properties
		}
		return m.members(file, schema)
	case "propertyNames", "items":
		inner, ok := value.(map[string]any)
		if !ok {
			return doubt, nil
		}
		r, err := m.rule(file, inner)
		return each(keyword, r), err
	case "allOf", "anyOf", "oneOf":
		return m.several(file, keyword, value)
	case "if":
		return m.condition(file, schema)
	}
	return doubt, nil
}

// reference is the rule of what is referred to, made once.
func (m *ruleMaker) reference(file, reference string) (rule, error) {
	file, node, definition, err := m.set.resolve(file, reference)
	if err != nil {
		return nil, err
	}
	key := file + "#" + definition
	made, ok := m.made[key]
	if !ok {
		made = new(rule)
		m.made[key] = made // before it is known: it may refer to itself
		if *made, err = m.rule(file, node); err != nil {
			return nil, err
		}
	}
	return func(t *scanned, at int) verdict { return (*made)(t, at) }, nil
}

func ofType(names []string) rule {
	return func(t *scanned, at int) verdict {
		n := &t.nodes[at]
		for _, name := range names {
			switch {
			case name == "number" && n.kind == '0':
				return good
			case name == "integer" && n.kind == '0':
				if !n.whole {
					return unsure
				}
				return good
			case kinds[name] == n.kind && n.kind != '0':
				return good
			}
		}
		return bad
	}
}

// kinds are the bytes that stand for types; "boolean" is written 't' either way.
var kinds = map[string]byte{"object": '{', "array": '[', "string": '"', "boolean": 't', "null": 'n'}

// oneOfTexts takes texts, "true", "false" and figures alone; anything else it
// leaves to the validator.
func oneOfTexts(list []any) rule {
	texts, others := map[string]bool{}, map[string]bool{}
	for _, v := range list {
		switch v := v.(type) {
		case string:
			texts[v] = true
		case bool:
			others[strconv.FormatBool(v)] = true
		case json.Number:
			others[string(v)] = true
		default:
			return doubt
		}
	}
	return func(t *scanned, at int) verdict {
		switch n := &t.nodes[at]; {
		case n.kind == '"':
			return goodIf(texts[string(n.text)])
		case others[string(n.text)]:
			return good
		case n.kind == '0':
			return unsure // one number can be written in many ways
		}
		return bad
	}
}

// pattern remembers texts that it has matched: names, dates and words of the
// vocabulary come again and again.
func pattern(expression string) (rule, error) {
	re, err := regexp.Compile(expression)
	if err != nil {
		return nil, err
	}
	if expression == `\S` { // asked of every text that may be long
		return func(t *scanned, at int) verdict {
			n := &t.nodes[at]
			return goodIf(n.kind != '"' || len(bytes.TrimLeft(n.text, "\t\n\f\r ")) > 0)
		}, nil
	}
	const most = 64 // bytes of a text that is remembered
	var known [1024]atomic.Pointer[string]
	seed := maphash.MakeSeed()
	return func(t *scanned, at int) verdict {
		n := &t.nodes[at]
		if n.kind != '"' {
			return good
		}
		if len(n.text) > most {
			return goodIf(re.Match(n.text))
		}
		place := &known[maphash.Bytes(seed, n.text)%uint64(len(known))]
		if p := place.Load(); p != nil && *p == string(n.text) {
			return good
		}
		if !re.Match(n.text) {
			return bad
		}
		text := string(n.text)
		place.Store(&text)
		return good
	}, nil
}

// limit is one of the keywords that compare a number, a length or a count.
func limit(keyword string, value any) rule {
	number, _ := value.(json.Number)
	bound, err := number.Float64()
	if err != nil || len(number) > exactDigits && (bound > 1<<53 || bound != math.Trunc(bound)) {
		return doubt
	}
	of := map[string]byte{"minLength": '"', "maxLength": '"', "minItems": '[', "maxItems": '[', "minProperties": '{', "maxProperties": '{'}[keyword]
	return func(t *scanned, at int) verdict {
		n := &t.nodes[at]
		var x float64
		switch {
		case of == 0 && n.kind == '0':
			if len(n.text) > exactDigits {
				return unsure
			}
			x, err := strconv.ParseFloat(string(n.text), 64)
			if err != nil {
				return unsure
			}
			switch keyword {
			case "exclusiveMinimum":
				return goodIf(x > bound)
			case "exclusiveMaximum":
				return goodIf(x < bound)
			case "minimum":
				return goodIf(x >= bound)
			}
			return goodIf(x <= bound)
		case of != n.kind || of == 0:
			return good
		case of == '"':
			x = float64(utf8.RuneCount(n.text))
		default:
			x = float64(n.count)
		}
		if keyword[:3] == "min" {
			return goodIf(x >= bound)
		}
		return goodIf(x <= bound)
	}
}

// exactDigits is up to how long a number without exponent is that two of them
// compare as doubles just as they compare as written.
const exactDigits = 15

// decimals is "multipleOf" with a bound such as 0.0001: so many figures behind
// the point at most.
func decimals(value any) rule {
	number, _ := value.(json.Number)
	most := len(number) - len("0.")
	if most < 1 || string(number) != "0."+strings.Repeat("0", most-1)+"1" {
		return doubt
	}
	return func(t *scanned, at int) verdict {
		n := &t.nodes[at]
		if point := bytes.IndexByte(n.text, '.'); n.kind == '0' && point >= 0 && len(n.text)-point-1 > most {
			return unsure // they may be zeros
		}
		return good
	}
}

// unique compares the texts of a short list; the validator compares the rest.
func unique(value any) rule {
	return func(t *scanned, at int) verdict {
		n := &t.nodes[at]
		if n.kind != '[' || n.count < 2 || value == false {
			return good
		}
		if n.count > mostNames {
			return unsure
		}
		for i := at + 1; i < n.end; i++ {
			if t.nodes[i].kind != '"' {
				return unsure
			}
			for j := at + 1; j < i; j++ {
				if bytes.Equal(t.nodes[i].text, t.nodes[j].text) {
					return bad
				}
			}
		}
		return good
	}
}

func required(value any) rule {
	list, _ := value.([]any)
	names := texts(list)
	return func(t *scanned, at int) verdict {
		if t.nodes[at].kind != '{' {
			return good
		}
		for _, name := range names {
			if !t.has(at, name) {
				return bad
			}
		}
		return good
	}
}

func dependentRequired(value any) rule {
	table, ok := value.(map[string]any)
	if !ok {
		return doubt
	}
	others := map[string]rule{}
	for name, list := range table {
		others[name] = required(list)
	}
	return func(t *scanned, at int) verdict {
		for name, r := range others {
			if t.nodes[at].kind == '{' && t.has(at, name) && r(t, at) == bad {
				return bad
			}
		}
		return good
	}
}

// members judges the members of an object by name.
func (m *ruleMaker) members(file string, schema map[string]any) (rule, error) {
	if _, also := schema["patternProperties"]; also {
		return doubt, nil
	}
	rules := map[string]rule{}
	properties, _ := schema["properties"].(map[string]any)
	for name, value := range properties {
		inner, ok := value.(map[string]any)
		if !ok {
			return doubt, nil
		}
		var err error
		if rules[name], err = m.rule(file, inner); err != nil {
			return nil, err
		}
	}
	var others rule
	switch value := schema["additionalProperties"].(type) {
	case nil:
		others = func(*scanned, int) verdict { return good }
	case bool:
		others = func(*scanned, int) verdict { return goodIf(value) }
	case map[string]any:
		var err error
		if others, err = m.rule(file, value); err != nil {
			return nil, err
		}
	default:
		return doubt, nil
	}
	return func(t *scanned, at int) verdict {
		if t.nodes[at].kind != '{' {
			return good
		}
		out := good
		for i := at + 1; i < t.nodes[at].end; i = t.nodes[i+1].end {
			r, ok := rules[string(t.nodes[i].text)]
			if !ok {
				r = others
			}
			switch r(t, i+1) {
			case bad:
				return bad
			case unsure:
				out = unsure
			}
		}
		return out
	}, nil
}

// each judges every element of a list ("items"), or every name of an object.
func each(keyword string, r rule) rule {
	return func(t *scanned, at int) verdict {
		n, names := &t.nodes[at], keyword == "propertyNames"
		if names && n.kind != '{' || !names && n.kind != '[' {
			return good
		}
		out := good
		for i := at + 1; i < n.end; i = t.nodes[i].end {
			switch r(t, i) {
			case bad:
				return bad
			case unsure:
				out = unsure
			}
			if names {
				i++
			}
		}
		return out
	}
}

func (m *ruleMaker) several(file, keyword string, value any) (rule, error) {
	list, _ := value.([]any)
	var rules []rule
	for _, v := range list {
		inner, ok := v.(map[string]any)
		if !ok {
			return doubt, nil
		}
		r, err := m.rule(file, inner)
		if err != nil {
			return nil, err
		}
		rules = append(rules, r)
	}
	return func(t *scanned, at int) verdict {
		if keyword == "allOf" {
			return all(t, at, rules)
		}
		fits, doubts := 0, 0
		for _, r := range rules {
			switch r(t, at) {
			case good:
				fits++
			case unsure:
				doubts++
			}
		}
		switch {
		case keyword == "anyOf" && fits > 0, fits == 1 && doubts == 0:
			return good
		case doubts > 0:
			return unsure
		}
		return bad
	}, nil
}

func (m *ruleMaker) condition(file string, schema map[string]any) (rule, error) {
	var made [3]rule
	for i, keyword := range []string{"if", "then", "else"} {
		made[i] = func(*scanned, int) verdict { return good }
		if value, ok := schema[keyword]; ok {
			inner, ok := value.(map[string]any)
			if !ok {
				return doubt, nil
			}
			var err error
			if made[i], err = m.rule(file, inner); err != nil {
				return nil, err
			}
		}
	}
	return func(t *scanned, at int) verdict {
		switch made[0](t, at) {
		case good:
			return made[1](t, at)
		case bad:
			return made[2](t, at)
		}
		return unsure
	}, nil
}
