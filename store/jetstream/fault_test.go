package jetstream

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/store/jetstream/clustertest"
)

// load writes from several goroutines until it is told to stop, repeats what is
// unsure as a caller should, and keeps what was acknowledged.
type load struct {
	mu    sync.Mutex
	acked map[string]registry.Head // by commit ID
	count atomic.Int64
	stop  chan struct{}
	wait  sync.WaitGroup
	wrong error // the first answer that no caller should get
}

func startLoad(ctx context.Context, writers int, to func(writer int) registry.Ledger) *load {
	l := &load{acked: map[string]registry.Head{}, stop: make(chan struct{})}
	for w := range writers {
		l.wait.Go(func() {
			if err := l.write(ctx, to(w), w); err != nil {
				l.mu.Lock()
				defer l.mu.Unlock()
				l.wrong = err
			}
		})
	}
	return l
}

func (l *load) write(ctx context.Context, to registry.Ledger, w int) error {
	version := uint64(0)
	for n := 0; ; n++ {
		select {
		case <-l.stop:
			return nil
		default:
		}
		c := registry.Commit{ID: fmt.Sprintf("w%d-%d", w, n), Machine: fmt.Sprintf("machine-%d", w), Expect: version}
		for e := range 1 + n%3 {
			c.Events = append(c.Events, fmt.Appendf(nil, "event %d of %s", e, c.ID))
		}
		for {
			r, err := to.Append(ctx, c)
			if err == nil {
				l.mu.Lock()
				l.acked[c.ID] = r.Head
				l.mu.Unlock()
				l.count.Add(1)
				version = r.Head.Version
				break
			}
			if code := registry.CodeOf(err); code != registry.CodeBusy && code != registry.CodeUnknown {
				return fmt.Errorf("%s: %w", c.ID, err)
			}
		}
	}
}

// more waits until so many further commits were acknowledged.
func (l *load) more(t *testing.T, n int64) {
	t.Helper()
	want := l.count.Load() + n
	require.Eventually(t, func() bool { return l.count.Load() >= want }, 60*time.Second, 20*time.Millisecond,
		"writing does not go on: %d of %d commits", l.count.Load(), want)
}

// audit reads the whole ledger: each acknowledged commit stands there once, at
// the place that its writer was told, and every history is unbroken.
func (l *load) audit(t *testing.T, ledger registry.Ledger) {
	t.Helper()
	close(l.stop)
	l.wait.Wait()
	require.NoError(t, l.wrong)
	seen, versions := map[string]registry.Head{}, map[string]uint64{}
	require.NoError(t, ledger.ReadAll(t.Context(), 0, func(r registry.Record) error {
		if _, twice := seen[r.ID]; twice {
			return fmt.Errorf("the commit %s stands there twice", r.ID)
		}
		if r.First != versions[r.Machine]+1 {
			return fmt.Errorf("version %d of %s is missing", versions[r.Machine]+1, r.Machine)
		}
		seen[r.ID], versions[r.Machine] = after(r), after(r).Version
		return nil
	}))
	for id, head := range l.acked {
		require.Equal(t, head, seen[id], "the acknowledged commit %s", id)
	}
	require.Len(t, seen, len(l.acked), "all that stands there was acknowledged in the end")
}

// TestKilledNodes kills the leader, twice, and a follower, while eight write.
func TestKilledNodes(t *testing.T) {
	if testing.Short() {
		t.Skip("choosing new leaders takes half a minute")
	}
	c := newCluster(t, 3)
	require.NoError(t, Init(t.Context(), c.URL(), 3))
	s := attach(t, c.URL(), Options{})
	l := startLoad(t.Context(), 8, func(int) registry.Ledger { return s.Ledger() })
	l.more(t, 50)
	for range 2 {
		leader, err := c.Leader(Stream)
		require.NoError(t, err)
		require.NoError(t, c.KillNode(leader))
		l.more(t, 50)
		require.NoError(t, c.StartNode(leader))
		require.NoError(t, c.Settled())
	}
	leader, err := c.Leader(Stream)
	require.NoError(t, err)
	require.NoError(t, c.KillNode((leader+1)%3))
	l.more(t, 50)
	l.audit(t, s.Ledger())
	t.Logf("%d commits", l.count.Load())
}

