package backup_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/backup"
	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/store"
)

// place is a registry with little in it.
type place struct {
	t       *testing.T
	ledger  registry.Ledger
	photos  blobs
	private documents
	stored  backup.Blobs // the private values as they lie there
	dir     string       // of the registry on a disk
	secret  *age.X25519Identity
}

type blobs interface {
	backup.Blobs
	Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
}

// documents are private values; of a store on a disk, as they lie there.
type documents interface {
	PutFor(ctx context.Context, holder string, r io.Reader, limit int64) (digest string, size int64, err error)
	PutStored(ctx context.Context, digest string, r io.Reader, size int64) error
	Destroy(ctx context.Context, digests []string) error
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
}

// newPlace is in memory: the calls that fail are those on the backup's folder.
func newPlace(t *testing.T) *place {
	id, err := age.GenerateX25519Identity()
	require.NoError(t, err)
	private := ledgertest.NewMemoryBlobs()
	return &place{t: t, ledger: ledgertest.NewMemory(), photos: ledgertest.NewMemoryBlobs(), private: private, stored: private, secret: id}
}

// onDisk is newPlace in a data directory.
func onDisk(t *testing.T) *place {
	s, err := store.Open(t.TempDir(), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	p := newPlace(t)
	p.ledger, p.photos, p.private, p.stored, p.dir = s, s.Photos(), s.Private(), s.Private().Stored(), s.Dir()
	return p
}

func (p *place) add(machine string, version uint64, text string) {
	p.t.Helper()
	_, err := p.ledger.Append(p.t.Context(), registry.Commit{ID: fmt.Sprintf("%s-%d", machine, version), Machine: machine, Expect: version - 1, Events: [][]byte{[]byte(text), []byte("{}")}})
	require.NoError(p.t, err)
}

func (p *place) photo(text string) {
	p.t.Helper()
	_, _, err := p.photos.Put(p.t.Context(), strings.NewReader(text), 1<<20)
	require.NoError(p.t, err)
}

func (p *place) source() backup.Source {
	return backup.Source{Ledger: p.ledger, Photos: p.photos, Private: p.stored, Present: p.present, Registry: "key-of-this-registry"}
}

// present is the keys of a registry on a disk, or one file.
func (p *place) present(fn func(name string, content []byte) error) error {
	if p.dir == "" {
		return fn("keys/one", []byte("a key"))
	}
	return fs.WalkDir(os.DirFS(p.dir), "keys", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		content, err := os.ReadFile(filepath.Join(p.dir, name))
		if err != nil {
			return err
		}
		return fn(name, content)
	})
}

// takePresent brings the present part back into the registry's folder, or says
// which files it holds.
func (p *place) takePresent(dir backup.Folder, x *backup.Index, who *age.X25519Identity) (names []string, err error) {
	err = backup.RestorePresent(p.t.Context(), dir, x, []age.Identity{who}, func(name string, content []byte) error {
		names = append(names, name)
		if p.dir == "" {
			return nil
		}
		path := filepath.Join(p.dir, name)
		return errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, content, 0o600))
	})
	return names, err
}

func (p *place) options() backup.Options {
	return backup.Options{Recipients: []age.Recipient{p.secret.Recipient()}, Names: []string{p.secret.Recipient().String()}, Chain: "chain-1", Now: time.Unix(1_700_000_000, 0)}
}

func folder(t *testing.T) (*backup.Directory, string) {
	path := filepath.Join(t.TempDir(), "backup")
	d, err := backup.OpenDirectory(path)
	require.NoError(t, err)
	t.Cleanup(func() { d.Close() })
	return d, path
}

// contents is everything in a registry, in order.
func contents(t *testing.T, ledger registry.Ledger, blobs ...backup.Blobs) string {
	var b strings.Builder
	require.NoError(t, ledger.ReadAll(t.Context(), 0, func(r registry.Record) error {
		fmt.Fprintf(&b, "%s %s %d %q\n", r.ID, r.Machine, r.First, r.Events)
		return nil
	}))
	for _, x := range blobs {
		require.NoError(t, x.Each(t.Context(), func(digest string, size int64) error {
			r, _, err := x.Get(t.Context(), digest)
			require.NoError(t, err)
			text, err := io.ReadAll(r)
			require.NoError(t, errors.Join(err, r.Close()))
			fmt.Fprintf(&b, "%s %d %q\n", digest, size, text)
			return nil
		}))
	}
	return b.String()
}

func (p *place) contents() string {
	return contents(p.t, p.ledger, p.photos, p.stored)
}

func (p *place) target() backup.Target {
	return backup.Target{Ledger: p.ledger, Photos: p.photos, Private: p.private}
}

