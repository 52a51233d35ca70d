package move_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/move"
	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/store"
)

// memory is an empty side in memory.
func memory(name string) move.Side {
	return move.Side{Name: name, Ledger: ledgertest.NewMemory(), Photos: ledgertest.NewMemoryBlobs(), Private: ledgertest.NewMemoryBlobs()}
}

// onDisk is a side in a data directory.
func onDisk(t *testing.T) move.Side {
	s, err := store.Open(t.TempDir(), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return move.Side{Name: "the folder", Ledger: s.Ledger(), Photos: s.Photos(), Private: s.Private()}
}

// writer records events of invented machines on a side.
type writer struct {
	t        *testing.T
	side     move.Side
	versions map[string]uint64
	last     map[string]string
	n        int
}

func newWriter(t *testing.T, s move.Side) *writer {
	return &writer{t, s, map[string]uint64{}, map[string]string{}, 0}
}

// commit records bodies of one machine in one commit.
func (w *writer) commit(machine string, bodies ...registry.Body) {
	w.t.Helper()
	w.n++
	stamp := registry.Stamp{Machine: machine, Recorded: time.Unix(1_700_000_000, 0), Actor: "tamsin", NewID: func() string { return fmt.Sprintf("ev-%s-%d", machine, w.n) }}
	events, err := registry.Extend(w.versions[machine], w.last[machine], stamp, bodies)
	require.NoError(w.t, err)
	_, err = w.side.Ledger.Append(w.t.Context(), registry.Commit{ID: fmt.Sprintf("commit-%d", w.n), Machine: machine, Expect: w.versions[machine], Events: events})
	require.NoError(w.t, err)
	w.versions[machine] += uint64(len(events))
	w.last[machine] = registry.LeafHash(events[len(events)-1])
}

func person(id string) registry.Body {
	return &registry.Person{Common: registry.Common{ID: id}, Role: "keeper"}
}

func put(t *testing.T, b move.Blobs, text string) string {
	digest, _, err := b.Put(t.Context(), strings.NewReader(text), 1<<20)
	require.NoError(t, err)
	return digest
}

// withhold stores a private value of a holder.
func withhold(t *testing.T, v move.Vault, holder, text string) string {
	digest, _, err := v.(interface {
		PutFor(ctx context.Context, holder string, r io.Reader, limit int64) (string, int64, error)
	}).PutFor(t.Context(), holder, strings.NewReader(text), 1<<20)
	require.NoError(t, err)
	return digest
}

// filled is a side with three machines whose commits lie between each other,
// pictures and private values.
func filled(t *testing.T, s move.Side) (move.Side, *writer) {
	w := newWriter(t, s)
	for i := range 4 {
		for _, machine := range []string{"drover", "fellside", "tarn-2"} {
			w.commit(machine, person(fmt.Sprint("p", i)), person(fmt.Sprint("q", i)))
			w.commit(machine, person(fmt.Sprint("r", i)))
		}
		put(t, s.Photos, fmt.Sprint("picture ", i))
		withhold(t, s.Private, fmt.Sprint("drover/p", i), fmt.Sprint("name ", i))
	}
	return s, w
}

// contents is everything on a side: each machine's commits with their IDs and
// bytes, the order of them all, and the files. Positions are left out.
func contents(t *testing.T, s move.Side) string {
	var b strings.Builder
	require.NoError(t, s.Ledger.ReadAll(t.Context(), 0, func(r registry.Record) error {
		fmt.Fprintf(&b, "%s %s %d %q\n", r.ID, r.Machine, r.First, r.Events)
		return nil
	}))
	for _, x := range []move.Files{s.Photos, s.Private} {
		require.NoError(t, x.Each(t.Context(), func(digest string, _ int64) error {
			r, _, err := x.Get(t.Context(), digest)
			require.NoError(t, err)
			text, err := io.ReadAll(r)
			require.NoError(t, errors.Join(err, r.Close()))
			fmt.Fprintf(&b, "%s %q\n", digest, text)
			return nil
		}))
	}
	return b.String()
}

// TestThereAndBack moves from memory onto a disk and back into another memory.
func TestThereAndBack(t *testing.T) {
	from, w := filled(t, memory("the first memory"))
	disk, back := onDisk(t), memory("the second memory")

	there, err := move.All(t.Context(), from, disk, move.Options{Mark: 5})
	require.NoError(t, err)
	require.Equal(t, move.Count{Commits: 24, Events: 36, Photos: 4, Private: 4}, there.Added)
	require.Zero(t, there.There)
	require.Len(t, there.Machines, 3)
	require.Equal(t, registry.Position(5), there.Mark)
	require.Equal(t, contents(t, from), contents(t, disk))
	// The store computes its roots by itself.
	_, root, err := disk.Ledger.(*store.Store).Root(t.Context(), "drover")
	require.NoError(t, err)
	var tree registry.Tree
	require.NoError(t, from.Ledger.Read(t.Context(), "drover", 0, func(r registry.Record) error {
		for _, e := range r.Events {
			tree.Add(e)
		}
		return nil
	}))
	want, err := tree.Root(12)
	require.NoError(t, err)
	require.Equal(t, want, there.Machines[0].Root)
	require.NotZero(t, root)

	home, err := move.All(t.Context(), disk, back, move.Options{})
	require.NoError(t, err)
	require.Equal(t, there.Digest, home.Digest)
	require.Equal(t, there.Machines, home.Machines)
	require.Equal(t, contents(t, from), contents(t, back))

	// A second pass answers that all is there, and adds nothing.
	again, err := move.All(t.Context(), disk, back, move.Options{})
	require.NoError(t, err)
	require.Zero(t, again.Added)
	require.Equal(t, there.Added, again.There)
	require.Equal(t, contents(t, from), contents(t, back))

	// What came since is added, and what stands elsewhere in the target stays.
	w.commit("drover", person("late"))
	other := newWriter(t, disk)
	other.n = 500
	other.commit("stranger", person("s"))
	more, err := move.All(t.Context(), from, disk, move.Options{})
	require.NoError(t, err)
	require.Equal(t, move.Count{Commits: 1, Events: 1}, more.Added)
}

// breaking is a ledger whose appends fail from the k-th on: before or after the
// commit was stored.
type breaking struct {
	registry.Ledger
	left   int
	stored bool
}

var errStopped = errors.New("the power went")

func (b *breaking) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	if b.left--; b.left >= 0 {
		return b.Ledger.Append(ctx, c)
	}
	if b.stored && b.left == -1 {
		if _, err := b.Ledger.Append(ctx, c); err != nil {
			return registry.Receipt{}, err
		}
	}
	return registry.Receipt{}, errStopped
}

