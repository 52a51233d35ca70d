package schema

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"example.org/asfound/registry"
)

// MaxDepth is how deep lists and objects may nest.
const MaxDepth = 64

// Limits of a number as it is written. The validator computes exactly, so an
// exponent of a million would cost a megabyte.
const (
	maxDigits   = 100
	maxExponent = 400
)

// reader turns JSON text into values, and notes what JSON allows and records
// do not: a key twice, a number beyond a double, nesting without end.
type reader struct {
	dec    *json.Decoder
	fields []registry.Field
	lost   bool // reading stopped inside a value
}

func (r *reader) add(pointer, found, allowed, message, fix string) {
	r.fields = append(r.fields, registry.Field{Pointer: pointer, Found: found, Allowed: allowed, Message: message, Fix: fix})
}

// read gives the value of the text with its numbers as written, or the faults.
func read(data []byte) (any, []registry.Field) {
	var r reader
	switch {
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		r.add("", "", "JSON in UTF-8", "The text begins with a byte order mark", "Save it as UTF-8 without one.")
	case !utf8.Valid(data):
		r.add("", "", "JSON in UTF-8", "The text is not UTF-8"+position(data, firstInvalid(data)), "Save it as UTF-8.")
	case !json.Valid(data):
		r.syntax(data)
	}
	if escape := loneSurrogate(data); len(r.fields) == 0 && escape != "" {
		r.add("", strconv.Quote(escape), "characters", "The text holds half a character", "Write the character itself.")
	}
	if len(r.fields) > 0 {
		return nil, r.fields
	}
	r.dec = json.NewDecoder(bytes.NewReader(data))
	r.dec.UseNumber()
	value := r.value("", 1)
	return value, r.fields
}

func (r *reader) syntax(data []byte) {
	var raw json.RawMessage
	err := json.Unmarshal(data, &raw)
	where := ""
	if syntax := new(json.SyntaxError); errors.As(err, &syntax) {
		where = position(data, max(0, int(syntax.Offset)-1))
	}
	if len(bytes.TrimSpace(data)) == 0 {
		r.add("", "", "one JSON value", "There is no text", "Send the record as JSON.")
		return
	}
	r.add("", "", "one JSON value", "The text is not JSON"+where, "Mend it there; look for a missing comma, quote or bracket.")
}

// position says in words where an offset lies.
func position(data []byte, offset int) string {
	before := data[:min(offset, len(data))]
	line := bytes.Count(before, []byte("\n")) + 1
	column := utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:]) + 1
	return fmt.Sprintf(" (line %d, column %d)", line, column)
}

func firstInvalid(data []byte) int {
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n <= 1 {
			return i
		}
		i += n
	}
	return len(data)
}

// loneSurrogate finds an escape such as \ud800 that is no character without
// its other half; "" when there is none.
func loneSurrogate(data []byte) string {
	for {
		i := bytes.IndexByte(data, '\\')
		if i < 0 || i+1 >= len(data) {
			return ""
		}
		unit, ok := escapedUnit(data[i:])
		switch {
		case !ok || unit < 0xd800 || unit > 0xdfff:
			data = data[i+2:]
			continue
		case unit < 0xdc00:
			if low, ok := escapedUnit(data[i+6:]); ok && low >= 0xdc00 && low <= 0xdfff {
				data = data[i+12:]
				continue
			}
		}
		return string(data[i : i+6])
	}
}

// escapedUnit reads an escape of the form \u0041 at the beginning.
func escapedUnit(data []byte) (uint64, bool) {
	if len(data) < 6 || data[0] != '\\' || data[1] != 'u' {
		return 0, false
	}
	unit, err := strconv.ParseUint(string(data[2:6]), 16, 32)
	return unit, err == nil
}

