package ledgertest

import (
	"bytes"
	"context"
	"maps"
	"slices"
	"strings"
	"sync"

	"example.org/asfound/registry"
)

// ViewTx is what the function given to Update works on. It is an alias, so that
// any package may write the same method set and name the same type.
type ViewTx = interface {
	Get(key string) ([]byte, bool, error)
	Put(key string, value []byte)
	Delete(key string)
}

// MemoryViews keeps derived data in memory, with the methods of the one on disk.
type MemoryViews struct {
	mu       sync.Mutex
	entries  map[string][]byte
	position registry.Position
	version  int
}

// NewMemoryViews makes an empty one of version 0.
func NewMemoryViews() *MemoryViews { return &MemoryViews{entries: map[string][]byte{}} }

// Checkpoint gives the position up to which the views hold the ledger, and the
// version of the code that wrote them.
func (m *MemoryViews) Checkpoint(ctx context.Context) (registry.Position, int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.position, m.version, ctx.Err()
}

// Update stores entries and the new checkpoint together or, when fn gives an
// error, neither.
func (m *MemoryViews) Update(ctx context.Context, position registry.Position, fn func(tx ViewTx) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	if position < m.position {
		return registry.Refuse(registry.CodeConflict, "Read the checkpoint again.",
			"The views stand at position %d, not before %d", m.position, position)
	}
	tx := memoryViewTx{maps.Clone(m.entries)}
	if err := fn(tx); err != nil {
		return err
	}
	m.entries, m.position = tx.entries, position
	return nil
}

// Get gives one entry and whether there is one.
func (m *MemoryViews) Get(ctx context.Context, key string) ([]byte, bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	value, ok := m.entries[key]
	return bytes.Clone(value), ok, ctx.Err()
}

// Scan calls fn for at most limit entries whose key begins with prefix and
// comes after the given key, in the order of the keys' bytes. A limit of 0 or
// less means no limit.
func (m *MemoryViews) Scan(ctx context.Context, prefix, after string, limit int, fn func(key string, value []byte) error) error {
	m.mu.Lock()
	entries := maps.Clone(m.entries)
	m.mu.Unlock()
	n := 0
	for _, key := range slices.Sorted(maps.Keys(entries)) {
		if !strings.HasPrefix(key, prefix) || after != "" && key <= after {
			continue
		}
		if n++; limit > 0 && n > limit {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := fn(key, bytes.Clone(entries[key])); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// Reset forgets every entry and begins again at position 0 with a new version.
func (m *MemoryViews) Reset(ctx context.Context, version int) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	m.entries, m.position, m.version = map[string][]byte{}, 0, version
	return nil
}

type memoryViewTx struct{ entries map[string][]byte }

func (t memoryViewTx) Get(key string) ([]byte, bool, error) {
	value, ok := t.entries[key]
	return bytes.Clone(value), ok, nil
}
func (t memoryViewTx) Put(key string, value []byte) { t.entries[key] = bytes.Clone(value) }
func (t memoryViewTx) Delete(key string)            { delete(t.entries, key) }
