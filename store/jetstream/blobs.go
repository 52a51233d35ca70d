package jetstream

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"example.org/asfound/registry"
)

const algorithm = "sha256:"

// Blobs keeps files by what they hold in one object store of the cluster: the
// name of an object is the SHA-256 of its bytes. Nothing is ever removed.
type Blobs struct {
	s      *Store
	bucket string
	stream *stream
}

func newBlobs(s *Store, bucket string) *Blobs {
	return &Blobs{s: s, bucket: bucket, stream: &stream{s: s, name: "OBJ_" + bucket}}
}

// PrivateBlobs is a Blobs that can forget. As store.SealedFiles, it keeps bytes
// under digests that are not their own.
type PrivateBlobs struct{ *Blobs }

// nameOf is what the object of a digest is called.
func nameOf(digest string) (string, error) {
	if !registry.CheckDigest(digest) {
		return "", registry.Refuse(registry.CodeInvalid, `Give "sha256:" and 64 figures of 0-9, a-f.`,
			"A stored file cannot be named %.80q", digest)
	}
	return strings.TrimPrefix(digest, algorithm), nil
}

// metaSubject is where the object store keeps what it knows of an object.
func (b *Blobs) metaSubject(name string) string {
	return "$O." + b.bucket + ".M." + base64.URLEncoding.EncodeToString([]byte(name))
}

// pieces is where the object store keeps the bytes of an object.
func (b *Blobs) pieces(nuid string) string { return "$O." + b.bucket + ".C." + nuid }

// Put stores what r gives, at most limit bytes, and answers with its digest and
// size. When it returns, a majority of the servers has it on stable storage.
// Putting the same bytes again changes nothing, but mends a damaged copy.
// Codes: CodeTooLarge past the limit, CodeBusy without a majority.
func (b *Blobs) Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error) {
	if err := b.s.alive(ctx); err != nil {
		return "", 0, err
	}
	// An object's name comes before its bytes, and here it follows from them.
	held, err := os.CreateTemp("", "asfound-file-")
	if err != nil {
		return "", 0, err
	}
	defer func() { err = errors.Join(err, held.Close(), os.Remove(held.Name())) }()
	sum := sha256.New()
	size, err = io.Copy(io.MultiWriter(held, sum), io.LimitReader(r, limit+1))
	if err != nil {
		return "", 0, fmt.Errorf("receiving a file: %w", err)
	}
	if size > limit {
		return "", size, registry.Refuse(registry.CodeTooLarge, "Give a smaller file.", "The file is larger than %d bytes", limit)
	}
	name := hex.EncodeToString(sum.Sum(nil))
	digest = algorithm + name
	if whole, err := b.whole(ctx, digest); whole || err != nil {
		return digest, size, err
	}
	err = b.s.persistFor(ctx, b.s.patience+carrying(size), func(ctx context.Context) error {
		if _, err := held.Seek(0, io.SeekStart); err != nil {
			return err
		}
		bucket, err := b.s.js.ObjectStore(ctx, b.bucket)
		if err != nil {
			return err
		}
		_, err = bucket.Put(ctx, jetstream.ObjectMeta{Name: name}, held)
		return err
	})
	return digest, size, err
}

// carrying is how long a file may take on its way into the cluster, over a line
// of 256 KiB a second.
func carrying(size int64) time.Duration { return time.Duration(size) * time.Second / (256 << 10) }

// whole says whether a file is stored and reads as it should.
func (b *Blobs) whole(ctx context.Context, digest string) (bool, error) {
	r, _, err := b.Get(ctx, digest)
	if err == nil {
		_, err = io.Copy(io.Discard, r)
		err = errors.Join(err, r.Close())
	}
	switch registry.CodeOf(err) {
	case registry.CodeNotFound, registry.CodeTampered:
		return false, nil
	}
	return err == nil, err
}

