package scoring

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// vectors are inputs with the exact bytes of their results. They are frozen:
// a method that no longer gives them has changed its answers and needs a new
// version instead.
var vectors = []struct{ method, input string }{
	{MethodOrigin, "tank.origin"},
	{MethodIndex, "toy.index"},
	{MethodIndex, "thirds.index"},
	{MethodEffect, "magneto.effect"},
	{MethodEffect, "plan.effect"},
}

func TestVectorsAreReproducedByteForByte(t *testing.T) {
	for _, v := range vectors {
		reproduces(t, v.method, v.input)
	}
}

// reproduces runs a method on a file of testdata and wants the bytes kept beside it.
func reproduces(t *testing.T, method, name string) {
	t.Helper()
	input, err := os.ReadFile(filepath.Join("testdata", name+".json"))
	require.NoError(t, err)
	want, err := os.ReadFile(filepath.Join("testdata", name+".result.json"))
	require.NoError(t, err)
	got, err := Run(method, input)
	require.NoError(t, err, name)
	require.Equal(t, string(want), string(got), name)

	// Sorted keys and other white space, as a stored input has them, change nothing.
	var any any
	require.NoError(t, json.Unmarshal(input, &any))
	sorted, err := json.Marshal(any)
	require.NoError(t, err)
	got, err = Run(method, sorted)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), name)
}

// A struct that a Go program fills, written as JSON and run by name, gives the
// same bytes as the function; and a result that is read back writes the same.
func TestRunEqualsTheFunctions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		out, err := Origin(origin)
		require.NoError(t, err)
		runsAlike(t, MethodOrigin, origin, out)
		var back OriginResult
		require.NoError(t, json.Unmarshal([]byte(text(t, out)), &back))
		require.Equal(t, text(t, out), text(t, back))

		index := drawIndex(t)
		indexed, err := Index(index)
		require.NoError(t, err)
		runsAlike(t, MethodIndex, index, indexed)

		effect := drawEffect(t)
		effected, err := Effect(effect)
		require.NoError(t, err)
		runsAlike(t, MethodEffect, effect, effected)
	})
}

func runsAlike(t *rapid.T, method string, in, out any) {
	got, err := Run(method, []byte(text(t, in)))
	require.NoError(t, err)
	require.Equal(t, text(t, out), string(got))
}

func TestNullForAnOptionalKeyIsTheSameAsLeavingItOut(t *testing.T) {
	without, err := Run(MethodOrigin, []byte(`{"states":["a","b"],"prior":[0.4,0.6]}`))
	require.NoError(t, err)
	with, err := Run(MethodOrigin, []byte(`{"states":["a","b"],"prior":[0.4,0.6],"rho":null,"other":null,"evidence":null}`))
	require.NoError(t, err)
	require.Equal(t, string(without), string(with))
}

func TestStrictDecoding(t *testing.T) {
	for _, c := range []struct{ input, pointer, found string }{
		{``, "", "unexpected end"},
		{`{"states":["a"],"prior":[1]} {}`, "", "after top-level"},
		{`{"states":["a"],"prior":[NaN]}`, "", "invalid character"},
		{"{\"states\":[\"\xff\"],\"prior\":[1]}", "", ""},
		{`[]`, "", "an array"},
		{`null`, "", "null"},
		{`{"states":["a"],"prior":[1],"Rho":0.5}`, "/Rho", `"Rho"`},
		{`{"states":["a"],"prior":[1],"rho":0.5,"rho":0.5}`, "/rho", `"rho"`},
		{`{"states":["a"],"prior":null}`, "/prior", "null"},
		{`{"states":["a"],"prior":[1],"rho":"0.5"}`, "/rho", `the text "0.5"`},
		{`{"states":["a"],"prior":[1e999]}`, "/prior/0", `"1e999"`},
		{`{"states":["a",true],"prior":[1]}`, "/states/1", "true"},
		{`{"states":["a"]}`, "/prior", ""},
		{`{"states":["a"],"prior":[1],"evidence":[{"id":"e","cluster":"c","likelihood":[1],"weight":2}]}`, "/evidence/0/weight", `"weight"`},
		{`{"states":["a"],"prior":[1],"evidence":[{"id":7,"cluster":"c","likelihood":[1]}]}`, "/evidence/0/id", "7"},
		{`{"a/b~c":1,"states":["a"],"prior":[1]}`, "/a~1b~0c", `"a/b~c"`},
		{`{"states":` + strings.Repeat("[", 40) + strings.Repeat("]", 40) + `,"prior":[1]}`, "/states" + strings.Repeat("/0", 16), ""},
	} {
		_, err := Run(MethodOrigin, []byte(c.input))
		refused(t, err, registry.CodeInvalid, c.pointer)
		var e *registry.Error
		require.True(t, errors.As(err, &e))
		for _, f := range e.Fields {
			if f.Pointer == c.pointer {
				require.Contains(t, f.Found, c.found, c.input)
				require.NotEmpty(t, f.Fix)
			}
		}
	}
	_, err := Run(MethodOrigin, make([]byte, MaxInputBytes+1))
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
	_, err = Run("index/0", []byte(`{}`))
	require.Equal(t, registry.CodeUnsupported, registry.CodeOf(err))
	require.Contains(t, err.Error(), "index/1")
}

