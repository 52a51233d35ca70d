package schema

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
	"github.com/santhosh-tekuri/jsonschema/v5"
)

// explain turns what the validator found into faults that a person can mend,
// in the order of their pointers, at most one at each.
func (s *Set) explain(e *entry, value any, verdict *jsonschema.ValidationError) ([]registry.Field, error) {
	x := explainer{set: s, entry: e, value: value}
	if err := x.collect(verdict); err != nil {
		return nil, err
	}
	slices.SortStableFunc(x.faults, func(a, b fault) int {
		return cmp.Or(comparePointers(a.Pointer, b.Pointer), cmp.Compare(a.rank, b.rank), cmp.Compare(a.Message, b.Message))
	})
	var fields []registry.Field
	for i, f := range x.faults {
		if i > 0 && f.Pointer == x.faults[i-1].Pointer || f.missing && x.meant[f.Pointer] {
			continue
		}
		fields = append(fields, f.Field)
	}
	if len(fields) == 0 {
		return nil, fmt.Errorf("%s refused a value without saying why", e.name)
	}
	return fields, nil
}

// fault is a field with what decides when two are at the same place.
type fault struct {
	registry.Field
	rank    int
	missing bool
}

type explainer struct {
	set    *Set
	entry  *entry
	value  any
	faults []fault
	meant  map[string]bool // pointers of missing keys that were probably only misspelt
}

// collect walks down to the keywords that failed. An alternative is told as a
// whole: what each of its branches says is of no use to anybody.
func (x *explainer) collect(v *jsonschema.ValidationError) error {
	keyword := v.KeywordLocation[strings.LastIndexByte(v.KeywordLocation, '/')+1:]
	if len(v.Causes) > 0 && keyword != "oneOf" && keyword != "anyOf" {
		for _, cause := range v.Causes {
			if err := x.collect(cause); err != nil {
				return err
			}
		}
		return nil
	}
	p, err := x.set.locate(x.entry, v.KeywordLocation)
	if err != nil {
		return err
	}
	pointer, value := x.find(v.InstanceLocation)
	if p.isName {
		value = unescapePointer(pointer[strings.LastIndexByte(pointer, '/')+1:])
	}
	x.add(p, pointer, value)
	return nil
}

// find reads an instance location of the validator: the pointer, and the value
// that stands there.
func (x *explainer) find(location string) (string, any) {
	pointer, value := "", x.value
	if location == "" {
		return pointer, value
	}
	for _, token := range strings.Split(location, "/")[1:] {
		if plain, err := url.PathUnescape(token); err == nil {
			token = plain
		}
		pointer += "/" + token
		switch v := value.(type) {
		case map[string]any:
			value = v[unescapePointer(token)]
		case []any:
			i, _ := strconv.Atoi(token)
			if value = nil; i < len(v) {
				value = v[i]
			}
		}
	}
	return pointer, value
}

// subject names what is wrong, as a sentence begins.
func subject(p place, pointer string, value any) string {
	last := unescapePointer(pointer[strings.LastIndexByte(pointer, '/')+1:])
	switch {
	case pointer == "":
		return "What was given"
	case p.isName:
		return "The name " + shown(value)
	case p.isItem:
		n, _ := strconv.Atoi(last)
		return fmt.Sprintf("Item %d of the %s", n+1, p.title)
	case p.isEntry:
		return fmt.Sprintf("The entry %s of the %s", quoteShort(last), p.title)
	}
	return "The " + p.title
}

