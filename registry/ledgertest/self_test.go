package ledgertest

import (
	"bytes"
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func TestMemory(t *testing.T) {
	Run(t, func(t *testing.T) registry.Ledger {
		m := NewMemory()
		t.Cleanup(func() { m.Close() })
		return m
	}, func(t *testing.T, l registry.Ledger) registry.Ledger {
		// What is in memory can be "opened again" only from what it held.
		m := l.(*Memory)
		again := NewMemory()
		again.records, again.byID, again.heads = m.records, m.byID, m.heads
		require.NoError(t, m.Close())
		t.Cleanup(func() { again.Close() })
		return again
	})
}

// broken wraps a good ledger and breaks one promise.
type broken struct {
	*Memory
	append func(context.Context, registry.Commit) (registry.Receipt, error)
	follow func(context.Context, registry.Position, func(registry.Record) error) error
	read   func(context.Context, string, uint64, func(registry.Record) error) error
	head   func(context.Context, string) (registry.Head, error)
}

func (b broken) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if b.append != nil {
		return b.append(ctx, c)
	}
	return b.Memory.Append(ctx, c)
}

func (b broken) Follow(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	if b.follow != nil {
		return b.follow(ctx, after, fn)
	}
	return b.Memory.Follow(ctx, after, fn)
}

func (b broken) Read(ctx context.Context, machine string, after uint64, fn func(registry.Record) error) error {
	if b.read != nil {
		return b.read(ctx, machine, after, fn)
	}
	return b.Memory.Read(ctx, machine, after, fn)
}

func (b broken) Head(ctx context.Context, machine string) (registry.Head, error) {
	if b.head != nil {
		return b.head(ctx, machine)
	}
	return b.Memory.Head(ctx, machine)
}

// TestTheSuiteCanFail breaks one promise at a time: the suite must notice.
func TestTheSuiteCanFail(t *testing.T) {
	var mu sync.Mutex
	for name, breakIt := range map[string]func(*Memory) registry.Ledger{
		"no expectation": func(m *Memory) registry.Ledger {
			return broken{Memory: m, append: func(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
				mu.Lock()
				defer mu.Unlock()
				h, _ := m.Head(ctx, c.Machine)
				c.Expect = h.Version
				return m.Append(ctx, c)
			}}
		},
		"only stale expectations are refused": func(m *Memory) registry.Ledger {
			return broken{Memory: m, append: func(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
				if h, _ := m.Head(ctx, c.Machine); c.Expect > h.Version {
					c.Expect = h.Version
				}
				return m.Append(ctx, c)
			}}
		},
		"each event on its own": func(m *Memory) registry.Ledger {
			return broken{Memory: m, append: func(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
				if err := c.Check(); err != nil {
					return registry.Receipt{}, err
				}
				var receipt registry.Receipt
				for i, e := range c.Events {
					one := registry.Commit{ID: c.ID, Machine: c.Machine, Expect: c.Expect + uint64(i), Events: [][]byte{e}}
					if i > 0 {
						one.ID += string(rune('A' + i))
					}
					r, err := m.Append(ctx, one)
					if err != nil || r.Duplicate {
						return r, err
					}
					receipt = r
				}
				return receipt, nil
			}}
		},
		"a duplicate is a conflict": func(m *Memory) registry.Ledger {
			return broken{Memory: m, append: func(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
				r, err := m.Append(ctx, c)
				if r.Duplicate {
					return r, registry.Refuse(registry.CodeConflict, "", "was there")
				}
				return r, err
			}}
		},
		"IDs are forgotten": func(m *Memory) registry.Ledger {
			return broken{Memory: m, append: func(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
				m.mu.Lock()
				for id, h := range m.byID {
					if uint64(h.Position)+5 < uint64(len(m.records)) {
						delete(m.byID, id)
					}
				}
				m.mu.Unlock()
				return m.Append(ctx, c)
			}}
		},
		"acknowledged before it can be read": func(m *Memory) registry.Ledger {
			return broken{Memory: m, head: func(ctx context.Context, machine string) (registry.Head, error) {
				m.mu.Lock()
				defer m.mu.Unlock()
				var h registry.Head
				for _, r := range m.records[:max(0, len(m.records)-1)] {
					if r.Machine == machine {
						h = registry.Head{Position: r.Position, Version: r.First + uint64(len(r.Events)) - 1}
					}
				}
				return h, m.ready(ctx)
			}}
		},
		"read begins at the wrong version": func(m *Memory) registry.Ledger {
			return broken{Memory: m, read: func(ctx context.Context, machine string, after uint64, fn func(registry.Record) error) error {
				return m.Read(ctx, machine, after, func(r registry.Record) error {
					if r.First <= after {
						return nil // drops a commit that the version lies in
					}
					return fn(r)
				})
			}}
		},
		"bytes are tidied": func(m *Memory) registry.Ledger {
			return broken{Memory: m, append: func(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
				tidy := clone(registry.Record{Events: c.Events}).Events
				for i := range tidy {
					tidy[i] = bytes.ToValidUTF8(tidy[i], []byte("?"))
				}
				c.Events = tidy
				return m.Append(ctx, c)
			}}
		},
		"names are folded": func(m *Memory) registry.Ledger {
			return broken{Memory: m, append: func(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
				c.Machine = string(bytes.ReplaceAll([]byte(c.Machine), []byte("."), []byte("-")))
				return m.Append(ctx, c)
			}}
		},
		"follow never goes live": func(m *Memory) registry.Ledger {
			return broken{Memory: m, follow: func(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
				if err := m.ReadAll(ctx, after, fn); err != nil {
					return err
				}
				<-ctx.Done()
				return ctx.Err()
			}}
		},
		"follow is off by one": func(m *Memory) registry.Ledger {
			return broken{Memory: m, follow: func(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
				return m.Follow(ctx, after+1, fn)
			}}
		},
		"follow swallows the reader's error": func(m *Memory) registry.Ledger {
			return broken{Memory: m, follow: func(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
				return m.Follow(ctx, after, func(r registry.Record) error { _ = fn(r); return nil })
			}}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var noticed []string
			for _, c := range cases() {
				if err := c.try(&bench{ledger: breakIt(NewMemory())}, 300*time.Millisecond); err != nil && err != errSkip {
					noticed = append(noticed, c.name)
				}
			}
			require.NotEmpty(t, noticed)
			t.Log("noticed by:", noticed)
		})
	}
}

func TestACaseThatNeverEndsFails(t *testing.T) {
	c := testCase{"hangs", func(context.Context, *bench) error { select {} }}
	require.ErrorContains(t, c.try(&bench{}, time.Millisecond), "did not end")
}
