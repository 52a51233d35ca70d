package schema

import (
	"bytes"
	"encoding/json"
	"sync"
	"unicode/utf8"
)

// scanned is a JSON text cut into its values, without any of them being made.
// It takes what a record written by a program looks like; a text that is unusual
// in any way is left to the reader that can say what is wrong with it.
type scanned struct {
	data  []byte
	at    int
	nodes []node // a value before what is in it, a name before its value
}

// node is one value, or the name of a member.
type node struct {
	kind  byte   // one of {["0tn, 0 for any number and t for true and false
	whole bool   // a number without point
	text  []byte // of a text, without marks and escapes; of a number, true, false and null, as written
	count int    // of elements or members
	end   int    // the node after this value and all that is in it
}

var scans = sync.Pool{New: func() any { return new(scanned) }}

// plainDepth is how deep a text may nest that is scanned, and mostNames how many
// members an object may have: each name is compared with those before it.
const (
	plainDepth = 32
	mostNames  = 64
)

// scan cuts a text into nodes; false for one that is unusual.
func (t *scanned) scan(data []byte) bool {
	t.data, t.at, t.nodes = data, 0, t.nodes[:0]
	if !utf8.Valid(data) || !t.value(0) {
		return false
	}
	t.space()
	return t.at == len(data)
}

// has says whether an object has a member of a name.
func (t *scanned) has(at int, name string) bool {
	for i := at + 1; i < t.nodes[at].end; i = t.nodes[i+1].end {
		if string(t.nodes[i].text) == name {
			return true
		}
	}
	return false
}

// peek is the next byte, 0 at the end.
func (t *scanned) peek() byte {
	if t.at == len(t.data) {
		return 0
	}
	return t.data[t.at]
}

func (t *scanned) space() {
	for t.at < len(t.data) && (t.data[t.at] == ' ' || t.data[t.at] == '\n' || t.data[t.at] == '\r' || t.data[t.at] == '\t') {
		t.at++
	}
}

// take goes past a byte if it is the next, spaces aside.
func (t *scanned) take(b byte) bool {
	t.space()
	if t.peek() != b {
		return false
	}
	t.at++
	return true
}

func (t *scanned) value(depth int) bool {
	t.space()
	own := len(t.nodes)
	switch b := t.peek(); {
	case b == '"':
		return t.text()
	case b == '{' || b == '[':
		if depth == plainDepth {
			return false
		}
		t.at++
		t.nodes = append(t.nodes, node{kind: b})
		if !t.inside(own, b+2, depth+1) { // } and ] come two after { and [
			return false
		}
	case b == 't':
		return t.literal("true", 't')
	case b == 'f':
		return t.literal("false", 't')
	case b == 'n':
		return t.literal("null", 'n')
	default:
		return t.number()
	}
	t.nodes[own].end = len(t.nodes)
	return true
}

// inside reads the members of an object or the elements of a list.
func (t *scanned) inside(own int, closing byte, depth int) bool {
	for count := 0; ; count++ {
		if count == 0 && t.take(closing) {
			return true
		}
		if closing == '}' && !t.name(own, count) {
			return false
		}
		if !t.value(depth) {
			return false
		}
		switch {
		case t.take(closing):
			t.nodes[own].count = count + 1
			return true
		case !t.take(','):
			return false
		}
	}
}

// name reads the name of a member, which must not be empty or a second one.
func (t *scanned) name(own, count int) bool {
	t.space()
	at := len(t.nodes)
	if t.peek() != '"' || !t.text() || len(t.nodes[at].text) == 0 || count == mostNames {
		return false
	}
	t.nodes[own].end = at // as far as it goes
	return !t.has(own, string(t.nodes[at].text)) && t.take(':')
}

func (t *scanned) text() bool {
	t.at++
	begin, escaped := t.at, false
	for ; t.at < len(t.data); t.at++ {
		switch b := t.data[t.at]; {
		case b == '"':
			text := t.data[begin:t.at]
			t.at++
			if escaped {
				var plain string
				if loneSurrogate(text) != "" || json.Unmarshal(t.data[begin-1:t.at], &plain) != nil {
					return false
				}
				text = []byte(plain)
			}
			t.nodes = append(t.nodes, node{kind: '"', text: text, end: len(t.nodes) + 1})
			return true
		case b == '\\':
			escaped = true
			t.at++
		case b < ' ':
			return false
		}
	}
	return false
}

func (t *scanned) literal(word string, kind byte) bool {
	if !bytes.HasPrefix(t.data[t.at:], []byte(word)) {
		return false
	}
	t.nodes = append(t.nodes, node{kind: kind, text: t.data[t.at : t.at+len(word)], end: len(t.nodes) + 1})
	t.at += len(word)
	return true
}

// number reads a number without exponent.
func (t *scanned) number() bool {
	begin, whole := t.at, true
	if t.peek() == '-' {
		t.at++
	}
	first := t.at
	if !t.figures() || t.data[first] == '0' && t.at > first+1 {
		return false
	}
	if t.peek() == '.' {
		whole = false
		t.at++
		if !t.figures() {
			return false
		}
	}
	if b := t.peek(); b == 'e' || b == 'E' || t.at-begin > maxDigits {
		return false
	}
	t.nodes = append(t.nodes, node{kind: '0', whole: whole, text: t.data[begin:t.at], end: len(t.nodes) + 1})
	return true
}

func (t *scanned) figures() bool {
	begin := t.at
	for b := t.peek(); b >= '0' && b <= '9'; b = t.peek() {
		t.at++
	}
	return t.at > begin
}
