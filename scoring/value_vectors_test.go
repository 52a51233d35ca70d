package scoring

import (
	"os"
	"path/filepath"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// Frozen like the vectors of method_test.go: a method that no longer gives
// these bytes has changed its answers and needs a new version instead.
var valueVectors = []struct{ method, input string }{
	{MethodRegression, "longley.regression"}, {MethodRegression, "prior.regression"},
	{MethodValue, "drover.value"}, {MethodValue, "makes.value"}, {MethodValue, "unsold.value"}, {MethodRisk, "tank.risk"},
}

func TestValueVectorsAreReproducedByteForByte(t *testing.T) {
	for _, v := range valueVectors {
		reproduces(t, v.method, v.input)
	}
}

// A struct that a Go program fills, written as JSON and run by name, gives the
// same bytes as the function; and a result that is read back writes the same.
func TestValueRunEqualsTheFunctions(t *testing.T) {
	for _, v := range valueVectors {
		switch v.method {
		case MethodRegression:
			alike(t, v.method, v.input, Regression)
		case MethodValue:
			alike(t, v.method, v.input, Value)
		case MethodRisk:
			alike(t, v.method, v.input, Risk)
		}
	}
}

// Whatever is fed, the methods answer or refuse with a code, and answer twice
// the same.
func FuzzValueRun(f *testing.F) {
	for _, v := range valueVectors {
		raw, err := os.ReadFile(filepath.Join("testdata", v.input+".json"))
		require.NoError(f, err)
		f.Add(raw)
	}
	for _, extreme := range []string{
		`{"y":[1e40,-1e40,1e-40,0],"x":[[1e-40],[1e40],[0],[1]],"intercept":true,"predict":[[-1e40]]}`,
		`{"y":[1e-40,2e-40],"x":[[1e-40],[2e-40]],"intercept":false,"predict":[[-1e40]],"prior":{"mean":[1e40],"sd":[1e-15],"shape":1.0000001,"sigma":1e15}}`,
		`{"sales":[],"prior":{"mean":[50,50,-50,50,50,50],"sd":[10,10,10,10,10,10],"shape":1.0000001,"sigma":0.001},
		  "before":{"originality":0,"condition":0,"distance":1,"tier":1},"afters":[{"id":"a","originality":1,"condition":5,"distance":1e6,"tier":0,"cost":1e12}]}`,
	} {
		f.Add([]byte(extreme))
	}
	f.Fuzz(func(t *testing.T, input []byte) {
		for _, method := range []string{MethodRegression, MethodValue, MethodRisk} {
			got, err := Run(method, input)
			if err != nil {
				require.NotEqual(t, registry.CodeInternal, registry.CodeOf(err), "%s: %v", method, err)
				continue
			}
			again, err := Run(method, input)
			require.NoError(t, err)
			require.Equal(t, string(got), string(again))
		}
	})
}
