package scoring

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"example.org/asfound/registry"
)

// maxDepth is deeper than any input of this package nests.
const maxDepth = 16

// node is one JSON value.
type node struct {
	kind   string // "an object", "an array", "a text", "a number", "true or false", "null"
	keys   []string
	values []*node // of an object or array
	text   string
	number float64
	flag   bool
}

// parse reads JSON strictly: one value, UTF-8, no key twice, numbers that fit
// a double, no deeper than maxDepth.
func parse(data []byte) (*node, error) {
	if len(data) > MaxInputBytes {
		return nil, registry.Refuse(registry.CodeTooLarge, "Give one question at a time.",
			"The input has %d bytes; at most %d are read", len(data), MaxInputBytes)
	}
	var fs faults
	var raw json.RawMessage
	if !utf8.Valid(data) {
		fs.add("", "", "UTF-8", "The input is not UTF-8 text", "Save it as UTF-8.")
	} else if err := json.Unmarshal(data, &raw); err != nil {
		found := ""
		if syntax := new(json.SyntaxError); errors.As(err, &syntax) {
			found = fmt.Sprintf("%v, at byte %d", err, syntax.Offset)
		}
		fs.add("", found, "one JSON value", "The input is not JSON", "Mend the text there.")
	}
	if err := fs.err("The input"); err != nil {
		return nil, err
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	n := parseValue(dec, &fs, "", 0)
	if err := fs.err("The input"); err != nil {
		return nil, err
	}
	return n, nil
}

// parseValue reads the next value; the text has passed json.Unmarshal, so only
// what JSON allows and this package does not can fail.
func parseValue(dec *json.Decoder, fs *faults, pointer string, depth int) *node {
	token, err := dec.Token()
	if err != nil || depth > maxDepth {
		if len(*fs) == 0 {
			fs.add(pointer, "", "at most 16 levels", "The input cannot be read here", "Compare it with the documented shape.")
		}
		return &node{kind: "null"}
	}
	switch t := token.(type) {
	case json.Delim:
		n := &node{kind: "an array"}
		seen := map[string]bool{}
		if t == '{' {
			n.kind = "an object"
		}
		for len(*fs) == 0 && dec.More() {
			child := at(pointer, len(n.values))
			if t == '{' {
				token, _ := dec.Token()
				name, _ := token.(string)
				child = key(pointer, name)
				if seen[name] {
					fs.add(child, quote(name), "each key once", "This key stands twice", "Take one of them out.")
				}
				seen[name] = true
				n.keys = append(n.keys, name)
			}
			n.values = append(n.values, parseValue(dec, fs, child, depth+1))
		}
		_, _ = dec.Token() // the closing bracket, which is known to be there
		return n
	case json.Number:
		v, err := strconv.ParseFloat(string(t), 64)
		if err != nil || math.IsInf(v, 0) {
			fs.add(pointer, quote(string(t)), "a number below 1.8e308", "This number is too large", "Check the units and the exponent.")
		}
		return &node{kind: "a number", number: v + 0, text: string(t)} // + 0 turns −0 into 0
	case string:
		return &node{kind: "a text", text: t}
	case bool:
		return &node{kind: "true or false", flag: t, text: strconv.FormatBool(t)}
	}
	return &node{kind: "null"}
}

// reader puts nodes into structs and collects what does not fit.
type reader struct{ faults }

// wants says whether n is of the kind, and adds a fault when it is not.
func (r *reader) wants(n *node, pointer, kind string) bool {
	if n.kind == kind {
		return true
	}
	found, fix := n.kind, "Compare it with the documented shape."
	switch n.kind {
	case "null":
		fix = "Give a value, or leave the key out where it is optional."
	case "a text":
		found = "the text " + quote(n.text)
	case "a number", "true or false":
		found = n.text
	}
	r.add(pointer, found, kind, "This is of the wrong kind", fix)
	return false
}

// member is one key that an object may have.
type member struct {
	name     string
	required bool
	read     func(n *node, pointer string)
}

// object reads an object with exactly these members. Null for an optional one
// is the same as leaving it out.
func (r *reader) object(n *node, pointer string, members ...member) {
	if !r.wants(n, pointer, "an object") {
		return
	}
	allowed := make([]string, len(members))
	for i, m := range members {
		allowed[i] = m.name
	}
	for i, name := range n.keys {
		child := key(pointer, name)
		m := slices.Index(allowed, name)
		if m < 0 {
			r.add(child, quote(name), strings.Join(allowed, ", "), "This key is not known here", "Check its spelling, or take it out.")
			continue
		}
		if n.values[i].kind == "null" && !members[m].required {
			continue // the same as leaving the key out
		}
		members[m].read(n.values[i], child)
	}
	for _, m := range members {
		if m.required && !slices.Contains(n.keys, m.name) {
			r.add(key(pointer, m.name), "", "", "The key "+quote(m.name)+" is missing", "Add it.")
		}
	}
}

// array reads each element of an array.
func (r *reader) array(read func(n *node, pointer string)) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		if r.wants(n, pointer, "an array") {
			for i, v := range n.values {
				read(v, at(pointer, i))
			}
		}
	}
}

func (r *reader) text(to *string) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		if r.wants(n, pointer, "a text") {
			*to = n.text
		}
	}
}

func (r *reader) number(to *float64) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		if r.wants(n, pointer, "a number") {
			*to = n.number
		}
	}
}

func (r *reader) optional(to **float64) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		if r.wants(n, pointer, "a number") {
			*to = &n.number
		}
	}
}

func (r *reader) flag(to *bool) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		if r.wants(n, pointer, "true or false") {
			*to = n.flag
		}
	}
}

func (r *reader) texts(to *[]string) func(n *node, pointer string) {
	*to = []string{}
	return r.array(func(n *node, pointer string) {
		var s string
		r.text(&s)(n, pointer)
		*to = append(*to, s)
	})
}

func (r *reader) numbers(to *[]float64) func(n *node, pointer string) {
	return r.array(func(n *node, pointer string) {
		var v float64
		r.number(&v)(n, pointer)
		*to = append(*to, v)
	})
}

func (r *reader) table(to *Distribution) func(n *node, pointer string) {
	return func(n *node, pointer string) {
		if !r.wants(n, pointer, "an object") {
			return
		}
		*to = Distribution{}
		for i, name := range n.keys {
			var v float64
			r.number(&v)(n.values[i], key(pointer, name))
			*to = append(*to, Entry[float64]{name, v})
		}
	}
}
