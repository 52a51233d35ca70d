package ledgertest

import (
	"bytes"
	"context"
	"sync"

	"example.org/asfound/registry"
)

// Memory is a ledger in memory. It keeps every promise of registry.Ledger but
// the one about stable storage.
type Memory struct {
	mu      sync.Mutex
	records []registry.Record // in order of position; position is index + 1
	byID    map[string]registry.Head
	heads   map[string]registry.Head
	grown   chan struct{} // closed and replaced when a commit is added
	closed  bool
	gone    chan struct{} // closed by Close
}

// NewMemory makes an empty ledger.
func NewMemory() *Memory {
	return &Memory{byID: map[string]registry.Head{}, heads: map[string]registry.Head{},
		grown: make(chan struct{}), gone: make(chan struct{})}
}

var errClosed = registry.Refuse(registry.CodeBusy, "Open it again.", "The ledger is closed")

// Append implements registry.Ledger.
func (m *Memory) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if err := c.Check(); err != nil {
		return registry.Receipt{}, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := m.ready(ctx); err != nil {
		return registry.Receipt{}, err
	}
	if head, ok := m.byID[c.ID]; ok {
		return registry.Receipt{Head: head, Duplicate: true}, nil
	}
	head := m.heads[c.Machine]
	if head.Version != c.Expect {
		return registry.Receipt{}, registry.Refuse(registry.CodeConflict, "Read it again and repeat the change.",
			"The record of %s stands at version %d, not %d", c.Machine, head.Version, c.Expect)
	}
	r := registry.Record{Position: registry.Position(len(m.records) + 1), ID: c.ID, Machine: c.Machine,
		First: head.Version + 1, Events: c.Events}
	m.records = append(m.records, clone(r))
	head = registry.Head{Position: r.Position, Version: head.Version + uint64(len(c.Events))}
	m.heads[c.Machine], m.byID[c.ID] = head, head
	close(m.grown)
	m.grown = make(chan struct{})
	return registry.Receipt{Head: head}, nil
}

// ready says whether a call may go on; the lock is held.
func (m *Memory) ready(ctx context.Context) error {
	if m.closed {
		return errClosed
	}
	return ctx.Err()
}

// clone copies a record with its events.
func clone(r registry.Record) registry.Record {
	events := make([][]byte, len(r.Events))
	for i, e := range r.Events {
		events[i] = bytes.Clone(e)
	}
	r.Events = events
	return r
}

// Head implements registry.Ledger.
func (m *Memory) Head(ctx context.Context, machine string) (registry.Head, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.heads[machine], m.ready(ctx)
}

// End implements registry.Ledger.
func (m *Memory) End(ctx context.Context) (registry.Position, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return registry.Position(len(m.records)), m.ready(ctx)
}

// Read implements registry.Ledger.
func (m *Memory) Read(ctx context.Context, machine string, after uint64, fn func(registry.Record) error) error {
	return m.each(ctx, 0, func(r registry.Record) error {
		if r.Machine != machine || r.First+uint64(len(r.Events))-1 <= after {
			return nil
		}
		return fn(clone(r))
	})
}

// ReadAll implements registry.Ledger.
func (m *Memory) ReadAll(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	return m.each(ctx, after, func(r registry.Record) error { return fn(clone(r)) })
}

// each walks the records as of the call. Records are never changed, so the lock
// is not needed while walking.
func (m *Memory) each(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	m.mu.Lock()
	records, err := m.records, m.ready(ctx)
	m.mu.Unlock()
	if err != nil {
		return err
	}
	for i := uint64(after); i < uint64(len(records)); i++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := fn(records[i]); err != nil {
			return err
		}
	}
	return nil
}

// Follow implements registry.Ledger.
func (m *Memory) Follow(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	for {
		m.mu.Lock()
		grown := m.grown
		m.mu.Unlock()
		err := m.ReadAll(ctx, after, func(r registry.Record) error {
			after = r.Position
			return fn(r)
		})
		if err != nil {
			return err
		}
		select {
		case <-grown:
		case <-m.gone:
			return errClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Close implements registry.Ledger.
func (m *Memory) Close() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.closed {
		m.closed = true
		close(m.gone)
	}
	return nil
}
