package node

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/store"
)

// cluster stands in for one: a ledger and files in memory, which can be out of
// reach. It outlives the nodes that use it.
type cluster struct {
	registry.Ledger
	away    atomic.Bool
	appends atomic.Int64
	private changing
	keys    keyring
}

func newCluster() *cluster {
	return &cluster{Ledger: ledgertest.NewMemory(), private: changing{newJournal()}, keys: keyring{newJournal()}}
}

var errAway = errors.New("out of reach")

func (c *cluster) reach() error {
	if c.away.Load() {
		return errAway
	}
	return nil
}

func (c *cluster) End(ctx context.Context) (registry.Position, error) {
	if err := c.reach(); err != nil {
		return 0, err
	}
	return c.Ledger.End(ctx)
}

func (c *cluster) Append(ctx context.Context, commit registry.Commit) (registry.Receipt, error) {
	if err := c.reach(); err != nil {
		return registry.Receipt{}, err
	}
	c.appends.Add(1)
	return c.Ledger.Append(ctx, commit)
}

// Close of a node's connection leaves the cluster running.
func (c *cluster) Close() error { return nil }

func (c *cluster) remote() Remote {
	return Remote{Ledger: c, Photos: ledgertest.NewMemoryBlobs(), Private: c.private, Keys: c.keys, Check: func(context.Context) error { return c.reach() }}
}

// changing is a vault's values in memory, which tell what came and went.
type changing struct {
	*journal
}

func (c changing) Raw(_ context.Context, digest string) ([]byte, error) { return c.get(digest) }
func (c changing) Set(_ context.Context, digest string, raw []byte) error {
	return c.set(digest, func([]byte) ([]byte, error) { return raw, nil })
}
func (c changing) Stat(_ context.Context, digest string) (int64, error) {
	raw, err := c.get(digest)
	return int64(len(raw)), err
}
func (c changing) Has(_ context.Context, digest string) (bool, error) {
	_, err := c.get(digest)
	return err == nil, nil
}
func (c changing) Remove(_ context.Context, digest string) error         { return c.remove(digest) }
func (c changing) Each(context.Context, func(string, int64) error) error { return nil }
func (c changing) Changes(_ context.Context, place uint64, fn func(string, int64, bool) error) (uint64, error) {
	return c.since(place, func(name string, raw []byte, removed bool) error { return fn(name, int64(len(raw)), removed) })
}

// keyring is a vault's keys in memory.
type keyring struct {
	*journal
}

func (k keyring) Load(_ context.Context, name, _ string) ([]byte, error) { return k.get(name) }
func (k keyring) Change(_ context.Context, name string, _ bool, fn func([]byte) ([]byte, error)) error {
	return k.set(name, fn)
}
func (k keyring) Remove(_ context.Context, name string) error     { return k.remove(name) }
func (k keyring) Names(context.Context, string) ([]string, error) { return nil, nil }
func (k keyring) Changes(_ context.Context, place uint64, fn func(string, []byte) error) (uint64, error) {
	return k.since(place, func(name string, raw []byte, removed bool) error {
		if removed {
			return nil
		}
		return fn(name, raw)
	})
}

// journal is named bytes in memory that know the order of their changes.
type journal struct {
	mu    sync.Mutex
	now   map[string][]byte
	order []string
}

func newJournal() *journal { return &journal{now: map[string][]byte{}} }

func (j *journal) get(name string) ([]byte, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	raw, ok := j.now[name]
	if !ok {
		return nil, store.NoKeyFile(name)
	}
	return raw, nil
}

func (j *journal) set(name string, fn func([]byte) ([]byte, error)) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	raw, err := fn(j.now[name])
	if err == nil {
		j.now[name] = raw
		j.order = append(j.order, name)
	}
	return err
}

func (j *journal) remove(name string) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	delete(j.now, name)
	j.order = append(j.order, name)
	return nil
}

func (j *journal) since(place uint64, fn func(name string, raw []byte, removed bool) error) (uint64, error) {
	j.mu.Lock()
	names := slices.Clone(j.order[place:])
	j.mu.Unlock()
	for _, name := range names {
		raw, err := j.get(name)
		if err := fn(name, raw, err != nil); err != nil {
			return place, err
		}
		place++
	}
	return place, nil
}