func TestThereAndBack(t *testing.T) {
	from, to := onDisk(t), onDisk(t)
	dir, _ := folder(t)
	from.add("one", 1, "first")
	from.photo("a picture")
	p, err := backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)
	assert.Equal(t, backup.Count{Commits: 1, Events: 2, Photos: 1}, p.Holds)

	none, err := backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)
	assert.Nil(t, none, "nothing came since")

	from.add("two", 1, "other machine")
	from.add("one", 3, "later")
	_, _, err = from.private.PutFor(t.Context(), "one/owner", strings.NewReader("a name"), 100)
	require.NoError(t, err)
	p, err = backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)
	assert.Equal(t, backup.Count{Commits: 2, Events: 4, Private: 1}, p.Holds, "only what is new")

	_, count, err := backup.Restore(t.Context(), dir, to.target(), []age.Identity{from.secret}, nil)
	require.NoError(t, err)
	assert.Equal(t, backup.Count{Commits: 3, Events: 6, Photos: 1, Private: 1}, count)
	assert.Equal(t, from.contents(), to.contents())

	// A second restore, as after one that was stopped, adds nothing.
	_, _, err = backup.Restore(t.Context(), dir, to.target(), []age.Identity{from.secret}, nil)
	require.NoError(t, err)
	assert.Equal(t, from.contents(), to.contents())
}

func TestPlainTextIsNowhere(t *testing.T) {
	from := newPlace(t)
	dir, path := folder(t)
	from.add("one", 1, "a secret sentence of the record")
	_, err := backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)
	files, err := os.ReadDir(path)
	require.NoError(t, err)
	require.Len(t, files, 4)
	for _, f := range files {
		text, err := os.ReadFile(filepath.Join(path, f.Name()))
		require.NoError(t, err)
		assert.NotContains(t, string(text), "secret sentence")
		info, err := f.Info()
		require.NoError(t, err)
		assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm(), f.Name())
	}
}

func TestRefusals(t *testing.T) {
	from := newPlace(t)
	dir, path := folder(t)
	o := from.options()
	o.Recipients = nil
	_, err := backup.Write(t.Context(), from.source(), dir, o)
	assert.Equal(t, registry.CodeInvalid, registry.CodeOf(err))

	_, _, err = backup.Restore(t.Context(), dir, newPlace(t).target(), []age.Identity{from.secret}, nil)
	assert.Equal(t, registry.CodeNotFound, registry.CodeOf(err))

	from.add("one", 1, "first")
	_, err = backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)
	from.add("one", 3, "second")
	_, err = backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)

	stranger, err := age.GenerateX25519Identity()
	require.NoError(t, err)
	_, _, err = backup.Restore(t.Context(), dir, newPlace(t).target(), []age.Identity{stranger}, nil)
	assert.Equal(t, registry.CodeRefused, registry.CodeOf(err), "%v", err)

	other := newPlace(t)
	src := other.source()
	src.Registry = "another key"
	_, err = backup.Write(t.Context(), src, dir, from.options())
	assert.Equal(t, registry.CodeConflict, registry.CodeOf(err))

	// The same key, and a ledger that went another way.
	other.add("one", 1, "something else")
	_, err = backup.Write(t.Context(), other.source(), dir, from.options())
	assert.Equal(t, registry.CodeConflict, registry.CodeOf(err))

	whole, err := os.ReadFile(filepath.Join(path, "000002.age"))
	require.NoError(t, err)
	for name, damaged := range map[string][]byte{
		"a bit flipped": flipped(whole, len(whole)/2), "cut short": whole[:len(whole)-20], "empty": {}, "gone": nil,
	} {
		file := filepath.Join(path, "000002.age")
		require.NoError(t, os.Remove(file))
		if damaged != nil {
			require.NoError(t, os.WriteFile(file, damaged, 0o600))
		}
		to := newPlace(t)
		_, _, err = backup.Restore(t.Context(), dir, to.target(), []age.Identity{from.secret}, nil)
		assert.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%s: %v", name, err)
		assert.Contains(t, err.Error(), "000002.age", name)
		if damaged == nil {
			require.NoError(t, os.WriteFile(file, whole, 0o600))
		}
	}

	// The first piece in the place of the second, with an index that agrees.
	require.NoError(t, os.WriteFile(filepath.Join(path, "000002.age"), whole, 0o600))
	first, err := os.ReadFile(filepath.Join(path, "000001.age"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(path, "000002.age"), first, 0o600))
	index, err := os.ReadFile(filepath.Join(path, "index.json"))
	require.NoError(t, err)
	x, err := backup.ReadIndex(dir)
	require.NoError(t, err)
	swapped := bytes.ReplaceAll(index, []byte(x.Pieces[1].SHA256), []byte(x.Pieces[0].SHA256))
	require.NoError(t, os.WriteFile(filepath.Join(path, "index.json"), swapped, 0o600))
	_, _, err = backup.Restore(t.Context(), dir, newPlace(t).target(), []age.Identity{from.secret}, nil)
	assert.ErrorContains(t, err, "does not follow")
}