// TestStoppedAnywhere stops the move at each commit in turn, just before and
// just after it was stored, and goes on.
func TestStoppedAnywhere(t *testing.T) {
	from, _ := filled(t, memory("the source"))
	for k := range 24 {
		for _, stored := range []bool{false, true} {
			to := memory("the target")
			whole := to.Ledger
			to.Ledger = &breaking{whole, k, stored}
			_, err := move.All(t.Context(), from, to, move.Options{})
			require.ErrorContains(t, err, "the power went")
			to.Ledger = whole
			r, err := move.All(t.Context(), from, to, move.Options{})
			require.NoError(t, err)
			before := k
			if stored {
				before++
			}
			require.Equal(t, before, r.There.Commits)
			require.Equal(t, 24-before, r.Added.Commits)
			require.Equal(t, contents(t, from), contents(t, to))
		}
	}
}

// lost is a ledger that stores every commit and loses the first answer.
type lost struct {
	registry.Ledger
	told map[string]bool
}

func (l *lost) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	r, err := l.Ledger.Append(ctx, c)
	if err == nil && !l.told[c.ID] {
		l.told[c.ID] = true
		return registry.Receipt{}, registry.Refuse(registry.CodeUnknown, "", "the answer was lost")
	}
	return r, err
}

// TestLostAnswers repeats what was perhaps stored, and stores nothing twice.
func TestLostAnswers(t *testing.T) {
	from, _ := filled(t, memory("the source"))
	to := memory("the target")
	whole := to.Ledger
	to.Ledger = &lost{whole, map[string]bool{}}
	_, err := move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	to.Ledger = whole
	require.Equal(t, contents(t, from), contents(t, to))
}

