package registry

import (
	"bytes"
	"slices"
	"strconv"
	"time"
	"unicode/utf8"
)

// Nearly every record holds nothing but texts, whole numbers and lists of them,
// and for those the canonical form (RFC 8785) is the JSON that encoding/json
// writes with its keys in order. Putting them in order takes a tenth of what the
// library takes, which reads the text into values and knows the rest: fractions,
// exponents, escaped characters.

// appendCanonical appends the canonical form of compact JSON; false when there is
// something in it that is left to the library. What was appended is of no use then.
func appendCanonical(to, raw []byte) ([]byte, bool) {
	c := canonicalizer{raw: raw, out: to}
	ok := utf8.Valid(raw) && c.value(0)
	return c.out, ok && c.at == len(raw)
}

type canonicalizer struct {
	raw []byte
	at  int
	out []byte
}

// mostMembers is how many members an object may have, and mostLevels how deep it
// may nest, to be put in order here.
const (
	mostMembers = 64
	mostLevels  = 32
)

func (c *canonicalizer) value(level int) bool {
	if c.at == len(c.raw) || level == mostLevels {
		return false
	}
	switch b := c.raw[c.at]; {
	case b == '"':
		return c.text()
	case b == '{':
		return c.object(level)
	case b == '[':
		return c.list(level)
	case b == 't':
		return c.literal("true")
	case b == 'f':
		return c.literal("false")
	case b == 'n':
		return c.literal("null")
	}
	return c.number()
}

func (c *canonicalizer) literal(word string) bool {
	if !bytes.HasPrefix(c.raw[c.at:], []byte(word)) {
		return false
	}
	c.at += len(word)
	c.out = append(c.out, word...)
	return true
}

// number copies a whole number that a double holds exactly.
func (c *canonicalizer) number() bool {
	from := c.at
	if c.raw[c.at] == '-' {
		c.at++
	}
	first := c.at
	for c.at < len(c.raw) && c.raw[c.at] >= '0' && c.raw[c.at] <= '9' {
		c.at++
	}
	n := c.at - first
	if n == 0 || n > 15 || c.raw[first] == '0' && (n > 1 || first > from) {
		return false
	}
	c.out = append(c.out, c.raw[from:c.at]...)
	return true
}

// text copies a text without escapes, but for those that the canonical form
// has too.
func (c *canonicalizer) text() bool {
	from := c.at
	for c.at++; c.at < len(c.raw); c.at++ {
		switch b := c.raw[c.at]; {
		case b == '"':
			c.at++
			c.out = append(c.out, c.raw[from:c.at]...)
			return true
		case b < ' ':
			return false
		case b == '\\':
			c.at++
			if c.at == len(c.raw) || bytes.IndexByte([]byte(`"\bfnrt`), c.raw[c.at]) < 0 {
				return false
			}
		}
	}
	return false
}

func (c *canonicalizer) list(level int) bool {
	return c.each(']', func(int) bool { return c.value(level + 1) })
}

// each copies what stands between brackets, with item at each piece.
func (c *canonicalizer) each(closing byte, item func(i int) bool) bool {
	c.out = append(c.out, c.raw[c.at])
	c.at++
	for i := 0; c.at < len(c.raw); i++ {
		if i == 0 && c.raw[c.at] == closing {
			break
		}
		if !item(i) || c.at == len(c.raw) || c.raw[c.at] != closing && c.raw[c.at] != ',' {
			return false
		}
		if c.raw[c.at] == closing {
			break
		}
		c.out = append(c.out, ',')
		c.at++
	}
	if c.at == len(c.raw) {
		return false
	}
	c.out = append(c.out, closing)
	c.at++
	return true
}

// member is where a member lies in the output, with its name.
type member struct{ from, name, to int }

func (c *canonicalizer) object(level int) bool {
	var room [mostMembers]member
	members := room[:0]
	begin, ordered := len(c.out)+1, true
	key := func(m member) []byte { return c.out[m.from+1 : m.name-1] } // within its quotation marks
	ok := c.each('}', func(i int) bool {
		m := member{from: len(c.out)}
		if i == mostMembers || c.raw[c.at] != '"' || !c.text() || c.at == len(c.raw) || c.raw[c.at] != ':' {
			return false
		}
		m.name = len(c.out)
		for _, b := range key(m) {
			if b == '\\' || b >= utf8.RuneSelf {
				return false // the order is that of UTF-16
			}
		}
		c.at++
		c.out = append(c.out, ':')
		if !c.value(level + 1) {
			return false
		}
		m.to = len(c.out)
		members = append(members, m)
		ordered = ordered && (i == 0 || bytes.Compare(key(members[i-1]), key(m)) < 0)
		return true
	})
	if !ok || ordered {
		return ok
	}
	slices.SortFunc(members, func(a, b member) int { return bytes.Compare(key(a), key(b)) })
	end := len(c.out)
	for i, m := range members {
		if i > 0 {
			if bytes.Equal(key(members[i-1]), key(m)) {
				return false
			}
			c.out = append(c.out, ',')
		}
		c.out = append(c.out, c.out[m.from:m.to]...)
	}
	n := copy(c.out[begin:], c.out[end:])
	c.out = append(c.out[:begin+n], '}')
	return true
}

// appendEvent appends the canonical form of an envelope around a body's JSON;
// false when there is something in it that is left to the library.
func appendEvent(to []byte, e Envelope) ([]byte, bool) {
	for _, text := range []string{e.Actor, e.ID, string(e.Kind), e.Machine, e.Previous} {
		for i := range len(text) {
			if b := text[i]; b < ' ' || b >= utf8.RuneSelf || b == '"' || b == '\\' {
				return to, false
			}
		}
	}
	if y := e.Recorded.Year(); y < 0 || y > 9999 {
		return to, false
	}
	to = append(append(to, `{"actor":"`...), e.Actor...)
	to, ok := appendCanonical(append(to, `","body":`...), e.Body)
	to = strconv.AppendInt(append(to, `,"format":`...), int64(e.Format), 10)
	to = append(append(to, `,"id":"`...), e.ID...)
	to = append(append(to, `","kind":"`...), e.Kind...)
	to = append(append(to, `","machine":"`...), e.Machine...)
	to = append(append(to, `","previous":"`...), e.Previous...)
	to = e.Recorded.AppendFormat(append(to, `","recorded":"`...), time.RFC3339Nano)
	to = strconv.AppendInt(append(to, `","schema":`...), int64(e.Schema), 10)
	to = strconv.AppendUint(append(to, `,"version":`...), e.Version, 10)
	return append(to, '}'), ok
}
