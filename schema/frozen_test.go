package schema_test

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"

	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"github.com/stretchr/testify/require"
)

// Ensure that a schema version that has been superseded never changes again:
// ledgers hold records of it. testdata/frozen.txt has its digest; add a line
// when a kind gets a new version, and never change one.
func TestSupersededSchemasAreFrozen(t *testing.T) {
	frozen := map[string]string{}
	for line := range strings.Lines(string(readFile(t, "testdata/frozen.txt"))) {
		digest, name, ok := strings.Cut(strings.TrimSpace(line), "  ")
		require.True(t, ok, line)
		frozen[name] = digest
	}
	for _, kind := range registry.Kinds() {
		for version := 1; version < registry.SchemaVersion(kind); version++ {
			require.Contains(t, frozen, schema.FileName(kind, version))
		}
	}
	for name, digest := range frozen {
		data, err := schema.Raw(name)
		require.NoError(t, err)
		sum := sha256.Sum256(data)
		require.Equal(t, digest, hex.EncodeToString(sum[:]), "%s has changed; give the kind a new version instead", name)
	}
}