// value reads the next value of a text that is known to be JSON.
func (r *reader) value(pointer string, depth int) any {
	token, err := r.dec.Token()
	if err != nil {
		r.add(pointer, "", "one JSON value", "The text is not JSON", "Mend it.")
		return nil
	}
	switch t := token.(type) {
	case json.Number:
		r.number(pointer, string(t))
	case json.Delim:
		if depth > MaxDepth {
			r.tooDeep(pointer)
			r.lost = true
			return nil
		}
		if t == '{' {
			return r.object(pointer, depth)
		}
		list := []any{}
		for !r.lost && r.dec.More() {
			list = append(list, r.value(pointer+"/"+strconv.Itoa(len(list)), depth+1))
		}
		_, _ = r.dec.Token()
		return list
	}
	return token
}

func (r *reader) object(pointer string, depth int) any {
	object := map[string]any{}
	for !r.lost && r.dec.More() {
		token, _ := r.dec.Token()
		key, _ := token.(string)
		child := pointer + "/" + escapePointer(key)
		if _, twice := object[key]; twice {
			r.add(child, quoteShort(key), "each key once", "This key stands twice", "Keep one of them.")
		}
		r.key(child, key)
		object[key] = r.value(child, depth+1)
	}
	_, _ = r.dec.Token()
	return object
}

func (r *reader) key(pointer, key string) {
	if key == "" {
		r.add(pointer, "", "keys with a name", "A key has no name", "Name it, or take it out.")
	}
}

func (r *reader) tooDeep(pointer string) {
	r.add(pointer, "", fmt.Sprintf("at most %d levels", MaxDepth), "Lists and objects nest too deep here", "Compare it with the schema of this kind.")
}

// number notes a number that cannot be kept.
func (r *reader) number(pointer, text string) {
	exponent := 0
	if i := strings.IndexAny(text, "eE"); i >= 0 {
		// An exponent that does not fit an int is out of range, too.
		n, err := strconv.Atoi(strings.TrimPrefix(text[i+1:], "+"))
		if exponent = n; err != nil {
			exponent = math.MaxInt32
		}
	}
	_, err := strconv.ParseFloat(text, 64)
	if err != nil || len(text) > maxDigits || exponent > maxExponent || exponent < -maxExponent {
		r.add(pointer, quoteShort(text), "a number below 1.8e308 with at most 100 figures", "This number cannot be kept", "Check the unit and the exponent.")
	}
}

// check looks over a value that was decoded elsewhere. The error is a value of
// a type that JSON does not have: a fault of the program, not of the record.
func (r *reader) check(pointer string, value any, depth int) error {
	if depth >= MaxDepth {
		switch value.(type) {
		case []any, map[string]any:
			r.tooDeep(pointer)
			return nil
		}
	}
	switch v := value.(type) {
	case nil, bool, int, int8, int32, int64, uint, uint8, uint32, uint64:
	case string:
		r.utf8(pointer, v)
	case json.Number:
		if !json.Valid([]byte(v)) || v == "" || v[0] != '-' && (v[0] < '0' || v[0] > '9') {
			return fmt.Errorf("%s: %.60q is not a number", pointer, string(v))
		}
		r.number(pointer, string(v))
	case float64:
		r.float(pointer, v)
	case float32:
		r.float(pointer, float64(v))
	case []any:
		for i, item := range v {
			if err := r.check(pointer+"/"+strconv.Itoa(i), item, depth+1); err != nil {
				return err
			}
		}
	case map[string]any:
		for key, item := range v {
			child := pointer + "/" + escapePointer(key)
			r.utf8(child, key)
			r.key(child, key)
			if err := r.check(child, item, depth+1); err != nil {
				return err
			}
		}
	default:
		return fmt.Errorf("%s: a %T is not a JSON value", pointer, value)
	}
	return nil
}

func (r *reader) utf8(pointer, text string) {
	if !utf8.ValidString(text) {
		r.add(strings.ToValidUTF8(pointer, "\ufffd"), "", "text in UTF-8", "The text is not UTF-8", "Save the file as UTF-8.")
	}
}

func (r *reader) float(pointer string, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		r.add(pointer, fmt.Sprint(v), "a number", "This is not a number", "Give the number, or leave it out when it is not known.")
	}
}