// changed is a ledger that gives one event of a machine back with a byte changed.
type changed struct {
	registry.Ledger
	machine string
	version uint64
}

func (c changed) Read(ctx context.Context, machine string, after uint64, fn func(registry.Record) error) error {
	return c.Ledger.Read(ctx, machine, after, func(r registry.Record) error {
		if i := c.version - r.First; machine == c.machine && c.version >= r.First && i < uint64(len(r.Events)) {
			r.Events[i] = bytes.Replace(r.Events[i], []byte("tamsin"), []byte("tamsyn"), 1)
		}
		return fn(r)
	})
}

// TestDamageIsNamed moves nothing from a source that is damaged, and names what
// is: a machine, or a file.
func TestDamageIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		hurt func(*testing.T, *move.Side)
		says string
	}{
		"an event": {func(_ *testing.T, s *move.Side) { s.Ledger = changed{s.Ledger, "fellside", 3} }, "The record of fellside in the folder"},
		"the last event": {func(_ *testing.T, s *move.Side) {
			s.Ledger = rootedChanged{changed{s.Ledger, "tarn-2", 12}, s.Ledger.(*store.Store)}
		}, "The record of tarn-2 in the folder"},
		"a missing commit": {func(_ *testing.T, s *move.Side) { s.Ledger = skipping{s.Ledger, "drover"} }, "The record of drover in the folder"},
	} {
		t.Run(name, func(t *testing.T) {
			from, _ := filled(t, onDisk(t))
			to := memory("the target")
			c.hurt(t, &from)
			_, err := move.All(t.Context(), from, to, move.Options{})
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%v", err)
			require.ErrorContains(t, err, c.says)
			require.Empty(t, contents(t, to))
		})
	}
	for _, kind := range []string{"photos", "private"} {
		t.Run(kind, func(t *testing.T) {
			dir := t.TempDir()
			s, err := store.Open(dir, store.Options{})
			require.NoError(t, err)
			defer s.Close()
			from, _ := filled(t, move.Side{Name: "the folder", Ledger: s.Ledger(), Photos: s.Photos(), Private: s.Private()})
			digest := withhold(t, from.Private, "drover/changed", "to be changed")
			if kind == "photos" {
				digest = put(t, from.Photos, "to be changed")
			}
			h := strings.TrimPrefix(digest, "sha256:")
			require.NoError(t, os.WriteFile(filepath.Join(dir, kind, h[:2], h[2:]), []byte("was changed"), 0o600))
			to := onDisk(t)
			_, err = move.All(t.Context(), from, to, move.Options{})
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%v", err)
			require.ErrorContains(t, err, digest)
			end, err := to.Ledger.End(t.Context())
			require.NoError(t, err)
			require.Zero(t, end)
		})
	}
}

// rootedChanged tells the true roots of what it gives back changed.
type rootedChanged struct {
	changed
	store *store.Store
}

func (r rootedChanged) Root(ctx context.Context, machine string) (uint64, [32]byte, error) {
	return r.store.Root(ctx, machine)
}

// skipping is a ledger that leaves a machine's second commit out.
type skipping struct {
	registry.Ledger
	machine string
}

func (s skipping) Read(ctx context.Context, machine string, after uint64, fn func(registry.Record) error) error {
	n := 0
	return s.Ledger.Read(ctx, machine, after, func(r registry.Record) error {
		if n++; n == 2 && machine == s.machine {
			return nil
		}
		return fn(r)
	})
}

