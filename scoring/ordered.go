package scoring

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// Ordered is a JSON object whose keys keep their order: a table from states or
// identifiers to values. The order is for reading; no result depends on it.
type Ordered[V any] []Entry[V]

// Entry is one key of an Ordered with its value.
type Entry[V any] struct {
	Key   string
	Value V
}

// Distribution gives a probability, or another number, for each state.
type Distribution = Ordered[float64]

// Get returns the value of a key, and whether it is there.
func (o Ordered[V]) Get(key string) (V, bool) {
	for _, e := range o {
		if e.Key == key {
			return e.Value, true
		}
	}
	var none V
	return none, false
}

// MarshalJSON writes an object with the keys in their order.
func (o Ordered[V]) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, e := range o {
		if i > 0 {
			b.WriteByte(',')
		}
		for j, part := range []any{e.Key, e.Value} {
			if j > 0 {
				b.WriteByte(':')
			}
			raw, err := encode(part)
			if err != nil {
				return nil, err
			}
			b.Write(raw)
		}
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// UnmarshalJSON reads an object, keeps the order of its keys and refuses a key
// that stands twice.
func (o *Ordered[V]) UnmarshalJSON(data []byte) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	open, err := dec.Token()
	if err != nil {
		return err
	}
	if open != json.Delim('{') {
		return fmt.Errorf("an object is needed, found %.40s", data)
	}
	read, seen := Ordered[V]{}, map[string]bool{}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return err
		}
		name, _ := key.(string)
		if seen[name] {
			return fmt.Errorf("the key %q stands twice", name)
		}
		seen[name] = true
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return err
		}
		if string(raw) == "null" {
			return fmt.Errorf("the key %q has no value", name)
		}
		var value V
		if err := json.Unmarshal(raw, &value); err != nil {
			return err
		}
		read = append(read, Entry[V]{name, value})
	}
	*o = read
	return nil
}

// encode marshals without escaping for HTML and without a trailing newline.
func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}