func flipped(b []byte, at int) []byte {
	b = slices.Clone(b)
	b[at] ^= 4
	return b
}

// failing is a folder whose n-th call fails, once or from then on.
type failing struct {
	backup.Folder
	mu    sync.Mutex
	calls int
	at    int
	on    bool
}

var errDisk = errors.New("the disk gave an error")

func (f *failing) fail() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls++
	if f.calls == f.at || f.on && f.calls > f.at {
		return errDisk
	}
	return nil
}

func (f *failing) Create(name string) (backup.File, error) {
	if err := f.fail(); err != nil {
		return nil, err
	}
	inner, err := f.Folder.Create(name)
	return failingFile{inner, f}, err
}

func (f *failing) Open(name string) (io.ReadCloser, error) {
	if err := f.fail(); err != nil {
		return nil, err
	}
	return f.Folder.Open(name)
}

func (f *failing) Rename(from, to string) error {
	return errors.Join(f.fail(), f.Folder.Rename(from, to))
}
func (f *failing) Remove(name string) error {
	if err := f.fail(); err != nil {
		return err
	}
	return f.Folder.Remove(name)
}
func (f *failing) Sync() error { return errors.Join(f.fail(), f.Folder.Sync()) }

type failingFile struct {
	backup.File
	f *failing
}

func (f failingFile) Write(p []byte) (int, error) {
	if err := f.f.fail(); err != nil {
		n, _ := f.File.Write(p[:len(p)/2]) // a torn write
		return n, err
	}
	return f.File.Write(p)
}
func (f failingFile) Sync() error { return errors.Join(f.f.fail(), f.File.Sync()) }

// TestEveryCallFails fails each call on the folder in turn, once and from then
// on: the error is plain, the chain that was there can be restored, and the next
// try succeeds.
func TestEveryCallFails(t *testing.T) {
	for _, on := range []bool{false, true} {
		for at := 1; ; at++ {
			from := newPlace(t)
			dir, path := folder(t)
			from.add("one", 1, "first")
			_, err := backup.Write(t.Context(), from.source(), dir, from.options())
			require.NoError(t, err)
			before := from.contents()
			from.add("one", 3, "second")
			from.photo("a picture")

			f := &failing{Folder: dir, at: at, on: on}
			_, err = backup.Write(t.Context(), from.source(), f, from.options())
			if f.calls < at {
				require.NoError(t, err)
				require.Greater(t, at, 10, "the calls are counted")
				break
			}
			require.Error(t, err, "call %d", at)
			require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "call %d: %v", at, err)

			to := newPlace(t)
			_, _, err = backup.Restore(t.Context(), dir, to.target(), []age.Identity{from.secret}, nil)
			require.NoError(t, err, "call %d", at)
			x, err := backup.ReadIndex(dir)
			require.NoError(t, err)
			names, err := to.takePresent(dir, x, from.secret)
			require.NoError(t, err, "call %d", at)
			require.Equal(t, []string{"keys/one"}, names)
			got := to.contents()
			if got != before {
				// The failure came after the piece counted, at the very end.
				require.Equal(t, from.contents(), got, "call %d", at)
			}
			_, err = backup.Write(t.Context(), from.source(), dir, from.options())
			require.NoError(t, err, "call %d, again", at)
			again := newPlace(t)
			_, _, err = backup.Restore(t.Context(), dir, again.target(), []age.Identity{from.secret}, nil)
			require.NoError(t, err)
			require.Equal(t, from.contents(), again.contents(), "call %d", at)
			require.Len(t, presentParts(t, path), 1, "call %d: the old part is gone", at)
		}
	}
}

// TestWhileWriting backs up while others write: each backup holds a beginning
// of the ledger, and the pieces together hold all.
func TestWhileWriting(t *testing.T) {
	from := onDisk(t)
	dir, _ := folder(t)
	var writers sync.WaitGroup
	for m := range 4 {
		writers.Go(func() {
			for v := range 40 {
				_, err := from.ledger.Append(t.Context(), registry.Commit{ID: fmt.Sprintf("m%d-%d", m, v), Machine: fmt.Sprintf("m%d", m), Expect: uint64(v), Events: [][]byte{[]byte("x")}})
				assert.NoError(t, err)
			}
		})
	}
	for range 5 {
		_, err := backup.Write(t.Context(), from.source(), dir, from.options())
		require.NoError(t, err)
	}
	writers.Wait()
	_, err := backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)
	to := newPlace(t)
	_, _, err = backup.Restore(t.Context(), dir, to.target(), []age.Identity{from.secret}, nil)
	require.NoError(t, err)
	assert.Equal(t, from.contents(), to.contents())
}

