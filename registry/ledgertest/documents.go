package ledgertest

import (
	"context"
	"io"

	"example.org/asfound/registry"
)

// As a store of private values, MemoryBlobs forgets all that was put for a
// holder when that holder's key is destroyed.

// PutFor stores what r gives for a holder.
func (m *MemoryBlobs) PutFor(ctx context.Context, holder string, r io.Reader, limit int64) (digest string, size int64, err error) {
	if digest, size, err = m.Put(ctx, r, limit); err == nil {
		err = m.Seal(ctx, digest, holder)
	}
	return digest, size, err
}

// Seal says whose a stored value is, unless somebody's it is already.
func (m *MemoryBlobs) Seal(ctx context.Context, digest, holder string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.holders == nil {
		m.holders = map[string]string{}
	}
	if m.holders[digest] == "" {
		m.holders[digest] = holder
	}
	return ctx.Err()
}

// PutStored stores a value under its digest, as a backup gives it.
func (m *MemoryBlobs) PutStored(ctx context.Context, digest string, r io.Reader, size int64) error {
	got, _, err := m.Put(ctx, r, size)
	if err == nil && got != digest {
		err = registry.Refuse(registry.CodeTampered, "", "The stored file %s was changed", digest)
	}
	return err
}

// GetStored is Get: nothing is sealed.
func (m *MemoryBlobs) GetStored(ctx context.Context, digest string) (io.ReadCloser, int64, error) {
	return m.Get(ctx, digest)
}

// EachKey finds none.
func (m *MemoryBlobs) EachKey(context.Context, func(name string, raw []byte) error) error { return nil }

// PutKey needs none.
func (m *MemoryBlobs) PutKey(context.Context, string, []byte) error { return nil }

// Destroy forgets values, and whatever else is their holders'.
func (m *MemoryBlobs) Destroy(ctx context.Context, digests []string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	gone := map[string]bool{}
	for _, digest := range digests {
		if _, stored := m.files[digest]; stored && m.holders[digest] != "" {
			gone[m.holders[digest]] = true
		}
		delete(m.files, digest)
	}
	for digest, holder := range m.holders {
		if gone[holder] {
			delete(m.files, digest)
		}
	}
	return ctx.Err()
}

// Erasing notes nothing: what is in memory does not outlive the process.
func (m *MemoryBlobs) Erasing(string, bool) error { return nil }
