package schema

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v5"
	"github.com/stretchr/testify/require"
)

// Ensure that nothing is read from a disk or a network, whatever a schema
// refers to, and that no refusal shows what stands there.
func TestReferencesElsewhereAreRefused(t *testing.T) {
	secret := filepath.Join(t.TempDir(), "secret.json")
	require.NoError(t, os.WriteFile(secret, []byte(`{"const":"secret"}`), 0o600))
	for _, reference := range []string{"file://" + secret, "http://127.0.0.1:1/schema.json", "https://example.org/other.json", Base + "nothing.json", Base + "../go.mod", "set.go", "urn:uuid:0"} {
		text := `{"$ref":"` + reference + `"}`
		_, err := newCompiler(func(url string) (io.ReadCloser, error) {
			if url == Base+"test.json" {
				return io.NopCloser(strings.NewReader(text)), nil
			}
			return load(url)
		}).Compile(Base + "test.json")
		require.Error(t, err, reference)
		require.NotContains(t, err.Error(), `"secret"`)
	}
}

// Ensure that a format would be asserted, so that one that slips in is noticed.
func TestFormatsAreAsserted(t *testing.T) {
	c, err := newCompiler(func(string) (io.ReadCloser, error) {
		return io.NopCloser(strings.NewReader(`{"format":"date"}`)), nil
	}).Compile(Base + "test.json")
	require.NoError(t, err)
	require.Error(t, c.Validate("2026-02-30"))
}

// Ensure that every file compiles, and that Compile gives the same set.
func TestEveryFileCompiles(t *testing.T) {
	s, err := Compile()
	require.NoError(t, err)
	for _, e := range s.entries {
		_, err := e.compile()
		require.NoError(t, err, e.name)
	}
	again, err := Compile()
	require.NoError(t, err)
	require.Same(t, s, again)
}

// Ensure that every definition with a pattern has its words, and no other.
func TestEveryPatternHasWords(t *testing.T) {
	common, err := parseDocument("common.v1.schema.json")
	require.NoError(t, err)
	definitions, _ := common["$defs"].(map[string]any)
	for name, definition := range definitions {
		if _, ok := definition.(map[string]any)["pattern"]; ok {
			require.Contains(t, wordings, name)
		}
	}
	for name, w := range wordings {
		require.Contains(t, definitions, name)
		require.NotEmpty(t, w.allowed)
		require.NotEmpty(t, w.fault)
		require.True(t, strings.HasSuffix(w.fix, "."), w.fix)
	}
}

// Ensure that words that were probably meant are found, and others not.
func TestNearest(t *testing.T) {
	words := []string{"untouched", "worn", "kept-with-machine", "km", "mi", "call", "link", "passed", "new-old-stock"}
	for found, want := range map[string]string{
		"untuched": "untouched", "untouchde": "untouched", "Untouched ": "untouched", "kept_with_machine": "kept-with-machine", "KEPT WITH MACHINE": "kept-with-machine",
		"wron": "worn", "pass": "passed", "new old stok": "new-old-stock", "kn": "km",
		"mail": "", "in": "", "shelf": "", "": "", "xy": "", "untoucXXX": "", strings.Repeat("worn", 100): "",
	} {
		require.Equal(t, want, nearest(found, words), found)
	}
}

// Ensure that the distance of the published example is right: CA to ABC is 3
// when no part is edited twice. Source: L. Boytsov, Indexing methods for
// approximate dictionary searching, 2011 (optimal string alignment).
func TestDistance(t *testing.T) {
	require.Equal(t, 3, distance([]rune("ca"), []rune("abc")))
	require.Equal(t, 1, distance([]rune("ab"), []rune("ba")))
	require.Equal(t, 3, distance([]rune("kitten"), []rune("sitting"))) // a common example
	require.Equal(t, 4, distance(nil, []rune("worn")))
}

// Ensure that a value of a kind that the validator does not know is an error
// of the program.
func TestForeignValuesAreNotJudged(t *testing.T) {
	s, err := Compile()
	require.NoError(t, err)
	e := s.entries["survey.v1.schema.json"]
	err = s.validate("survey", e, map[string]any{"note": struct{}{}})
	var invalid *jsonschema.ValidationError
	require.Error(t, err)
	require.False(t, errors.As(err, &invalid))
}

// Compiling a schema for the first time, the shared definitions read already,
// as the first record of a kind meets it.
func BenchmarkCompileEverything(b *testing.B) {
	for b.Loop() {
		s, err := newSet()
		require.NoError(b, err)
		for _, e := range s.entries {
			if _, err := e.compile(); err != nil {
				b.Fatal(err)
			}
		}
	}
}
