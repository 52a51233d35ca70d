package cli

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestWhileAServerRuns asks a running server for a backup and an audit, as a
// nightly job does, and restores what it wrote.
func TestWhileAServerRuns(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	id, secret := keptKey(t)
	away := filepath.Join(t.TempDir(), "away")

	ctx, stop := context.WithCancel(context.Background())
	server := &world{settings: w.settings}
	ended := make(chan int)
	go func() { ended <- server.run(ctx, "serve", "--addr", "127.0.0.1:0") }()
	socket := filepath.Join(w.settings["ASFOUND_DIR"], controlName)
	require.Eventually(t, func() bool { _, err := os.Stat(socket); return err == nil }, 10*time.Second, 5*time.Millisecond)
	info, err := os.Stat(socket)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	require.Contains(t, w.do(t, "backup", away, "--to", id.Recipient().String()), "000001.age")
	require.Contains(t, w.do(t, "audit"), "all agree")
	require.NotZero(t, w.run(ctx, "machines"), "the registry is the server's alone")
	require.Equal(t, 3, w.run(ctx, "backup", filepath.Join(w.settings["ASFOUND_DIR"], "x"), "--to", id.Recipient().String()), &w.err)
	stop()
	require.Zero(t, <-ended)
	_, err = os.Stat(socket)
	require.True(t, errors.Is(err, os.ErrNotExist), "the socket goes with the server")

	back := &world{settings: map[string]string{"ASFOUND_DIR": filepath.Join(t.TempDir(), "back")}}
	require.Contains(t, back.do(t, "restore", away, "--identity", secret), "all agree")
	require.Contains(t, back.do(t, "machines"), "drover")
}

// TestAuditNames damages a stored picture's neighbour and a private value: the
// audit names each.
func TestAuditNames(t *testing.T) {
	w := newWorld(t)
	takeIn(t, w)
	var damaged int
	require.NoError(t, filepath.WalkDir(filepath.Join(w.settings["ASFOUND_DIR"], "private"), func(path string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() && damaged == 0 {
			damaged++
			return os.WriteFile(path, []byte("another name"), 0o600)
		}
		return err
	}))
	require.Equal(t, 1, damaged)
	require.Equal(t, 10, w.run(context.Background(), "audit"))
	require.Contains(t, w.out.String(), "WRONG")
	require.Contains(t, w.out.String(), "private value")
}
