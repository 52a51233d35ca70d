package faults

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"hash/fnv"
	"image"
	"image/color"
	"image/png"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// picturePNG is a small picture that depends on its name.
func picturePNG(name string) []byte {
	h := fnv.New64a()
	h.Write([]byte(name))
	seed := h.Sum64()
	m := image.NewGray(image.Rect(0, 0, 32, 24))
	for i := range m.Pix {
		seed = seed*6364136223846793005 + 1442695040888963407
		m.SetGray(i%32, i/32, color.Gray{Y: uint8(seed >> 33)})
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func digestOf(b []byte) string {
	sum := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(sum[:])
}

// TestKilled kills the server at random moments under load. Nothing that was
// acknowledged is lost, what is sent again is not stored twice, and the audit is
// clean. Long: 200 kills.
func TestKilled(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "registry")
	m := newModel()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	chance := rand.New(rand.NewPCG(seed, 1))
	for round := range times(4, 200) {
		s := serve(t, "", dir)
		ctx, cancel := context.WithCancel(t.Context())
		load := m.load(ctx, s.url, 6, round)
		time.Sleep(time.Duration(50+chance.IntN(400)) * time.Millisecond)
		s.kill()
		cancel()
		load.Wait()
		require.Empty(t, m.refused, "round %d", round)
	}
	_, lost := m.hold(t, dir)
	require.Empty(t, lost, "of %d acknowledged", len(m.acked))
	s := serve(t, "", dir)
	m.settle(t, s.url)
	s.stop()
	events, lost := m.hold(t, dir)
	require.Empty(t, lost)
	require.Greater(t, len(m.acked), times(100, 4000))
	audit(t, dir)
	t.Logf("%d acknowledged records and %d pictures, %d events", len(m.acked), len(m.photos), events)
}

// TestPowerCut copies the blocks of a disk while the server writes, which is
// what stays of it when the power goes: only what was brought to the disk. The
// same program without syncing must lose, or the test shows nothing. Needs
// root and loop devices. Long: 20 cuts.
func TestPowerCut(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting a disk image needs root")
	}
	for _, tool := range []string{"mkfs.ext4", "losetup", "mount"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip(tool + " is not installed")
		}
	}
	acked := 0
	for range times(1, 20) {
		m, lost := powerCut(t, "")
		acked += len(m.acked)
		require.Empty(t, lost, "of %d acknowledged", len(m.acked))
	}
	t.Logf("%d acknowledged records, none lost", acked)
	careless := otherBinary(t, "asfound_nosync")
	m, lost := powerCut(t, careless)
	assert.NotEmpty(t, lost, "the program that does not sync lost none of %d: the test cannot see a loss", len(m.acked))
	t.Logf("without syncing %d of %d are lost", len(lost), len(m.acked))
}

func powerCut(t *testing.T, binary string) (*model, []string) {
	t.Helper()
	work := t.TempDir()
	disk, crashed := filepath.Join(work, "disk.img"), filepath.Join(work, "crashed.img")
	must(t, exec.Command("truncate", "-s", "512M", disk))
	must(t, exec.Command("mkfs.ext4", "-qF", disk))
	at := mount(t, disk)
	dir := filepath.Join(at, "registry")
	s := serve(t, binary, dir)
	m := newModel()
	ctx, cancel := context.WithCancel(t.Context())
	load := m.load(ctx, s.url, 6, 0)
	time.Sleep(1500 * time.Millisecond)
	// From here on the server acknowledges nothing.
	require.NoError(t, s.cmd.Process.Signal(syscall.SIGSTOP))
	must(t, exec.Command("cp", "--sparse=always", disk, crashed))
	s.kill()
	cancel()
	load.Wait()
	require.Empty(t, m.refused)
	require.Greater(t, len(m.acked), 20)
	unmount(t, at)
	after := mount(t, crashed)
	defer unmount(t, after)
	dir = filepath.Join(after, "registry")
	if binary != "" {
		// It may have lost so much that it does not open at all.
		if out, err := program("", "audit", "--dir", dir).CombinedOutput(); err != nil {
			return m, []string{string(out)}
		}
	}
	_, lost := m.hold(t, dir)
	if binary == "" {
		s := serve(t, "", dir)
		m.settle(t, s.url)
		s.stop()
		audit(t, dir)
	}
	return m, lost
}

func mount(t *testing.T, disk string) string {
	t.Helper()
	at := t.TempDir()
	out, err := exec.Command("mount", "-o", "loop", disk, at).CombinedOutput()
	if err != nil {
		t.Skipf("a disk image cannot be mounted here: %s", out)
	}
	t.Cleanup(func() { exec.Command("umount", at).Run() })
	return at
}

func unmount(t *testing.T, at string) {
	t.Helper()
	var out []byte
	var err error
	for range 50 {
		if out, err = exec.Command("umount", at).CombinedOutput(); err == nil {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatalf("%s: %s", at, out)
}

// TestTwoWriters starts a second process on a registry that is in use.
func TestTwoWriters(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "registry")
	s := serve(t, "", dir)
	out, err := program("", "take-in", "drover", "--dir", dir, "--invented", "--make", "Skerrow Engineering", "--model", "Drover 350", "--year", "1957",
		"--owner", "Imogen Aske", "--custodian", "Tamsin Orde", "--authority", "registration").CombinedOutput()
	var failed *exec.ExitError
	require.ErrorAs(t, err, &failed)
	require.Equal(t, 12, failed.ExitCode(), "%s", out)
	require.Contains(t, string(out), "Another asfound process is using the registry")
	require.True(t, strings.Contains(string(out), "--dir"), "it says what to do")
	s.stop()
	must(t, program("", "take-in", "drover", "--dir", dir, "--invented", "--make", "Skerrow Engineering", "--model", "Drover 350", "--year", "1957",
		"--owner", "Imogen Aske", "--custodian", "Tamsin Orde", "--authority", "registration"))
	audit(t, dir)
}
