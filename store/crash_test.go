package store_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// TestMain lets the test binary be its own child that is killed.
func TestMain(m *testing.M) {
	if dir := os.Getenv("STORE_TEST_APPEND_IN"); dir != "" {
		appendForEver(dir)
	}
	os.Exit(m.Run())
}

// appendForEver appends from eight goroutines and prints the ID of each
// acknowledged commit, one write a line, so that a line is whole or not there.
func appendForEver(dir string) {
	s, err := store.Open(dir, store.Options{})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	for w := range 8 {
		go func() {
			machine := fmt.Sprint("machine-", w)
			h, err := s.Head(context.Background(), machine)
			for n := h.Version; err == nil; n++ {
				id := fmt.Sprintf("%s/%d", machine, n)
				_, err = s.Append(context.Background(), registry.Commit{ID: id, Machine: machine, Expect: n,
					Events: [][]byte{[]byte(strings.Repeat(id, 40))}})
				if err == nil {
					os.Stdout.WriteString(id + "\n")
				}
			}
			fmt.Println("error", err)
			os.Exit(1)
		}()
	}
	select {}
}

// A killed process loses no acknowledged commit, and the directory opens again
// without a question. This does not show what a power cut does: the kernel
// still holds what was written.
func TestKilledProcess(t *testing.T) {
	dir := t.TempDir()
	acknowledged := map[string]bool{}
	for round := range 3 {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		child := exec.CommandContext(ctx, os.Args[0])
		child.Env = append(os.Environ(), "STORE_TEST_APPEND_IN="+dir)
		out, err := child.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, child.Start())
		lines := bufio.NewScanner(out)
		until := time.Now().Add(400 * time.Millisecond)
		n := 0
		for lines.Scan() {
			require.NotContains(t, lines.Text(), "error")
			acknowledged[lines.Text()] = true
			if n++; n > 20 && time.Now().After(until) {
				break
			}
		}
		require.NoError(t, child.Process.Kill()) // SIGKILL
		for lines.Scan() {
			acknowledged[lines.Text()] = true
		}
		_ = child.Wait()
		cancel()

		begin := time.Now()
		s := open(t, dir)
		took := time.Since(begin)
		found := map[string]bool{}
		require.NoError(t, s.ReadAll(t.Context(), 0, func(r registry.Record) error {
			found[r.ID] = true
			require.Equal(t, strings.Repeat(r.ID, 40), string(r.Events[0]))
			return nil
		}))
		lost := 0
		for id := range acknowledged {
			if !found[id] {
				lost++
			}
		}
		require.Zero(t, lost, "of %d acknowledged commits", len(acknowledged))
		noFindings(t, s)
		require.NoError(t, s.Close())
		t.Logf("round %d: %d acknowledged, %d stored, opened in %s", round, len(acknowledged), len(found), took.Round(time.Millisecond))
	}
}
