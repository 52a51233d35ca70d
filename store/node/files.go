package node

import (
	"bytes"
	"context"
	"io"
	"slices"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// Files keeps files by their digest, as store.Blobs does.
type Files interface {
	Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	Has(ctx context.Context, digest string) (bool, error)
	Each(ctx context.Context, fn func(digest string, size int64) error) error
}

// PrivateFiles are a vault's values, and tell what came and went.
type PrivateFiles interface {
	store.SealedFiles
	// Changes is as in jetstream.Blobs.
	Changes(ctx context.Context, place uint64, fn func(digest string, size int64, removed bool) error) (uint64, error)
}

// Keys are a vault's keys, and tell what was written.
type Keys interface {
	store.KeyFiles
	// Changes is as in jetstream.Keys.
	Changes(ctx context.Context, place uint64, fn func(name string, raw []byte) error) (uint64, error)
}

// photos are the cluster's: they are many and large, and are not copied.
type photos struct {
	Files
	node *Node
}

// Get opens a picture. While the cluster was found not to answer, nobody waits
// for it as long as otherwise: one server may still have the picture, or none.
func (p photos) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	if !p.node.isDown() {
		return p.Files.Get(ctx, digest)
	}
	quick, cancel := context.WithTimeout(ctx, answerWithin)
	r, size, err := p.Files.Get(quick, digest)
	if err != nil {
		cancel()
		return nil, 0, plain(err)
	}
	return &bounded{r, cancel}, size, nil
}

// bounded is a file that is read under a deadline.
type bounded struct {
	io.ReadCloser
	cancel context.CancelFunc
}

// Close implements io.Closer.
func (b *bounded) Close() error {
	b.cancel()
	return b.ReadCloser.Close()
}

// Photos gives the store of photographs and documents.
func (n *Node) Photos() Files { return n.photos }

// Private gives the store of private values. Values and keys are few and small,
// and no page can do without them: they are copied as the ledger is, and
// destroyed in the copy as soon as they were in the cluster.
func (n *Node) Private() *store.Vault { return n.vault }

// copyPrivate copies what came, and removes what went, since the last time: keys
// first, so that a value which is there can be read.
func (n *Node) copyPrivate(ctx context.Context) error {
	values, keys, scrub := n.Store.Private().Parts()
	place, err := n.remote.Keys.Changes(ctx, n.keyPlace, func(name string, raw []byte) error {
		if isNote(name) {
			return nil
		}
		was, err := keys.Load(ctx, name, "")
		switch {
		case err == nil && bytes.Equal(was, raw):
			return nil
		case err == nil:
			err = scrub() // a key was destroyed
		case registry.CodeOf(err) == registry.CodeNotFound:
			err = nil
		}
		if err == nil {
			err = n.Store.Private().PutKey(ctx, name, raw)
		}
		n.vault.Forget()
		if code := registry.CodeOf(err); code == registry.CodeTampered || code == registry.CodeConflict {
			n.o.Warn(err.Error()) // the audit says so too
			return nil
		}
		return err
	})
	if n.keyPlace = max(n.keyPlace, place); err != nil {
		return err
	}
	place, err = n.remote.Private.Changes(ctx, n.place, func(digest string, size int64, removed bool) error {
		if removed {
			return values.Remove(ctx, digest)
		}
		// One that was plain and is sealed now has another size.
		if was, err := values.Stat(ctx, digest); err == nil && was == size {
			return nil
		}
		raw, err := n.remote.Private.Raw(ctx, digest)
		if registry.CodeOf(err) == registry.CodeNotFound {
			return nil // removed meanwhile, which comes next
		}
		if err != nil {
			return err
		}
		return values.Set(ctx, digest, raw)
	})
	n.place = max(n.place, place)
	return err
}

// sealed are the values: written in the cluster first, read in the copy first.
type sealed struct {
	PrivateFiles
	copy store.SealedFiles
	node *Node
}

// Set stores a value in the cluster and in the copy.
func (s sealed) Set(ctx context.Context, digest string, raw []byte) error {
	if err := s.PrivateFiles.Set(ctx, digest, raw); err != nil {
		return err
	}
	return s.copy.Set(ctx, digest, raw)
}

// Raw reads a value from the copy, or, if it is not there yet, from the cluster.
func (s sealed) Raw(ctx context.Context, digest string) ([]byte, error) {
	raw, err := s.copy.Raw(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound && !s.node.isDown() {
		return s.PrivateFiles.Raw(ctx, digest)
	}
	return raw, err
}

// Has says whether a value is kept. While the cluster does not answer, the copy
// alone is asked.
func (s sealed) Has(ctx context.Context, digest string) (bool, error) {
	has, err := s.copy.Has(ctx, digest)
	if has || err != nil || s.node.isDown() {
		return has, err
	}
	return s.PrivateFiles.Has(ctx, digest)
}

// Remove forgets a value for good, in the cluster first.
func (s sealed) Remove(ctx context.Context, digest string) error {
	if err := s.PrivateFiles.Remove(ctx, digest); err != nil {
		return err
	}
	return s.copy.Remove(ctx, digest)
}

// keys are written in the cluster first, and read in the copy first. Notes stand
// in both: each node finishes what it began, and another may.
type keys struct {
	Keys
	copy store.KeyFiles
	node *Node
}

func isNote(name string) bool { return strings.HasPrefix(name, "_") }

// Load reads a file from the copy, or, where that is not the latest, from the
// cluster.
func (k keys) Load(ctx context.Context, name, text string) ([]byte, error) {
	if k.node.isDown() {
		return k.copy.Load(ctx, name, text)
	}
	raw, err := k.copy.Load(ctx, name, text)
	if isNote(name) || registry.CodeOf(err) == registry.CodeNotFound || err == nil && !bytes.Contains(raw, []byte(text)) {
		return k.Keys.Load(ctx, name, text)
	}
	return raw, err
}

// Change implements store.KeyFiles.
func (k keys) Change(ctx context.Context, name string, shred bool, fn func(old []byte) ([]byte, error)) error {
	var next []byte
	if err := k.Keys.Change(ctx, name, shred, func(old []byte) (_ []byte, err error) {
		next, err = fn(old)
		return next, err
	}); err != nil {
		return err
	}
	if isNote(name) {
		return k.copy.Change(ctx, name, shred, func([]byte) ([]byte, error) { return next, nil })
	}
	return k.node.Store.Private().PutKey(ctx, name, next)
}

// Remove implements store.KeyFiles.
func (k keys) Remove(ctx context.Context, name string) error {
	if err := k.Keys.Remove(ctx, name); err != nil {
		return err
	}
	return k.copy.Remove(ctx, name)
}

// Names lists what the copy knows, and, unless that is out of reach, the cluster.
func (k keys) Names(ctx context.Context, prefix string) ([]string, error) {
	out, err := k.copy.Names(ctx, prefix)
	if err != nil || k.node.isDown() {
		return out, err
	}
	more, err := k.Keys.Names(ctx, prefix)
	out = append(out, more...)
	slices.Sort(out)
	return slices.Compact(out), err
}

// isDown says whether the cluster is out of use just now.
func (n *Node) isDown() bool {
	_, down := n.State()
	return down != nil
}
