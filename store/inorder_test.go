package store_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// TestAppendInOrder stores many commits at the positions of their order, and says
// which of them were there.
func TestAppendInOrder(t *testing.T) {
	s, err := store.Open(t.TempDir(), store.Options{})
	require.NoError(t, err)
	defer s.Close()
	var commits []registry.Commit
	for v := range uint64(600) {
		commits = append(commits, registry.Commit{ID: fmt.Sprint("c", v), Machine: "drover", Expect: v, Events: [][]byte{[]byte("x")}})
	}
	receipts, err := s.AppendInOrder(t.Context(), commits)
	require.NoError(t, err)
	require.Len(t, receipts, len(commits))
	for i, r := range receipts {
		require.Equal(t, registry.Receipt{Head: registry.Head{Position: registry.Position(i + 1), Version: uint64(i + 1)}}, r)
	}
	again, err := s.AppendInOrder(t.Context(), commits[598:])
	require.NoError(t, err)
	require.True(t, again[0].Duplicate && again[1].Duplicate)
	head, ok, err := s.Stored(t.Context(), "c7")
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, registry.Head{Position: 8, Version: 8}, head)
	_, ok, err = s.Stored(t.Context(), "c600")
	require.NoError(t, err)
	require.False(t, ok)

	// It stops at the first that cannot be stored.
	receipts, err = s.AppendInOrder(t.Context(), []registry.Commit{
		{ID: "good", Machine: "thirlbeck", Events: [][]byte{[]byte("x")}},
		{ID: "stale", Machine: "drover", Expect: 3, Events: [][]byte{[]byte("x")}}})
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
	require.Len(t, receipts, 1)
	_, err = s.AppendInOrder(t.Context(), []registry.Commit{{ID: "empty", Machine: "drover", Expect: 600}})
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}
