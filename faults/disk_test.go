package faults

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// takeInArgs takes a machine in on the command line.
func takeInArgs(dir, machine string) []string {
	return []string{"take-in", machine, "--dir", dir, "--invented", "--make", "Skerrow Engineering", "--model", "Drover 350", "--year", "1957",
		"--owner", "Imogen Aske", "--custodian", "Tamsin Orde", "--authority", "registration"}
}

// TestFullDisk fills the disk under a running server: it stays up, says plainly
// why it does not write, can be read, and writes again when there is room.
func TestFullDisk(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting a small disk needs root")
	}
	at := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=160m", "tmpfs", at).CombinedOutput(); err != nil {
		t.Skipf("no small disk can be mounted here: %s", out)
	}
	t.Cleanup(func() { exec.Command("umount", at).Run() })
	dir := filepath.Join(at, "registry")
	s := serve(t, "", dir)
	m, client := newModel(), &http.Client{Timeout: 10 * time.Second}
	m.try(client, s.url, "drover/machine", request{"drover", "k1", fmt.Sprintf(takeIn, "drover")})
	require.Empty(t, m.refused)
	record := func(n int) (int, string) {
		status, text, err := post(client, s.url+"/api/v1/machines/drover/records", fmt.Sprint("key-", n),
			fmt.Sprintf(`{"record":"fault","id":"fault-%d","complaint":"It drips.","components":["fuel.tank"],"by":"custodian"}`, n))
		require.NoError(t, err, "the server is gone: %s", s.said())
		return status, text
	}
	status, text := record(1)
	require.Equal(t, http.StatusCreated, status, text)

	// Everything that is free, to the last byte.
	filler := filepath.Join(at, "filler")
	exec.Command("dd", "if=/dev/zero", "of="+filler, "bs=1M").Run()
	status, text = record(2)
	require.Equal(t, http.StatusServiceUnavailable, status, text)
	require.Contains(t, text, "free")
	answer, err := client.Get(s.url + "/machines/drover")
	require.NoError(t, err)
	answer.Body.Close()
	require.Equal(t, http.StatusOK, answer.StatusCode, "it can be read")

	require.NoError(t, os.Remove(filler))
	status, text = record(2)
	require.Equal(t, http.StatusCreated, status, text)
	s.stop()
	audit(t, dir)
}

// TestSystemCallsFail fails the calls by which the storage engine brings bytes
// to the disk, one after the other and from then on: the program says so, or
// what it said holds. It never panics, and the record is whole afterwards.
func TestSystemCallsFail(t *testing.T) {
	if _, err := exec.LookPath("strace"); err != nil {
		t.Skip("strace is not installed")
	}
	base := filepath.Join(t.TempDir(), "registry")
	must(t, program("", takeInArgs(base, "first")...))
	if out, err := exec.Command("strace", "-qq", "-o", "/dev/null", "true").CombinedOutput(); err != nil {
		t.Skipf("strace cannot trace here: %s", out)
	}
	failed := 0
	for _, call := range []string{"msync", "fsync", "renameat", "ftruncate", "pwrite64", "openat"} {
		whens := []string{"1", "2", "3+"}
		if long() {
			whens = []string{"1", "2", "3", "4", "5", "6", "8", "11", "1+", "2+", "3+", "5+"}
		}
		for _, when := range whens {
			if call == "openat" && strings.HasPrefix(when, "1") {
				continue // then no program starts at all
			}
			for _, fault := range []string{"EIO", "ENOSPC"} {
				dir := filepath.Join(t.TempDir(), "registry")
				must(t, exec.Command("cp", "-a", "--sparse=always", base, dir))
				inner := program("", takeInArgs(dir, "second")...)
				c := exec.Command("strace", append([]string{"-f", "-qq", "-o", "/dev/null", "-e", "trace=" + call, "-e", "inject=" + call + ":error=" + fault + ":when=" + when}, inner.Args...)...)
				c.Env = inner.Env
				out, err := c.CombinedOutput()
				what := call + " " + when + " " + fault
				if strings.Contains(string(out), "error while loading shared libraries") {
					continue // a program that is linked with the C library did not start
				}
				require.NotContains(t, string(out), "panic", what)
				require.NotContains(t, string(out), "goroutine ", what)
				machines, failedNow := program("", "machines", "--dir", dir).CombinedOutput()
				require.NoError(t, failedNow, "%s: %s\n%s", what, machines, listing(dir))
				require.Contains(t, string(machines), "first", what)
				if err == nil {
					require.Contains(t, string(machines), "second", "%s: it said that it was done", what)
				} else {
					failed++
					require.Regexp(t, `asfound: \S`, string(out), what)
				}
				audit(t, dir)
				must(t, program("", takeInArgs(dir, "third")...))
			}
		}
	}
	require.Greater(t, failed, 5, "hardly any call failed: the test shows nothing")
}