// info gives what the object store knows of a file. A copy that lags behind may
// not have it yet, so the leader is asked before it is called missing.
func (b *Blobs) info(ctx context.Context, digest string) (*jetstream.ObjectInfo, error) {
	if err := b.s.alive(ctx); err != nil {
		return nil, err
	}
	name, err := nameOf(digest)
	if err != nil {
		return nil, err
	}
	var data []byte
	err = b.s.persist(ctx, func(ctx context.Context) error {
		near, err := b.stream.batch(ctx, 1, b.metaSubject(name))
		if err == nil && len(near) > 0 {
			data = near[len(near)-1].Data
			return nil
		}
		m, err := b.stream.leaderOnce(ctx, last(b.metaSubject(name)))
		data = m.data
		return err
	})
	if errors.Is(err, errNone) {
		return nil, notStored(digest)
	}
	if err != nil {
		return nil, err
	}
	info := new(jetstream.ObjectInfo)
	if err := json.Unmarshal(data, info); err != nil {
		return nil, changed(digest)
	}
	if info.Deleted {
		return nil, notStored(digest)
	}
	return info, nil
}

func notStored(digest string) error {
	return registry.Refuse(registry.CodeNotFound, "", "No file %s is stored", digest)
}

func changed(digest string) error {
	return registry.Refuse(registry.CodeTampered, "Put the file back from a copy.", "The stored file %s was changed", digest)
}

// Get opens a stored file and gives its size in bytes. Reading checks the
// digest on the way: after the last byte of a file that was changed there comes
// CodeTampered in place of io.EOF, so a reader must not trust what it got
// before it has seen io.EOF. It is read from any copy, without a leader.
func (b *Blobs) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	info, err := b.info(ctx, digest)
	if err != nil {
		return nil, 0, err
	}
	return b.read(ctx, info, digest), int64(info.Size), nil
}

// read reads what an object holds, which has a digest.
func (b *Blobs) read(ctx context.Context, info *jetstream.ObjectInfo, digest string) *reading {
	return &reading{ctx: ctx, blobs: b, subject: b.pieces(info.NUID), left: int64(info.Size), sum: sha256.New(), digest: digest}
}

// reading is a file on its way out of the cluster.
type reading struct {
	ctx     context.Context
	blobs   *Blobs
	subject string
	after   uint64 // sequence of the last piece that was read
	left    int64  // bytes that are still to come
	piece   bytes.Buffer
	sum     hash.Hash
	digest  string
}

// Read implements io.Reader.
func (r *reading) Read(p []byte) (int, error) {
	if r.piece.Len() == 0 && r.left > 0 {
		if err := r.more(); err != nil {
			return 0, err
		}
	}
	if r.piece.Len() == 0 {
		if algorithm+hex.EncodeToString(r.sum.Sum(nil)) != r.digest {
			return 0, changed(r.digest)
		}
		return 0, io.EOF
	}
	n, _ := r.piece.Read(p)
	r.sum.Write(p[:n])
	return n, nil
}

// more fetches the next pieces. The copy that is asked may lag behind.
func (r *reading) more() error {
	err := r.blobs.s.persist(r.ctx, func(ctx context.Context) error {
		some, err := r.blobs.stream.batch(ctx, r.after+1, r.subject)
		if err != nil {
			return err
		}
		if len(some) == 0 {
			return errors.New("a piece of a file is not there")
		}
		for _, m := range some {
			if m.Sequence > r.after {
				r.piece.Write(m.Data)
				r.left -= int64(len(m.Data))
				r.after = m.Sequence
			}
		}
		return nil
	})
	// When the leader answers, and has no such piece, the file was cut.
	if registry.CodeOf(err) == registry.CodeBusy {
		if _, asked := r.blobs.stream.leader(r.ctx, map[string]any{"seq": r.after + 1, "next_by_subj": r.subject}); errors.Is(asked, errNone) {
			return changed(r.digest)
		}
	}
	return err
}

// Close implements io.Closer.
func (r *reading) Close() error { return nil }

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
	info, err := b.info(ctx, digest)
	if err != nil {
		return 0, err
	}
	return int64(info.Size), nil
}

