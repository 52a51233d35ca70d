package access

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"example.org/asfound/registry"
)

//go:embed people.v1.schema.json
var schemaFile string

var schema = sync.OnceValues(func() (*jsonschema.Schema, error) {
	return jsonschema.CompileString("https://example.org/asfound/access/people.v1.schema.json", schemaFile)
})

// Encode writes people as they are stored.
func Encode(s *State) ([]byte, error) {
	raw, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return nil, err
	}
	if _, err := Decode(raw); err != nil { // never write what could not be read again
		return nil, fmt.Errorf("the people cannot be stored: %w", err)
	}
	return append(raw, '\n'), nil
}

// Decode reads what Encode wrote. CodeTampered when it is anything else.
func Decode(raw []byte) (*State, error) {
	var value any
	if err := json.Unmarshal(raw, &value); err != nil {
		return nil, damaged(err)
	}
	checker, err := schema()
	if err != nil {
		return nil, err
	}
	if err := checker.Validate(value); err != nil {
		return nil, damaged(err)
	}
	s := &State{}
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(s); err != nil {
		return nil, damaged(err)
	}
	return s, s.Check()
}

// damaged says that the people cannot be read, without a value of theirs.
func damaged(error) error {
	return registry.Refuse(registry.CodeTampered, "", "The list of people is not as it was written")
}
