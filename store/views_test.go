package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/store"
)

// blobs and views are what the rest of the program asks of either implementation.
type blobs interface {
	Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	Has(ctx context.Context, digest string) (bool, error)
	Stat(ctx context.Context, digest string) (int64, error)
	Remove(ctx context.Context, digest string) error
	Each(ctx context.Context, fn func(digest string, size int64) error) error
}

type views interface {
	Checkpoint(ctx context.Context) (registry.Position, int, error)
	Update(ctx context.Context, position registry.Position, fn func(tx store.ViewTx) error) error
	Get(ctx context.Context, key string) ([]byte, bool, error)
	Scan(ctx context.Context, prefix, after string, limit int, fn func(key string, value []byte) error) error
	Reset(ctx context.Context, version int) error
}

func readerOf(s string) io.Reader { return strings.NewReader(s) }

func TestViews(t *testing.T) {
	for name, open := range map[string]func(t *testing.T) views{
		"memory": func(*testing.T) views { return ledgertest.NewMemoryViews() },
		"disk":   func(t *testing.T) views { return open(t, t.TempDir()).Views() },
	} {
		t.Run(name, func(t *testing.T) {
			v, ctx := open(t), t.Context()
			checkpoint := func(position registry.Position, version int) {
				t.Helper()
				p, n, err := v.Checkpoint(ctx)
				require.NoError(t, err)
				require.Equal(t, position, p)
				require.Equal(t, version, n)
			}
			scan := func(prefix, after string, limit int) (keys []string) {
				t.Helper()
				require.NoError(t, v.Scan(ctx, prefix, after, limit, func(key string, value []byte) error {
					require.Equal(t, "of "+key, string(value))
					keys = append(keys, key)
					return nil
				}))
				return keys
			}
			checkpoint(0, 0)
			require.NoError(t, v.Reset(ctx, 3))
			checkpoint(0, 3)
			require.NoError(t, v.Update(ctx, 7, func(tx store.ViewTx) error {
				for _, key := range []string{"a", "m/1", "m/10", "m/2", "m/3", "n", "m", "", "m\x00", "\xff\xff"} {
					tx.Put(key, []byte("of "+key))
				}
				got, ok, err := tx.Get("m/2")
				require.NoError(t, err)
				require.True(t, ok)
				require.Equal(t, "of m/2", string(got))
				tx.Delete("m/3")
				_, ok, err = tx.Get("m/3")
				require.NoError(t, err)
				require.False(t, ok)
				return nil
			}))
			checkpoint(7, 3)
			require.Equal(t, []string{"m/1", "m/10", "m/2"}, scan("m/", "", 0))
			require.Equal(t, []string{"m/10"}, scan("m/", "m/1", 1))
			require.Equal(t, []string{"m/2"}, scan("m/", "m/10", 5))
			require.Equal(t, []string{"m", "m\x00", "m/1"}, scan("m", "", 3))
			require.Equal(t, []string{"m\x00", "m/1", "m/10", "m/2"}, scan("m", "m", 0))
			require.Equal(t, []string{"", "a", "m"}, scan("", "", 3))
			require.Equal(t, []string{"n", "\xff\xff"}, scan("", "m/2", 0))
			require.Empty(t, scan("m/", "m/2", 0))
			require.Empty(t, scan("x", "", 0))

			// An update that fails changes nothing, the checkpoint included.
			stop := errors.New("stop")
			require.ErrorIs(t, v.Update(ctx, 9, func(tx store.ViewTx) error {
				tx.Put("a", []byte("changed"))
				tx.Delete("n")
				return stop
			}), stop)
			checkpoint(7, 3)
			value, ok, err := v.Get(ctx, "a")
			require.NoError(t, err)
			require.True(t, ok)
			require.Equal(t, "of a", string(value))
			_, ok, err = v.Get(ctx, "none")
			require.NoError(t, err)
			require.False(t, ok)

			err = v.Update(ctx, 6, func(store.ViewTx) error { return nil })
			require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
			require.NoError(t, v.Update(ctx, 8, func(tx store.ViewTx) error {
				got, ok, err := tx.Get("n")
				require.NoError(t, err)
				require.True(t, ok)
				require.Equal(t, "of n", string(got))
				tx.Delete("n")
				return nil
			}))
			require.ErrorIs(t, v.Scan(ctx, "", "", 0, func(string, []byte) error { return stop }), stop)
			require.NoError(t, v.Reset(ctx, 4))
			checkpoint(0, 4)
			require.Empty(t, scan("", "", 0))
		})
	}
}

