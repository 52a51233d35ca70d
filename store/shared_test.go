package store_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/store"
)

// TestSharedFolderLeavesOthersAlone opens a folder in which another process may
// be writing a file: only what nobody can be writing any more is dropped.
func TestSharedFolderLeavesOthersAlone(t *testing.T) {
	dir := t.TempDir()
	open := func(o store.Options) {
		t.Helper()
		b, err := store.OpenBlobs(dir, "photos", o)
		require.NoError(t, err)
		require.NoError(t, b.Close())
	}
	open(store.Options{Shared: true})
	now, old := filepath.Join(dir, "photos", "incoming", "now"), filepath.Join(dir, "photos", "incoming", "old")
	for _, name := range []string{now, old} {
		require.NoError(t, os.WriteFile(name, []byte("half"), 0o600))
	}
	before := time.Now().Add(-25 * time.Hour)
	require.NoError(t, os.Chtimes(old, before, before))
	open(store.Options{Shared: true})
	require.FileExists(t, now)
	require.NoFileExists(t, old)
	open(store.Options{}) // alone, nobody else can be writing
	require.NoFileExists(t, now)
}