// Many faults are told at once, but not without end.
func TestAllFaultsAreTold(t *testing.T) {
	_, err := Run(MethodOrigin, []byte(`{"prior":"x","speed":1}`))
	for _, p := range []string{"/prior", "/speed", "/states"} {
		refused(t, err, registry.CodeInvalid, p)
	}
	_, err = Run(MethodOrigin, []byte(`{"states":["a"],"prior":[`+strings.Repeat("2,", 999)+`2]}`))
	var e *registry.Error
	require.True(t, errors.As(err, &e))
	require.Len(t, e.Fields, maxFaults)
}

func TestMethodsHaveNamesAndQuestions(t *testing.T) {
	seen := map[string]bool{}
	for _, m := range Methods() {
		require.Regexp(t, `^[a-z]+/[1-9][0-9]*$`, m.Name)
		require.True(t, strings.HasSuffix(m.Question, "?"))
		require.False(t, seen[m.Name])
		seen[m.Name] = true
	}
}

func TestOrderedReadsStrictly(t *testing.T) {
	var d Distribution
	require.NoError(t, json.Unmarshal([]byte(`{"b":0.25,"a":0.75}`), &d))
	require.Equal(t, Distribution{{"b", 0.25}, {"a", 0.75}}, d)
	for _, bad := range []string{`[]`, `{"a":1,"a":1}`, `{"a":null}`, `{"a":"x"}`} {
		require.Error(t, json.Unmarshal([]byte(bad), &d), bad)
	}
	require.Equal(t, `{"<&>":1}`, text(t, Distribution{{"<&>", 1}}))
	require.Equal(t, `{}`, text(t, Distribution(nil)))
}

// FuzzRun feeds every method anything: it must answer or refuse with a coded
// error, never panic, and answer twice the same.
func FuzzRun(f *testing.F) {
	for _, v := range vectors {
		raw, err := os.ReadFile(filepath.Join("testdata", v.input+".json"))
		require.NoError(f, err)
		f.Add(raw)
	}
	for _, s := range []string{``, `{}`, `{"states":["a","b"],"prior":[0.5,0.5],"other":0,"rho":1,"evidence":[{"id":"e","cluster":"c","likelihood":[0,1]},{"id":"f","cluster":"c","likelihood":[1,0]}]}`,
		`{"assemblies":[{"id":"a","intact":1,"parts":[{"id":"p","weight":1e-9,"credit":{"a":0.3333333333,"b":0},"if_intact":{"a":1e-300,"b":1}}]}]}`,
		`{"total_weight":1e9,"parts":[{"id":"p","weight":1e9,"credit":{"a":1,"b":5e-324},"before":{"a":1},"after":{"b":1},"reversible":false}]}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, input []byte) {
		for _, m := range Methods() {
			got, err := Run(m.Name, input)
			if err != nil {
				if registry.CodeOf(err) == registry.CodeInternal {
					t.Fatalf("%s: no coded refusal: %v", m.Name, err)
				}
				continue
			}
			if !json.Valid(got) {
				t.Fatalf("%s: no JSON: %q", m.Name, got)
			}
			again, err := Run(m.Name, input)
			if err != nil || string(got) != string(again) {
				t.Fatalf("%s: not the same twice", m.Name)
			}
		}
	})
}