func TestViewsOnDisk(t *testing.T) {
	dir, ctx := t.TempDir(), t.Context()
	s := open(t, dir)
	fill(t, s, 20)
	// More entries than one removal step of Reset, and than one transaction.
	for n := range 3 {
		require.NoError(t, s.Views().Update(ctx, registry.Position(n+1), func(tx store.ViewTx) error {
			for i := range 1500 {
				tx.Put(fmt.Sprintf("machine/%d/%d", n, i), []byte("value"))
			}
			return nil
		}))
	}
	require.NoError(t, s.Views().Update(ctx, 5, func(tx store.ViewTx) error {
		tx.Put("large", make([]byte, store.MaxViewBytes))
		return nil
	}))
	for what, fn := range map[string]func(tx store.ViewTx){
		"one value":   func(tx store.ViewTx) { tx.Put("large", make([]byte, store.MaxViewBytes+1)) },
		"one key":     func(tx store.ViewTx) { tx.Put(strings.Repeat("k", 2000), nil) },
		"all of them": func(tx store.ViewTx) { tx.Put("1", make([]byte, 700_000)); tx.Put("2", make([]byte, 700_000)) },
	} {
		err := s.Views().Update(ctx, 6, func(tx store.ViewTx) error { fn(tx); return nil })
		require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err), what)
	}
	require.NoError(t, s.Close())

	s = open(t, dir)
	position, _, err := s.Views().Checkpoint(ctx)
	require.NoError(t, err)
	require.EqualValues(t, 5, position)
	require.NoError(t, s.Views().Reset(ctx, 2))
	require.NoError(t, s.Views().Scan(ctx, "", "", 0, func(key string, _ []byte) error {
		return fmt.Errorf("%q is still there", key)
	}))
	noFindings(t, s) // the ledger is not touched by it
}

