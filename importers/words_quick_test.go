package importers

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What is spelt as it should be is taken as it stands; that must be what the long
// way makes of it.
func TestTheShortWayIsTheLongWay(t *testing.T) {
	texts := rapid.OneOf(rapid.StringMatching(`[a-z0-9._-]{0,12}`), rapid.StringMatching(`[aA1 ._-]{0,9}`), rapid.String(), rapid.StringMatching(`[a-z]{50,70}`))
	rapid.Check(t, func(t *rapid.T) {
		text, prefix := texts.Draw(t, "text"), rapid.SampledFrom([]string{"sv-", "jt-", "x", "a."}).Draw(t, "prefix")
		require.Equal(t, strings.Join(strings.Fields(strings.ToLower(text)), " "), foldName(text))
		require.Equal(t, foldedID(prefix, text), makeID(prefix, text))
	})
	require.Equal(t, "sv", makeID("sv-", ""))
	require.Equal(t, "sv-a", makeID("sv-", "a."))
	require.Equal(t, "sv-a", makeID("sv-", "-a"))
}
