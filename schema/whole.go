package schema

import (
	"encoding/json"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// wholeNumbers makes "type": "integer" refuse a whole number that is written
// with a point or an exponent. JSON Schema counts 3.0 as an integer, but a
// record that says 3.0 cannot be read back into a whole number.
type wholeNumbers struct{}

// Compile attaches the check wherever a schema asks for an integer.
func (wholeNumbers) Compile(_ jsonschema.CompilerContext, m map[string]any) (jsonschema.ExtSchema, error) {
	if m["type"] == "integer" {
		return wholeNumber{}, nil
	}
	return nil, nil
}

type wholeNumber struct{}

// Validate refuses 3.0 and 3e0.
func (wholeNumber) Validate(ctx jsonschema.ValidationContext, value any) error {
	if n, ok := value.(json.Number); ok && strings.ContainsAny(string(n), ".eE") {
		return ctx.Error("type", "a whole number is written without point and exponent")
	}
	return nil
}
