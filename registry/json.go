package registry

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"

	"github.com/gowebpki/jcs"
)

// CanonicalJSON marshals v in the JSON Canonicalization Scheme (RFC 8785):
// sorted keys, no space, one way to write each number. These are the bytes
// that are hashed.
func CanonicalJSON(v any) ([]byte, error) {
	raw, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	if out, ok := appendCanonical(make([]byte, 0, len(raw)), raw); ok {
		return out, nil
	}
	return jcs.Transform(raw)
}

// strictJSON decodes data into v and refuses unknown keys and trailing text.
func strictJSON(data []byte, v any) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(v); err != nil {
		return err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return errors.New("there is more text after the record")
	}
	return nil
}
