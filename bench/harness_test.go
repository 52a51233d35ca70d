package bench

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/cli/clitest"
)

func TestMain(m *testing.M) {
	clitest.Main(time.Now)
	os.Exit(m.Run())
}

// whole says that the figures are wanted, and not only that they can be taken.
func whole() bool { return os.Getenv("ASFOUND_PERFORMANCE") != "" }

// tenth is what ASFOUND_PERFORMANCE is set to for a tenth of everything, which
// is enough to try a change. The documents are not written then.
func tenth() bool { return os.Getenv("ASFOUND_PERFORMANCE") == "tenth" }

// sized is a size of the whole measuring, or the one of the check.
func sized(check, measuring int) int {
	switch {
	case !whole():
		return check
	case tenth() && measuring >= 100_000:
		return measuring / 10
	}
	return measuring
}

// cache is the folder of the registers.
func cache(t testing.TB) string {
	if !whole() {
		return t.TempDir()
	}
	dir := filepath.Join(os.TempDir(), "asfound-bench")
	require.NoError(t, os.MkdirAll(dir, 0o700))
	return dir
}

// cpuTime is what this process has taken of the processors.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// onDisk is what a folder takes on its disk, in bytes; holes in files do not count.
func onDisk(t testing.TB, dir string) (n int64) {
	require.NoError(t, filepath.WalkDir(dir, func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		if stat, ok := info.Sys().(*syscall.Stat_t); err == nil && ok {
			n += stat.Blocks * 512
		}
		return err
	}))
	return n
}

// program is a command of asfound, by this test's own binary or another one.
func program(binary string, args ...string) *exec.Cmd {
	return clitest.Command(context.Background(), binary, args...)
}

// must runs a command that has to succeed, and gives how long it took.
func must(t testing.TB, c *exec.Cmd) (string, time.Duration) {
	t.Helper()
	begin := time.Now()
	out, err := c.CombinedOutput()
	require.NoError(t, err, "%s: %s", c.Args, out)
	return string(out), time.Since(begin)
}

// served is a running server.
type served struct {
	cmd   *exec.Cmd
	url   string
	begun time.Time
}

// serve starts a server on a free port and waits until it says where.
func serve(t testing.TB, binary, dir string) *served {
	t.Helper()
	s := &served{cmd: program(binary, "serve", "--json", "--dir", dir, "--addr", "127.0.0.1:0"), begun: time.Now()}
	out, err := s.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, s.cmd.Start())
	t.Cleanup(s.stop)
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	var said struct{ Listening string }
	require.NoError(t, json.Unmarshal([]byte(line), &said))
	s.url = "http://" + said.Listening
	return s
}

func (s *served) stop() {
	if s.cmd.ProcessState == nil {
		_ = s.cmd.Process.Signal(syscall.SIGTERM)
		_ = s.cmd.Wait()
	}
}

// resident is what a process holds in memory, in bytes.
func resident(t testing.TB, pid int) int64 { return statusOf(t, pid, "VmRSS:") }

// statusOf reads a size in bytes from what the system says of a process.
func statusOf(t testing.TB, pid int, what string) int64 {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0 // no such file on this system
	}
	_, rest, _ := strings.Cut(string(raw), what)
	var kilobytes int64
	_, err = fmt.Sscan(rest, &kilobytes)
	require.NoError(t, err)
	return kilobytes << 10
}

// quantile is the value that a share of the times lie at or below.
func quantile(took []time.Duration, share float64) time.Duration {
	if len(took) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(took))
	return sorted[min(len(sorted)-1, int(share*float64(len(sorted))))]
}

// peakOf is the most that an ended process held in memory, in bytes.
func peakOf(state *os.ProcessState) float64 {
	if u, ok := state.SysUsage().(*syscall.Rusage); ok {
		return float64(u.Maxrss) * 1024
	}
	return 0
}