func open(t *testing.T, dir string, c *cluster) (*Node, error) {
	t.Helper()
	held, err := store.Open(dir, store.Options{})
	require.NoError(t, err)
	n, err := Open(t.Context(), held, c.remote(), Options{Every: 20 * time.Millisecond, Patience: 100 * time.Millisecond})
	if err == nil {
		t.Cleanup(func() { _ = n.Close() })
	}
	return n, err
}

func mustOpen(t *testing.T, dir string, c *cluster) *Node {
	t.Helper()
	n, err := open(t, dir, c)
	require.NoError(t, err)
	return n
}

func TestConformance(t *testing.T) {
	var c *cluster
	var dir string
	ledgertest.Run(t, func(t *testing.T) registry.Ledger {
		c, dir = newCluster(), t.TempDir()
		return mustOpen(t, dir, c)
	}, func(t *testing.T, l registry.Ledger) registry.Ledger {
		require.NoError(t, l.Close())
		return mustOpen(t, dir, c)
	})
}

func commit(id string, expect uint64) registry.Commit {
	return registry.Commit{ID: id, Machine: "drover", Expect: expect, Events: [][]byte{[]byte("event of " + id)}}
}

// TestReadYourWrite writes through one node and reads through another at once,
// whole histories and heads alike.
func TestReadYourWrite(t *testing.T) {
	c := newCluster()
	a, b := mustOpen(t, t.TempDir(), c), mustOpen(t, t.TempDir(), c)
	for n := uint64(0); n < 40; n += 2 {
		for i, pair := range [][2]*Node{{a, b}, {b, a}} {
			version := n + uint64(i)
			r, err := pair[0].Append(t.Context(), commit(fmt.Sprint("c", version), version))
			require.NoError(t, err)
			var last registry.Record
			require.NoError(t, pair[1].Read(t.Context(), "drover", version, func(r registry.Record) error {
				last = r
				return nil
			}))
			require.Equal(t, r.Head.Position, last.Position)
			require.Equal(t, r.Head.Version, last.First)
			head, err := pair[0].Head(t.Context(), "drover")
			require.NoError(t, err)
			require.Equal(t, r.Head, head)
		}
	}
}

// TestTheCopyKnowsEveryID answers a repeat, on whatever machine, without the
// cluster, which knows the IDs of other machines only for a while.
func TestTheCopyKnowsEveryID(t *testing.T) {
	c := newCluster()
	n := mustOpen(t, t.TempDir(), c)
	first, err := n.Append(t.Context(), commit("one", 0))
	require.NoError(t, err)
	elsewhere := commit("one", 0)
	elsewhere.Machine = "thirlbeck"
	for _, again := range []registry.Commit{commit("one", 0), commit("one", 1), elsewhere} {
		r, err := n.Append(t.Context(), again)
		require.NoError(t, err)
		require.Equal(t, registry.Receipt{Head: first.Head, Duplicate: true}, r)
	}
	require.EqualValues(t, 1, c.appends.Load())
}

// TestOutOfReach takes the cluster away: reading goes on, and says since when;
// writing is refused; afterwards both go on.
func TestOutOfReach(t *testing.T) {
	c, dir := newCluster(), t.TempDir()
	n := mustOpen(t, dir, c)
	_, err := n.Append(t.Context(), commit("one", 0))
	require.NoError(t, err)
	before, down := n.State()
	require.NoError(t, down)

	c.away.Store(true)
	_, err = n.Append(t.Context(), commit("two", 1))
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "%v", err)
	require.ErrorContains(t, err, "nothing was stored; reading goes on")
	head, err := n.Head(t.Context(), "drover")
	require.NoError(t, err)
	require.EqualValues(t, 1, head.Version)
	since, down := n.State()
	require.ErrorContains(t, down, "does not answer")
	require.False(t, since.Before(before))
	require.NoError(t, n.Close())

	// A node that starts meanwhile serves its copy; an empty one has nothing.
	n = mustOpen(t, dir, c)
	head, err = n.Head(t.Context(), "drover")
	require.NoError(t, err)
	require.EqualValues(t, 1, head.Version)
	_, err = open(t, t.TempDir(), c)
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "%v", err)

	c.away.Store(false)
	require.Eventually(t, func() bool { _, down := n.State(); return down == nil }, 10*time.Second, 5*time.Millisecond)
	r, err := n.Append(t.Context(), commit("two", 1))
	require.NoError(t, err)
	require.EqualValues(t, 2, r.Head.Version)
}

