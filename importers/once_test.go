package importers_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
)

// TestGoodBytesAreValidatedOnce, of one kind and version; bad ones are told of
// each time.
func TestGoodBytesAreValidatedOnce(t *testing.T) {
	asked := 0
	bad := errors.New("bad")
	v := importers.Once(validator(func(_ registry.Kind, _ int, data []byte) error {
		asked++
		if string(data) == "bad" {
			return bad
		}
		return nil
	}))
	for range 2 {
		require.NoError(t, v.Validate("survey", 1, []byte("good")))
	}
	require.Equal(t, 1, asked)
	require.NoError(t, v.Validate("survey", 2, []byte("good")))
	require.NoError(t, v.Validate("joint", 1, []byte("good")))
	require.Equal(t, 3, asked)
	for range 2 {
		require.ErrorIs(t, v.Validate("survey", 1, []byte("bad")), bad)
	}
	require.Equal(t, 5, asked)
}
