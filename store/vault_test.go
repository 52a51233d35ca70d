package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

const secretName = `{"salt":"000102030405060708090a0b0c0d0e0f","value":"Imogen Aske"}`

// nameDigest is of secretName: the worked example of docs/ledger-format.md.
const nameDigest = "sha256:800a8c1bddb0d725e971389a060ae18e8f0bc5ca55c2cd2b6a803f08445093cd"

func kept(t *testing.T, v *store.Vault, digest string) (string, registry.Code) {
	t.Helper()
	r, _, err := v.Get(t.Context(), digest)
	if err != nil {
		return "", registry.CodeOf(err)
	}
	text, err := io.ReadAll(r)
	require.NoError(t, errors.Join(err, r.Close()))
	return string(text), ""
}

func look(t *testing.T, v *store.Vault, digest string) store.State {
	t.Helper()
	state, _, err := v.Look(t.Context(), digest)
	require.NoError(t, err)
	return state
}

// everyByte is all that lies in a folder.
func everyByte(t *testing.T, dir string) string {
	t.Helper()
	var all strings.Builder
	require.NoError(t, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		all.Write(text)
		return err
	}))
	return all.String()
}

func TestPrivateValuesAreSealedByHolder(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	v := s.Private()
	require.False(t, v.Unsealed(), "a new registry holds nothing plain")
	digest, size, err := v.PutFor(t.Context(), "drover/owner", strings.NewReader(secretName), 100)
	require.NoError(t, err)
	require.Equal(t, nameDigest, digest, "the digest is that of the plain document")
	require.EqualValues(t, len(secretName), size)
	place, _, err := v.PutFor(t.Context(), "drover", strings.NewReader("shelf 3"), 100)
	require.NoError(t, err)
	require.NotContains(t, everyByte(t, filepath.Join(dir, "private")), "Aske")

	text, code := kept(t, v, digest)
	require.Equal(t, secretName, text, code)
	require.NoError(t, s.Close())
	s = open(t, dir)
	v = s.Private()
	text, code = kept(t, v, digest)
	require.Equal(t, secretName, text, code)

	copied := map[string][]byte{}
	for _, d := range []string{digest, place} {
		r, _, err := v.Stored().Get(t.Context(), d)
		require.NoError(t, err)
		copied[d], err = io.ReadAll(r)
		require.NoError(t, err)
	}
	require.NoError(t, v.Destroy(t.Context(), []string{digest}))
	require.Equal(t, store.NotStored, look(t, v, digest))
	text, code = kept(t, v, place)
	require.Equal(t, "shelf 3", text, "what is the machine's stays", code)
	require.NoError(t, v.Destroy(t.Context(), []string{digest}), "again")

	// A copy that comes back, as from an old backup, stays shut; so it does
	// beside the key of the same person's new record.
	require.NoError(t, v.PutStored(t.Context(), digest, bytes.NewReader(copied[digest]), int64(len(copied[digest]))))
	require.Equal(t, store.KeyDestroyed, look(t, v, digest))
	_, code = kept(t, v, digest)
	require.Equal(t, registry.CodeNotFound, code)
	anew, _, err := v.PutFor(t.Context(), "drover/owner", strings.NewReader("a new record"), 100)
	require.NoError(t, err)
	require.Equal(t, store.KeyDestroyed, look(t, v, digest))
	require.NoError(t, v.Destroy(t.Context(), []string{digest}))
	text, _ = kept(t, v, anew)
	require.Equal(t, "a new record", text, "cleaning up after the old key leaves the new one")

	// A key that is lost is another thing than one that was destroyed.
	key := filepath.Join(dir, "keys", "drover", "machine.key")
	require.NoError(t, s.Close())
	whole, err := os.ReadFile(key)
	require.NoError(t, err)
	require.NoError(t, os.Remove(key))
	s = open(t, dir)
	require.Equal(t, store.KeyMissing, look(t, s.Private(), place))
	_, code = kept(t, s.Private(), place)
	require.Equal(t, registry.CodeNotFound, code)
	require.NoError(t, s.Close())

	// One that was changed is damage, and so is a value in another's place.
	require.NoError(t, os.WriteFile(key, bytes.Replace(whole, []byte(`"key":"`), []byte(`"key":"AAAA`), 1), 0o600))
	s = open(t, dir)
	_, code = kept(t, s.Private(), place)
	require.Equal(t, registry.CodeTampered, code)
	require.NoError(t, s.Close())
	require.NoError(t, os.WriteFile(key, whole, 0o600))
	v = open(t, dir).Private()
	require.NoError(t, v.PutStored(t.Context(), anew, bytes.NewReader(copied[place]), int64(len(copied[place]))))
	_, code = kept(t, v, anew)
	require.Equal(t, registry.CodeTampered, code)
}

