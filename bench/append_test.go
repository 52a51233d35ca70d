package bench

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// event is as long as a common one: 640 bytes of JSON.
var event = []byte(`{"kind":"claim","text":"` + strings.Repeat("as found ", 68) + `"}`)

// rate runs writers for a while and gives writes a second.
func rate(t testing.TB, writers int, lasts time.Duration, write func(writer, i int) error) float64 {
	var done atomic.Int64
	var wait sync.WaitGroup
	begin := time.Now()
	for w := range writers {
		wait.Go(func() {
			for i := 0; time.Since(begin) < lasts; i++ {
				if err := write(w, i); err != nil {
					t.Error(err)
					return
				}
				done.Add(1)
			}
		})
	}
	wait.Wait()
	return float64(done.Load()) / time.Since(begin).Seconds()
}

// bareGroups gives a function that writes one record, and nothing else, in one
// synchronised transaction with whatever others wait: the most that the engine can
// do for many writers.
func bareGroups(t testing.TB, db *badger.DB) func(key, value []byte) error {
	type one struct {
		key, value []byte
		done       chan error
	}
	waiting := make(chan one, 256)
	t.Cleanup(func() { close(waiting) })
	go func() {
		for first := range waiting {
			group := []one{first}
			for more := true; more && len(group) < 256; {
				select {
				case o, ok := <-waiting:
					if more = ok; ok {
						group = append(group, o)
					}
				default:
					more = false
				}
			}
			err := db.Update(func(txn *badger.Txn) error {
				for _, o := range group {
					if err := txn.Set(o.key, o.value); err != nil {
						return err
					}
				}
				return nil
			})
			for _, o := range group {
				o.done <- err
			}
		}
	}()
	return func(key, value []byte) error {
		done := make(chan error, 1)
		waiting <- one{key, value, done}
		return <-done
	}
}

// measureAppends compares, turn by turn, durable appends with one transaction
// of the storage engine for each record of the same bytes, both waiting for
// stable storage, and for 64 writers with bare groups of them.
func measureAppends(t *testing.T, x *results) {
	lasts, turns := 100*time.Millisecond, 1
	if whole() {
		lasts, turns = time.Second, 3
	}
	for _, writers := range []int{1, 16, 64, 256} {
		db, err := badger.Open(badger.DefaultOptions(t.TempDir()).WithSyncWrites(true).WithLogger(nil).WithMemTableSize(8 << 20).
			WithValueLogFileSize(64 << 20).WithNumCompactors(2).WithNumMemtables(2).WithBlockCacheSize(8 << 20).WithMetricsEnabled(false))
		require.NoError(t, err)
		s := open(t, t.TempDir())
		versions := make([]uint64, writers)
		var plain, ours, bare float64
		group := bareGroups(t, db)
		for turn := range turns {
			plain += rate(t, writers, lasts, func(w, i int) error {
				return db.Update(func(txn *badger.Txn) error { return txn.Set(fmt.Appendf(nil, "%d/%d/%d", turn, w, i), event) })
			})
			ours += rate(t, writers, lasts, func(w, i int) error {
				_, err := s.Append(context.Background(), registry.Commit{ID: fmt.Sprintf("%d/%d/%d", turn, w, i), Machine: fmt.Sprint("machine-", w),
					Expect: versions[w], Events: [][]byte{event}})
				versions[w]++
				return err
			})
			if writers == 64 {
				bare += rate(t, writers, lasts, func(w, i int) error { return group(fmt.Appendf(nil, "%d/%d/%d/bare", turn, w, i), event) })
			}
		}
		r := row{section: "Durable appends", what: fmt.Sprintf("%d writers, one event of 640 bytes each", writers), unit: "a second", measured: ours / float64(turns),
			baseline: plain / float64(turns), against: "one synchronised Badger transaction a record"}
		switch writers {
		case 1:
			r.what, r.limit = "1 writer, one event of 640 bytes", ratioAtLeast(0.8)
			r.why = "each commit also keeps the machine's Merkle tree, the order of the ledger and the key of the commit, which a bare record has not"
		case 64:
			r.limit = ratioAtLeast(8)
			r.why = "a commit is four entries (its events, its place in the ledger, its key, its machine's head), which take longer than a fast disk's answer; where the disk takes longer than that the ratio is larger"
			x.figure("appends_64", r.measured)
		case 256:
			x.figure("appends_256", r.measured)
		}
		if writers == 1 {
			x.figure("append_1_ms", 1000/r.measured)
		}
		x.add(r)
		if writers == 64 {
			x.add(row{section: r.section, what: "64 writers, bare groups: nothing but the bytes, as many in one transaction as wait", unit: r.unit, measured: bare / float64(turns), baseline: r.baseline, against: r.against})
		}
		require.NoError(t, s.Close())
		require.NoError(t, db.Close())
	}
}