// add tells one fault.
func (x *explainer) add(p place, pointer string, value any) {
	keyword, rest, _ := strings.Cut(p.keyword, "/")
	who := subject(p, pointer, value)
	object, _ := value.(map[string]any)
	f := fault{Field: registry.Field{Pointer: pointer, Allowed: x.set.allowed(p.file, p.node, p.unit, p.definition)}, rank: 3}
	if !p.private {
		f.Found = shown(value)
	}
	words, worded := wordings[p.definition]
	switch keyword {
	case "required":
		required, _ := p.node["required"].([]any)
		for _, name := range texts(required) {
			if _, there := object[name]; !there {
				x.missing(p, pointer, name, p.reason)
			}
		}
		return
	case "dependentRequired":
		x.dependent(p, pointer, rest)
		return
	case "additionalProperties":
		x.unknown(p, pointer, object)
		return
	case "type":
		f.rank = 0
		f.Message, f.Fix = x.wrongKind(p, who, value)
	case "enum":
		enum, _ := p.node["enum"].([]any)
		f.rank = 1
		f.Message, f.Fix = who+" is not one of the known words", "Use one of the listed words."
		if p.isName {
			f.Message = "This name is not one of the known words"
		}
		if text, ok := value.(string); ok {
			if word := nearest(text, texts(enum)); word != "" {
				f.Fix = fmt.Sprintf("Did you mean %q?", word)
			}
		}
	case "const":
		f.Message, f.Fix = who+" has another value than it must have", "Write "+f.Allowed+"."
	case "minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum":
		f.Message, f.Fix = outOfRange(p, who, keyword, value)
		if worded {
			f.Message, f.Fix = words.told(who, p.title), words.fix
		} else if textOf(p.node, keyword) == endless {
			f.Allowed = withUnit("below "+grouped(endless), p.unit)
		}
	case "pattern":
		f.Message, f.Fix = who+" has a form that is not allowed", "Compare it with what is allowed."
		if worded {
			f.Message, f.Fix = words.told(who, p.title), words.fix
		}
		if text, ok := value.(string); ok {
			if strings.TrimSpace(text) == "" {
				f.Message, f.Fix = who+" is empty", "Write it, or leave it out where it is not needed."
			} else if id := suggestID(text); p.definition == "id" && id != "" {
				f.Fix = fmt.Sprintf("Write %q.", id)
			}
		}
	case "minLength":
		f.Message, f.Fix = who+" is empty", words.fix
	case "maxLength":
		text, _ := value.(string)
		f.Message = fmt.Sprintf("%s is too long: %s characters", who, grouped(strconv.Itoa(len([]rune(text)))))
		f.Fix = "Shorten it."
	case "minItems":
		f.Message, f.Fix = who+" is empty", "Name at least one."
	case "maxItems", "maxProperties":
		f.Message, f.Fix = who+" is too long", "Split it."
		f.Allowed = "at most " + grouped(textOf(p.node, keyword))
	case "minProperties":
		f.Message, f.Fix = who+" is empty", "Give at least one entry."
	case "uniqueItems":
		f.Message, f.Fix = who+" names something twice", "Keep each once."
		list, _ := value.([]any)
		if i, j := twice(list); j > 0 {
			f.Pointer, f.Found = pointer+"/"+strconv.Itoa(j), shown(list[j])
			f.Message = fmt.Sprintf("Item %d of the %s repeats item %d", j+1, p.title, i+1)
			f.Allowed = "each once"
		}
	case "multipleOf":
		f.Message, f.Fix = who+" has too many decimals", "Round it."
	case "oneOf", "anyOf":
		f.rank = 2
		if !alternatives(p.node, keyword, object, &f.Field) {
			f.Message, f.Fix = who+" fits none of the allowed forms", "Compare it with the schema of this kind."
		}
	default:
		f.rank = 4
		f.Message, f.Fix = who+" does not fit the schema", "Compare it with the schema of this kind."
	}
	f.Message = because(f.Message, p.reason)
	x.faults = append(x.faults, f)
}

// missing tells of a key that is not there.
func (x *explainer) missing(p place, pointer, name, reason string) {
	title, allowed := strings.ReplaceAll(name, "_", " "), ""
	for _, property := range x.set.inside(p.judges, "properties", name) {
		if t := textOf(property.node, "title"); t != "" {
			title, allowed = t, x.set.allowed(property.file, property.node, "", "")
			break
		}
	}
	f := registry.Field{Pointer: pointer + "/" + escapePointer(name), Allowed: allowed,
		Message: "The " + title + " is missing", Fix: fmt.Sprintf("Add %q.", name)}
	f.Message = because(f.Message, reason)
	x.faults = append(x.faults, fault{Field: f, rank: 2, missing: true})
}

// dependent tells of a key that another key calls for.
func (x *explainer) dependent(p place, pointer, rest string) {
	name, index, _ := strings.Cut(rest, "/")
	name = unescape(name)
	table, _ := p.node["dependentRequired"].(map[string]any)
	list, _ := table[name].([]any)
	i, err := strconv.Atoi(index)
	if err != nil || i >= len(list) {
		return
	}
	missing, _ := list[i].(string)
	x.missing(p, pointer, missing, fmt.Sprintf("it belongs to %q, which is given", name))
}