// TestADestroyedKeyIsNowhere reads every byte of the folder for the key.
func TestADestroyedKeyIsNowhere(t *testing.T) {
	dir := t.TempDir()
	v := open(t, dir).Private()
	digest, _, err := v.PutFor(t.Context(), "drover/owner", strings.NewReader(secretName), 100)
	require.NoError(t, err)
	path := filepath.Join(dir, "keys", "drover", "person-owner.key")
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o600), info.Mode().Perm())
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	_, key, _ := strings.Cut(string(raw), `"key":"`)
	key, _, _ = strings.Cut(key, `"`)
	require.Len(t, key, 44, "32 bytes in base64")
	linked := filepath.Join(t.TempDir(), "the same file")
	require.NoError(t, os.Link(path, linked))

	require.NoError(t, v.Destroy(t.Context(), []string{digest}))
	require.NotContains(t, everyByte(t, dir), key)
	old, err := os.ReadFile(linked)
	require.NoError(t, err)
	require.NotContains(t, string(old), key, "the old file's own bytes are overwritten")

	// A damaged key stands in nobody's way.
	digest, _, err = v.PutFor(t.Context(), "drover/mechanic", strings.NewReader("Tamsin Orde"), 100)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "keys", "drover", "person-mechanic.key"), []byte("{"), 0o600))
	require.NoError(t, v.Destroy(t.Context(), []string{digest}))
	require.Equal(t, store.NotStored, look(t, v, digest))
}

// TestPlainValuesFromBefore: a folder from before there were keys is read as it
// is, and sealed value by value.
func TestPlainValuesFromBefore(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, open(t, dir).Close())
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "keys")))
	path := filepath.Join(dir, "private", nameDigest[7:9], nameDigest[9:])
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
	require.NoError(t, os.WriteFile(path, []byte(secretName), 0o600))
	s := open(t, dir)
	v := s.Private()
	require.True(t, v.Unsealed())
	text, _ := kept(t, v, nameDigest)
	require.Equal(t, secretName, text)
	for range 2 {
		require.NoError(t, v.Seal(t.Context(), nameDigest, "drover/owner"))
		text, _ = kept(t, v, nameDigest)
		require.Equal(t, secretName, text)
		require.NotContains(t, everyByte(t, filepath.Join(dir, "private")), "Aske")
	}
	require.NoError(t, v.MarkSealed())
	require.False(t, v.Unsealed())

	// A plain value that comes back must be sealed again, and be itself.
	require.NoError(t, v.PutStored(t.Context(), nameDigest, strings.NewReader(secretName), int64(len(secretName))))
	require.True(t, v.Unsealed())
	require.Equal(t, registry.CodeTampered, registry.CodeOf(v.PutStored(t.Context(), nameDigest, strings.NewReader("{}"), 2)))
}

func TestAnErasureIsNotedUntilItIsDone(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "the [old] bikes*") // none of it is a pattern
	require.NoError(t, os.Mkdir(dir, 0o700))
	v := open(t, dir).Private()
	for _, on := range []bool{true, true, false, false} {
		require.NoError(t, v.Erasing("drover", on))
		machines, err := v.Interrupted()
		require.NoError(t, err)
		require.Equal(t, on, len(machines) == 1 && machines[0] == "drover")
	}
	require.Error(t, v.Erasing("../drover", true))
}

// TestOneKeyAHolder: those who are the first to put something for a holder, at
// once, use one key.
func TestOneKeyAHolder(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	var digests [8]string
	var all sync.WaitGroup
	for i := range digests {
		all.Go(func() {
			var err error
			digests[i], _, err = s.Private().PutFor(t.Context(), "drover/owner", strings.NewReader(fmt.Sprint("value ", i)), 100)
			assert.NoError(t, err)
		})
	}
	all.Wait()
	require.NoError(t, s.Close())
	v := open(t, dir).Private()
	for i, digest := range digests {
		text, code := kept(t, v, digest)
		require.Equal(t, fmt.Sprint("value ", i), text, code)
	}
}
