package schema_test

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"github.com/stretchr/testify/require"
)

func set(t testing.TB) *schema.Set {
	t.Helper()
	s, err := schema.Compile()
	require.NoError(t, err)
	return s
}

var fileName = regexp.MustCompile(`^([a-z-]+)\.v([0-9]+)$`)

// kindAndVersion reads a name such as "survey.v1".
func kindAndVersion(t testing.TB, name string) (registry.Kind, int) {
	t.Helper()
	m := fileName.FindStringSubmatch(strings.TrimSuffix(name, ".schema.json"))
	require.NotNil(t, m, name)
	version, err := strconv.Atoi(m[2])
	require.NoError(t, err)
	return registry.Kind(m[1]), version
}

// records lists testdata/<kind>.v<version>/<prefix>*.json.
func records(t testing.TB, prefix string) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join("testdata", "*", prefix+"*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, names)
	return names
}

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	return data
}

// decoded reads JSON as the importers do.
func decoded(t testing.TB, data []byte) any {
	t.Helper()
	dec := json.NewDecoder(strings.NewReader(string(data)))
	dec.UseNumber()
	var value any
	require.NoError(t, dec.Decode(&value))
	return value
}

// Ensure that every good record passes its schema, and that what passes the
// schema can be decoded and stands before the registry, also as it is stored.
func TestGoodRecords(t *testing.T) {
	s := set(t)
	for _, name := range records(t, "good-") {
		t.Run(name, func(t *testing.T) {
			kind, version := kindAndVersion(t, filepath.Base(filepath.Dir(name)))
			data := readFile(t, name)
			require.NoError(t, s.Validate(kind, version, data))
			require.NoError(t, s.ValidateDecoded(kind, version, decoded(t, data)))
			standsBeforeRegistry(t, s, kind, version, data)
		})
	}
}

func standsBeforeRegistry(t *testing.T, s *schema.Set, kind registry.Kind, version int, data []byte) {
	t.Helper()
	if registry.SchemaVersion(kind) == 0 {
		return // not a record
	}
	body, err := registry.DecodeBody(kind, version, data)
	require.NoError(t, err)
	if registry.IDOf(body) == "" {
		registry.SetID(body, "made-1")
	}
	require.NoError(t, registry.CheckBody(body))
	stored, err := registry.CanonicalJSON(body)
	require.NoError(t, err)
	require.NoError(t, s.Validate(kind, registry.SchemaVersion(kind), stored), "as stored: %s", stored)
}

// Ensure that every bad record is refused with the words beside it. Set
// UPDATE_GOLDEN=1 to write them anew, and read them.
func TestBadRecords(t *testing.T) {
	s := set(t)
	for _, name := range records(t, "bad-") {
		t.Run(name, func(t *testing.T) {
			kind, version := kindAndVersion(t, filepath.Base(filepath.Dir(name)))
			data := readFile(t, name)
			err := s.Validate(kind, version, data)
			var refusal *registry.Error
			require.True(t, errors.As(err, &refusal), "%v", err)
			require.Equal(t, registry.CodeInvalid, refusal.Code)
			require.Equal(t, err, s.ValidateDecoded(kind, version, decoded(t, data)))

			words := refusal.Message + "\n\n"
			for _, f := range refusal.Fields {
				require.NotEmpty(t, f.Message)
				require.NotEmpty(t, f.Fix)
				require.NotRegexp(t, `[\\^$]|\[0-9`, f.Allowed, "a pattern is shown to a person")
				words += f.String() + "\n"
			}
			golden := strings.TrimSuffix(name, ".json") + ".txt"
			if os.Getenv("UPDATE_GOLDEN") != "" {
				require.NoError(t, os.WriteFile(golden, []byte(words), 0o644))
			}
			require.Equal(t, string(readFile(t, golden)), words)
		})
	}
}

// Ensure that every schema has at least a minimal and a full good record and
// three bad ones.
func TestEverySchemaHasRecords(t *testing.T) {
	for _, name := range schemaNames(t) {
		dir := filepath.Join("testdata", strings.TrimSuffix(name, ".schema.json"))
		require.FileExists(t, filepath.Join(dir, "good-minimal.json"))
		require.FileExists(t, filepath.Join(dir, "good-full.json"))
		bad, err := filepath.Glob(filepath.Join(dir, "bad-*.json"))
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(bad), 3, dir)
	}
}

// schemaNames lists the schema files but for the shared definitions.
func schemaNames(t testing.TB) []string {
	t.Helper()
	names, err := fs.Glob(schema.Schemas(), "*.schema.json")
	require.NoError(t, err)
	var out []string
	for _, name := range names {
		if name != "common.v1.schema.json" {
			out = append(out, name)
		}
	}
	return out
}
