package cli

import (
	"runtime/debug"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCollectEvery(t *testing.T) {
	before := debug.SetGCPercent(77)
	defer debug.SetGCPercent(before)
	stop := collectEvery(1 << 20)
	require.Equal(t, 100, debug.SetGCPercent(100))
	stop()
	require.Equal(t, 77, debug.SetGCPercent(77), "it is as it was before")
	for inUse, want := range map[uint64]int{48 << 20: 100, 24 << 20: 200, 192 << 20: 25, 1 << 20: 400, 0: 400, 10 << 30: 10} {
		require.Equal(t, want, shareOf(48<<20, inUse))
	}
}
