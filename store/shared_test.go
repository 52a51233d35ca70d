package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
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

// TestVaultsOfASharedFolder seals for one holder at several nodes at once: all
// agree on one key, and what one destroys is destroyed for all.
func TestVaultsOfASharedFolder(t *testing.T) {
	dir := t.TempDir()
	var vaults []*store.Vault
	for range 4 {
		v, err := store.OpenVault(dir, store.Options{Shared: true})
		require.NoError(t, err)
		defer v.Close()
		vaults = append(vaults, v)
	}
	digests := make([]string, 40)
	var wait sync.WaitGroup
	for i := range digests {
		wait.Go(func() {
			var err error
			if digests[i], _, err = vaults[i%len(vaults)].PutFor(t.Context(), fmt.Sprint("drover/p", i/8), strings.NewReader(fmt.Sprint("value ", i)), 100); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	for i, digest := range digests {
		text, code := kept(t, vaults[(i+1)%len(vaults)], digest)
		require.Equal(t, fmt.Sprint("value ", i), text, code)
	}
	require.NoError(t, vaults[0].Destroy(t.Context(), digests[:1]))
	again, _, err := vaults[1].PutFor(t.Context(), "drover/p0", strings.NewReader("anew"), 100)
	require.NoError(t, err)
	text, code := kept(t, vaults[2], again)
	require.Equal(t, "anew", text, code)
	vaults[3].Forget()
	require.Equal(t, store.KeyDestroyed, look(t, vaults[3], digests[1]))
}