// TestShortLoss takes the cluster away for a moment, as when another server
// takes the lead: an append waits.
func TestShortLoss(t *testing.T) {
	c := newCluster()
	held, err := store.Open(t.TempDir(), store.Options{})
	require.NoError(t, err)
	n, err := Open(t.Context(), held, c.remote(), Options{Every: 5 * time.Millisecond, Patience: time.Minute})
	require.NoError(t, err)
	defer n.Close()
	c.away.Store(true)
	require.Eventually(t, func() bool { _, down := n.State(); return down != nil }, 10*time.Second, time.Millisecond)
	done := make(chan error, 1)
	go func() {
		_, err := n.Append(t.Context(), commit("one", 0))
		done <- err
	}()
	select {
	case err := <-done:
		t.Fatalf("it did not wait: %v", err)
	case <-time.After(50 * time.Millisecond):
	}
	c.away.Store(false)
	require.NoError(t, <-done)
}

// TestEmptyCopyWaits begins a node while another server takes the lead: with
// nothing to serve yet, it waits.
func TestEmptyCopyWaits(t *testing.T) {
	c := newCluster()
	_, err := c.Ledger.Append(t.Context(), commit("one", 0))
	require.NoError(t, err)
	held, err := store.Open(t.TempDir(), store.Options{})
	require.NoError(t, err)
	remote, asked := c.remote(), 0
	remote.Check = func(context.Context) error {
		if asked++; asked < 3 {
			return errAway
		}
		return nil
	}
	n, err := Open(t.Context(), held, remote, Options{Every: time.Millisecond, Patience: time.Minute})
	require.NoError(t, err)
	defer n.Close()
	head, err := n.Head(t.Context(), "drover")
	require.NoError(t, err)
	require.EqualValues(t, 1, head.Version)
}

// TestLostCluster is a cluster that came back empty, or with another history:
// nothing is written to it.
func TestLostCluster(t *testing.T) {
	c, dir := newCluster(), t.TempDir()
	n := mustOpen(t, dir, c)
	_, err := n.Append(t.Context(), commit("one", 0))
	require.NoError(t, err)

	// Empty, while the node runs.
	whole := c.Ledger
	c.away.Store(true)
	require.Eventually(t, func() bool { _, down := n.State(); return down != nil }, 10*time.Second, 5*time.Millisecond)
	c.Ledger = ledgertest.NewMemory()
	c.away.Store(false)
	_, err = n.Append(t.Context(), registry.Commit{ID: "new", Machine: "thirlbeck", Events: [][]byte{[]byte("x")}})
	require.Equal(t, registry.CodeBusy, registry.CodeOf(err), "%v", err)
	end, err := c.Ledger.End(t.Context())
	require.NoError(t, err)
	require.Zero(t, end, "nothing was written to the empty ledger")

	// With another history.
	_, err = c.Ledger.Append(t.Context(), commit("other", 0))
	require.NoError(t, err)
	_, err = n.Append(t.Context(), commit("two", 1))
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%v", err)
	require.NoError(t, n.Close())
	_, err = open(t, dir, c)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%v", err)
	require.ErrorContains(t, err, "At position 1 the cluster does not hold the commit that this node has read there")

	// With the right one, it opens again.
	c.Ledger = whole
	n = mustOpen(t, dir, c)
	_, err = n.Append(t.Context(), commit("two", 1))
	require.NoError(t, err)
}

// TestOtherFolder refuses the folder of a registry of its own.
func TestOtherFolder(t *testing.T) {
	dir := t.TempDir()
	s, err := store.Open(dir, store.Options{})
	require.NoError(t, err)
	_, err = s.Append(t.Context(), commit("mine", 0))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	_, err = open(t, dir, newCluster())
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err), "%v", err)
	require.False(t, IsCopy(dir))
}

