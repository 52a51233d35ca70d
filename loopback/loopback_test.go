package loopback

import (
	"net"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAddress(t *testing.T) {
	seen := map[string]bool{}
	for range size / 2 {
		address, err := Address()
		require.NoError(t, err)
		require.False(t, seen[address], address)
		seen[address] = true
		l, err := net.Listen("tcp", address)
		require.NoError(t, err)
		defer l.Close()
	}
	for range size { // around the block, past those that are taken
		address, err := Address()
		require.NoError(t, err)
		require.False(t, seen[address], address)
	}
}