func TestCancelled(t *testing.T) {
	from := newPlace(t)
	dir, path := folder(t)
	from.add("one", 1, "first")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := backup.Write(ctx, from.source(), dir, from.options())
	require.ErrorIs(t, err, context.Canceled)
	left, err := os.ReadDir(path)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// TestOtherEngine brings a backup back into another ledger.
func TestOtherEngine(t *testing.T) {
	from := onDisk(t)
	dir, _ := folder(t)
	from.add("one", 1, "first")
	from.add("two", 1, "second")
	_, err := backup.Write(t.Context(), from.source(), dir, from.options())
	require.NoError(t, err)
	to := newPlace(t)
	_, _, err = backup.Restore(t.Context(), dir, backup.Target{Ledger: to.ledger, Photos: to.photos, Private: to.private}, []age.Identity{from.secret}, nil)
	require.NoError(t, err)
	assert.Equal(t, contents(t, from.ledger), contents(t, to.ledger))
}

func presentParts(t *testing.T, path string) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(path, "present-*.age"))
	require.NoError(t, err)
	return names
}

// TestADestroyedKeyLeavesTheBackup: a person's key is destroyed, and a backup is
// made. Then nobody can read the name in any piece of the folder, be it the
// whole chain or only its beginning; what is the machine's is read as before.
func TestADestroyedKeyLeavesTheBackup(t *testing.T) {
	from := onDisk(t)
	dir, path := folder(t)
	from.add("one", 1, "first")
	name, _, err := from.private.PutFor(t.Context(), "one/owner", strings.NewReader("Imogen Aske"), 100)
	require.NoError(t, err)
	shelf, _, err := from.private.PutFor(t.Context(), "one", strings.NewReader("shelf 3"), 100)
	require.NoError(t, err)
	write := func() {
		t.Helper()
		_, err := backup.Write(t.Context(), from.source(), dir, from.options())
		require.NoError(t, err)
		require.Len(t, presentParts(t, path), 1)
	}
	write()
	early, err := os.ReadFile(filepath.Join(path, "index.json"))
	require.NoError(t, err)

	// restored reads a value after bringing the folder back as an index says.
	restored := func(index []byte, digest string) string {
		t.Helper()
		to := onDisk(t)
		copied := filepath.Join(t.TempDir(), "copy")
		require.NoError(t, os.CopyFS(copied, os.DirFS(path)))
		require.NoError(t, os.WriteFile(filepath.Join(copied, "index.json"), index, 0o600))
		back, err := backup.OpenDirectory(copied)
		require.NoError(t, err)
		defer back.Close()
		x, _, err := backup.Restore(t.Context(), back, to.target(), []age.Identity{from.secret}, nil)
		require.NoError(t, err)
		if _, err := to.takePresent(back, x, from.secret); err != nil {
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			// The old index names a part that is gone. The new part may be tried.
			now, err := backup.ReadIndex(dir)
			require.NoError(t, err)
			_, err = to.takePresent(back, now, from.secret)
			require.NoError(t, err)
		}
		r, _, err := to.private.Get(t.Context(), digest)
		if err != nil {
			require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
			return ""
		}
		text, err := io.ReadAll(r)
		require.NoError(t, errors.Join(err, r.Close()))
		return string(text)
	}
	require.Equal(t, "Imogen Aske", restored(early, name), "until then it is read")

	require.NoError(t, from.private.Destroy(t.Context(), []string{name}))
	from.add("one", 3, "the erasure")
	write()
	late, err := os.ReadFile(filepath.Join(path, "index.json"))
	require.NoError(t, err)
	require.Contains(t, string(late), "000002.age")
	for what, index := range map[string][]byte{"all of it": late, "its beginning": early} {
		require.Empty(t, restored(index, name), what)
		require.Equal(t, "shelf 3", restored(index, shelf), what)
	}

	// With nothing new to write, the part is replaced all the same.
	other, _, err := from.private.PutFor(t.Context(), "two/owner", strings.NewReader("Winifred Aske"), 100)
	require.NoError(t, err)
	write()
	before, err := os.ReadFile(presentParts(t, path)[0])
	require.NoError(t, err)
	require.NoError(t, from.private.Destroy(t.Context(), []string{other}))
	write()
	after, err := os.ReadFile(presentParts(t, path)[0])
	require.NoError(t, err)
	require.NotEqual(t, before, after)
}