// Each calls fn for every stored file in the order of the digests. Objects that
// do not belong there are passed over.
func (b *Blobs) Each(ctx context.Context, fn func(digest string, size int64) error) error {
	stored := map[string]int64{}
	if _, err := b.Changes(ctx, 0, func(digest string, size int64, removed bool) error {
		if delete(stored, digest); !removed {
			stored[digest] = size
		}
		return nil
	}); err != nil {
		return err
	}
	for _, digest := range slices.Sorted(maps.Keys(stored)) {
		if err := b.s.alive(ctx); err != nil {
			return err
		}
		if err := fn(digest, stored[digest]); err != nil {
			return err
		}
	}
	return nil
}

// Changes calls fn for every file that was stored or removed after a place in
// the order of these changes, 0 for all, and gives the place that it came to. A
// file that changed several times comes once, as it is now. What was changed a
// moment ago may come with the next call.
func (b *Blobs) Changes(ctx context.Context, place uint64, fn func(digest string, size int64, removed bool) error) (uint64, error) {
	return b.stream.changes(ctx, place, "$O."+b.bucket+".M.>", func(m *jetstream.RawStreamMsg) error {
		var info jetstream.ObjectInfo
		if json.Unmarshal(m.Data, &info) != nil || !registry.CheckDigest(algorithm+info.Name) {
			return nil // none of ours
		}
		return fn(algorithm+info.Name, int64(info.Size), info.Deleted)
	})
}

// Raw gives the stored bytes of a value, which are not those of its name when it
// is sealed. CodeTampered when they are not as they were stored.
func (b *PrivateBlobs) Raw(ctx context.Context, digest string) ([]byte, error) {
	info, err := b.info(ctx, digest)
	if err != nil {
		return nil, err
	}
	sum, err := jetstream.DecodeObjectDigest(info.Digest)
	if err != nil {
		return nil, changed(digest)
	}
	raw, err := io.ReadAll(b.read(ctx, info, algorithm+hex.EncodeToString(sum)))
	if registry.CodeOf(err) == registry.CodeTampered {
		return nil, changed(digest)
	}
	return raw, err
}

// Set stores a value's bytes, sealed or plain, under the digest of the plain ones
// in place of what was there.
func (b *PrivateBlobs) Set(ctx context.Context, digest string, raw []byte) error {
	name, err := nameOf(digest)
	if err != nil {
		return err
	}
	return b.s.persist(ctx, func(ctx context.Context) error {
		bucket, err := b.s.js.ObjectStore(ctx, b.bucket)
		if err != nil {
			return err
		}
		_, err = bucket.Put(ctx, jetstream.ObjectMeta{Name: name}, bytes.NewReader(raw))
		return err
	})
}

// Remove forgets a file for good, as the person that a private value belongs to
// may ask: every server overwrites its bytes. Removing what is not there is no
// error. The name goes last, so that a stop in between leaves something that a
// second call finds.
func (b *PrivateBlobs) Remove(ctx context.Context, digest string) error {
	name, err := nameOf(digest)
	if err != nil {
		return err
	}
	m, err := b.stream.leader(ctx, last(b.metaSubject(name)))
	if errors.Is(err, errNone) {
		return nil
	}
	if err != nil {
		return err
	}
	var info jetstream.ObjectInfo
	if err := json.Unmarshal(m.data, &info); err != nil {
		return changed(digest)
	}
	return b.s.persist(ctx, func(ctx context.Context) error {
		pieces, err := b.s.js.Stream(ctx, b.stream.name)
		if err != nil {
			return err
		}
		for {
			piece, err := b.stream.leader(ctx, map[string]any{"seq": 1, "next_by_subj": b.pieces(info.NUID)})
			if errors.Is(err, errNone) {
				break
			}
			if err == nil {
				err = pieces.SecureDeleteMsg(ctx, piece.sequence)
			}
			if err != nil {
				return err
			}
		}
		bucket, err := b.s.js.ObjectStore(ctx, b.bucket)
		if err != nil {
			return err
		}
		return bucket.Delete(ctx, name)
	})
}
