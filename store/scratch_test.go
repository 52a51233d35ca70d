package store

import (
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func TestScratchLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "scratch-1"), nil, 0o600)) // of a kill
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	defer s.Close()
	before, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.NoFileExists(t, filepath.Join(dir, "scratch-1"))
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
	free := s.space.reserve + 200
	s.space.free = func(string) (int64, error) { return free, nil }
	f, err := s.Scratch()
	require.NoError(t, err)
	defer f.Close()
	_, err = f.Write(make([]byte, 100))
	require.NoError(t, err)
	_, err = f.Write(make([]byte, 51))
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "as much again must stay for the ledger")
	_, err = f.Write(make([]byte, 50))
	require.NoError(t, err)
}
