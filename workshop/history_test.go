package workshop

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestHistoriesAreBounded by their number, and by their events together; the
// one that was used longest ago goes first.
func TestHistoriesAreBounded(t *testing.T) {
	var h histories
	for i := range heldHistories + 10 {
		h.get(fmt.Sprint("small-", i)).events.Store(10)
	}
	require.Len(t, h.held, heldHistories)
	require.NotContains(t, h.held, "small-9")
	require.Contains(t, h.held, "small-10")
	h.get("small-10")
	h.get("large").events.Store(heldEvents)
	h.get("next")
	require.NotContains(t, h.held, "small-11")
	require.Contains(t, h.held, "next")
	require.Less(t, len(h.held), 3, "the large one leaves no room for others until it goes itself")
	h.get("one more")
	h.get("and another")
	require.Contains(t, h.held, "one more")
}
