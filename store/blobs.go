package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// Blobs keeps files by what they hold: the name of a file is the SHA-256 of its
// bytes. The file "sha256:abcdef…" lies at ab/cdef…, and nothing that is asked
// for can lead out of the folder.
type Blobs struct {
	folder string
	root   *os.Root
	space  space
}

const (
	incoming  = "incoming" // half-written files, dropped at the next opening
	algorithm = "sha256:"
)

// OpenBlobs opens the folder of that name in the data directory, making it when
// there is none. Of the options it uses the reserve of free space.
func OpenBlobs(dir, folder string, o Options) (*Blobs, error) {
	if o.free == nil {
		o.free = freeBytes
	}
	if o.Reserve == 0 {
		o.Reserve = DefaultReserve
	}
	full := filepath.Join(dir, folder)
	err := os.Mkdir(full, 0o700)
	if err == nil {
		err = errors.Join(os.Mkdir(filepath.Join(full, incoming), 0o700), syncDirectory(full), syncDirectory(dir))
	}
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, internal("making "+full, err)
	}
	root, err := os.OpenRoot(full)
	if err != nil {
		return nil, internal("opening "+full, err)
	}
	if err := emptyIncoming(root, o.Shared); err != nil {
		return nil, internal("preparing "+full, errors.Join(err, root.Close()))
	}
	return &Blobs{folder: full, root: root, space: space{dir, o.Reserve, o.free}}, nil
}

// halfWritten is the longest that writing one file may take where others write
// beside.
const halfWritten = 24 * time.Hour

// emptyIncoming drops what was half-written when the process last ended; in a
// shared folder, what nobody can be writing any more.
func emptyIncoming(root *os.Root, shared bool) error {
	left, err := fs.ReadDir(root.FS(), incoming)
	if errors.Is(err, fs.ErrNotExist) {
		return root.Mkdir(incoming, 0o700)
	}
	for _, f := range left {
		if info, infoErr := f.Info(); shared && (infoErr != nil || time.Since(info.ModTime()) < halfWritten) {
			continue
		}
		err = errors.Join(err, root.RemoveAll(path.Join(incoming, f.Name())))
	}
	return err
}

// Close lets go of the folder.
func (b *Blobs) Close() error { return b.root.Close() }

// place is where the file of a digest lies.
func place(digest string) (dir, name string, err error) {
	if !registry.CheckDigest(digest) {
		return "", "", registry.Refuse(registry.CodeInvalid, `Give "sha256:" and 64 figures of 0-9, a-f.`,
			"A stored file cannot be named %.80q", digest)
	}
	h := strings.TrimPrefix(digest, algorithm)
	return h[:2], path.Join(h[:2], h[2:]), nil
}

// Put stores what r gives, at most limit bytes, and answers with its digest and
// size. When it returns the file is on stable storage. Putting the same bytes
// again changes nothing, but mends a damaged copy. Codes: CodeTooLarge past the
// limit, CodeBusy on a nearly full disk; then nothing is kept.
func (b *Blobs) Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error) {
	if err := single(errors.Join(ctx.Err(), b.space.check(0))); err != nil {
		return "", 0, err
	}
	sum := sha256.New()
	temp, err := b.write(func(w io.Writer) error {
		size, err = b.receive(ctx, io.MultiWriter(w, sum), r, limit)
		return err
	})
	if err != nil {
		return "", 0, single(err)
	}
	digest = algorithm + hex.EncodeToString(sum.Sum(nil))
	return digest, size, b.settle(temp, digest)
}

// set stores bytes under a digest that need not be their own, in place of what
// was there: after a power cut either is there, and whole.
func (b *Blobs) set(digest string, data []byte) error {
	temp, err := b.write(func(w io.Writer) error { _, err := w.Write(data); return err })
	if err != nil {
		return single(err)
	}
	return b.settle(temp, digest)
}

// write fills a new file and brings it to the disk; it has no name of its own yet.
func (b *Blobs) write(fill func(io.Writer) error) (temp string, err error) {
	temp = path.Join(incoming, rand.Text())
	f, err := b.root.OpenFile(temp, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return "", internal("storing a file", err)
	}
	err = fill(f)
	if err == nil {
		err = internal("storing a file", f.Sync())
	}
	if err = errors.Join(err, f.Close()); err != nil {
		_ = b.root.Remove(temp)
	}
	return temp, err
}

// settle gives a written file the name of a digest.
func (b *Blobs) settle(temp, digest string) error {
	dir, name, err := place(digest)
	if err != nil {
		return err
	}
	err = b.root.Mkdir(dir, 0o700)
	made := err == nil
	if errors.Is(err, fs.ErrExist) {
		err = nil
	}
	if err == nil {
		err = b.root.Rename(temp, name)
	}
	if err != nil {
		_ = b.root.Remove(temp)
	}
	if err == nil {
		err = b.syncFolder(dir)
	}
	if err == nil && made {
		err = b.syncFolder(".")
	}
	return internal("storing a file", err)
}

