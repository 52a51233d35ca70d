package store

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sys/unix"

	"example.org/asfound/registry"
)

// SealedFiles is where a Vault keeps values: stored bytes under the digest of
// their plain ones.
type SealedFiles interface {
	// Raw gives the stored bytes; CodeNotFound when there are none.
	Raw(ctx context.Context, digest string) ([]byte, error)
	// Set stores bytes, on stable storage, in place of what was there.
	Set(ctx context.Context, digest string, raw []byte) error
	Has(ctx context.Context, digest string) (bool, error)
	// Stat gives the number of stored bytes; CodeNotFound when there are none.
	Stat(ctx context.Context, digest string) (int64, error)
	Each(ctx context.Context, fn func(digest string, size int64) error) error
	Remove(ctx context.Context, digest string) error
}

// KeyFiles is where a Vault keeps keys and notes, under names such as
// "drover/person-owner.key" and "_complete".
type KeyFiles interface {
	// Load gives a file; CodeNotFound when there is none. Where copies may be
	// old, one without the text in it is not taken for the latest.
	Load(ctx context.Context, name, text string) ([]byte, error)
	// Change replaces a file, on stable storage, by what fn makes of it, nil
	// being none, while nobody else changes it; fn may be called again. When
	// shred is set, the old bytes are overwritten where that can be done.
	Change(ctx context.Context, name string, shred bool, fn func(old []byte) ([]byte, error)) error
	// Remove removes a note; one that is not there is no error.
	Remove(ctx context.Context, name string) error
	// Names lists what begins with a prefix.
	Names(ctx context.Context, prefix string) ([]string, error)
}

// sealedFolder is SealedFiles in a folder.
type sealedFolder struct{ *Blobs }

// Set implements SealedFiles.
func (f sealedFolder) Set(ctx context.Context, digest string, raw []byte) error {
	if err := single(errors.Join(ctx.Err(), f.space.check(0))); err != nil {
		return err
	}
	return f.set(digest, raw)
}

// Raw implements SealedFiles.
func (f sealedFolder) Raw(ctx context.Context, digest string) ([]byte, error) {
	file, size, err := f.open(ctx, digest)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return readRaw(digest, file, size)
}

// KeysFolder holds the keys of the private values, a file a holder.
const KeysFolder = "keys"

// keyFolder is KeyFiles in a folder.
type keyFolder struct {
	dir    string
	shared bool // with other processes, perhaps on other machines
	mu     sync.Mutex
}

func (f *keyFolder) path(name string) string { return filepath.Join(f.dir, filepath.FromSlash(name)) }

// Load implements KeyFiles.
func (f *keyFolder) Load(_ context.Context, name, _ string) ([]byte, error) {
	raw, err := os.ReadFile(f.path(name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, NoKeyFile(name)
	}
	return raw, internal("reading a key", err)
}

// NoKeyFile says that there is no such file of keys.
func NoKeyFile(name string) error {
	return registry.Refuse(registry.CodeNotFound, "", "There is no file %s of keys", name)
}

// Change implements KeyFiles.
func (f *keyFolder) Change(ctx context.Context, name string, shred bool, fn func(old []byte) ([]byte, error)) (err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.shared {
		turn, err := f.wait()
		if err != nil {
			return err
		}
		defer turn.Close()
	}
	was, err := f.Load(ctx, name, "")
	if err != nil && registry.CodeOf(err) != registry.CodeNotFound {
		return err
	}
	there := err == nil
	next, err := fn(was)
	if err != nil || there && bytes.Equal(was, next) {
		return err
	}
	file := f.path(name)
	var old *os.File
	if shred && there {
		if old, err = os.OpenFile(file, os.O_WRONLY, 0); err != nil {
			old = nil
		} else {
			defer old.Close()
		}
	}
	if len(next) == 0 { // a note, all of which is its name
		return internal("making a note", errors.Join(os.WriteFile(file, nil, 0o600), syncDirectory(f.dir)))
	}
	if err := errors.Join(makeSynced(filepath.Dir(file)), writeAtomically(file, next)); err != nil {
		return internal("writing a key", err)
	}
	if old != nil {
		_, _ = old.WriteAt(make([]byte, len(was)), 0) // its name is gone already
		_ = old.Sync()
	}
	return nil
}

// wait takes the turn among the processes that share the folder.
func (f *keyFolder) wait() (*os.File, error) {
	turn, err := os.OpenFile(f.path("_turn"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, internal("opening the lock file", err)
	}
	for {
		err = unix.Flock(int(turn.Fd()), unix.LOCK_EX)
		if !errors.Is(err, unix.EINTR) {
			break
		}
	}
	if err != nil {
		turn.Close()
		return nil, internal("locking the keys", err)
	}
	return turn, nil
}

// Remove implements KeyFiles.
func (f *keyFolder) Remove(_ context.Context, name string) error {
	err := os.Remove(f.path(name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil {
		err = syncDirectory(filepath.Dir(f.path(name)))
	}
	return internal("removing a note", err)
}

// Names implements KeyFiles.
func (f *keyFolder) Names(_ context.Context, prefix string) ([]string, error) {
	tree := os.DirFS(f.dir)
	var out []string
	for _, pattern := range []string{"*", path.Join("*", "*.key")} {
		names, err := fs.Glob(tree, pattern)
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			info, err := fs.Stat(tree, name)
			if err == nil && info.Mode().IsRegular() && strings.HasPrefix(name, prefix) {
				out = append(out, name)
			}
		}
	}
	slices.Sort(out)
	return out, nil
}
