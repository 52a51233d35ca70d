package store_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/store"
)

func open(t testing.TB, dir string) *store.Store {
	t.Helper()
	s, err := store.Open(dir, store.Options{Warn: func(m string) { t.Log(m) }})
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func TestLedger(t *testing.T) {
	ledgertest.Run(t, func(t *testing.T) registry.Ledger {
		return open(t, t.TempDir()).Ledger()
	}, func(t *testing.T, l registry.Ledger) registry.Ledger {
		dir := l.(*store.Store).Dir()
		require.NoError(t, l.Close())
		return open(t, dir).Ledger()
	})
}

// fill appends n commits of one to three events to two machines.
func fill(t testing.TB, s *store.Store, n int) {
	t.Helper()
	versions := map[string]uint64{}
	for _, m := range []string{"drover", "thirlbeck"} {
		h, err := s.Head(t.Context(), m)
		require.NoError(t, err)
		versions[m] = h.Version
	}
	end, err := s.End(t.Context())
	require.NoError(t, err)
	for i := range n {
		m := []string{"drover", "thirlbeck"}[i%2]
		c := registry.Commit{ID: fmt.Sprintf("commit-%d", int(end)+i), Machine: m, Expect: versions[m]}
		for e := 0; e <= i%3; e++ {
			c.Events = append(c.Events, fmt.Appendf(nil, `{"event":%d,"of":%d,"text":"as found, untouched"}`, e, i))
		}
		_, err := s.Append(t.Context(), c)
		require.NoError(t, err)
		versions[m] += uint64(len(c.Events))
	}
}

func noFindings(t testing.TB, s *store.Store) {
	t.Helper()
	findings, err := s.Check(t.Context(), true)
	require.NoError(t, err)
	require.Empty(t, findings)
}

func TestCheckOfAWholeLedger(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	noFindings(t, s)
	fill(t, s, 50)
	noFindings(t, s)
	require.NoError(t, s.Close())
	s = open(t, dir)
	noFindings(t, s)
	require.NoError(t, s.Close())
}

// The kept root is that of golang.org/x/mod/sumdb/tlog over the same events.
func TestRootIsRFC6962(t *testing.T) {
	s := open(t, t.TempDir())
	ctx := t.Context()
	size, root, err := s.Root(ctx, "drover")
	require.NoError(t, err)
	require.Zero(t, size)
	// RFC 6962 §2.1: the hash of an empty list is the hash of an empty string.
	require.Equal(t, "e3b0c442", fmt.Sprintf("%x", root[:4]))
	var stored []tlog.Hash
	reader := tlog.HashReaderFunc(func(at []int64) ([]tlog.Hash, error) {
		var out []tlog.Hash
		for _, i := range at {
			out = append(out, stored[i])
		}
		return out, nil
	})
	for n := int64(0); n < 70; n++ {
		event := fmt.Appendf(nil, "event %d", n)
		_, err := s.Append(ctx, registry.Commit{ID: fmt.Sprint(n), Machine: "drover", Expect: uint64(n), Events: [][]byte{event}})
		require.NoError(t, err)
		added, err := tlog.StoredHashes(n, event, reader)
		require.NoError(t, err)
		stored = append(stored, added...)
		want, err := tlog.TreeHash(n+1, reader)
		require.NoError(t, err)
		size, root, err := s.Root(ctx, "drover")
		require.NoError(t, err)
		require.EqualValues(t, n+1, size)
		require.Equal(t, want, tlog.Hash(root), "of %d events", n+1)
	}
}

func TestSecondOpening(t *testing.T) {
	dir := t.TempDir()
	open(t, dir)
	_, err := store.Open(dir, store.Options{})
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err))
	require.EqualError(t, err, "Another asfound process is using the registry in "+dir+
		". Stop it, or use --dir for another one.")
}

func TestModes(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "registry")
	s := open(t, dir)
	fill(t, s, 3)
	_, _, err := s.Photos().Put(t.Context(), readerOf("photo"), 100)
	require.NoError(t, err)
	require.NoError(t, filepath.Walk(dir, func(path string, info os.FileInfo, err error) error {
		if info.IsDir() {
			require.EqualValues(t, 0o700, info.Mode().Perm(), path)
		} else if filepath.Dir(path) != filepath.Join(dir, "ledger") {
			require.EqualValues(t, 0o600, info.Mode().Perm(), path)
		}
		return err
	}))
}