// TestAnotherHistory refuses a target that holds something else of the same
// machines, by their names, before anything is written.
func TestAnotherHistory(t *testing.T) {
	from, _ := filled(t, memory("the source"))
	for name, begin := range map[string]func(*writer){
		"another beginning": func(w *writer) { w.n = 100; w.commit("fellside", person("other")) },
		"the same events in other commits": func(w *writer) {
			w.commit("fellside", person("p0"))
		},
		"it went on there": func(w *writer) {
			_, err := move.All(t.Context(), from, w.side, move.Options{})
			require.NoError(t, err)
			require.NoError(t, w.side.Ledger.Read(t.Context(), "fellside", 0, func(r registry.Record) error {
				w.versions["fellside"], w.last["fellside"] = r.First+uint64(len(r.Events))-1, registry.LeafHash(r.Events[len(r.Events)-1])
				return nil
			}))
			w.n = 900
			w.commit("fellside", person("later"))
		},
	} {
		t.Run(name, func(t *testing.T) {
			to := memory("the target")
			begin(newWriter(t, to))
			before := contents(t, to)
			_, err := move.All(t.Context(), from, to, move.Options{})
			require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
			require.ErrorContains(t, err, "the target holds another history than the source of: fellside")
			require.NotContains(t, err.Error(), "drover")
			require.Equal(t, before, contents(t, to))
		})
	}
}

// growing is a ledger into which somebody else writes when a commit is read.
type growing struct {
	registry.Ledger
	once func()
}

func (g *growing) ReadAll(ctx context.Context, after registry.Position, fn func(registry.Record) error) error {
	if f := g.once; f != nil {
		g.once = nil
		defer f()
	}
	return g.Ledger.ReadAll(ctx, after, fn)
}

// TestWrittenMeanwhile says so when somebody works in the source or the target
// during the move.
func TestWrittenMeanwhile(t *testing.T) {
	from, w := filled(t, memory("the source"))
	to := memory("the target")
	whole := from.Ledger
	from.Ledger = &growing{whole, func() { w.side.Ledger = whole; w.commit("drover", person("late")) }}
	_, err := move.All(t.Context(), from, to, move.Options{})
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
	from.Ledger = whole
	r, err := move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	require.Equal(t, contents(t, from), contents(t, to))
	require.Equal(t, 25, r.Added.Commits+r.There.Commits)

	into := memory("the target")
	stranger := newWriter(t, into)
	stranger.n = 700
	into.Ledger = &breakingIn{into.Ledger, 25, func() {
		stranger.versions, stranger.last = w.versions, w.last
		stranger.commit("drover", person("there"))
	}}
	_, err = move.All(t.Context(), from, into, move.Options{})
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err))
	require.ErrorContains(t, err, "The record of drover in the target stands at version 14")
}

// breakingIn is a ledger in which somebody else records after the k-th append.
type breakingIn struct {
	registry.Ledger
	left int
	then func()
}

func (b *breakingIn) Append(ctx context.Context, c registry.Commit) (registry.Receipt, error) {
	r, err := b.Ledger.Append(ctx, c)
	if b.left--; b.left == 0 {
		b.then()
	}
	return r, err
}

// misnaming is a store of files that keeps something else than it is given.
type misnaming struct{ *ledgertest.MemoryBlobs }

func (m misnaming) Put(ctx context.Context, r io.Reader, limit int64) (string, int64, error) {
	return m.MemoryBlobs.Put(ctx, io.MultiReader(r, strings.NewReader("!")), limit+1)
}

// TestAnotherFileArrives does not take for moved what was stored as something else.
func TestAnotherFileArrives(t *testing.T) {
	from, _ := filled(t, memory("the source"))
	to := memory("the target")
	to.Photos = misnaming{ledgertest.NewMemoryBlobs()}
	_, err := move.All(t.Context(), from, to, move.Options{})
	require.ErrorContains(t, err, "it was stored as sha256:")
}

