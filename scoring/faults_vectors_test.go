package scoring

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// Frozen like the vectors of method_test.go: a method that no longer gives
// these bytes has changed its answers and needs a new version instead.
var faultVectors = []struct{ method, input string }{
	{MethodFaults, "start.faults"}, {MethodOrder, "spark.order"}, {MethodNext, "start.next"},
}

func TestFaultVectorsAreReproducedByteForByte(t *testing.T) {
	for _, v := range faultVectors {
		reproduces(t, v.method, v.input)
	}
}

// A struct that a Go program fills, written as JSON and run by name, gives the
// same bytes as the function; and a result that is read back writes the same.
func TestFaultRunEqualsTheFunctions(t *testing.T) {
	alike(t, MethodFaults, "start.faults", Faults)
	alike(t, MethodOrder, "spark.order", Order)
	alike(t, MethodNext, "start.next", Next)
}

// FuzzFaults changes a question about faults anyhow: it must answer or refuse
// with a coded error, never panic.
func FuzzFaults(f *testing.F) {
	for _, v := range faultVectors {
		raw, err := os.ReadFile(filepath.Join("testdata", v.input+".json"))
		require.NoError(f, err)
		f.Add(raw)
	}
	f.Fuzz(func(t *testing.T, input []byte) {
		for _, v := range faultVectors {
			out, err := Run(v.method, input)
			var e *registry.Error
			if err != nil && !errors.As(err, &e) {
				t.Fatalf("%s: no coded refusal: %v", v.method, err)
			}
			if err == nil && len(out) == 0 {
				t.Fatalf("%s: no answer", v.method)
			}
		}
	})
}
