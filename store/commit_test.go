package store

import (
	"bytes"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// held opens a store whose committer stops before each group, where it asks for
// the free space, until next is called.
func held(t *testing.T) (s *Store, groups *atomic.Int64, next func()) {
	t.Helper()
	var open atomic.Bool
	groups, gate := new(atomic.Int64), make(chan struct{})
	s, err := Open(t.TempDir(), Options{free: func(string) (int64, error) {
		if open.Load() {
			groups.Add(1)
			<-gate // goes on for good once it is closed
		}
		return DefaultReserve, nil
	}})
	require.NoError(t, err)
	open.Store(true)
	t.Cleanup(func() {
		close(gate)
		_ = s.Close()
	})
	return s, groups, func() { gate <- struct{}{} }
}

func oneEvent(id, machine string, event []byte) registry.Commit {
	return registry.Commit{ID: id, Machine: machine, Events: [][]byte{event}}
}

// TestWhatWaitsIsOneGroup: whatever is handed in before a group is staged to its
// end goes with it, in the order of coming, and the rest with the next.
func TestWhatWaitsIsOneGroup(t *testing.T) {
	s, groups, next := held(t)
	large := bytes.Repeat([]byte("x"), registry.MaxCommitBytes)
	var jobs []*job
	for _, c := range []registry.Commit{
		oneEvent("1", "drover", []byte("a")), oneEvent("1", "drover", []byte("a")), oneEvent("2", "drover", []byte("b")),
		oneEvent("3", "other", large), oneEvent("4", "third", large), oneEvent("5", "fourth", []byte("c")),
	} {
		j := &job{commit: prepare(c)}
		require.NoError(t, s.hand(t.Context(), j))
		jobs = append(jobs, j)
	}
	next()
	next()
	var got []answer
	for _, j := range jobs {
		got = append(got, <-j.done)
	}
	require.EqualValues(t, 2, groups.Load(), "two large commits do not fit into one transaction")
	require.Equal(t, answer{receipt: registry.Receipt{Head: registry.Head{Position: 1, Version: 1}}}, got[0])
	require.True(t, got[1].receipt.Duplicate, "the same commit, staged and not yet stored")
	require.Equal(t, registry.CodeConflict, registry.CodeOf(got[2].err))
	for i, position := range map[int]registry.Position{3: 2, 4: 3, 5: 4} {
		require.Equal(t, answer{receipt: registry.Receipt{Head: registry.Head{Position: position, Version: 1}}}, got[i])
	}
}

// TestWhoWaitsIsAnsweredWhenAGroupFails: what was staged is in doubt, what was
// not is refused, and nobody waits for ever.
func TestWhoWaitsIsAnsweredWhenAGroupFails(t *testing.T) {
	commit := func(machine string) *job { return &job{commit: prepare(oneEvent(machine, machine, []byte("a")))} }
	view := func(key string) *job { return &job{view: []entry{sealed(viewKey(key), make([]byte, MaxViewBytes))}} }
	for _, c := range []struct {
		name string
		harm func(*Store)
		jobs []*job
		want []registry.Code
	}{
		{"while it is staged", func(s *Store) { s.heads["broken"] = nil },
			[]*job{commit("drover"), commit("broken"), commit("other")},
			[]registry.Code{registry.CodeUnknown, registry.CodeTampered, registry.CodeTampered}},
		{"while it is written", func(s *Store) { _ = s.db.Close() },
			[]*job{view("a"), view("b"), commit("drover")}, // the second does not fit beside the first
			[]registry.Code{registry.CodeUnknown, registry.CodeBusy, registry.CodeBusy}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, groups, next := held(t)
			c.harm(s)
			for _, j := range c.jobs {
				require.NoError(t, s.hand(t.Context(), j))
			}
			next()
			for i, j := range c.jobs {
				require.Equal(t, c.want[i], registry.CodeOf((<-j.done).err), i)
			}
			require.EqualValues(t, 1, groups.Load(), "nothing is tried again")
		})
	}
}