// TestCutOffLeader cuts the lines between the leader and the others. On its side
// nothing is acknowledged; on the other side writing goes on; afterwards both
// hold the same.
func TestCutOffLeader(t *testing.T) {
	if testing.Short() {
		t.Skip("choosing a new leader takes ten seconds")
	}
	c := newCluster(t, 3)
	require.NoError(t, Init(t.Context(), c.URL(), 3))
	leader, err := c.Leader(Stream)
	require.NoError(t, err)
	alone := attach(t, c.NodeURL(leader), Options{Patience: 4 * time.Second})
	most := attach(t, c.NodeURL((leader+1)%3)+","+c.NodeURL((leader+2)%3), Options{Patience: 30 * time.Second})
	before, err := most.Ledger().Append(t.Context(), commit("before", 0))
	require.NoError(t, err)

	c.Cut(leader)
	lost := commit("lost", before.Head.Version)
	_, err = alone.Ledger().Append(t.Context(), lost)
	require.Contains(t, []registry.Code{registry.CodeBusy, registry.CodeUnknown}, registry.CodeOf(err), "%v", err)
	require.Contains(t, err.Error(), "reading goes on")
	during, err := most.Ledger().Append(t.Context(), commit("during", before.Head.Version))
	require.NoError(t, err)

	c.Mend(leader)
	require.NoError(t, c.Settled())
	// What was not acknowledged lost the race, and says so when it is repeated.
	require.Eventually(t, func() bool {
		_, err = alone.Ledger().Append(t.Context(), lost)
		return registry.CodeOf(err) != registry.CodeBusy && registry.CodeOf(err) != registry.CodeUnknown
	}, 60*time.Second, 20*time.Millisecond)
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err), "%v", err)
	// Until the old leader has heard that it is none, either may answer, and the
	// old one says what it knew; never anything else.
	require.Eventually(t, func() bool {
		head, err := alone.Ledger().Head(t.Context(), "drover")
		var ids []string
		readErr := alone.Ledger().ReadAll(t.Context(), 0, func(r registry.Record) error {
			ids = append(ids, r.ID)
			return nil
		})
		require.NotContains(t, ids, "lost")
		return err == nil && readErr == nil && head == during.Head && slices.Equal([]string{"before", "during"}, ids)
	}, 30*time.Second, 50*time.Millisecond)
}

func commit(id string, expect uint64) registry.Commit {
	return registry.Commit{ID: id, Machine: "drover", Expect: expect, Events: [][]byte{[]byte("event of " + id)}}
}

// TestOneOfThreeLeft stops two of three nodes: nothing is written, and the
// refusal says that nothing was stored.
func TestOneOfThreeLeft(t *testing.T) {
	if testing.Short() {
		t.Skip("takes ten seconds")
	}
	c := newCluster(t, 3)
	require.NoError(t, Init(t.Context(), c.URL(), 3))
	s := attach(t, c.URL(), Options{Patience: 3 * time.Second})
	_, err := s.Ledger().Append(t.Context(), commit("one", 0))
	require.NoError(t, err)
	leader, err := c.Leader(Stream)
	require.NoError(t, err)
	for i := range 3 {
		if i != (leader+1)%3 {
			require.NoError(t, c.KillNode(i))
		}
	}
	lone := attachedTo(t, c, (leader+1)%3)
	_, err = lone.Ledger().Append(t.Context(), commit("two", 1))
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "%v", err)
	require.Contains(t, err.Error(), "nothing was stored")
	_, err = lone.Ledger().End(t.Context())
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "%v", err)
	// A follower needs no leader.
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	enough := errors.New("enough")
	require.ErrorIs(t, lone.Ledger().Follow(ctx, 0, func(r registry.Record) error {
		require.Equal(t, "one", r.ID)
		return enough
	}), enough)
}

// attachedTo connects to one node without any check, as a program that was
// attached before is.
func attachedTo(t *testing.T, c *clustertest.Cluster, node int) *Store {
	t.Helper()
	s, err := connect(c.NodeURL(node), Options{Patience: 3 * time.Second})
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s
}
