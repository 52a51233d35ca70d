package store

import (
	"io"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func TestScratchLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	defer s.Close()
	before, err := os.ReadDir(dir)
	require.NoError(t, err)
	f, err := s.Scratch()
	require.NoError(t, err)
	_, err = f.Write([]byte("what was decided"))
	require.NoError(t, err)
	after, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Equal(t, len(before), len(after), "it has no name that could be left behind")
	_, err = f.Seek(0, io.SeekStart)
	require.NoError(t, err)
	back, err := io.ReadAll(f)
	require.NoError(t, err)
	require.Equal(t, "what was decided", string(back))
	require.NoError(t, f.Close())
}

func TestScratchKeepsTheReserve(t *testing.T) {
	s, err := Open(t.TempDir(), Options{})
	require.NoError(t, err)
	defer s.Close()
	free := s.space.reserve + 100
	s.space.free = func(string) (int64, error) { return free, nil }
	f, err := s.Scratch()
	require.NoError(t, err)
	defer f.Close()
	_, err = f.Write(make([]byte, 100))
	require.NoError(t, err)
	_, err = f.Write(make([]byte, 101))
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err))
}