// harmless are the files without which, or with another content, nothing is
// lost or served wrongly.
var harmless = regexp.MustCompile(`^(LOCK|ledger/DISCARD|ledger/LOCK|ledger/[0-9]+\.vlog|sealed\.json|keys/_complete)$`)

// TestEveryFileIsMissed damages each file of a registry in turn: flips a bit,
// cuts it, deletes it. The audit, or the opening, says that something is wrong.
func TestEveryFileIsMissed(t *testing.T) {
	base := filepath.Join(t.TempDir(), "registry")
	must(t, program("", "demo", "--no-serve", "--dir", base))
	must(t, program("", "audit", "--dir", base))
	var files []string
	require.NoError(t, filepath.WalkDir(base, func(path string, e fs.DirEntry, err error) error {
		if err == nil && e.Type().IsRegular() {
			name, _ := filepath.Rel(base, path)
			if strings.HasPrefix(name, "dossiers") {
				return nil // what was given out, and can be made again
			}
			files = append(files, name)
		}
		return err
	}))
	kinds := map[string]int{}
	tried := 0
	for _, name := range files {
		kind := filepath.Dir(name) + "/*" + filepath.Ext(name)
		if strings.HasPrefix(name, "photos/") || strings.HasPrefix(name, "private/") || strings.HasPrefix(name, "keys/") && strings.HasSuffix(name, ".key") {
			kind, _, _ = strings.Cut(name, "/")
		}
		if kinds[kind]++; !long() && kinds[kind] > 1 && !strings.HasPrefix(kind, ".") && kind != "ledger/*" {
			continue
		}
		whole, err := os.ReadFile(filepath.Join(base, name))
		require.NoError(t, err)
		for how, damaged := range map[string][]byte{"a flipped bit": flip(whole), "cut in half": whole[:len(whole)/2], "deleted": nil} {
			if len(whole) == 0 && how != "deleted" || bytes.Equal(damaged, whole) {
				continue
			}
			dir := filepath.Join(t.TempDir(), "registry")
			must(t, exec.Command("cp", "-a", "--sparse=always", base, dir))
			if err := os.Remove(filepath.Join(dir, name)); err != nil {
				require.NoError(t, err)
			}
			if how != "deleted" {
				require.NoError(t, os.WriteFile(filepath.Join(dir, name), damaged, 0o600))
			}
			tried++
			out, err := program("", "audit", "--dir", dir).CombinedOutput()
			if harmless.MatchString(filepath.ToSlash(name)) || name == "head.jsonl" && how == "a flipped bit" || name == "registry.pub" && how == "deleted" {
				continue // of two lines one is enough; the public half follows from the secret one
			}
			var exit *exec.ExitError
			if assert.True(t, errors.As(err, &exit), "%s, %s: the audit says nothing\n%s", name, how, out) {
				assert.Contains(t, []int{1, 3, 8, 10}, exit.ExitCode(), "%s, %s: %s", name, how, out)
				assert.NotContains(t, string(out), "goroutine ", "%s, %s", name, how)
			}
		}
	}
	t.Logf("%d damages to %d files", tried, len(files))
}

// flip changes one bit in the middle.
func flip(b []byte) []byte {
	b = slices.Clone(b)
	if len(b) > 0 {
		b[len(b)/2] ^= 0x10
	}
	return b
}

// TestClockJumps turns the clock while the server runs: the order of the record
// stays, nothing is refused because it comes before what stands there, and the
// audit is clean.
func TestClockJumps(t *testing.T) {
	dir, now := filepath.Join(t.TempDir(), "registry"), filepath.Join(t.TempDir(), "now")
	set := func(when string) { require.NoError(t, os.WriteFile(now, []byte(when), 0o600)) }
	set("2026-03-02T09:00:00Z")
	s := serve(t, "", dir, testNow+"="+now)
	m, client := newModel(), &http.Client{Timeout: 10 * time.Second}
	m.try(client, s.url, "drover/machine", request{"drover", "k0", fmt.Sprintf(takeIn, "drover")})
	for n, when := range []string{"2026-03-02T08:00:00Z", "2036-03-02T09:00:00Z", "2024-02-29T23:59:59Z", "2026-03-29T01:30:00Z", "2026-03-02T09:00:01Z"} {
		set(when)
		id := fmt.Sprint("fault-", n)
		m.try(client, s.url, "drover/"+id, request{"drover", "key-" + id, fmt.Sprintf(`{"record":"fault","id":%q,"complaint":"It drips.","components":["fuel.tank"],"by":"custodian"}`, id)})
	}
	require.Empty(t, m.refused)
	s.stop()
	_, lost := m.hold(t, dir)
	require.Empty(t, lost)
	audit(t, dir)
}

// listing is what lies in a registry's ledger.
func listing(dir string) string {
	out, _ := exec.Command("ls", "-la", filepath.Join(dir, "ledger")).CombinedOutput()
	return string(out)
}
