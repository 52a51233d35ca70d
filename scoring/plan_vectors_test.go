package scoring

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// Frozen like the vectors of method_test.go: a method that no longer gives
// these bytes has changed its answers and needs a new version instead.
var planVectors = []struct{ method, input string }{
	{MethodPlan, "road.plan"}, {MethodPlan, "brake.plan"}, {MethodCost, "brake.cost"}, {MethodWait, "part.wait"},
	{MethodLeave, "seam.leave"}, {MethodTest, "tank.test"},
}

func TestPlanVectorsAreReproducedByteForByte(t *testing.T) {
	for _, v := range planVectors {
		reproduces(t, v.method, v.input)
	}
}

// A struct that a Go program fills, written as JSON and run by name, gives the
// same bytes as the function; and a result that is read back writes the same.
func TestPlanRunEqualsTheFunctions(t *testing.T) {
	for _, v := range planVectors {
		switch v.method {
		case MethodPlan:
			alike(t, v.method, v.input, Plan)
		case MethodCost:
			alike(t, v.method, v.input, Cost)
		case MethodWait:
			alike(t, v.method, v.input, Wait)
		case MethodLeave:
			alike(t, v.method, v.input, Leave)
		case MethodTest:
			alike(t, v.method, v.input, WorthOfTest)
		}
	}
}

func alike[In, Out any](t *testing.T, method, name string, compute func(In) (Out, error)) {
	in := read[In](t, name+".json")
	out, err := compute(in)
	require.NoError(t, err)
	got, err := Run(method, []byte(text(t, in)))
	require.NoError(t, err)
	require.Equal(t, text(t, out), string(got))
	var back Out
	require.NoError(t, json.Unmarshal(got, &back))
	require.Equal(t, string(got), text(t, back))
}

// FuzzPlan changes a small plan anyhow: it must answer or refuse with a coded
// error, never panic.
func FuzzPlan(f *testing.F) {
	for _, v := range planVectors {
		raw, err := os.ReadFile(filepath.Join("testdata", v.input+".json"))
		require.NoError(f, err)
		f.Add(v.method, raw)
	}
	f.Fuzz(func(t *testing.T, method string, input []byte) {
		if !regexp.MustCompile(`^(plan|cost|wait|leave|test)/1$`).MatchString(method) {
			t.Skip()
		}
		out, err := Run(method, input)
		var e *registry.Error
		if err != nil && !errors.As(err, &e) {
			t.Fatalf("no coded refusal: %v", err)
		}
		if err == nil && !json.Valid(out) {
			t.Fatalf("no JSON: %q", out)
		}
	})
}
