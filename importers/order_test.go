package importers

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestAPanicReachesWhoeverAsked: a reader or a worker that panics beside others
// must not end the process, as it would where nobody can catch it.
func TestAPanicReachesWhoeverAsked(t *testing.T) {
	numbers := func(give func(int) error) error {
		for i := range 1000 {
			if err := give(i); err != nil {
				return err
			}
		}
		return nil
	}
	same := func(i int) int { return i }
	nothing := func(int) error { return nil }
	require.PanicsWithValue(t, "row 700", func() {
		_ = inOrder(2, numbers, func(i int) int {
			if i == 700 {
				panic("row 700")
			}
			return i
		}, nothing)
	})
	require.PanicsWithValue(t, "the file", func() {
		_ = inOrder(2, func(give func(int) error) error {
			_ = numbers(give)
			panic("the file")
		}, same, nothing)
	})
	given := 0
	require.NoError(t, inOrder(2, numbers, same, func(int) error { given++; return nil }))
	require.Equal(t, 1000, given)
}
