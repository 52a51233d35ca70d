package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/store"
)

// event is as long as a common one: 640 bytes of JSON.
var event = []byte(`{"kind":"claim","text":"` + strings.Repeat("as found ", 68) + `"}`)

// rate runs n writers for a while and gives writes a second.
func rate(b *testing.B, n int, write func(writer, i int) error) float64 {
	var done atomic.Int64
	var wait sync.WaitGroup
	begin := time.Now()
	for w := range n {
		wait.Go(func() {
			for i := 0; time.Since(begin) < 300*time.Millisecond; i++ {
				if err := write(w, i); err != nil {
					b.Error(err)
					return
				}
				done.Add(1)
			}
		})
	}
	wait.Wait()
	return float64(done.Load()) / time.Since(begin).Seconds()
}

// BenchmarkDurableAppend compares, turn by turn in one run, appends with one
// Badger transaction for each record of the same bytes. Both wait for stable
// storage. Run it with -benchtime=5x: each turn takes 0.6 s.
func BenchmarkDurableAppend(b *testing.B) {
	for _, writers := range []int{1, 16, 64} {
		b.Run(fmt.Sprintf("writers=%d", writers), func(b *testing.B) {
			db, err := badger.Open(badger.DefaultOptions(b.TempDir()).WithSyncWrites(true).WithLogger(nil).
				WithMemTableSize(8 << 20).WithValueLogFileSize(64 << 20).WithNumCompactors(2).WithNumMemtables(2).
				WithBlockCacheSize(8 << 20).WithMetricsEnabled(false))
			require.NoError(b, err)
			defer db.Close()
			s := open(b, b.TempDir())
			versions := make([]uint64, writers)
			var plain, ours float64
			turn := 0
			for b.Loop() {
				turn++
				plain += rate(b, writers, func(w, i int) error {
					return db.Update(func(txn *badger.Txn) error {
						return txn.Set(fmt.Appendf(nil, "%d/%d/%d", turn, w, i), event)
					})
				})
				ours += rate(b, writers, func(w, i int) error {
					_, err := s.Append(context.Background(), registry.Commit{ID: fmt.Sprintf("%d/%d/%d", turn, w, i),
						Machine: fmt.Sprint("machine-", w), Expect: versions[w], Events: [][]byte{event}})
					versions[w]++
					return err
				})
			}
			b.ReportMetric(plain/float64(turn), "badger/s")
			b.ReportMetric(ours/float64(turn), "appends/s")
			b.ReportMetric(ours/plain, "ratio")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// machineOf makes a machine of n events in commits of one event each.
func machineOf(b *testing.B, s *store.Store, name string, n int) {
	var wait sync.WaitGroup
	for w := range 4 { // other machines lie between, as in use
		wait.Go(func() {
			machine := name
			if w > 0 {
				machine = fmt.Sprint("other-", w)
			}
			for v := range n {
				if _, err := s.Append(context.Background(), registry.Commit{ID: fmt.Sprintf("%s/%d", machine, v),
					Machine: machine, Expect: uint64(v), Events: [][]byte{event}}); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	wait.Wait()
}

func BenchmarkReadMachine5000(b *testing.B) {
	s := open(b, b.TempDir())
	machineOf(b, s, "drover", 5000)
	for b.Loop() {
		n := 0
		require.NoError(b, s.Read(b.Context(), "drover", 0, func(registry.Record) error { n++; return nil }))
		require.Equal(b, 5000, n)
	}
}

func BenchmarkReadAll20000(b *testing.B) {
	s := open(b, b.TempDir())
	machineOf(b, s, "drover", 5000)
	for b.Loop() {
		require.NoError(b, s.ReadAll(b.Context(), 0, func(registry.Record) error { return nil }))
	}
}

func BenchmarkOpenAndClose(b *testing.B) {
	for _, commits := range []int{200, 20_000} {
		b.Run(fmt.Sprintf("commits=%d", commits), func(b *testing.B) {
			dir := b.TempDir()
			s := open(b, dir)
			machineOf(b, s, "drover", commits/4)
			require.NoError(b, s.Close())
			var opening time.Duration
			n := 0
			for b.Loop() {
				begin := time.Now()
				s, err := store.Open(dir, store.Options{})
				require.NoError(b, err)
				opening += time.Since(begin)
				n++
				require.NoError(b, s.Close())
			}
			b.ReportMetric(float64(opening.Microseconds())/1000/float64(n), "open-ms")
		})
	}
}

// BenchmarkIdle reports what an open directory takes: memory in use by the
// process, which holds the test binary as well, and the sizes of its files.
func BenchmarkIdle(b *testing.B) {
	dir := b.TempDir()
	s := open(b, dir)
	machineOf(b, s, "drover", 250)
	require.NoError(b, s.Close())
	open(b, dir)
	for b.Loop() {
		time.Sleep(time.Millisecond)
	}
	var apparent int64
	require.NoError(b, filepath.Walk(dir, func(_ string, info os.FileInfo, err error) error {
		apparent += info.Size()
		return err
	}))
	b.ReportMetric(float64(apparent)/1e6, "apparent-MB")
}
