package scoring

import (
	"encoding/json"
	"os"
	"regexp"
	"slices"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
)

// documentedInputs are the inputs of the questions of the bench that stand in
// docs/scoring.md.
func documentedInputs(t testing.TB) map[string][]byte {
	page, err := os.ReadFile("../docs/scoring.md")
	require.NoError(t, err)
	inputs := map[string][]byte{}
	for _, b := range regexp.MustCompile("(?s)```json ([a-z]+/[0-9]+) input\n(.*?)```").FindAllSubmatch(page, -1) {
		if m := string(b[1]); slices.Contains(benchMethods, m) {
			inputs[m] = b[2]
		}
	}
	require.Len(t, inputs, len(benchMethods))
	return inputs
}

var benchMethods = []string{MethodThread, MethodStamp, MethodTyre, MethodSerial, MethodIdentity, MethodVIN, MethodSurvivors,
	MethodCapacity, MethodPiston, MethodGearing, MethodTorque, MethodStopping}

// A struct that a Go program fills, written as JSON and run by name, gives the
// same bytes as the function; and a result that is read back writes the same.
func TestBenchRunEqualsTheFunctions(t *testing.T) {
	inputs := documentedInputs(t)
	agree(t, inputs, MethodThread, IdentifyThread)
	agree(t, inputs, MethodStamp, DateStamps)
	agree(t, inputs, MethodTyre, TyreDate)
	agree(t, inputs, MethodSerial, DateFromSerial)
	agree(t, inputs, MethodIdentity, Identity)
	agree(t, inputs, MethodVIN, VIN)
	agree(t, inputs, MethodSurvivors, Survivors)
	agree(t, inputs, MethodCapacity, Capacity)
	agree(t, inputs, MethodPiston, PistonTravel)
	agree(t, inputs, MethodGearing, Gearing)
	agree(t, inputs, MethodTorque, Torque)
	agree(t, inputs, MethodStopping, Stopping)
}

func agree[In, Out any](t *testing.T, inputs map[string][]byte, method string, compute func(In) (Out, error)) {
	var in In
	require.NoError(t, json.Unmarshal(inputs[method], &in))
	out, err := compute(in)
	require.NoError(t, err, method)
	got, err := Run(method, []byte(text(t, in)))
	require.NoError(t, err, method)
	require.Equal(t, text(t, out), string(got), method)
	var back Out
	require.NoError(t, json.Unmarshal(got, &back))
	require.Equal(t, string(got), text(t, back), method)
}

// FuzzBench changes the documented inputs anyhow: a method must answer, the same
// twice, or refuse with a coded error.
func FuzzBench(f *testing.F) {
	for method, input := range documentedInputs(f) {
		f.Add(slices.Index(benchMethods, method), input)
	}
	f.Fuzz(func(t *testing.T, method int, input []byte) {
		if method < 0 || method >= len(benchMethods) {
			return
		}
		got, err := Run(benchMethods[method], input)
		if err != nil {
			require.NotEqual(t, registry.CodeInternal, registry.CodeOf(err), "%v", err)
			return
		}
		require.True(t, json.Valid(got))
		again, err := Run(benchMethods[method], input)
		require.NoError(t, err)
		require.Equal(t, string(got), string(again))
	})
}