func TestBlobs(t *testing.T) {
	for name, open := range map[string]func(t *testing.T) blobs{
		"memory": func(*testing.T) blobs { return ledgertest.NewMemoryBlobs() },
		"disk":   func(t *testing.T) blobs { return open(t, t.TempDir()).Photos() },
	} {
		t.Run(name, func(t *testing.T) {
			b, ctx := open(t), t.Context()
			list := func() (all []string) {
				require.NoError(t, b.Each(ctx, func(digest string, size int64) error {
					all = append(all, fmt.Sprint(digest[7:15], " ", size))
					return nil
				}))
				return all
			}
			require.Empty(t, list())
			digest, size, err := b.Put(ctx, readerOf("abc"), 3)
			require.NoError(t, err)
			// FIPS 180-4, the example of SHA-256 for "abc".
			const abc = "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
			require.Equal(t, abc, digest)
			require.EqualValues(t, 3, size)
			again, _, err := b.Put(ctx, readerOf("abc"), 100)
			require.NoError(t, err)
			require.Equal(t, abc, again)
			big := bytes.Repeat([]byte("0123456789"), 250_000)
			other, _, err := b.Put(ctx, bytes.NewReader(big), int64(len(big)))
			require.NoError(t, err)
			empty, size, err := b.Put(ctx, readerOf(""), 0)
			require.NoError(t, err)
			require.Zero(t, size)
			require.ElementsMatch(t, []string{"ba7816bf 3", other[7:15] + " 2500000", empty[7:15] + " 0"}, list())

			r, size, err := b.Get(ctx, other)
			require.NoError(t, err)
			require.EqualValues(t, len(big), size)
			got, err := io.ReadAll(r)
			require.NoError(t, err)
			require.NoError(t, r.Close())
			require.True(t, bytes.Equal(big, got))
			size, err = b.Stat(ctx, abc)
			require.NoError(t, err)
			require.EqualValues(t, 3, size)
			has, err := b.Has(ctx, abc)
			require.NoError(t, err)
			require.True(t, has)

			for _, large := range []io.Reader{readerOf("abcd"), bytes.NewReader(big)} {
				_, _, err = b.Put(ctx, large, 3)
				require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
			}
			failing := errors.New("the line was cut")
			_, _, err = b.Put(ctx, io.MultiReader(readerOf("ab"), failingReader{failing}), 100)
			require.ErrorIs(t, err, failing)
			require.Len(t, list(), 3)

			missing := strings.Replace(abc, "ba", "ab", 1)
			for what, ask := range map[string]func(digest string) error{
				"Get":  func(d string) error { _, _, err := b.Get(ctx, d); return err },
				"Stat": func(d string) error { _, err := b.Stat(ctx, d); return err },
			} {
				require.Equal(t, registry.CodeNotFound, registry.CodeOf(ask(missing)), what)
				for _, bad := range []string{"", "abc", abc[7:], "sha256:" + strings.ToUpper(abc[7:]), "sha256:../../" + abc[13:],
					"sha256:..", abc + "/..", "md5:" + abc[7:]} {
					require.Equal(t, registry.CodeInvalid, registry.CodeOf(ask(bad)), "%s of %q", what, bad)
				}
			}
			has, err = b.Has(ctx, missing)
			require.NoError(t, err)
			require.False(t, has)

			require.NoError(t, b.Remove(ctx, abc))
			require.NoError(t, b.Remove(ctx, abc))
			has, err = b.Has(ctx, abc)
			require.NoError(t, err)
			require.False(t, has)
			gone, cancel := context.WithCancel(ctx)
			cancel()
			_, _, err = b.Put(gone, readerOf("x"), 5)
			require.ErrorIs(t, err, context.Canceled)
		})
	}
}

type failingReader struct{ err error }

func (f failingReader) Read([]byte) (int, error) { return 0, f.err }

func TestBlobsOnDisk(t *testing.T) {
	dir, ctx := t.TempDir(), t.Context()
	s := open(t, dir)
	digest, _, err := s.Photos().Put(ctx, readerOf("as found"), 100)
	require.NoError(t, err)
	hexes := strings.TrimPrefix(digest, "sha256:")
	path := filepath.Join(dir, "photos", hexes[:2], hexes[2:])
	stored, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "as found", string(stored))
	has, err := s.Private().Has(ctx, digest)
	require.NoError(t, err)
	require.False(t, has, "photos and private values are kept apart")

	_, _, err = s.Photos().Put(ctx, readerOf("too large"), 3)
	require.Error(t, err)
	left, err := os.ReadDir(filepath.Join(dir, "photos", "incoming"))
	require.NoError(t, err)
	require.Empty(t, left)

	require.NoError(t, os.WriteFile(path, []byte("as faked"), 0o600))
	r, _, err := s.Photos().Get(ctx, digest)
	require.NoError(t, err)
	got, err := io.ReadAll(r)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	require.Equal(t, "as faked", string(got))
	r.Close()
	_, _, err = s.Photos().Put(ctx, readerOf("as found"), 100)
	require.NoError(t, err, "putting it again mends it")
	r, _, err = s.Photos().Get(ctx, digest)
	require.NoError(t, err)
	_, err = io.ReadAll(r)
	require.NoError(t, err)
	r.Close()

	// A link in the folder cannot lead out of it.
	outside := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(outside, []byte("secret"), 0o600))
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.Symlink(outside, path))
	_, _, err = s.Photos().Get(ctx, digest)
	require.Error(t, err)
	require.NotEqual(t, registry.Code(""), registry.CodeOf(err))

	// What was cut off half-way is dropped at the next opening.
	require.NoError(t, os.WriteFile(filepath.Join(dir, "photos", "incoming", "half"), []byte("h"), 0o600))
	require.NoError(t, s.Close())
	open(t, dir)
	left, err = os.ReadDir(filepath.Join(dir, "photos", "incoming"))
	require.NoError(t, err)
	require.Empty(t, left)
}