// The directory must stay small while it is open: copies and quotas often look
// at the apparent size of a file.
func TestApparentSizeWhileOpen(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	fill(t, s, 200)
	var size int64
	require.NoError(t, filepath.Walk(dir, func(_ string, info os.FileInfo, err error) error {
		size += info.Size()
		return err
	}))
	t.Logf("%.1f MB apparent", float64(size)/1e6)
	require.Less(t, size, int64(30_000_000))
}

// Commits of many small events are larger in the store than their sum.
func TestManySmallEvents(t *testing.T) {
	s := open(t, t.TempDir())
	small := func(n int) registry.Commit {
		c := registry.Commit{ID: fmt.Sprint(n), Machine: fmt.Sprint("m", n)}
		for i := range n {
			c.Events = append(c.Events, []byte{byte(i)})
		}
		return c
	}
	for _, n := range []int{100_000, 523_000, 588_000} { // the last two need two parts: one byte of length each
		_, err := s.Append(t.Context(), small(n))
		require.NoError(t, err, n)
		h, err := s.Head(t.Context(), fmt.Sprint("m", n))
		require.NoError(t, err)
		require.EqualValues(t, n, h.Version)
		require.NoError(t, s.Read(t.Context(), fmt.Sprint("m", n), uint64(n-1), func(r registry.Record) error {
			require.Len(t, r.Events, n)
			require.Equal(t, byte(n-1), r.Events[n-1][0])
			return nil
		}))
	}
	_, err := s.Append(t.Context(), small(600_000))
	require.Equal(t, registry.CodeTooLarge, registry.CodeOf(err))
	noFindings(t, s)
}

// 256 writers with large commits overflow one transaction: it is split between
// commits, and everything is stored once.
func TestLargeBatchIsSplit(t *testing.T) {
	s := open(t, t.TempDir())
	const writers = 60
	errs := make(chan error, writers)
	for w := range writers {
		go func() {
			big := make([]byte, 200_000+w)
			big[0] = byte(w)
			_, err := s.Append(context.Background(), registry.Commit{ID: fmt.Sprint(w), Machine: fmt.Sprint("m", w%7, "-", w), Events: [][]byte{big}})
			errs <- err
		}()
	}
	for range writers {
		require.NoError(t, <-errs)
	}
	n := 0
	require.NoError(t, s.ReadAll(t.Context(), 0, func(r registry.Record) error {
		n++
		require.Len(t, r.Events[0], 200_000+int(r.Events[0][0]))
		return nil
	}))
	require.Equal(t, writers, n)
	noFindings(t, s)
}

func TestReadersMayCallBack(t *testing.T) {
	s := open(t, t.TempDir())
	fill(t, s, 6)
	done := make(chan error, 1)
	go func() {
		done <- s.ReadAll(context.Background(), 0, func(r registry.Record) error {
			h, err := s.Head(context.Background(), r.Machine)
			if err != nil {
				return err
			}
			_, err = s.Append(context.Background(), registry.Commit{ID: "in-" + r.ID, Machine: r.Machine,
				Expect: h.Version, Events: [][]byte{[]byte("x")}})
			return err
		})
	}()
	select {
	case err := <-done:
		require.NoError(t, err)
	case <-time.After(10 * time.Second):
		t.Fatal("a reader that appends hangs")
	}
	// The read saw the ledger as of the call: six commits, so six were added.
	end, err := s.End(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 12, end)
}

func TestCloseEndsAReader(t *testing.T) {
	s := open(t, t.TempDir())
	fill(t, s, 10)
	started, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		n := 0
		ended <- s.ReadAll(context.Background(), 0, func(registry.Record) error {
			if n++; n == 1 {
				close(started)
				time.Sleep(50 * time.Millisecond)
			}
			return nil
		})
	}()
	<-started
	require.NoError(t, s.Close())
	require.Error(t, <-ended)
	require.Error(t, s.Close())
	require.False(t, errors.Is(<-chanOf(s.Views().Update(t.Context(), 1, nil)), nil))
}

func chanOf(err error) <-chan error {
	c := make(chan error, 1)
	c <- err
	return c
}