// TestPrivate copies private values and their keys to every node, serves them
// while the cluster is out of reach, and destroys both everywhere.
func TestPrivate(t *testing.T) {
	c := newCluster()
	a, b := mustOpen(t, t.TempDir(), c), mustOpen(t, t.TempDir(), c)
	digest, _, err := a.Private().PutFor(t.Context(), "drover/owner", strings.NewReader("a name, invented"), 100)
	require.NoError(t, err)
	raw, err := c.private.get(digest)
	require.NoError(t, err)
	require.NotContains(t, string(raw), "invented", "the cluster holds it sealed")
	look := func(v *store.Vault) store.State {
		state, _, err := v.Look(t.Context(), digest)
		require.NoError(t, err)
		return state
	}
	require.Equal(t, store.Readable, look(b.Private()), "at once, be it copied already or not")
	require.Eventually(t, func() bool { return look(b.Store.Private()) == store.Readable }, 10*time.Second, 5*time.Millisecond)
	c.away.Store(true)
	require.Eventually(t, b.isDown, 10*time.Second, 5*time.Millisecond)
	r, _, err := b.Private().Get(t.Context(), digest)
	require.NoError(t, err)
	text, err := io.ReadAll(r)
	require.NoError(t, errors.Join(err, r.Close()))
	require.Equal(t, "a name, invented", string(text))
	c.away.Store(false)
	require.Eventually(t, func() bool { return !a.isDown() && !b.isDown() }, 10*time.Second, 5*time.Millisecond)

	// The key alone is destroyed, as when a node ends on the way: nobody reads it.
	a.Private().Forget()
	require.NoError(t, a.Private().PutKey(t.Context(), "drover/person-owner.key", destroyed(t, c)))
	require.Equal(t, store.KeyDestroyed, look(a.Private()))
	require.Eventually(t, func() bool { return look(b.Private()) == store.KeyDestroyed }, 10*time.Second, 5*time.Millisecond)
	for _, n := range []*Node{a, b} {
		require.Equal(t, store.KeyDestroyed, look(n.Store.Private()))
	}
	// What is new of the same person has another key, at either node.
	again, _, err := b.Private().PutFor(t.Context(), "drover/owner", strings.NewReader("another name"), 100)
	require.NoError(t, err)
	_, _, err = a.Private().Get(t.Context(), again)
	require.NoError(t, err)

	require.NoError(t, a.Private().Destroy(t.Context(), []string{digest, again}))
	for _, n := range []*Node{a, b} {
		require.Eventually(t, func() bool {
			one, err := n.Store.Private().Has(t.Context(), digest)
			require.NoError(t, err)
			two, err := n.Store.Private().Has(t.Context(), again)
			require.NoError(t, err)
			return !one && !two
		}, 10*time.Second, 5*time.Millisecond)
	}
	has, err := b.Private().Has(t.Context(), digest)
	require.NoError(t, err)
	require.False(t, has)

	// A key that the cluster lost is named by the audit.
	_, _, err = a.Private().PutFor(t.Context(), "drover", strings.NewReader("shelf 3"), 100)
	require.NoError(t, err)
	found, err := a.Audit(t.Context())
	require.NoError(t, err)
	require.Empty(t, found)
	require.NoError(t, c.keys.remove("drover/machine.key"))
	found, err = a.Audit(t.Context())
	require.NoError(t, err)
	require.Len(t, found, 1)
	require.Contains(t, found[0].String(), "drover/machine.key")
}

// destroyed is the owner's file of keys when its key is destroyed.
func destroyed(t *testing.T, c *cluster) []byte {
	raw, err := c.keys.get("drover/person-owner.key")
	require.NoError(t, err)
	var f map[string]any
	require.NoError(t, json.Unmarshal(raw, &f))
	out, err := json.Marshal(map[string]any{"format": 1, "holder": f["holder"], "destroyed": []any{f["id"]}})
	require.NoError(t, err)
	return append(out, '\n')
}

// TestLongCopy brings an empty node up to a long ledger, in order.
func TestLongCopy(t *testing.T) {
	c := newCluster()
	for v := range uint64(1500) {
		_, err := c.Ledger.Append(t.Context(), commit(fmt.Sprint("c", v), v))
		require.NoError(t, err)
	}
	n := mustOpen(t, t.TempDir(), c)
	var want, got []registry.Record
	collect := func(to *[]registry.Record) func(registry.Record) error {
		return func(r registry.Record) error { *to = append(*to, r); return nil }
	}
	require.NoError(t, c.ReadAll(t.Context(), 0, collect(&want)))
	require.NoError(t, n.ReadAll(t.Context(), 0, collect(&got)))
	require.Equal(t, want, got)
}