// TestErasedStaysErased does not carry over a private value that a record says
// was erased, and removes it where an earlier run had brought it.
func TestErasedStaysErased(t *testing.T) {
	from, w := filled(t, memory("the source"))
	to := memory("the target")
	gone := withhold(t, from.Private, "drover/owner", "Imogen Aske")
	_, err := move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	w.commit("drover", &registry.Erasure{Common: registry.Common{ID: "e"}, Person: "p0", Digests: []string{gone}, Why: "asked", By: "tamsin"})
	// The program was stopped before it had removed it from the source.
	r, err := move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	require.Equal(t, 1, r.Erased)
	_, _, err = to.Private.Get(t.Context(), gone)
	require.Equal(t, registry.CodeNotFound, registry.CodeOf(err))
}

// TestKeysMoveToo carries sealed values over with their keys, as they lie there;
// what is destroyed on either side stays so, and two keys of one holder are
// refused by name.
func TestKeysMoveToo(t *testing.T) {
	from, w := filled(t, onDisk(t))
	from.Name = "the first folder"
	to := onDisk(t)
	stored := func(s move.Side, digest string) string {
		r, _, err := s.Private.GetStored(t.Context(), digest)
		require.NoError(t, err)
		raw, err := io.ReadAll(r)
		require.NoError(t, errors.Join(err, r.Close()))
		return string(raw)
	}
	name := withhold(t, from.Private, "drover/owner", "Imogen Aske")
	shut := withhold(t, from.Private, "tarn-2/owner", "Winifred Aske")
	_, err := move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	require.Equal(t, contents(t, from), contents(t, to))
	require.Equal(t, stored(from, name), stored(to, name))
	require.NotContains(t, stored(to, name), "Imogen")

	// The key is destroyed here, and the erasure is not on record yet; there it
	// goes with the next move.
	keys := map[string][]byte{}
	require.NoError(t, to.Private.EachKey(t.Context(), func(name string, raw []byte) error { keys[name] = raw; return nil }))
	before := stored(from, shut)
	require.NoError(t, from.Private.Destroy(t.Context(), []string{shut}))
	require.NoError(t, from.Private.PutStored(t.Context(), shut, strings.NewReader(before), int64(len(before))))
	w.commit("tarn-2", person("late"))
	_, err = move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	state, _, err := to.Private.(*store.Vault).Look(t.Context(), shut)
	require.NoError(t, err)
	require.Equal(t, store.KeyDestroyed, state)
	// An old copy of the key does not bring it back.
	require.NoError(t, to.Private.PutKey(t.Context(), "tarn-2/person-owner.key", keys["tarn-2/person-owner.key"]))
	state, _, err = to.Private.(*store.Vault).Look(t.Context(), shut)
	require.NoError(t, err)
	require.Equal(t, store.KeyDestroyed, state)
	require.NoError(t, to.Private.EachKey(t.Context(), func(name string, raw []byte) error {
		if name == "tarn-2/person-owner.key" {
			require.NotContains(t, string(raw), `"key"`)
		}
		return nil
	}))

	other := onDisk(t)
	withhold(t, other.Private, "drover/owner", "somebody else")
	_, err = move.All(t.Context(), from, other, move.Options{})
	require.Equal(t, registry.CodeConflict, registry.CodeOf(err), "%v", err)
	require.ErrorContains(t, err, "drover/person-owner.key")
	require.Equal(t, registry.CodeTampered, registry.CodeOf(other.Private.PutKey(t.Context(), "drover/machine.key", keys["drover/person-owner.key"])))
}

// TestDamagedTarget mends a file of the target that was changed.
func TestDamagedTarget(t *testing.T) {
	from, _ := filled(t, memory("the source"))
	to := memory("the target")
	_, err := move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	var one string
	require.NoError(t, to.Photos.Each(t.Context(), func(digest string, _ int64) error { one = digest; return nil }))
	to.Photos.(*ledgertest.MemoryBlobs).Damage(one)
	r, err := move.All(t.Context(), from, to, move.Options{})
	require.NoError(t, err)
	require.Equal(t, 1, r.Added.Photos)
	require.Equal(t, contents(t, from), contents(t, to))
}
