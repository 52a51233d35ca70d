package cli

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/server"
)

func TestLimitsAreRead(t *testing.T) {
	got, err := limits([]string{"writes=10/20", " guesses=off", ""})
	require.NoError(t, err)
	require.Equal(t, server.Limits{Writes: server.Limit{AtOnce: 10, PerMinute: 20}, Guesses: server.Limit{AtOnce: -1}}, got)
	for _, wrong := range []string{"write=1/2", "writes", "writes=1", "writes=0/5", "writes=5/-1", "writes=a/b", "=1/2"} {
		_, err := limits([]string{wrong})
		require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), wrong)
	}
}
