package node

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"

	"example.org/asfound/registry"
)

// Files keeps files by their digest, as store.Blobs does.
type Files interface {
	Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	Has(ctx context.Context, digest string) (bool, error)
	Each(ctx context.Context, fn func(digest string, size int64) error) error
}

// PrivateFiles can forget, and tells what came and went.
type PrivateFiles interface {
	Files
	Remove(ctx context.Context, digest string) error
	// Changes is as in jetstream.Blobs.
	Changes(ctx context.Context, place uint64, fn func(digest string, size int64, removed bool) error) (uint64, error)
}

// photos are the cluster's: they are many and large, and are not copied.
type photos struct {
	Files
	node *Node
}

// Get opens a picture. While the cluster was found not to answer, nobody waits
// for it as long as otherwise: one server may still have the picture, or none.
func (p photos) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	if _, down := p.node.State(); down == nil {
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

// private values are few and small, and no page can do without them: they are
// copied as the ledger is, and removed from the copy as soon as they were
// removed from the cluster.
type private struct {
	PrivateFiles
	node *Node
}

// Private gives the store of private values, which may be removed.
func (n *Node) Private() PrivateFiles { return n.private }

// maxPrivateBytes is more than any private value has.
const maxPrivateBytes = 1 << 20

// copyPrivate copies what came, and removes what went, since the last time.
func (n *Node) copyPrivate(ctx context.Context) error {
	place, err := n.remote.Private.Changes(ctx, n.place, func(digest string, _ int64, removed bool) error {
		if removed {
			return n.Store.Private().Remove(ctx, digest)
		}
		if has, err := n.Store.Private().Has(ctx, digest); has || err != nil {
			return err
		}
		r, _, err := n.remote.Private.Get(ctx, digest)
		if registry.CodeOf(err) == registry.CodeNotFound {
			return nil // removed meanwhile, which comes next
		}
		if err != nil {
			return err
		}
		defer r.Close()
		_, _, err = n.Store.Private().Put(ctx, r, maxPrivateBytes)
		return err
	})
	n.place = max(n.place, place)
	return err
}

// Put stores a value in the cluster and in the copy.
func (p private) Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error) {
	var kept bytes.Buffer
	if digest, size, err = p.PrivateFiles.Put(ctx, io.TeeReader(r, &kept), limit); err != nil {
		return digest, size, err
	}
	return p.node.Store.Private().Put(ctx, &kept, limit)
}

// Get reads a value from the copy, or, if it is not there yet, from the cluster.
func (p private) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	r, size, err := p.node.Store.Private().Get(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound || errors.Is(err, fs.ErrNotExist) {
		return p.PrivateFiles.Get(ctx, digest)
	}
	return r, size, err
}

// Has says whether a value is kept. While the cluster does not answer, the copy
// alone is asked.
func (p private) Has(ctx context.Context, digest string) (bool, error) {
	has, err := p.node.Store.Private().Has(ctx, digest)
	if _, down := p.node.State(); has || err != nil || down != nil {
		return has, err
	}
	return p.PrivateFiles.Has(ctx, digest)
}

// Remove forgets a value for good, in the cluster first.
func (p private) Remove(ctx context.Context, digest string) error {
	if err := p.PrivateFiles.Remove(ctx, digest); err != nil {
		return err
	}
	return p.node.Store.Private().Remove(ctx, digest)
}
