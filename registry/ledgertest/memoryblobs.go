package ledgertest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"slices"
	"sync"

	"example.org/asfound/registry"
)

// MemoryBlobs is a content-addressed store of files in memory, with the methods
// of the one on disk.
type MemoryBlobs struct {
	mu      sync.Mutex
	files   map[string][]byte
	holders map[string]string // of private values, by digest
}

// NewMemoryBlobs makes an empty one.
func NewMemoryBlobs() *MemoryBlobs { return &MemoryBlobs{files: map[string][]byte{}} }

// Put stores what r gives, at most limit bytes, and answers with its digest.
func (m *MemoryBlobs) Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error) {
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return "", 0, err
	}
	if err := ctx.Err(); err != nil {
		return "", 0, err
	}
	if int64(len(data)) > limit {
		return "", 0, registry.Refuse(registry.CodeTooLarge, "Give a smaller file.",
			"The file is larger than %d bytes", limit)
	}
	sum := sha256.Sum256(data)
	digest = "sha256:" + hex.EncodeToString(sum[:])
	m.mu.Lock()
	defer m.mu.Unlock()
	m.files[digest] = data
	return digest, int64(len(data)), nil
}

// Get opens a stored file. The reader ends with CodeTampered instead of io.EOF
// when the bytes do not match the digest.
func (m *MemoryBlobs) Get(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	data, err := m.find(ctx, digest)
	if err != nil {
		return nil, 0, err
	}
	sum := sha256.Sum256(data)
	if "sha256:"+hex.EncodeToString(sum[:]) != digest {
		return nil, 0, registry.Refuse(registry.CodeTampered, "Put the file back from a copy.",
			"The stored file %s was changed", digest)
	}
	return io.NopCloser(bytes.NewReader(data)), int64(len(data)), nil
}

// Has says whether the file is stored.
func (m *MemoryBlobs) Has(ctx context.Context, digest string) (bool, error) {
	_, err := m.find(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return false, nil
	}
	return err == nil, err
}

// Stat gives the stored file's size in bytes.
func (m *MemoryBlobs) Stat(ctx context.Context, digest string) (int64, error) {
	data, err := m.find(ctx, digest)
	return int64(len(data)), err
}

// Remove forgets a file for good. Removing what is not there is no error.
func (m *MemoryBlobs) Remove(ctx context.Context, digest string) error {
	_, err := m.find(ctx, digest)
	if registry.CodeOf(err) == registry.CodeNotFound {
		return nil
	}
	if err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.files, digest)
	return nil
}

// Each calls fn for every stored file in the order of the digests.
func (m *MemoryBlobs) Each(ctx context.Context, fn func(digest string, size int64) error) error {
	m.mu.Lock()
	var digests []string
	sizes := map[string]int64{}
	for d, data := range m.files {
		digests, sizes[d] = append(digests, d), int64(len(data))
	}
	m.mu.Unlock()
	slices.Sort(digests)
	for _, d := range digests {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := fn(d, sizes[d]); err != nil {
			return err
		}
	}
	return nil
}

// Damage changes one byte of a stored file, for tests of what happens then.
func (m *MemoryBlobs) Damage(digest string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if data := bytes.Clone(m.files[digest]); len(data) > 0 {
		data[len(data)/2] ^= 1
		m.files[digest] = data
	}
}

func (m *MemoryBlobs) find(ctx context.Context, digest string) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if !registry.CheckDigest(digest) {
		return nil, registry.Refuse(registry.CodeInvalid, `Give "sha256:" and 64 figures of 0-9, a-f.`,
			"A stored file cannot be named %.80q", digest)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	data, ok := m.files[digest]
	if !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "", "There is no stored file %s", digest)
	}
	return data, nil
}
