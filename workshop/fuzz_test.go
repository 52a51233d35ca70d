package workshop

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// FuzzFound: a place in a list of hits is written as it was read, and texts that
// the search keeps are read as they were written, or the index is damaged.
func FuzzFound(f *testing.F) {
	f.Add(cursor{score: 7, i: 300, given: true}.String(), []byte{})
	f.Add("AAA", []byte(`{}`))
	f.Add("_____w8", []byte{0x1f, 0x8b})
	f.Add("", []byte{1, 2, 3})
	whole, err := pack(findable{})
	require.NoError(f, err)
	f.Add("x", whole)
	f.Fuzz(func(t *testing.T, place string, stored []byte) {
		c, err := readCursor(place)
		if err != nil {
			require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
		} else {
			again, err := readCursor(c.String())
			require.NoError(t, err)
			if c.given {
				require.Equal(t, c, again)
			}
		}
		var kept findable
		if unpack(stored, &kept) != nil {
			return
		}
		raw, err := pack(kept)
		require.NoError(t, err)
		var same findable
		require.NoError(t, unpack(raw, &same))
		rewritten, err := pack(same)
		require.NoError(t, err)
		require.Equal(t, raw, rewritten)
	})
}