// single unwraps a joined error of one part, so that its sentence stays plain.
func single(err error) error {
	if j, ok := err.(interface{ Unwrap() []error }); ok && len(j.Unwrap()) == 1 {
		return j.Unwrap()[0]
	}
	return err
}

// receive copies, looking at the limit, the context and the disk as it goes.
func (b *Blobs) receive(ctx context.Context, w io.Writer, r io.Reader, limit int64) (size int64, err error) {
	const step = 1 << 20
	for {
		if err := single(errors.Join(ctx.Err(), b.space.check(0))); err != nil {
			return size, err
		}
		n, err := io.CopyN(w, r, min(step, limit-size+1))
		size += n
		if size > limit {
			return size, registry.Refuse(registry.CodeTooLarge, "Give a smaller file.",
				"The file is larger than %d bytes", limit)
		}
		if err == io.EOF {
			return size, nil
		}
		if err != nil {
			return size, internal("receiving a file", err)
		}
	}
}

func (b *Blobs) syncFolder(name string) error {
	d, err := b.root.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// open finds the file of a digest.
func (b *Blobs) open(ctx context.Context, digest string) (*os.File, int64, error) {
	if err := ctx.Err(); err != nil {
		return nil, 0, err
	}
	_, name, err := place(digest)
	if err != nil {
		return nil, 0, err
	}
	f, err := b.root.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, registry.Refuse(registry.CodeNotFound, "", "There is no stored file %s", digest)
	}
	if err != nil {
		return nil, 0, internal("opening a stored file", err)
	}
	info, err := f.Stat()
	if err != nil {
		return nil, 0, internal("opening a stored file", errors.Join(err, f.Close()))
	}
	return f, info.Size(), nil
}

// Get opens a stored file and gives its size in bytes. Reading checks the
// digest on the way: after the last byte of a file that was changed there comes
// CodeTampered in place of io.EOF, so a reader must not trust what it got
// before it has seen io.EOF.
func (b *Blobs) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	f, size, err := b.open(ctx, digest)
	if err != nil {
		return nil, 0, err
	}
	return &verifying{f: f, sum: sha256.New(), digest: digest}, size, nil
}

// verifying is a file that is hashed while it is read.
type verifying struct {
	f      *os.File
	sum    hash.Hash
	digest string
}

func (v *verifying) Read(p []byte) (int, error) {
	n, err := v.f.Read(p)
	v.sum.Write(p[:n])
	if err == io.EOF && algorithm+hex.EncodeToString(v.sum.Sum(nil)) != v.digest {
		err = registry.Refuse(registry.CodeTampered, "Put the file back from a copy.",
			"The stored file %s was changed", v.digest)
	}
	return n, err
}

func (v *verifying) Close() error { return v.f.Close() }

// Has says whether the file is stored.
func (b *Blobs) Has(ctx context.Context, digest string) (bool, error) {
	_, err := b.Stat(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return false, nil
	}
	return err == nil, err
}

// Stat gives the stored file's size in bytes.
func (b *Blobs) Stat(ctx context.Context, digest string) (int64, error) {
	f, size, err := b.open(ctx, digest)
	if err != nil {
		return 0, err
	}
	return size, f.Close()
}

// Remove forgets a file for good, as the person that a private value belongs to
// may ask. Removing what is not there is no error.
func (b *Blobs) Remove(ctx context.Context, digest string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	dir, name, err := place(digest)
	if err != nil {
		return err
	}
	err = b.root.Remove(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil {
		err = b.syncFolder(dir)
	}
	return internal("removing a stored file", err)
}

// Each calls fn for every stored file in the order of the digests. Files that
// do not belong there are passed over.
func (b *Blobs) Each(ctx context.Context, fn func(digest string, size int64) error) error {
	tree := b.root.FS()
	folders, err := fs.ReadDir(tree, ".")
	if err != nil {
		return internal("listing the stored files", err)
	}
	for _, folder := range folders {
		if len(folder.Name()) != 2 || !folder.IsDir() {
			continue
		}
		files, err := fs.ReadDir(tree, folder.Name())
		if err != nil {
			return internal("listing the stored files", err)
		}
		for _, f := range files {
			digest := algorithm + folder.Name() + f.Name()
			if !registry.CheckDigest(digest) || !f.Type().IsRegular() {
				continue
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			info, err := f.Info()
			if errors.Is(err, fs.ErrNotExist) {
				continue // removed meanwhile
			}
			if err != nil {
				return internal("listing the stored files", err)
			}
			if err := fn(digest, info.Size()); err != nil {
				return err
			}
		}
	}
	return nil
}