// unknown tells of every key that the schema does not have.
func (x *explainer) unknown(p place, pointer string, object map[string]any) {
	properties, _ := p.node["properties"].(map[string]any)
	names := sortedKeys(properties)
	for _, key := range sortedKeys(object) {
		if _, known := properties[key]; known {
			continue
		}
		f := fault{Field: registry.Field{Pointer: pointer + "/" + escapePointer(key), Found: quoteShort(key),
			Allowed: strings.Join(names, ", "), Message: "This key is not known here", Fix: "Check its spelling, or take it out."}, rank: 1}
		if word := nearest(strings.ReplaceAll(key, "-", "_"), names); word != "" {
			f.Fix = fmt.Sprintf("Did you mean %q?", word)
			if _, given := object[word]; given {
				f.Fix = fmt.Sprintf("Take it out: %q is given already.", word)
			}
			if x.meant == nil {
				x.meant = map[string]bool{}
			}
			x.meant[pointer+"/"+escapePointer(word)] = true
		}
		x.faults = append(x.faults, f)
	}
}

// wrongKind tells of a value of another kind than the schema asks for.
func (x *explainer) wrongKind(p place, who string, value any) (message, fix string) {
	types := typesOf(p.node)
	want := func(t string) bool { return slices.Contains(types, t) }
	message = who + " is " + kindOf(value) + ", not " + typesInWords(p.node)
	fix = "Compare it with what is allowed."
	if words, ok := wordings[p.definition]; ok {
		fix = words.fix
	}
	switch value.(type) {
	case nil:
		fix = "Give a value, or leave the key out where it is not needed."
	case string:
		switch {
		case want("number"), want("integer"):
			fix = "Write the number without quotes, and its unit where the unit goes."
		case want("boolean"):
			fix = "Write true or false without quotes."
		case want("array"):
			fix = "Put it in square brackets, even when there is only one."
		}
	case bool:
	case []any, map[string]any:
	default:
		switch {
		case want("integer"):
			message, fix = who+" is not a whole number", "Write a whole number, without a point."
		case want("string"):
			fix = "Write it in quotes."
		case want("array"):
			fix = "Put it in square brackets, even when there is only one."
		case want("boolean"):
			fix = "Write true or false."
		}
	}
	return message, fix
}

// outOfRange tells of a number beyond a bound.
func outOfRange(p place, who, keyword string, value any) (message, fix string) {
	message, fix = who+" is too large", "Check the figure and its unit."
	if strings.HasSuffix(strings.ToLower(keyword), "minimum") {
		message = who + " is too small"
	}
	if p.definition == "probability" {
		fix = "Write 0.85 for 85 %."
	}
	return message, fix
}

// alternatives tells of a choice between keys, of which exactly one is given.
// False when the choice is about something else.
func alternatives(node map[string]any, keyword string, object map[string]any, f *registry.Field) bool {
	branches, _ := node[keyword].([]any)
	var names, given []string
	for _, b := range branches {
		branch, _ := b.(map[string]any)
		required, _ := branch["required"].([]any)
		if len(branch) != 1 || len(required) != 1 {
			return false
		}
		names = append(names, texts(required)...)
	}
	for _, name := range names {
		if _, there := object[name]; there {
			given = append(given, name)
		}
	}
	f.Found, f.Allowed = strings.Join(given, " and "), "exactly one of "+strings.Join(names, ", ")
	if keyword == "anyOf" {
		f.Allowed = "at least one of " + strings.Join(names, ", ")
	}
	f.Message, f.Fix = "Neither "+strings.Join(names, " nor ")+" is given", "Give one of them."
	if len(given) > 0 {
		f.Message, f.Fix = "Only one of "+strings.Join(given, " and ")+" can be given", "Keep one of them."
	}
	return true
}

// twice finds the first pair of equal texts in a list.
func twice(list []any) (int, int) {
	seen := map[string]int{}
	for j, v := range list {
		text, ok := v.(string)
		if !ok {
			continue
		}
		if i, there := seen[text]; there {
			return i, j
		}
		seen[text] = j
	}
	return 0, 0
}

// comparePointers orders pointers token by token, the places of a list by
// their number.
func comparePointers(a, b string) int {
	return slices.CompareFunc(strings.Split(a, "/"), strings.Split(b, "/"), func(x, y string) int {
		i, errI := strconv.Atoi(x)
		j, errJ := strconv.Atoi(y)
		if errI == nil && errJ == nil {
			return cmp.Or(cmp.Compare(i, j), cmp.Compare(x, y))
		}
		return cmp.Compare(x, y)
	})
}

func sortedKeys(object map[string]any) []string {
	keys := make([]string, 0, len(object))
	for key := range object {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}
