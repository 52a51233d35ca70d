package faults

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestErasingIsAllOrNothing kills the program at each step of erasing a person,
// by the system calls that reach the disk: afterwards the person is there with
// name and key, or there is no name in any file of the folder. The audit is
// clean either way.
func TestErasingIsAllOrNothing(t *testing.T) {
	if out, err := exec.Command("strace", "-qq", "-o", "/dev/null", "true").CombinedOutput(); err != nil {
		t.Skipf("strace cannot trace here: %v %s", err, out)
	}
	base := filepath.Join(t.TempDir(), "registry")
	must(t, program("", takeInArgs(base, "drover")...))
	seen := map[bool]int{}
	for _, call := range []string{"fsync", "renameat,renameat2", "unlinkat", "openat", "msync"} {
		step := 1
		if call == "openat" && !long() {
			step = 8
		}
		for n := step; ; n += step {
			dir := filepath.Join(t.TempDir(), "registry")
			must(t, exec.Command("cp", "-a", "--sparse=always", base, dir))
			inner := program("", "person", "erase", "drover", "owner", "--why", "she asked for it", "--yes", "--dir", dir)
			c := exec.Command("strace", append([]string{"-f", "-qq", "-o", "/dev/null", "-e", "trace=" + call, "-e", fmt.Sprintf("inject=%s:signal=SIGKILL:when=%d", call, n)}, inner.Args...)...)
			c.Env = inner.Env
			_, err := c.CombinedOutput()
			var killed *exec.ExitError
			if err == nil {
				require.Greater(t, n, step, "%s was never called: the test shows nothing", call)
				break
			}
			require.True(t, errors.As(err, &killed), "%v", err)

			what := fmt.Sprint("killed at ", call, " ", n)
			said := must(t, program("", "person", "export", "drover", "owner", "--dir", dir))
			erased := strings.Contains(said, "erased")
			require.NotEqual(t, erased, strings.Contains(said, "Imogen Aske"), "%s: %s", what, said)
			seen[erased]++
			audit(t, dir)
			if erased {
				require.False(t, strings.Contains(strings.ToLower(everyByte(t, dir)), "imogen"), "%s: the name is still in a file", what)
				require.False(t, strings.Contains(everyByte(t, filepath.Join(dir, "keys", "drover", "person-owner.key")), `"key"`), "%s: the key is still there", what)
			}
		}
	}
	require.Positive(t, seen[true], "never killed after the erasure was recorded")
	require.Positive(t, seen[false], "never killed before")
	t.Logf("killed %d times before the erasure was recorded, %d times after", seen[false], seen[true])
}

// everyByte is all that lies in a file or a folder.
func everyByte(t *testing.T, path string) string {
	t.Helper()
	var all strings.Builder
	require.NoError(t, filepath.WalkDir(path, func(path string, e os.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		text, err := os.ReadFile(path)
		all.Write(text)
		return err
	}))
	return all.String()
}
